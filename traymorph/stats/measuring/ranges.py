"""The method of averages and ranges for a study of measuring, as it is done by hand.

Standard deviations from mean ranges over d2* (Duncan 1974, Quality Control and Industrial
Statistics, appendix D3; the constants of printed forms): d2* = sqrt(d2^2 + d3^2 / g) for ``g``
ranges, and d2 itself from more than 15 on, as those forms do.
"""

import math

import numpy as np
from numpy.typing import NDArray

from traymorph.model.repeatability import RangeFigures
from traymorph.stats.drift.control_constants import control_constants

Floats = NDArray[np.float64]

_MANY_RANGES = 15
STEPS = 1.41
"""Sizes told apart = 1.41 standard deviations of trays over that of measuring, rounded down."""


def steps_told(trays: float, measuring: float) -> int | None:
    """How many sizes among the trays the measuring tells apart.

    Number of distinct categories (Automotive Industry Action Group, Measurement Systems Analysis,
    4th ed.): 1.41, about the square root of 2, times the ratio of standard deviations, rounded
    down; None where measuring scatters nothing.
    """
    return math.floor(STEPS * trays / measuring) if measuring > 0 else None


def by_ranges(cells: Floats) -> RangeFigures:
    """Give the spread of a study with equal numbers.

    Parameters
    ----------
    cells : ndarray, shape (trays, operators, repeats)
        At least two trays and two repeats.
    """
    trays, operators, repeats = cells.shape
    ranges = np.ptp(cells, axis=2)
    repeat = float(ranges.mean()) / _d2_star(repeats, ranges.size)
    operator = 0.0
    if operators > 1:
        between = float(np.ptp(cells.mean(axis=(0, 2)))) / _d2_star(operators, 1)
        operator = math.sqrt(max(0.0, between**2 - repeat**2 / (trays * repeats)))
    between_trays = float(np.ptp(cells.mean(axis=(1, 2)))) / _d2_star(trays, 1)
    measuring = math.hypot(repeat, operator)
    return RangeFigures(
        repeat,
        operator,
        measuring,
        between_trays,
        math.hypot(measuring, between_trays),
        steps_told(between_trays, measuring),
    )


def _d2_star(n: int, ranges: int) -> float:
    constants = control_constants(n)
    if ranges > _MANY_RANGES:
        return constants.d2
    return math.sqrt(constants.d2**2 + constants.d3**2 / ranges)
