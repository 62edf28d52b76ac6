"""Entry to the segmentation by colour and shape."""

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.segment import colour_model, edges

METHOD = "colour-and-shape 1"

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more

_FIT_PIXELS = 80_000
_CLASS_PIXELS = 800_000
# Width of the pictures' usual field of view, mm, as no card gives the scale.
_USUAL_FIELD_MM = 500.0
# Radius of a neighbourhood, mm: about the size of a leaf.
_NEIGHBOURHOOD_MM = 10.0
_EDGE_WINDOW_MM = 4.0


def plant_share(rgb: NDArray[np.uint8], *, ignore: NDArray[np.bool_] | None = None) -> Floats:
    """Tell plant from the rest, leaf and stem together, where no card sets scale and colours.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        The upright photo, sRGB-encoded, reduced by area averaging to about 3 million pixels.
    ignore : ndarray of bool, shape (h, w), or None
        True where nothing is plant.

    Returns
    -------
    ndarray of float32, shape (h, w)
        Share of plant.

    Raises
    ------
    ValueError
        If ``rgb`` is not an 8-bit colour picture, or ``ignore`` has another size.
    """
    _check(rgb, ignore)
    seen = np.ones(rgb.shape[:2], dtype=np.float32)
    if ignore is not None:
        seen[ignore] = 0.0
    size_mm = _USUAL_FIELD_MM / max(rgb.shape[:2])
    small, factor = _reduce(rgb, _FIT_PIXELS)
    small_seen = cv2.resize(seen, small.shape[1::-1], interpolation=cv2.INTER_AREA)
    reach = max(_NEIGHBOURHOOD_MM / (size_mm * factor), 2.0)
    colours = colour_model.fit(small, small_seen, reach)
    middle, factor = _reduce(rgb, _CLASS_PIXELS)
    probability = colours.plant_probability(cv2.GaussianBlur(middle, (0, 0), 0.6))
    probability *= cv2.resize(seen, middle.shape[1::-1], interpolation=cv2.INTER_AREA)
    side = 2 * max(round(_EDGE_WINDOW_MM / (size_mm * factor) / 2), 1) + 1
    middle /= np.float32(255.0)
    fine = rgb.astype(np.float32)
    fine /= np.float32(255.0)
    share = edges.soften(probability, middle, fine, side)
    share *= seen
    return share


def _check(rgb: NDArray[np.uint8], ignore: NDArray[np.bool_] | None) -> None:
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8:
        msg = f"rgb must be uint8 (height, width, 3), not {rgb.dtype} {rgb.shape}"
        raise ValueError(msg)
    if ignore is not None and ignore.shape != rgb.shape[:2]:
        msg = f"ignore must have the picture's size {rgb.shape[:2]}, not {ignore.shape}"
        raise ValueError(msg)


def _reduce(rgb: NDArray[np.uint8], pixels: float) -> tuple[Floats, float]:
    """Reduce the picture to no more than so many pixels; give the factor too."""
    height, width = rgb.shape[:2]
    factor = max(math.sqrt(height * width / pixels), 1.0)
    size = (max(round(width / factor), 1), max(round(height / factor), 1))
    reduced = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    return reduced, factor
