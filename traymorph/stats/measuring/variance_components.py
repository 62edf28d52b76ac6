"""Variance components by analysis of variance, for crossed and nested random effects.

Each effect has a sum of squares: what a model that holds it explains beyond one without it. Its
expectation is a sum of the components, whose coefficients are traces; setting the mean squares
equal to their expectations gives the components. Where numbers are equal this is the analysis of
variance of the handbooks; where they are not, it is Henderson's fitting of constants (Henderson
1953, Biometrics 9:226-252, method 3; Searle, Casella & McCulloch 1992, Variance Components, ch. 5),
which is unbiased all the same.

Intervals are generalised confidence intervals (Weerahandi 1993, JASA 88:899-905; for studies of
measuring Hamada & Weerahandi 2000, J. Quality Technology 32:241-253): each expected mean square is
drawn as its mean square times its degrees of freedom over a chi-squared number, the components
follow from these, and quantiles of what is asked for are the limits. For the last component this is
the usual chi-squared interval, and for the share of a component in a one-way design the usual F
interval, both exact where values are normal.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]

_DRAWS = 20_000
_SEED = 1
_RANK = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Effect:
    """A random effect and the two models between which its sum of squares lies.

    Parameters
    ----------
    name : str
        Of the source.
    codes : ndarray of int, shape (n,), or None
        Level of each value; None for what is left, where each value has its own.
    model, without : tuple of ndarray of int, shape (n,)
        Factors of the larger and of the smaller model; the mean is in both. For what is left only
        ``without`` counts.
    """

    name: str
    codes: Codes | None
    model: tuple[Codes, ...]
    without: tuple[Codes, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Components:
    """Estimated components.

    Parameters
    ----------
    names : tuple of str
        Of the effects.
    variances : ndarray, shape (k,)
        As estimated: chance makes small ones negative.
    mean_squares, df : ndarray, shape (k,)
        Behind them.
    draws : ndarray, shape (m, k)
        Components as they may be, for intervals; negative ones among them.
    """

    names: tuple[str, ...]
    variances: Floats
    mean_squares: Floats
    df: Codes
    draws: Floats


class Layout:
    """A design, reckoned once for all metrics that share it.

    Parameters
    ----------
    effects : sequence of Effect
        The last one is what is left.
    """

    def __init__(self, effects: Sequence[Effect]) -> None:
        self.names = tuple(effect.name for effect in effects)
        self._spans = [_spans(effect) for effect in effects]
        self.df = np.array(
            [_rank(larger) - smaller.shape[1] for larger, smaller in self._spans], dtype=np.intp
        )
        self._weights = np.array(
            [[_trace(spans, effect.codes) for effect in effects] for spans in self._spans]
        )
        self._factors: Floats | None = None

    def estimate(self, values: Floats) -> Components:
        """Estimate the components of values laid out like this.

        Parameters
        ----------
        values : ndarray, shape (n,)
            All finite; every effect must have degrees of freedom.
        """
        mean_squares = self.mean_squares(values)
        weights = self._weights / self.df[:, None]
        drawn = mean_squares * self._drawn()
        return Components(
            self.names,
            _solved(weights, mean_squares),
            mean_squares,
            self.df,
            _solved(weights, drawn.T).T,
        )

    def mean_squares(self, values: Floats) -> Floats:
        """Mean square of each effect, shape (k,)."""
        away = values - values.mean()
        away = away - away.mean()
        squares = [
            _explained(larger, away) - _explained(smaller, away) for larger, smaller in self._spans
        ]
        return np.asarray(np.maximum(squares, 0.0) / self.df, dtype=np.float64)

    def _drawn(self) -> Floats:
        """Degrees of freedom over chi-squared numbers, the same ones every time.

        Each column holds the quantiles of its distribution in an order drawn by lot (Latin
        hypercube; McKay, Beckman & Conover 1979, Technometrics 21:239-245), so that limits are
        good to four digits.
        """
        if self._factors is None:
            draw = np.random.default_rng(_SEED)
            tails = (np.arange(_DRAWS) + 0.5) / _DRAWS
            columns = [draw.permutation(df / chdtri(df, tails)) for df in self.df]
            self._factors = np.column_stack(columns)
        return self._factors


def _solved(weights: Floats, sides: Floats) -> Floats:
    return np.asarray(np.linalg.solve(weights, sides), dtype=np.float64)


Span = tuple[Floats | int, Floats]
"""Orthonormal columns of the larger model (the number of values for everything), the smaller."""


def _spans(effect: Effect) -> Span:
    smaller = _basis(effect.without)
    return (len(smaller) if effect.codes is None else _basis(effect.model)), smaller


def _basis(factors: tuple[Codes, ...]) -> Floats:
    """Orthonormal columns that span factors and mean, shape (n, rank).

    The factor of most levels comes first, since its columns are orthogonal as they are; of the
    others only what these leave is decomposed.
    """
    first, *others = sorted(map(_indicators, factors), key=lambda one: -one.shape[1])
    basis = first / np.sqrt(first.sum(axis=0))
    for further in others:
        rest = further - basis @ (basis.T @ further)
        left, singular, _ = np.linalg.svd(rest, full_matrices=False)
        basis = np.hstack([basis, left[:, singular > _RANK * np.sqrt(len(further))]])
    return np.asarray(basis, dtype=np.float64)


def _indicators(codes: Codes) -> Floats:
    return np.asarray(codes[:, None] == np.unique(codes), dtype=np.float64)


def _rank(span: Floats | int) -> int:
    return span if isinstance(span, int) else int(span.shape[1])


def _explained(span: Floats | int, values: Floats) -> float:
    """Sum of squares of the values that a model explains."""
    return float(np.sum((values if isinstance(span, int) else span.T @ values) ** 2))


def _trace(spans: Span, codes: Codes | None) -> float:
    """Coefficient of a component in the expectation of a sum of squares."""
    levels = None if codes is None else _indicators(codes)
    larger, smaller = (_seen(span, levels) for span in spans)
    return larger - smaller


def _seen(span: Floats | int, levels: Floats | None) -> float:
    if levels is None:
        return float(_rank(span))
    return float(np.sum((levels if isinstance(span, int) else span.T @ levels) ** 2))
