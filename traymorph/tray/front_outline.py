"""The upper outline of the tray's own stand where other plants show above it in a side photo.

Light falls from above: within one stand leaves get lighter upwards and keep their hue. A stand
behind shows its shaded lower part just above the well-lit tops of the own stand, so that going
up the leaf turns darker or of another hue at a line, or stops for stems and starts anew. Two
searches look for such a line as the best path across the columns: one parts the colours above
from those below, one looks for a bare layer between two layers of leaf. Best paths by dynamic
programming: Bellman, Dynamic Programming, 1957, chapter III (book cited from memory).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label, maximum_filter1d, median_filter, uniform_filter1d

from traymorph.tray.behind import Plane, colour_bins, colour_frequencies

_LEAF_FROM, _PLANT_FROM = 0.6, 0.5
_FEWEST_CELLS = 300
_COLUMN_MM = 4
"""Width of the columns in which the line has one height."""
_STARTS = (
    (0.5, math.inf),
    (0.65, math.inf),
    (0.8, math.inf),
    (0.9, math.inf),
    (0.8, 30.0),
    (0.9, 30.0),
)
"""Share of the leaf below the level that a search by colour starts from, and how far below the
line own leaf is learnt, mm: shaded leaf near the rim is like the shaded part of a stand behind."""
_ROUNDS = 6
_MOST_TELLING = 2.5
"""Bound to what one cell's colour may say, as a logarithm of odds."""
_CLIMB, _JUMP = 1.5, 60.0
"""Cost per mm of climb of the line, and of any jump, in mm of surely told leaf."""
_NEAR_MM = 15.0
_BLOCK_MM = 20
_SHOWN_MM = 5.0
"""With less leaf than this above the line a column shows nothing behind."""
_LEAST_COLUMNS = 0.15
_LEAST_BELOW = 0.2
"""Share of the leaf that lies below the line at the least: front rows hide most of what stands
behind."""
_DARKER_PARTED, _OTHER_HUE_PARTED, _MAYBE_PARTED = 0.9, 0.955, 0.8
"""Chance that a left-out cell above the line looks more like those above than one below does.
Lines through single stands reach 0.88 with darker leaf above, and 0.95 with leaf of another hue."""
_DARKER_L = 8.0
_OTHER_HUE_DEG = 15.0
_LEAST_CHROMA = 8.0
"""Below this hue means nothing."""
_LAYER_MM, _LAYER_REACH_MM = 8, 50
"""Height over which leaf is averaged, and how far off the layers above and below may lie."""
_STRIP_MM = 12
_GAP_FROM_MM = 20.0
"""Leaf layers begin above this height over the rim; what lies below is foot."""
_GAP_CLIMB, _GAP_JUMP = 0.03, 0.6
_BARE, _MAYBE_BARE = 0.35, 0.28
"""Share of leaf that is missing between two layers, mean over all columns. Single stands of
rendered trays stay below 0.25, two stands part by 0.5 and more."""
_RAGGED, _RAGGED_SURE = 0.15, 0.2
"""Tops of one stand scatter by less than this share of their height: by 0.02 to 0.16 where another
tray stands behind rendered ones. Two tiers of leaves on the same plants begin at many heights (0.31
and more), however well they are parted."""
_BARE_COLUMN = 0.1
_CLOSED_MM = 40
"""Stretch over which a stand behind goes on unseen: a few leaves' width."""
_TOPS_MM = 5
"""Width of the columns whose tops are compared."""
_ARM_COLUMNS = 8
_STEP_MM, _STEP_SHARE = 20.0, 0.18
"""Rise between two stretches of the tops, in mm and as a share of their height, that one stand
seldom shows at once: sharp ones of rendered single stands reach 17 mm and 0.17."""
_EDGE_COLUMNS, _SHARP_MM = 4, 11.0
"""The rise is sharp where so many columns on either side differ by this at the least."""


@dataclass(frozen=True, slots=True, eq=False)
class FrontOutline:
    """Line above which other plants stand.

    Parameters
    ----------
    height_mm : ndarray, shape (columns,)
        Height above the rim; infinite in columns that show nothing behind.
    sure : bool
        False where it may as well be the border between two parts of the tray's own stand.
    """

    height_mm: NDArray[np.float64]
    sure: bool


def front_outline(leaf: Plane, lab: Plane, above_mm: Plane) -> FrontOutline | None:
    """Find the line above which plants behind the tray show.

    Parameters
    ----------
    leaf : ndarray of float32, shape (rows, columns)
        Share of leaf in cells of 1 mm in the plane of the front wall, between the tray's ends.
    lab : ndarray of float32, shape (rows, columns, 3)
        CIELAB of the cells.
    above_mm : ndarray of float32, shape (rows, columns)
        Height above the rim, falling from row to row.

    Returns
    -------
    FrontOutline or None
        None where the leaves look like one stand. Stands of the same colour and light whose
        leaves reach down to the own tops cannot be told.
    """
    used = (leaf > _LEAF_FROM) & (above_mm > 0)
    if used.sum() < 2 * _FEWEST_CELLS or leaf.shape[1] < 2 * _BLOCK_MM:
        return None
    found = (_by_gap(leaf, above_mm), _by_colour(used, lab, above_mm))
    known = [line for line in found if line is not None and not _ragged(line)]
    if not known:
        return None
    best = max(known, key=lambda line: line.sure)
    return FrontOutline(_closed(best.height_mm), best.sure)


def _ragged(line: FrontOutline) -> bool:
    """Whether the line lies at so many heights that it runs through the tray's own stand."""
    heights = line.height_mm[np.isfinite(line.height_mm)]
    most = _RAGGED_SURE if line.sure else _RAGGED
    return bool(heights.std() > most * heights.mean())


def _closed(line: NDArray[np.float64]) -> NDArray[np.float64]:
    """Lead the line on over short stretches that it leaves out, and to ends that are near."""
    known = np.isfinite(line)
    stretches, count = label(~known)
    sizes = np.bincount(stretches.ravel(), minlength=count + 1)
    short = ~known & (sizes[stretches] <= _CLOSED_MM)
    places = np.arange(len(line))
    return np.where(short, np.interp(places, places[known], line[known]), line)


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


def _by_gap(leaf: Plane, above_mm: Plane) -> FrontOutline | None:
    """Line along the bare layer between two layers of leaf."""
    middles = _middles(leaf.shape[1])
    amount = np.where(above_mm > 0, leaf, 0.0).astype(np.float64)
    amount = uniform_filter1d(uniform_filter1d(amount, _STRIP_MM, axis=1), _LAYER_MM, axis=0)
    amount = amount[:, middles]
    size, shift = _LAYER_REACH_MM + 1, _LAYER_REACH_MM // 2
    higher = maximum_filter1d(amount, size, axis=0, origin=shift, mode="constant")
    lower = maximum_filter1d(amount, size, axis=0, origin=-shift, mode="constant")
    missing = np.minimum(higher, lower) - amount
    heights = above_mm[:, middles]
    path = _best_path(np.where(heights > _GAP_FROM_MM, missing, -1.0), _GAP_CLIMB, _GAP_JUMP)
    along = np.arange(len(middles))
    bare = missing[path, along]
    if bare.mean() < _MAYBE_BARE:
        return None
    # down from the barest height to where the own leaf begins
    under = np.arange(len(amount))[:, None] >= path
    begins = np.argmax(under & (amount >= 0.5 * lower[path, along]), axis=0)
    shows, tops = bare > _BARE_COLUMN, heights[begins, along]
    sure = bool(bare.mean() > _BARE)
    return FrontOutline(_to_cells(np.where(shows, tops, np.inf), leaf.shape[1]), sure)


def _by_colour(used: NDArray[np.bool_], lab: Plane, above_mm: Plane) -> FrontOutline | None:
    """Line that parts leaf of one look from leaf of another the best."""
    bins = colour_bins(lab)
    heights = above_mm[used]
    found = []
    for share, learnt_mm in _STARTS:
        start = np.full(used.shape[1], float(np.quantile(heights, share)))
        line = _settled(used, bins, above_mm, start, learnt_mm)
        if line is None:
            continue
        parted, outline = _judged(used, lab, bins, above_mm, line)
        if outline is not None:
            found.append((outline.sure, parted, outline))
    return max(found, key=lambda one: one[:2])[2] if found else None


def _settled(
    used: NDArray[np.bool_],
    bins: NDArray[np.intp],
    above_mm: Plane,
    line: NDArray[np.float64],
    learnt_mm: float,
) -> NDArray[np.float64] | None:
    """Move the line until the colours that it parts ask for no other; None without two parts."""
    middles = _middles(used.shape[1])
    whole = len(middles) * _COLUMN_MM
    heights, colours, columns = above_mm[used], bins[used], np.nonzero(used)[1]
    odds = np.zeros(used.shape)
    for _ in range(_ROUNDS):
        at = line[columns]
        upper = heights > at
        lower = ~upper & (heights > at - learnt_mm)
        if min(upper.sum(), lower.sum()) < _FEWEST_CELLS:
            return None
        odds[used] = _odds(colours[upper], colours[lower])(colours)
        by_column = sum(odds[:, k:whole:_COLUMN_MM] for k in range(_COLUMN_MM)) / _COLUMN_MM
        # with the line at a row, all rows above it are taken to stand behind
        told = 2.0 * (np.cumsum(by_column, axis=0) - by_column)
        path = _best_path(told, _CLIMB, _JUMP)
        fresh = _to_cells(above_mm[path, middles].astype(np.float64), used.shape[1])
        if np.abs(fresh - line).max() < 1.0:
            break
        line = fresh
    return fresh


def _odds(
    upper: NDArray[np.intp], lower: NDArray[np.intp]
) -> Callable[[NDArray[np.intp]], NDArray[np.float64]]:
    """Logarithm of the odds that a cell of a colour belongs above rather than below."""
    there, here = colour_frequencies(upper), colour_frequencies(lower)
    doubt = 0.01 * (there.max() + here.max())
    table = np.log((there + doubt) / (here + doubt)).clip(-_MOST_TELLING, _MOST_TELLING)
    return lambda bins: table[bins]


def _judged(
    used: NDArray[np.bool_],
    lab: Plane,
    bins: NDArray[np.intp],
    above_mm: Plane,
    line: NDArray[np.float64],
) -> tuple[float, FrontOutline | None]:
    """How well a line parts, and itself where one stand under light from above has no such line."""
    beyond = above_mm - line
    upper = used & (beyond > 0)
    shows = uniform_filter1d(upper.sum(axis=0).astype(np.float64), 9) > _SHOWN_MM
    if shows.mean() < _LEAST_COLUMNS or (used & ~upper).sum() < _LEAST_BELOW * used.sum():
        return 0.0, None
    near_above = upper & (beyond < _NEAR_MM) & shows
    near_below = used & ~upper & (beyond > -_NEAR_MM) & shows
    asked = _asked(lab[near_above], lab[near_below])
    if asked is None:
        return 0.0, None
    parted = _parted(bins, near_above, near_below)
    if parted < _MAYBE_PARTED:
        return parted, None
    return parted, FrontOutline(np.where(shows, line, np.inf), parted > asked)


def _asked(above: Plane, below: Plane) -> float | None:
    """How well leaf above must part from that below to be sure; None where it may be one stand."""
    if min(len(above), len(below)) < _FEWEST_CELLS:
        return None
    (l_above, *ab_above), (l_below, *ab_below) = above.mean(axis=0), below.mean(axis=0)
    if l_below - l_above > _DARKER_L:
        return _DARKER_PARTED
    hues = [np.degrees(np.arctan2(b, a)) for a, b in (ab_above, ab_below)]
    turn = abs((hues[0] - hues[1] + 180.0) % 360.0 - 180.0)
    chroma = min(np.hypot(*ab_above), np.hypot(*ab_below))
    other_hue = turn > _OTHER_HUE_DEG and chroma > _LEAST_CHROMA
    return _OTHER_HUE_PARTED if other_hue else None


def _parted(bins: NDArray[np.intp], above: NDArray[np.bool_], below: NDArray[np.bool_]) -> float:
    """Chance that colours learnt in every other block of columns order two cells of the rest."""
    block = (np.arange(bins.shape[1]) // _BLOCK_MM) % 2
    said_above, said_below = [], []
    for k in (0, 1):
        learn, left_out = block == k, block != k
        if min((above & learn).sum(), (below & learn).sum()) < _FEWEST_CELLS // 3:
            return 0.0
        odds = _odds(bins[above & learn], bins[below & learn])
        said_above.append(odds(bins[above & left_out]))
        said_below.append(odds(bins[below & left_out]))
    return _chance_greater(np.concatenate(said_above), np.concatenate(said_below))


def _chance_greater(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    """Chance that a value of the one exceeds one of the other; ties count half."""
    ordered = np.sort(other)
    ranks = np.searchsorted(ordered, one, "left") + np.searchsorted(ordered, one, "right")
    return float(ranks.mean() / (2.0 * len(other))) if len(one) and len(other) else 0.0


def _middles(columns: int) -> NDArray[np.intp]:
    return np.arange(columns // _COLUMN_MM) * _COLUMN_MM + _COLUMN_MM // 2


def _to_cells(line: NDArray[np.float64], columns: int) -> NDArray[np.float64]:
    return line[np.minimum(np.arange(columns) // _COLUMN_MM, len(line) - 1)]


def _best_path(gain: NDArray[np.float64], climb: float, jump: float) -> NDArray[np.intp]:
    """Rows of the path across the columns with the greatest gain, shape (columns,).

    A step from column to column costs ``climb`` per row, but no more than ``jump``.
    """
    rows, columns = gain.shape
    by_column = np.ascontiguousarray(gain.T)
    slope = climb * np.arange(rows)
    best = np.empty_like(by_column)
    best[0] = by_column[0]
    for k in range(1, columns):
        before = best[k - 1]
        down = np.maximum.accumulate(before + slope) - slope
        up = np.maximum.accumulate((before - slope)[::-1])[::-1] + slope
        best[k] = by_column[k] + np.maximum(np.maximum(down, up), before.max() - jump)
    path = np.empty(columns, np.intp)
    path[-1] = np.argmax(best[-1])
    for k in range(columns - 1, 0, -1):
        cost = np.minimum(climb * np.abs(np.arange(rows) - path[k]), jump)
        path[k - 1] = np.argmax(best[k - 1] - cost)
    return path
