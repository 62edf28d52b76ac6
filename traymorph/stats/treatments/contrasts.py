"""Differences between treatments on one scale, each with its standard error and freedom.

Without blocks every treatment has its own variance (Welch 1947, Biometrika 34:28-35, with the
freedom of Satterthwaite 1946, Biometrics Bulletin 2:110-114). With blocks a linear model holds the
block as fixed effect and one variance for all.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]
Pairs = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Contrasts:
    """Differences first minus second of pairs of treatments.

    Parameters
    ----------
    pairs : tuple of (int, int)
        Codes of both treatments.
    estimate, se, df : ndarray, shape (len(pairs),)
        Difference, its standard error, its degrees of freedom; NaN where one treatment has fewer
        than two trays.
    correlation : ndarray, shape (len(pairs), len(pairs))
        Between the differences, from what they share.
    """

    pairs: Pairs
    estimate: Floats
    se: Floats
    df: Floats
    correlation: Floats

    @property
    def t(self) -> Floats:
        """Difference over its standard error; NaN where trays do not differ at all."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(self.se > 0, self.estimate / self.se, np.nan)


def many_to_one(treatments: int, control: int) -> Pairs:
    """Give every treatment against the control."""
    return tuple((code, control) for code in range(treatments) if code != control)


def all_pairs(treatments: int) -> Pairs:
    """Give every pair of treatments, the later one first."""
    return tuple((high, low) for low in range(treatments) for high in range(low + 1, treatments))


_CAUTION = 1.0
"""How far unequal numbers move the freedom from Satterthwaite's to Cochran's, by the logarithm of
their ratio; from simulated trials without effect (docs/statistics.md)."""


def welch_contrasts(
    values: Floats, treatment: Codes, pairs: Pairs, *, cautious: bool = False
) -> Contrasts:
    """Compare treatments that each have their own variance.

    Parameters
    ----------
    values : ndarray, shape (n,)
        One value per tray, none missing.
    treatment : ndarray of int, shape (n,)
        Codes 0, 1, 2 ...
    pairs : tuple of (int, int)
        What to compare.
    cautious : bool
        Satterthwaite's freedom lets too many false alarms through where the smaller group varies
        more. Cochran's (1964, Biometrics 20:191-195) never does and is too strict where numbers
        are equal; True takes a freedom between both, the nearer to Cochran's the less equal the
        numbers are.
    """
    groups = int(max(max(pair) for pair in pairs)) + 1
    count = np.bincount(treatment, minlength=groups).astype(np.float64)
    mean, of_mean = _mean_and_its_variance(values, treatment, count)
    first, second = (np.array([pair[side] for pair in pairs]) for side in (0, 1))
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = of_mean[first] + of_mean[second]
        share = [of_mean[side] / variance for side in (first, second)]
        freedom = [count[side] - 1.0 for side in (first, second)]
        inverse = sum(c**2 / f for c, f in zip(share, freedom, strict=True))
        if cautious:
            weight = np.minimum(1.0, _CAUTION * np.abs(np.log(count[first] / count[second])))
            strict = sum(c / f for c, f in zip(share, freedom, strict=True))
            inverse = (1.0 - weight) * inverse + weight * strict
        df = 1.0 / inverse
    return Contrasts(
        pairs,
        mean[first] - mean[second],
        np.sqrt(variance),
        df,
        _correlation(pairs, np.diag(of_mean)),
    )


def blocked_contrasts(values: Floats, treatment: Codes, block: Codes, pairs: Pairs) -> Contrasts:
    """Compare treatments within blocks: values = treatment + block + error, by least squares.

    Parameters
    ----------
    values : ndarray, shape (n,)
        One value per tray, none missing.
    treatment, block : ndarray of int, shape (n,)
        Codes 0, 1, 2 ... Every treatment must meet the others in some block, directly or through
        others.
    pairs : tuple of (int, int)
        What to compare.

    Returns
    -------
    Contrasts
        Standard errors are NaN where no freedom is left.
    """
    treatments, blocks = int(treatment.max()) + 1, int(block.max()) + 1
    n = len(values)
    design = np.zeros((n, treatments + blocks - 1))
    design[np.arange(n), treatment] = 1.0
    later = block > 0
    design[np.flatnonzero(later), treatments + block[later] - 1] = 1.0
    q, r = np.linalg.qr(design)
    effects = np.linalg.solve(r, q.T @ values)
    df = n - design.shape[1]
    left = values - design @ effects
    error = float(left @ left) / df if df > 0 else np.nan
    inverse = np.linalg.inv(r)
    covariance = (error * inverse @ inverse.T)[:treatments, :treatments]
    first, second = (np.array([pair[side] for pair in pairs]) for side in (0, 1))
    variance = (
        covariance[first, first] + covariance[second, second] - 2.0 * covariance[first, second]
    )
    return Contrasts(
        pairs,
        effects[first] - effects[second],
        np.sqrt(np.maximum(variance, 0.0)),
        np.full(len(pairs), float(df)),
        _correlation(pairs, covariance),
    )


def residuals(values: Floats, treatment: Codes, block: Codes | None) -> tuple[Floats, Floats, int]:
    """Give what treatments, and blocks where there are any, leave of every value.

    Returns
    -------
    residual, leverage : ndarray, shape (n,)
        What is left, and the share of each value in its own fit.
    df : int
        Degrees of freedom of the residuals.
    """
    columns = [treatment] if block is None else [treatment, block]
    design = np.hstack([_indicators(codes)[:, min(k, 1) :] for k, codes in enumerate(columns)])
    # Treatments without a value have a column of noughts.
    design = design[:, design.any(axis=0)]
    basis, size, _ = np.linalg.svd(design, full_matrices=False)
    basis = basis[:, size > 1e-9 * size[0]]
    return (
        values - basis @ (basis.T @ values),
        np.asarray((basis**2).sum(axis=1)),
        len(values) - basis.shape[1],
    )


def _indicators(codes: Codes) -> Floats:
    columns = np.zeros((len(codes), int(codes.max()) + 1))
    columns[np.arange(len(codes)), codes] = 1.0
    return columns


def _mean_and_its_variance(
    values: Floats, treatment: Codes, count: Floats
) -> tuple[Floats, Floats]:
    groups = len(count)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.bincount(treatment, values, minlength=groups) / count
        away = values - mean[treatment]
        squares = np.bincount(treatment, away**2, minlength=groups)
        variance = np.where(count > 1, squares / (count - 1.0), np.nan)
        return mean, variance / count


def _correlation(pairs: Pairs, covariance: Floats) -> Floats:
    weights = np.zeros((len(pairs), len(covariance)))
    for row, (first, second) in enumerate(pairs):
        weights[row, first], weights[row, second] = 1.0, -1.0
    between = weights @ np.nan_to_num(covariance) @ weights.T
    size = np.sqrt(np.diag(between))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.nan_to_num(between / np.outer(size, size)))
