"""A line across a side photo's columns that parts what stands below from what shows above it.

Searched as the best path by dynamic programming (Bellman, Dynamic Programming, 1957, chapter III;
book cited from memory): what the leaf looks like above and below the line is learnt, each cell says
which side it looks like, and the line moves until it asks for no other.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from traymorph.tray.behind import Plane

Bins = NDArray[np.intp]
Frequencies = Callable[[Bins], NDArray[np.float64]]
"""Share of cells per bin, smoothed."""

FEWEST_CELLS = 300
COLUMN_MM = 4
"""Width of the columns in which the line has one height."""
LEAF_FROM = 0.6
_SHOWN_MM = 5.0
"""With less leaf than this above the line a column shows nothing behind."""
_LEAST_COLUMNS = 0.15
_LEAST_BELOW = 0.2
"""Share of the leaf that lies below the line at the least: front rows hide most of what stands
behind."""
_ROUNDS = 6
_MOST_TELLING = 2.5
"""Bound to what one cell's look may say, as a logarithm of odds."""
_CLIMB, _JUMP = 1.5, 60.0
"""Cost per mm of climb of the line, and of any jump, in mm of surely told leaf."""


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


@dataclass(frozen=True, slots=True, eq=False)
class Looks:
    """What cells look like, in numbered bins.

    Parameters
    ----------
    bins : ndarray of int, shape (rows, columns)
        Number of every cell's look.
    frequencies : callable
        How often each look occurs among cells.
    weight : float
        What a cell's look counts for, where neighbouring cells say the same thing again.
    """

    bins: Bins
    frequencies: Frequencies
    weight: float = 1.0


def settled(
    used: NDArray[np.bool_],
    looks: Looks,
    above_mm: Plane,
    start_mm: float,
    learnt_mm: float = math.inf,
) -> NDArray[np.float64] | None:
    """Move a level line until the looks that it parts ask for no other.

    Parameters
    ----------
    used : ndarray of bool, shape (rows, columns)
        Cells of 1 mm whose look counts.
    looks : Looks
        Of the cells.
    above_mm : ndarray of float32, shape (rows, columns)
        Height above the rim, falling from row to row.
    start_mm : float
        Height of the level line.
    learnt_mm : float
        How far below the line own leaf is learnt.

    Returns
    -------
    ndarray, shape (columns,), or None
        Heights above the rim; None without two parts.
    """
    middles = middles_of(used.shape[1])
    whole = len(middles) * COLUMN_MM
    heights, seen, columns = above_mm[used], looks.bins[used], np.nonzero(used)[1]
    line = np.full(used.shape[1], start_mm)
    odds = np.zeros(used.shape)
    for _ in range(_ROUNDS):
        at = line[columns]
        upper = heights > at
        lower = ~upper & (heights > at - learnt_mm)
        if min(upper.sum(), lower.sum()) < FEWEST_CELLS:
            return None
        told = log_odds(seen[upper], seen[lower], looks.frequencies)
        odds[used] = looks.weight * told[seen]
        by_column = sum(odds[:, k:whole:COLUMN_MM] for k in range(COLUMN_MM)) / COLUMN_MM
        # with the line at a row, all rows above it are taken to stand behind
        gain = 2.0 * (np.cumsum(by_column, axis=0) - by_column)
        path = best_path(gain, _CLIMB, _JUMP)
        fresh = to_cells(above_mm[path, middles].astype(np.float64), used.shape[1])
        if np.abs(fresh - line).max() < 1.0:
            break
        line = fresh
    return fresh


def shows_behind(
    used: NDArray[np.bool_], above_mm: Plane, line: NDArray[np.float64]
) -> NDArray[np.bool_] | None:
    """Mark the columns that show leaf above a line; None where it is no front outline.

    Parameters
    ----------
    used : ndarray of bool, shape (rows, columns)
        Cells of leaf above the rim.
    above_mm : ndarray of float32, shape (rows, columns)
        Height above the rim.
    line : ndarray, shape (columns,)
        From :func:`settled`.

    Returns
    -------
    ndarray of bool, shape (columns,), or None
        None with too few such columns, or with hardly any leaf below the line.
    """
    upper = used & (above_mm > line)
    shows: NDArray[np.bool_] = uniform_filter1d(upper.sum(axis=0).astype(np.float64), 9) > _SHOWN_MM
    if shows.mean() < _LEAST_COLUMNS or (used & ~upper).sum() < _LEAST_BELOW * used.sum():
        return None
    return shows


def log_odds(upper: Bins, lower: Bins, frequencies: Frequencies) -> NDArray[np.float64]:
    """Logarithm of the odds, per bin, that a cell belongs above rather than below."""
    there, here = frequencies(upper), frequencies(lower)
    doubt = 0.01 * (there.max() + here.max())
    odds: NDArray[np.float64] = np.log((there + doubt) / (here + doubt))
    return odds.clip(-_MOST_TELLING, _MOST_TELLING)


def chance_greater(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    """Chance that a value of the one exceeds one of the other; ties count half."""
    ordered = np.sort(other)
    ranks = np.searchsorted(ordered, one, "left") + np.searchsorted(ordered, one, "right")
    return float(ranks.mean() / (2.0 * len(other))) if len(one) and len(other) else 0.0


def middles_of(columns: int) -> NDArray[np.intp]:
    """Middle cell of each column of the line."""
    return np.arange(columns // COLUMN_MM) * COLUMN_MM + COLUMN_MM // 2


def to_cells(line: NDArray[np.float64], columns: int) -> NDArray[np.float64]:
    """Heights of a line's columns at every cell."""
    return line[np.minimum(np.arange(columns) // COLUMN_MM, len(line) - 1)]


def best_path(gain: NDArray[np.float64], climb: float, jump: float) -> NDArray[np.intp]:
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
