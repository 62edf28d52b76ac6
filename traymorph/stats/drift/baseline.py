"""The batches that limits rest on: their mean and spread, and what speaks against them.

The spread between batches comes from moving ranges of two (e-Handbook 6.3.2.2), since a slow drift
within the baseline widens them less than it widens a standard deviation.
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, stdtr

from traymorph.stats.drift.control_constants import control_constants

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

ENOUGH = 20
"""Batches from which on limits are not called few (common practice for individuals charts)."""
_DRAWS = 20_000
_FEWEST_FOR_WARNINGS = 8
_CHANCE = 0.05
_PRINTED_DIGITS = 3


@dataclass(frozen=True, slots=True)
class Level:
    """Where batches lie while nothing moves.

    Parameters
    ----------
    centre : float
        Mean.
    sigma : float
        Standard deviation between batches.
    mean_range : float
        Mean moving range of two.
    n : int
        Batches.
    """

    centre: float
    sigma: float
    mean_range: float
    n: int


def level_of(values: Floats) -> Level:
    """Mean and spread of baseline batches in their order, at least two."""
    mean_range = float(np.abs(np.diff(values)).mean())
    # With the digits that tables print, so that limits are those that one reckons with a table.
    sigma = mean_range / round(control_constants(2).d2, _PRINTED_DIGITS)
    return Level(float(values.mean()), sigma, mean_range, len(values))


@cache
def batches_to_false_alarm(n: int) -> float:
    """Batches for each false alarm of an individuals chart whose limits rest on ``n`` batches.

    Mean chance that a further batch of the same kind lies beyond limits estimated from ``n``
    normal values, over 20 000 simulated baselines; relative standard error under 2 %. Limits known
    exactly give 370.
    """
    values = np.random.default_rng(n).standard_normal((_DRAWS, n))
    sigma = np.abs(np.diff(values, axis=1)).mean(axis=1) / control_constants(2).d2
    centre = values.mean(axis=1)
    beyond = ndtr(centre - 3.0 * sigma) + ndtr(-centre - 3.0 * sigma)
    return 1.0 / float(beyond.mean())


def lag_one(values: Floats) -> tuple[float, bool]:
    """Correlation of each batch with the one before, and whether that is more than chance.

    The bound is that of white noise, 1.96 / sqrt(n) from -1 / n (Bartlett 1946, J. Royal
    Statistical Society Suppl. 8:27-41; e-Handbook 6.4.4.6).
    """
    away = values - values.mean()
    total = float(away @ away)
    if len(values) < _FEWEST_FOR_WARNINGS or total == 0.0:
        return math.nan, False
    correlation = float(away[1:] @ away[:-1]) / total
    return correlation, abs(correlation + 1.0 / len(values)) > 1.96 / math.sqrt(len(values))


def trend(values: Floats) -> tuple[float, bool]:
    """Slope per batch by least squares, and whether its t test gives p below 0.05."""
    n = len(values)
    if n < _FEWEST_FOR_WARNINGS:
        return math.nan, False
    x = np.arange(n) - (n - 1) / 2.0
    slope = float(x @ values / (x @ x))
    left = values - values.mean() - slope * x
    error = math.sqrt(float(left @ left) / (n - 2) / float(x @ x))
    if error == 0.0:
        return slope, slope != 0.0
    return slope, 2.0 * float(stdtr(n - 2, -abs(slope) / error)) < _CHANCE
