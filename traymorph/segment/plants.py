"""Entry to the segmentation by colour and shape."""

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.model.masks import PlantMasks
from traymorph.model.photo import View
from traymorph.segment import colour_model, edges, stems

METHOD = "colour-and-shape 1"

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more

_FIT_PIXELS = 80_000
_CLASS_PIXELS = 800_000
# Width of the pictures' usual field of view, mm; used where no card gives the scale.
_USUAL_FIELD_MM = 500.0
# Radius of a neighbourhood, mm: about the size of a leaf.
_NEIGHBOURHOOD_MM = 10.0
_EDGE_WINDOW_MM = 4.0


def segment_plants(
    rgb: NDArray[np.uint8],
    view: View,
    *,
    scale: float,
    mm_per_px: float | None = None,
    calibrated: bool = False,
    ignore: NDArray[np.bool_] | None = None,
) -> PlantMasks:
    """Tell leaf, stem and the rest apart in one photo.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        The upright photo, sRGB-encoded, reduced by area averaging to about 0.3 mm per pixel, or
        to about 3 million pixels where the scale is unknown; corrected for the light where a
        card was seen.
    view : View
        From where it was taken.
    scale : float
        Pixels of the photo per pixel of ``rgb``; handed on to the masks.
    mm_per_px : float or None
        Size of a pixel of ``rgb`` in the plane of the plants; None when unknown.
    calibrated : bool
        Whether colours were corrected by a card.
    ignore : ndarray of bool, shape (h, w), or None
        True where the card lies: never plant.

    Returns
    -------
    PlantMasks

    Raises
    ------
    ValueError
        If ``rgb`` is not an 8-bit colour picture, or ``ignore`` has another size.
    """
    plant, doubt = plant_share(rgb, view, mm_per_px=mm_per_px, calibrated=calibrated, ignore=ignore)
    leaf, stem = stems.part(rgb, plant, view, _pixel_mm(rgb, mm_per_px))
    return PlantMasks(leaf=leaf, stem=stem, scale=scale, method=METHOD, doubt=doubt)


def plant_share(
    rgb: NDArray[np.uint8],
    view: View,
    *,
    mm_per_px: float | None = None,
    calibrated: bool = False,
    ignore: NDArray[np.bool_] | None = None,
    window: tuple[slice, slice] | None = None,
) -> tuple[Floats, Floats]:
    """Tell plant from the rest, leaf and stem together.

    Parameters
    ----------
    rgb, view, mm_per_px, calibrated, ignore
        As of `segment_plants`.
    window : tuple of slice or None
        Rows and columns in which plants are told; the colours are learned from all the picture.

    Returns
    -------
    share, doubt : ndarray of float32
        Share of plant, and probability that a pixel's class is wrong; of the window's shape.
    """
    _check(rgb, ignore)
    seen = np.ones(rgb.shape[:2], dtype=np.float32)
    if ignore is not None:
        seen[ignore] = 0.0
    size_mm = _pixel_mm(rgb, mm_per_px)
    small, factor = _reduce(rgb, _FIT_PIXELS)
    small_seen = cv2.resize(seen, small.shape[1::-1], interpolation=cv2.INTER_AREA)
    reach = max(_NEIGHBOURHOOD_MM / (size_mm * factor), 2.0)
    colours = colour_model.fit(small, small_seen, reach, view, calibrated=calibrated)
    if window is None:
        window = (slice(0, rgb.shape[0]), slice(0, rgb.shape[1]))
    share, doubt = _told(colours, rgb, seen, size_mm, window)
    if calibrated:  # light adds up only in linear light, which a card has set
        share = edges.unmix(share, rgb[window])
    share *= seen[window]
    return share, doubt


def _check(rgb: NDArray[np.uint8], ignore: NDArray[np.bool_] | None) -> None:
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8:
        msg = f"rgb must be uint8 (height, width, 3), not {rgb.dtype} {rgb.shape}"
        raise ValueError(msg)
    if ignore is not None and ignore.shape != rgb.shape[:2]:
        msg = f"ignore must have the picture's size {rgb.shape[:2]}, not {ignore.shape}"
        raise ValueError(msg)


def _pixel_mm(rgb: NDArray[np.uint8], mm_per_px: float | None) -> float:
    return _USUAL_FIELD_MM / max(rgb.shape[:2]) if mm_per_px is None else mm_per_px


def _told(
    colours: colour_model.PhotoColours,
    rgb: NDArray[np.uint8],
    seen: Floats,
    size_mm: float,
    window: tuple[slice, slice],
) -> tuple[Floats, Floats]:
    """Share of plant before its outlines are refined, and its doubt, in a window."""
    (height, width), picture = rgb.shape[:2], rgb[window]
    rows, columns = window
    part = (
        columns.start / width,
        rows.start / height,
        columns.stop / width,
        rows.stop / height,
    )
    middle, factor = _reduce(picture, _CLASS_PIXELS * picture.size / rgb.size)
    probability = colours.plant_probability(cv2.GaussianBlur(middle, (0, 0), 0.6), part)
    probability *= cv2.resize(seen[window], middle.shape[1::-1], interpolation=cv2.INTER_AREA)
    side = 2 * max(round(_EDGE_WINDOW_MM / (size_mm * factor) / 2), 1) + 1
    middle /= np.float32(255.0)
    fine = picture.astype(np.float32)
    fine /= np.float32(255.0)
    share = edges.soften(probability, middle, fine, side)
    wrong = np.minimum(probability, 1.0 - probability)
    doubt = cv2.resize(wrong, picture.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    return share, doubt.astype(np.float32)


def _reduce(rgb: NDArray[np.uint8], pixels: float) -> tuple[Floats, float]:
    """Reduce the picture to no more than so many pixels; give the factor too."""
    height, width = rgb.shape[:2]
    factor = max(math.sqrt(height * width / pixels), 1.0)
    size = (max(round(width / factor), 1), max(round(height / factor), 1))
    reduced = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    return reduced, factor
