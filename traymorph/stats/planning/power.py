"""How many trays a difference takes: by formula and by simulated trials.

Two-sided t tests between two treatments. The formula is that of the noncentral t distribution
(Cohen 1988, Statistical Power Analysis for the Behavioral Sciences, 2nd ed., ch. 2); simulation
draws trials and analyses them as ``traymorph compare`` does: Welch's test without blocks, a linear
model with the block as fixed effect with them.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import nctdtr, stdtr, stdtrit

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]

_MOST_TRAYS = 1e6
_LARGEST_EFFECT = 1e3


def power(effect: float, n: float, *, level: float = 0.05, df: float | None = None) -> float:
    """Chance that a trial finds a difference that is there.

    Parameters
    ----------
    effect : float
        True difference between two treatments over the standard deviation between replicates.
    n : float
        Replicates of each treatment, at least 2.
    level : float
        Chance of a false alarm, two-sided.
    df : float or None
        Degrees of freedom of the spread; that of two treatments without blocks when None.
    """
    freedom = 2.0 * n - 2.0 if df is None else df
    beyond = stdtrit(freedom, 1.0 - level / 2.0)
    away = abs(effect) * math.sqrt(n / 2.0)
    # SciPy gives no number for tails under about 1e-16: they add nothing here.
    missed, wrongly = np.nan_to_num(nctdtr(freedom, away, np.array([beyond, -beyond])))
    return float(1.0 - missed + wrongly)


def replicates_needed(effect: float, wanted: float, *, level: float = 0.05) -> float:
    """Replicates of each treatment that find a difference with the chance wanted.

    Parameters
    ----------
    effect : float
        Difference over the standard deviation between replicates, not 0.
    wanted : float
        Chance of finding it, above ``level`` and below 1.
    level : float
        Chance of a false alarm, two-sided.

    Returns
    -------
    float
        Not rounded, as published tables are computed; 2 where fewer would do; infinite where a
        million would not.
    """
    if power(effect, 2.0, level=level) >= wanted:
        return 2.0
    if power(effect, _MOST_TRAYS, level=level) < wanted:
        return math.inf
    return float(brentq(lambda n: power(effect, n, level=level) - wanted, 2.0, _MOST_TRAYS))


def smallest_effect(
    n: float, wanted: float, *, level: float = 0.05, df: float | None = None
) -> float:
    """Smallest difference, over the standard deviation, found with the chance wanted.

    Parameters
    ----------
    n : float
        Replicates of each treatment, at least 2.
    wanted : float
        Chance of finding it.
    level, df
        As for :func:`power`.
    """
    return float(
        brentq(lambda effect: power(effect, n, level=level, df=df) - wanted, 0.0, _LARGEST_EFFECT)
    )


def residual_freedom(treatments: int, n: int, blocks: int) -> int:
    """Degrees of freedom of the spread: of two treatments without blocks, of all with them."""
    if blocks < 2:
        return 2 * n - 2
    return treatments * n - treatments - (blocks - 1)


def simulated_power(
    treatment: Codes,
    block: Codes | None,
    effect: float,
    *,
    level: float = 0.05,
    trials: int = 4000,
    seed: int = 1,
) -> float:
    """Share of simulated trials in which treatment 1 is found to differ from treatment 0.

    Parameters
    ----------
    treatment : ndarray of int, shape (n,)
        Code of every replicate's treatment.
    block : ndarray of int, shape (n,), or None
        Code of its block; blocks differ by as much as replicates do.
    effect : float
        True difference over the standard deviation between replicates.
    level : float
        Chance of a false alarm, two-sided.
    trials : int
        Trials to draw.
    seed : int
        Of the random numbers.

    Returns
    -------
    float
        Its standard error is ``sqrt(p (1 - p) / trials)``.
    """
    draw = np.random.default_rng(seed)
    values = draw.standard_normal((trials, len(treatment))) + effect * (treatment == 1)
    if block is None:
        p = _welch(values[:, treatment == 0], values[:, treatment == 1])
    else:
        values = values + draw.standard_normal((trials, int(block.max()) + 1))[:, block]
        p = _within_blocks(values, treatment, block)
    return float(np.mean(p < level))


def _welch(one: Floats, other: Floats) -> Floats:
    """Two-sided p of Welch's test, one trial a row."""
    parts = [group.var(axis=1, ddof=1) / group.shape[1] for group in (one, other)]
    total = parts[0] + parts[1]
    freedom = total**2 / (parts[0] ** 2 / (one.shape[1] - 1) + parts[1] ** 2 / (other.shape[1] - 1))
    t = np.abs(one.mean(axis=1) - other.mean(axis=1)) / np.sqrt(total)
    return np.asarray(2.0 * stdtr(freedom, -t))


def _within_blocks(values: Floats, treatment: Codes, block: Codes) -> Floats:
    """Two-sided p of treatment 1 against 0 in the linear model, one trial a row."""
    model = np.column_stack(
        [
            treatment[:, None] == np.arange(treatment.max() + 1),
            block[:, None] == np.arange(1, block.max() + 1),
        ]
    ).astype(np.float64)
    solve = np.linalg.pinv(model)
    freedom = len(treatment) - np.linalg.matrix_rank(model)
    contrast = np.zeros(model.shape[1])
    contrast[:2] = -1.0, 1.0
    weights = contrast @ solve
    left = values - values @ solve.T @ model.T
    variance = np.sum(left**2, axis=1) / freedom * np.sum(weights**2)
    return np.asarray(2.0 * stdtr(freedom, -np.abs(values @ weights) / np.sqrt(variance)))
