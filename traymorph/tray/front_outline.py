"""The upper outline of the tray's own stand where other plants show above it in a side photo.

Three searches look for it, each by a sign of its own: leaf of another look (`line_by_colour`), a
bare layer between two layers of leaf (`line_by_gap`), leaf that is drawn softer
(`line_by_softness`). A sign may be sure by itself; two that are not, but lie at the same heights,
confirm each other.
"""

import itertools

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label

from traymorph.tray.behind import Plane
from traymorph.tray.best_line import FEWEST_CELLS, LEAF_FROM, FrontOutline
from traymorph.tray.line_by_colour import line_by_colour
from traymorph.tray.line_by_gap import line_by_gap
from traymorph.tray.line_by_softness import Edges, line_by_softness

_NARROWEST_MM, _CLEAR_MM = 40, 2
_RAGGED, _RAGGED_SURE = 0.15, 0.2
"""Tops of one stand scatter by less than this share of their height: by 0.02 to 0.16 where another
tray stands behind rendered ones. Two tiers of leaves on the same plants begin at many heights (0.31
and more), however well they are parted."""
_CLOSED_MM = 40
"""Stretch over which a stand behind goes on unseen: a few leaves' width."""
_SAME_MM = 8.0
"""Lines by two signs that run so near each other are one."""
_SAME_COLUMNS = 0.5


def front_outline(
    leaf: Plane, lab: Plane, above_mm: Plane, edges: Edges | None = None
) -> FrontOutline | None:
    """Find the line above which plants behind the tray show.

    Parameters
    ----------
    leaf : ndarray of float32, shape (rows, columns)
        Share of leaf in cells of 1 mm in the plane of the front wall, between the tray's ends.
    lab : ndarray of float32, shape (rows, columns, 3)
        CIELAB of the cells.
    above_mm : ndarray of float32, shape (rows, columns)
        Height above the rim, falling from row to row.
    edges : Edges or None
        Edges in the picture on the same cells; without them softness tells nothing.

    Returns
    -------
    FrontOutline or None
        None where the leaves look like one stand. Stands of the same colour, light and sharpness
        whose leaves reach down to the own tops cannot be told.
    """
    used = (leaf > LEAF_FROM) & (above_mm > 0)
    if used.sum() < 2 * FEWEST_CELLS or leaf.shape[1] < _NARROWEST_MM:
        return None
    filled = np.flatnonzero(used.any(axis=1))
    rows = slice(max(filled[0] - _CLEAR_MM, 0), filled[-1] + 1)  # the rest is empty
    used, leaf, lab, above_mm = used[rows], leaf[rows], lab[rows], above_mm[rows]
    found = (
        line_by_gap(leaf, above_mm),
        line_by_colour(used, lab, above_mm),
        None if edges is None else line_by_softness(used, edges.part((rows,)), above_mm),
    )
    known = [line for line in found if line is not None and not _ragged(line)]
    if not known:
        return None
    best = max(known, key=lambda line: line.sure)
    sure = best.sure or any(_same(*two) for two in itertools.combinations(known, 2))
    return FrontOutline(_closed(best.height_mm), sure)


def _ragged(line: FrontOutline) -> bool:
    """Whether the line lies at so many heights that it runs through the tray's own stand."""
    heights = line.height_mm[np.isfinite(line.height_mm)]
    most = _RAGGED_SURE if line.sure else _RAGGED
    return bool(heights.std() > most * heights.mean())


def _same(one: FrontOutline, other: FrontOutline) -> bool:
    """Whether two lines run along each other for most of either's columns."""
    there = np.isfinite(one.height_mm), np.isfinite(other.height_mm)
    both = there[0] & there[1]
    if both.sum() < _SAME_COLUMNS * max(there[0].sum(), there[1].sum()):
        return False
    apart = np.abs(one.height_mm[both] - other.height_mm[both])
    return bool(np.median(apart) < _SAME_MM)


def _closed(line: NDArray[np.float64]) -> NDArray[np.float64]:
    """Lead the line on over short stretches that it leaves out, and to ends that are near."""
    known = np.isfinite(line)
    stretches, count = label(~known)
    sizes = np.bincount(stretches.ravel(), minlength=count + 1)
    short = ~known & (sizes[stretches] <= _CLOSED_MM)
    places = np.arange(len(line))
    return np.where(short, np.interp(places, places[known], line[known]), line)
