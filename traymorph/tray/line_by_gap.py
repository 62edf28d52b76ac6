"""The line along a bare layer between two layers of leaf in a side photo.

Going up, the leaf of one stand stops for the stems of another, and starts anew.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from traymorph.tray.behind import Plane
from traymorph.tray.best_line import FrontOutline, best_path, middles_of, to_cells

_LAYER_MM, _LAYER_REACH_MM = 8, 50
"""Height over which leaf is averaged, and how far off the layers above and below may lie."""
_STRIP_MM = 12
_GAP_FROM_MM = 20.0
"""Leaf layers begin above this height over the rim; what lies below is foot."""
_GAP_CLIMB, _GAP_JUMP = 0.03, 0.6
_BARE, _MAYBE_BARE = 0.35, 0.28
"""Share of leaf that is missing between two layers, mean over all columns. Single stands of
rendered trays stay below 0.25, two stands part by 0.5 and more."""
_BARE_COLUMN = 0.1
_AT_LEVEL_MM = 15.0


def line_by_gap(leaf: Plane, above_mm: Plane) -> FrontOutline | None:
    """Find the line along the bare layer between two layers of leaf.

    Parameters
    ----------
    leaf : ndarray of float32, shape (rows, columns)
        Share of leaf in cells of 1 mm.
    above_mm : ndarray of float32, shape (rows, columns)
        Height above the rim, falling from row to row.

    Returns
    -------
    FrontOutline or None
        None without such a layer over a good part of the tray.
    """
    middles = middles_of(leaf.shape[1])
    amount, lower, missing = _layers(leaf, above_mm, middles)
    heights = above_mm[:, middles]
    path = best_path(np.where(heights > _GAP_FROM_MM, missing, -1.0), _GAP_CLIMB, _GAP_JUMP)
    along = np.arange(len(middles))
    bare = missing[path, along]
    if bare.mean() < _MAYBE_BARE:
        return None
    # down from the barest height to where the own leaf begins
    under = np.arange(len(amount))[:, None] >= path
    begins = np.argmax(under & (amount >= 0.5 * lower[path, along]), axis=0)
    shows, tops = bare > _BARE_COLUMN, heights[begins, along]
    sure = bool(bare.mean() > _BARE)
    return FrontOutline(to_cells(np.where(shows, tops, np.inf), leaf.shape[1]), sure)


def bare_at(leaf: Plane, above_mm: Plane, line: NDArray[np.float64]) -> float:
    """Share of leaf that is missing near a line, mean over the columns that have one.

    Parameters
    ----------
    leaf, above_mm : ndarray of float32, shape (rows, columns)
        As for :func:`line_by_gap`.
    line : ndarray, shape (columns,)
        Infinite where nothing shows above.
    """
    middles = middles_of(leaf.shape[1])
    middles = middles[np.isfinite(line[middles])]
    if not len(middles):
        return 0.0
    _, _, missing = _layers(leaf, above_mm, middles)
    near = np.abs(above_mm[:, middles] - line[middles]) < _AT_LEVEL_MM
    return float(np.where(near, missing, 0.0).max(axis=0).mean())


def _layers(
    leaf: Plane, above_mm: Plane, middles: NDArray[np.intp]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Leaf at each height of some columns, the most of it below, and what is missing between."""
    amount = np.where(above_mm > 0, leaf, 0.0).astype(np.float64)
    amount = uniform_filter1d(uniform_filter1d(amount, _STRIP_MM, axis=1), _LAYER_MM, axis=0)
    amount = amount[:, middles]
    size, shift = _LAYER_REACH_MM + 1, _LAYER_REACH_MM // 2
    higher = maximum_filter1d(amount, size, axis=0, origin=shift, mode="constant")
    lower = maximum_filter1d(amount, size, axis=0, origin=-shift, mode="constant")
    return amount, lower, np.minimum(higher, lower) - amount
