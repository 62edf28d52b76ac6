"""Dark places beside plants: shade of the board, or a dull part of a plant.

A leaf throws its own colour into the shade under it, so deep shade may be as green as the leaf,
and a dull blade may have no more colour than shade. Edges tell the two apart: shade runs out
softly into the lit board and ends sharply at the plant, a blade does the opposite. An edge is
sharp where the slope at the scale of the lens's blur exceeds that at a coarser one (edge
sharpness from two scales, after Elder & Zucker 1998, IEEE Trans. PAMI 20(7):699-716).
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.segment.board_surface import Departure

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more
Flags = NDArray[np.bool_]

# Blur at which slopes are compared, mm, and how far a sharp edge's fine slope exceeds the coarse.
_FINE_MM, _COARSE_MM, _EXCESS = 0.15, 0.75, 2.0
# Codes added before light is taken as a logarithm, and codes of chroma that count as one of that.
_FOOT, _CHROMA = 15.0, 80.0
# Sharpness, in the noise of slopes, of edges that part: what no weak edge settles is settled by
# the stronger ones. Least noise believed, per pixel.
_SHARP, _LEAST_SLOPE = (2.5, 5.0, 10.0), 0.008
# Share of a place's open border that must lie on one side, and its least area, mm2.
_MOSTLY, _LEAST_MM2 = 0.9, 0.4
# Share of a place that was found at least: of shade in a plant's colour only the inner part is.
_FOUND = 0.3
# Half-width of shade, mm, from which it is open to the board along half of its border at least: a
# blade is so wide too, and runs into the board where its own shade blurs its edge.
_WIDE_MM, _OPEN = 2.5, 0.5
# Share of shade's border that lies within so many pixels of sure plant.
_BESIDE, _BESIDE_PX = 0.3, 3


def settle(found: Flags, doubtful: Flags, away: Departure, mm: float) -> Flags:
    """Leave out shade that was found: what runs into the board without a sharp edge.

    Parameters
    ----------
    found : ndarray of bool, shape (h, w)
        What was taken for plant.
    doubtful : ndarray of bool, shape (h, w)
        What is darker than the lit board and not coloured enough to be plant by that alone.
    away : Departure
        The picture compared with its board.
    mm : float
        Size of a pixel, mm.

    Returns
    -------
    ndarray of bool, shape (h, w)
        What stands out.
    """
    sharpness = _sharpness(away, mm)
    kept = found
    for limit in _SHARP:
        sharp = sharpness > limit
        places = _places(found, doubtful, away.on_board, sharp)
        kept = kept & ~_shade(places, kept, found & ~doubtful, mm)
    return np.asarray(kept)


@dataclass(frozen=True, slots=True, eq=False)
class _Places:
    """Doubtful places that no sharp edge crosses; entry 0 is the rest."""

    label: NDArray[Any]
    area: NDArray[Any]  # pixels
    plant: NDArray[Any]  # pixels along which plant runs into it
    board: NDArray[Any]  # pixels along which board does


def _places(found: Flags, doubtful: Flags, on_board: Flags, sharp: Flags) -> _Places:
    count, label, stats, _ = cv2.connectedComponentsWithStats(
        (doubtful & ~sharp).astype(np.uint8), connectivity=4
    )
    sure = ~doubtful & ~sharp
    plant, board = (
        np.bincount(label[_dilated(side, 1)], minlength=count)
        for side in (sure & found, sure & ~found & on_board)
    )
    return _Places(label, stats[:, cv2.CC_STAT_AREA], plant, board)


def _shade(places: _Places, kept: Flags, sure: Flags, mm: float) -> Flags:
    """Places beside sure plant that run into the board and not into that plant."""
    count = len(places.area)
    was = np.bincount(places.label[kept], minlength=count) > _FOUND * places.area
    inside = cv2.erode((places.label > 0).astype(np.uint8), np.ones((3, 3), np.uint8))
    border = (places.label > 0) & (inside == 0)
    length = np.bincount(places.label[border], minlength=count)
    near = np.bincount(places.label[_dilated(sure, _BESIDE_PX) & border], minlength=count)
    beside = near > _BESIDE * length
    open_border = np.maximum(places.plant + places.board, 1)
    shade = was & beside & (places.board > _MOSTLY * open_border)
    shade &= places.area * mm**2 > _LEAST_MM2
    depth = cv2.distanceTransform((places.label > 0).astype(np.uint8), cv2.DIST_L2, 3)
    wide = np.zeros(count, dtype=bool)
    wide[np.unique(places.label[depth * mm > _WIDE_MM])] = True
    shade &= ~wide | (places.board > _OPEN * length)
    shade[0] = False
    return np.asarray(shade[places.label])


def _dilated(mask: Flags, reach: int) -> Flags:
    kernel = np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)
    return np.asarray(cv2.dilate(mask.astype(np.uint8), kernel) > 0)


def _sharpness(away: Departure, mm: float) -> Floats:
    """Slope beyond that of soft edges, in light and chroma, in the photo's own noise."""
    planes = [np.log(np.maximum(away.seen[0], 0.0) + np.float32(_FOOT))]
    planes += [c / np.float32(_CHROMA) for c in away.seen[1:]]
    fine, coarse = (_slope(planes, blur / mm) for blur in (_FINE_MM, _COARSE_MM))
    noise = float(np.median(fine[::3, ::3]))
    return np.asarray((fine - np.float32(_EXCESS) * coarse) / max(noise, _LEAST_SLOPE))


def _slope(planes: list[Floats], sigma: float) -> Floats:
    """Steepness of several planes together, per pixel."""
    total = np.zeros_like(planes[0])
    for plane in planes:
        calm = cv2.GaussianBlur(plane, (0, 0), max(sigma, 0.3))
        for dx, dy in ((1, 0), (0, 1)):
            slope = cv2.Sobel(calm, cv2.CV_32F, dx, dy, ksize=3, scale=1 / 8)
            cv2.accumulateSquare(slope, total)
    return cv2.sqrt(total)
