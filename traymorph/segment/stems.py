"""Leaf blade against stem, within what is plant.

In a side view stems are narrow, upright and low, and often paler or redder than blades; none of
this holds alone (blades edge-on are narrow, stems lie down, crowded stems leave no gaps between
them). The evidence is added up as log-odds. The colours of leaf and stem are then learned from
the photo's own clear cases, and so is the height at which one gives way to the other.
"""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.model.photo import View
from traymorph.segment.materials import features

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more

# Pictures are looked at no finer than this, mm per pixel.
_WORK_MM = 0.5
# Log-odds of stem per unit of uprightness and of depth below the top, and offset: logistic
# regressions on rendered side views of nineteen trays; before and after the photo's own colours
# are known.
_SHAPE = (3.06, 2.06, -1.92)
_SHAPE_AND_COLOUR = (1.85, 0.70, 1.50, -0.94)
# Log-odds that colour alone may give.
_COLOUR_LIMIT = 4.0
# Variance of L*, a*, b* that says nothing.
_COLOUR_NOISE = (9.0, 4.0, 4.0)
# Plant pixels below which no colours are learned.
_FEWEST = 200


def part(
    rgb: NDArray[np.uint8], plant: Floats, view: View, size_mm: float
) -> tuple[Floats, Floats]:
    """Split the share of plant into leaf and stem.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        The picture, sRGB-encoded.
    plant : ndarray of float32, shape (h, w)
        Share of plant.
    view : View
        From where it was taken.
    size_mm : float
        Size of a pixel, mm.

    Returns
    -------
    leaf, stem : ndarray of float32, shape (h, w)
        Their sum is ``plant``.
    """
    if view is not View.SIDE:
        return plant, np.zeros_like(plant)
    height, width = plant.shape
    factor = max(_WORK_MM / size_mm, 1.0)
    size = (max(round(width / factor), 1), max(round(height / factor), 1))
    small = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    small_plant = cv2.resize(plant, size, interpolation=cv2.INTER_AREA)
    chance = stem_chance(small, small_plant, size_mm * factor)
    chance = cv2.resize(chance, (width, height), interpolation=cv2.INTER_LINEAR)
    stem = plant * chance
    return plant - stem, stem


def uprightness(light: Floats, size_mm: float) -> Floats:
    """How upright the pattern of light and shade is.

    Parameters
    ----------
    light : ndarray of float32, shape (h, w)
        Lightness.
    size_mm : float
        Size of a pixel, mm.

    Returns
    -------
    ndarray of float32, shape (h, w)
        From the structure tensor: 1 = all edges vertical, -1 = all horizontal, 0 = neither.
    """
    fine = cv2.GaussianBlur(light, (0, 0), max(0.4 / size_mm, 0.6))
    across = cv2.Sobel(fine, cv2.CV_32F, 1, 0, scale=0.125 / size_mm)
    down = cv2.Sobel(fine, cv2.CV_32F, 0, 1, scale=0.125 / size_mm)
    reach = 2.5 / size_mm
    xx = cv2.GaussianBlur(across * across, (0, 0), reach)
    yy = cv2.GaussianBlur(down * down, (0, 0), reach)
    upright: Floats = (xx - yy) / (xx + yy + np.float32(0.5))
    return upright


def depth_below_top(plant: Floats, size_mm: float) -> Floats:
    """Place between the canopy's top (0) and the lowest plant (1) around each column.

    Parameters
    ----------
    plant : ndarray of float32, shape (h, w)
        Share of plant.
    size_mm : float
        Size of a pixel, mm.
    """
    rows = np.arange(plant.shape[0], dtype=np.float32)[:, None]
    around = cv2.blur((plant > 0.5).astype(np.float32), (2 * round(15.0 / size_mm) + 1, 1))
    mass = np.cumsum(around, axis=0)
    total = mass[-1:] + np.float32(1e-6)
    top = (mass < 0.03 * total).sum(axis=0).astype(np.float32)
    foot = (mass < 0.98 * total).sum(axis=0).astype(np.float32)
    place: Floats = (rows - top) / np.maximum(foot - top, np.float32(5.0 / size_mm))
    return np.clip(place, -0.2, 1.2)


def stem_chance(rgb: NDArray[Any], plant: Floats, size_mm: float) -> Floats:
    """Probability that plant is stem, in a side view.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        sRGB-encoded.
    plant : ndarray of float32, shape (h, w)
        Share of plant.
    size_mm : float
        Size of a pixel, mm.

    Returns
    -------
    ndarray of float32, shape (h, w)
    """
    upright = uprightness(features(rgb)[0], size_mm)
    place = depth_below_top(plant, size_mm)
    first = _SHAPE[0] * upright + _SHAPE[1] * place + _SHAPE[2]
    colour = colour_odds(features(cv2.GaussianBlur(rgb, (0, 0), 1.0)), plant, _chance(first))
    a, b, c, offset = _SHAPE_AND_COLOUR
    return _chance(a * upright + b * place + c * colour + offset)


def colour_odds(seen: Floats, plant: Floats, stem: Floats) -> Floats:
    """Log-odds of stem from colour, by linear discriminant analysis within the photo.

    Parameters
    ----------
    seen : ndarray of float32, shape (3, h, w)
        As of :func:`traymorph.segment.colour_model.features`.
    plant : ndarray of float32, shape (h, w)
        Share of plant.
    stem : ndarray of float32, shape (h, w)
        First probability that plant is stem.

    Returns
    -------
    ndarray of float32, shape (h, w)
        Within +-4; 0 where nothing is plant.
    """
    sure = plant > 0.5
    if np.count_nonzero(sure) < _FEWEST:
        return np.zeros_like(plant)
    colours, weight = seen[:, sure].T.astype(np.float64), stem[sure].astype(np.float64) + 1e-3
    mean_stem = np.average(colours, axis=0, weights=weight)
    mean_leaf = np.average(colours, axis=0, weights=1.002 - weight)
    d_stem, d_leaf = colours - mean_stem, colours - mean_leaf
    within = (d_stem * weight[:, None]).T @ d_stem + (d_leaf * (1.002 - weight)[:, None]).T @ d_leaf
    within = within / len(colours) + np.diag(_COLOUR_NOISE)
    direction = np.linalg.solve(within, mean_stem - mean_leaf)
    middle = direction @ (mean_stem + mean_leaf) / 2.0
    odds = np.tensordot(direction.astype(np.float32), seen, axes=1) - np.float32(middle)
    return np.clip(odds, -_COLOUR_LIMIT, _COLOUR_LIMIT)


def _chance(odds: Floats) -> Floats:
    chance: Floats = 1.0 / (1.0 + np.exp(-odds))
    return chance
