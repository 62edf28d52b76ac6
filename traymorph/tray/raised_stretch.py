"""A stretch of a side photo's canopy that begins or ends with a tall step."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label, median_filter

from traymorph.tray.behind import Plane
from traymorph.tray.best_line import LEAF_FROM, FrontOutline
from traymorph.tray.line_by_gap import bare_at
from traymorph.tray.line_by_softness import Edges, softer_above

_PLANT_FROM = 0.5
_TOPS_MM = 5
"""Width of the columns whose tops are compared."""
_ARM_COLUMNS = 8
_STEP_MM, _STEP_SHARE = 20.0, 0.18
"""Rise between two stretches of the tops, in mm and as a share of their height, that one stand
seldom shows at once: sharp ones of rendered single stands reach 17 mm and 0.17."""
_EDGE_COLUMNS, _SHARP_MM = 4, 11.0
"""The rise is sharp where so many columns on either side differ by this at the least."""
_BARE, _SOFTER = 0.35, 0.55
"""Share of leaf that is missing at the foot of a stretch that stands apart, and chance that the
stretch is drawn softer than what is below: level lines through 60 single stands of rendered trays
show less than that in 19 of 20."""


def raised_stretch(plant: Plane, above_mm: Plane) -> FrontOutline | None:
    """Find a stretch of the canopy that begins or ends with a tall step.

    A stand behind that is narrower or shifted ends within the tray's width. So may a part of the
    tray's own stand that was sown thicker: a step alone is never sure.

    Parameters
    ----------
    plant : ndarray of float32, shape (rows, columns)
        Share of plant taken for the tray's own in cells of 1 mm, between the tray's ends.
    above_mm : ndarray of float32, shape (rows, columns)
        Height above the rim, falling from row to row.

    Returns
    -------
    FrontOutline or None
        The level of the lower side, along the raised stretch; None without a step.
    """
    tops = _tops(plant, above_mm)
    at, rise = _tallest_step(tops)
    if abs(rise) < max(_STEP_MM, _STEP_SHARE * float(np.median(tops))):
        return None
    low = tops[at : at + _ARM_COLUMNS] if rise < 0 else tops[at - _ARM_COLUMNS : at]
    level = float(np.median(low))
    smooth = median_filter(tops, _TOPS_MM, mode="nearest")
    stretches, _ = label(smooth > level + abs(rise) / 2)
    raised = stretches[at - 2 if rise < 0 else at + 1]
    if raised == 0:
        return None
    line = np.where(stretches == raised, float(low.max()), np.inf)
    column = np.minimum(np.arange(plant.shape[1]) // _TOPS_MM, len(line) - 1)
    return FrontOutline(line[column], sure=False)


def _tops(plant: Plane, above_mm: Plane) -> NDArray[np.float64]:
    """Height of the topmost plant per column of 5 mm; 0 where there is none."""
    heights = np.where((plant > _PLANT_FROM) & (above_mm > 0), above_mm, 0.0).max(axis=0)
    whole = len(heights) // _TOPS_MM * _TOPS_MM
    tops: NDArray[np.float64] = heights[:whole].reshape(-1, _TOPS_MM).max(axis=1).astype(np.float64)
    return tops


def _tallest_step(tops: NDArray[np.float64]) -> tuple[int, float]:
    """First column right of the tallest sharp step between two stretches, and its rise."""
    tallest, rise = 0, 0.0
    for k in range(_ARM_COLUMNS, len(tops) - _ARM_COLUMNS + 1):
        left, right = tops[k - _ARM_COLUMNS : k], tops[k : k + _ARM_COLUMNS]
        by = float(np.median(right) - np.median(left))
        high, low = (right[:_EDGE_COLUMNS], left[-_EDGE_COLUMNS:])
        if by < 0:
            high, low = low, high
        grown = min(left.min(), right.min()) > 0.0  # a step to bare columns is a gap
        if grown and high.min() - low.max() > _SHARP_MM and abs(by) > abs(rise):
            tallest, rise = k, by
    return tallest, rise


def line_apart(line: FrontOutline, leaf: Plane, above_mm: Plane, edges: Edges | None) -> bool:
    """Whether a raised stretch stands apart from the leaf before it, so that it stands behind.

    Parameters
    ----------
    line : FrontOutline
        From :func:`raised_stretch`.
    leaf : ndarray of float32, shape (rows, columns)
        Share of leaf in cells of 1 mm, between the tray's ends.
    above_mm : ndarray of float32, shape (rows, columns)
        Height above the rim.
    edges : Edges or None
        Edges in the picture on the same cells.
    """
    bare = bare_at(leaf, above_mm, line.height_mm)
    used = (leaf > LEAF_FROM) & (above_mm > 0)
    softer = 0.0 if edges is None else softer_above(used, edges, above_mm, line.height_mm)
    return bare > _BARE or softer > _SOFTER
