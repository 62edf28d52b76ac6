"""Tells a lawn or a green curtain behind the tray from its own plants in a side photo, by colour.

Such a backdrop shows beside the tray too. Of a sparse lawn scraps pass for plants; they look like
the rest of it. Greenery behind of the very same colour cannot be told by its colour and is not;
other trays behind are told by where their leaf begins (`front_outline`).
"""

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

Plane = NDArray[np.float32]

_LEAF_FROM = 0.6
_FEWEST_CELLS = 500
_MAJORITY_MM = 9
_WELL_BEYOND_MM = 50.0
_FRONT_ROWS_MM = 30.0
"""Up to this height above the rim the tray's own front rows hide what stands behind."""
_BACKDROP_SHARE = 0.15
_SURELY_ELSEWHERE = 0.65
_CLEAR_OF_PLANTS_MM = 10
"""What lies farther from every own plant is backdrop."""
_UNSURE_BACKDROP = 0.01
"""Mean doubt of a backdrop from which on scraps of it may pass for plants: four lawns behind
rendered trays have .05 to .10, 36 other backdrops .002 at the most."""
_SURELY_OWN_SHARE = 0.8
"""Own colours are learnt from this lower share of what is joined: scraps of what stands behind hang
on the canopy's top."""
_BACKDROP_ROUNDS = 2
_BINS = 40
_BINS_PER_UNIT = np.array([0.4, 0.25, 0.25], np.float32)
_BIN_OFFSET = np.array([0.0, 20.0, 20.0], np.float32)
"""Bins of 2.5 in L* and 4 in a* and b*, about what one leaf differs in itself."""


def like_surroundings(
    plant: Plane, lab: Plane, above_mm: Plane, beyond_mm: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Mark the cells that look like greenery seen well beyond the tray's ends.

    A lawn or a green curtain behind shows on both sides of the tray too. Its colours are weighed
    against those just above the rim, which the tray's own front rows fill.

    Parameters
    ----------
    plant : ndarray of float32, shape (rows, columns)
        Share of plant in cells of 1 mm in the plane of the front wall.
    lab : ndarray of float32, shape (rows, columns, 3)
        CIELAB of the cells.
    above_mm : ndarray of float32, shape (rows, columns)
        Height above the rim.
    beyond_mm : ndarray, shape (columns,)
        Distance beyond the tray's nearer inside end, negative between the ends.

    Returns
    -------
    ndarray of bool, shape (rows, columns)
        All False where little grows beyond the ends.
    """
    zone = (beyond_mm > _WELL_BEYOND_MM)[None, :] & (above_mm > _FRONT_ROWS_MM)
    elsewhere = zone & (plant > _LEAF_FROM)
    own = (beyond_mm <= 0)[None, :] & (above_mm > 0) & (above_mm < _FRONT_ROWS_MM)
    own &= plant > _LEAF_FROM
    if elsewhere.sum() < _BACKDROP_SHARE * zone.sum() or own.sum() < _FEWEST_CELLS:
        return np.zeros(plant.shape, bool)
    return majority(plant > _LEAF_FROM, chance_there(lab, elsewhere, own)) & (
        above_mm > _FRONT_ROWS_MM
    )


def like_backdrop(
    own: NDArray[np.bool_],
    lab: Plane,
    doubt: Plane,
    above_mm: Plane,
    shown: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """Mark own cells that look like a backdrop of which the masks themselves are unsure.

    A sparse lawn is mostly told as no plant, but scraps of it are, and those at the canopy's top
    join it. Whether a backdrop is of that kind the masks' own doubt says: it is next to none on
    walls, cloths and wood.

    Parameters
    ----------
    own : ndarray of bool, shape (rows, columns)
        Plants joined to those above the front wall, in cells of 1 mm in its plane.
    lab : ndarray of float32, shape (rows, columns, 3)
        CIELAB of the cells.
    doubt : ndarray of float32, shape (rows, columns)
        Probability that a cell is told wrongly.
    above_mm : ndarray of float32, shape (rows, columns)
        Height above the rim.
    shown : ndarray of bool, shape (rows, columns)
        Cells that lie within the photo.

    Returns
    -------
    ndarray of bool, shape (rows, columns)
        All False where the masks are sure of the backdrop.
    """
    nothing = np.zeros(own.shape, bool)
    kernel = np.ones((2 * _CLEAR_OF_PLANTS_MM + 1,) * 2, np.uint8)
    near = cv2.dilate(own.astype(np.uint8), kernel) > 0
    backdrop = shown & ~near & (above_mm > _FRONT_ROWS_MM)
    if min(own.sum(), backdrop.sum()) < _FEWEST_CELLS:
        return nothing
    if doubt[backdrop].mean() < _UNSURE_BACKDROP:
        return nothing
    sure = own & (above_mm < np.quantile(above_mm[own], _SURELY_OWN_SHARE))
    for _ in range(_BACKDROP_ROUNDS):  # upper leaves that were kept teach the own colours too
        marked = majority(own, chance_there(lab, backdrop, sure)) & (above_mm > _FRONT_ROWS_MM)
        sure = own & ~marked
    return marked


def colour_bins(lab: Plane) -> NDArray[np.intp]:
    """Return the number of every colour's bin, shape (...), from CIELAB of shape (..., 3)."""
    binned = np.clip(lab * _BINS_PER_UNIT + _BIN_OFFSET, 0, _BINS - 1).astype(np.intp)
    bins: NDArray[np.intp] = np.ravel_multi_index(tuple(np.moveaxis(binned, -1, 0)), (_BINS,) * 3)
    return bins


def colour_frequencies(bins: NDArray[np.intp]) -> NDArray[np.float64]:
    """Count the share of cells per bin of colour, smoothed over neighbouring bins."""
    counts = np.bincount(bins, minlength=_BINS**3)
    smooth = np.zeros((_BINS,) * 3)
    if len(bins):  # few colours occur: smoothing changes nothing but them and those near them
        seen = np.unravel_index(np.flatnonzero(counts), smooth.shape)
        near = tuple(slice(max(k.min() - 4, 0), k.max() + 5) for k in seen)
        counted = counts.reshape(smooth.shape)[near].astype(np.float64)
        smooth[near] = gaussian_filter(counted, 1.0, radius=4)
    return smooth.ravel() / max(len(bins), 1)


def chance_there(
    lab: Plane, there: NDArray[np.bool_], here: NDArray[np.bool_]
) -> NDArray[np.float32]:
    """Chance that a cell of its colour belongs to those there rather than to those here.

    Parameters
    ----------
    lab : ndarray of float32, shape (rows, columns, 3)
        CIELAB of the cells.
    there, here : ndarray of bool, shape (rows, columns)
        Cells that the colours of either place are learnt from.

    Returns
    -------
    ndarray of float32, shape (rows, columns)
        0 to 1; a half where a colour is as frequent in both places, or in none.
    """
    bins = colour_bins(lab)
    far, near = (colour_frequencies(bins[where]) for where in (there, here))
    doubt = 0.02 * (far.max() + near.max())
    likely: NDArray[np.float32] = ((far + doubt / 2) / (far + near + doubt))[bins]
    return likely.astype(np.float32)


def majority(plants: NDArray[np.bool_], likely: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Mark the plants around which the chance to stand elsewhere is high on average.

    Parameters
    ----------
    plants : ndarray of bool, shape (rows, columns)
        Cells of plant, 1 mm wide.
    likely : ndarray of float32, shape (rows, columns)
        Chance of each, from :func:`chance_there`.
    """
    weight = plants.astype(np.float32)
    size = (_MAJORITY_MM, _MAJORITY_MM)
    surely = cv2.blur(weight * likely, size) > _SURELY_ELSEWHERE * cv2.blur(weight, size)
    marked: NDArray[np.bool_] = surely & plants
    return marked
