"""Cumulative sums: tabular (Page 1954) and self-starting (Hawkins 1987).

Page, Biometrika 41:100-115, as in the NIST/SEMATECH e-Handbook, 6.3.2.3; Hawkins, The Statistician
36:299-316.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtri_exp, stdtr

Floats = NDArray[np.float64]

_FEWEST = 2
"""Values before one that it can be judged by: a standard deviation takes two."""


def tabular_cusum(values: Floats, target: float, slack: float) -> tuple[Floats, Floats]:
    """Sum up what lies above and below the target by more than the slack.

    Parameters
    ----------
    values : ndarray, shape (n,)
        In their order, all finite.
    target : float
        Where they should lie.
    slack : float
        Half of the shift that is to be found soonest, in the unit of ``values``.

    Returns
    -------
    above, below : ndarray, shape (n,)
        Both at least 0, in the unit of ``values``.
    """
    above, below = np.empty(len(values)), np.empty(len(values))
    up = down = 0.0
    for place, value in enumerate(values):
        up = max(0.0, up + float(value) - target - slack)
        down = max(0.0, down + target - float(value) - slack)
        above[place], below[place] = up, down
    return above, below


def self_starting_scores(values: Floats) -> Floats:
    """Judge each value by those before it alone.

    Parameters
    ----------
    values : ndarray, shape (n,)
        In their order, all finite.

    Returns
    -------
    ndarray, shape (n,)
        Independent standard normal as long as nothing moves, however few there are; NaN for the
        first two, and as long as all values so far are equal.
    """
    scores = np.full(len(values), np.nan)
    for n in range(_FEWEST, len(values)):
        spread = float(np.std(values[:n], ddof=1))
        if spread > 0.0:
            away = (values[n] - values[:n].mean()) / spread * math.sqrt(n / (n + 1.0))
            scores[n] = _normal_score(float(away), n - 1)
    return scores


def _normal_score(t: float, df: int) -> float:
    """Give the standard normal value with the same chance beyond it as Student's t."""
    tail = float(stdtr(df, -abs(t)))
    beyond = math.log(tail) if tail > 0.0 else float(log_ndtr(-abs(t)))
    return math.copysign(float(ndtri_exp(beyond)), t)
