"""Several comparisons at once: p values and limits that hold for all of them together.

Against a control the differences share the control's mean, so their t values have a multivariate
t distribution (Dunnett 1955, JASA 50:1096-1121; with unequal variances Hasler & Hothorn 2008,
Biometrical Journal 50:793-800). Between all pairs the studentized range gives them (Tukey-Kramer;
with unequal variances Games & Howell 1976, J. Educational Statistics 1:113-125).
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, ndtr, stdtr, stdtrit

from traymorph.stats.contrasts import Contrasts

Floats = NDArray[np.float64]

_NORMAL_NODES, _SCALE_NODES = 80, 120
_BISECTIONS = 60
_MOST_CRITICAL = 1e4


@dataclass(frozen=True, slots=True, eq=False)
class Together:
    """p values and half widths of intervals, by comparison.

    Parameters
    ----------
    p : ndarray, shape (k,)
        Two-sided, each comparison by itself.
    p_together : ndarray, shape (k,)
        Two-sided, adjusted for all comparisons of the metric.
    half_width : ndarray, shape (k,)
        The interval is the difference plus or minus this; it holds for all comparisons together.
    """

    p: Floats
    p_together: Floats
    half_width: Floats


def by_itself(contrasts: Contrasts, level: float) -> Together:
    """One comparison: Student's t."""
    p = two_sided_p(contrasts.t, contrasts.df)
    return Together(p, p, stdtrit(contrasts.df, 0.5 + level / 2.0) * contrasts.se)


def against_control(contrasts: Contrasts, level: float) -> Together:
    """Every treatment against one control."""
    if len(contrasts.pairs) == 1:
        return by_itself(contrasts, level)
    loading = one_factor(contrasts.correlation)
    t, df = np.abs(contrasts.t), contrasts.df
    together, critical = np.full(len(t), np.nan), np.full(len(t), np.nan)
    for k in np.flatnonzero(np.isfinite(df) & (df > 0)):
        critical[k] = _critical(loading, float(df[k]), level)
        if np.isfinite(t[k]):
            together[k] = 1.0 - all_within(float(t[k]), loading, float(df[k]))
    return Together(
        two_sided_p(contrasts.t, df), np.clip(together, 0.0, 1.0), critical * contrasts.se
    )


def between_all(contrasts: Contrasts, treatments: int, level: float) -> Together:
    """Every treatment against every other."""
    if len(contrasts.pairs) == 1:
        return by_itself(contrasts, level)
    # Imported here: it takes longer than all the rest of a comparison.
    from scipy.stats import studentized_range  # noqa: PLC0415

    t, df = contrasts.t, contrasts.df
    together, critical = np.full(len(t), np.nan), np.full(len(t), np.nan)
    widest: dict[float, float] = {}
    for k in np.flatnonzero(np.isfinite(df) & (df > 0)):
        freedom = float(df[k])
        if freedom not in widest:
            widest[freedom] = float(studentized_range.ppf(level, treatments, freedom))
        critical[k] = widest[freedom] / math.sqrt(2.0)
        if np.isfinite(t[k]):
            q = abs(float(t[k])) * math.sqrt(2.0)
            together[k] = float(studentized_range.sf(q, treatments, freedom))
    return Together(two_sided_p(t, df), np.clip(together, 0.0, 1.0), critical * contrasts.se)


def two_sided_p(t: Floats, df: Floats) -> Floats:
    """Probability of a t at least as far from 0."""
    return np.asarray(2.0 * stdtr(df, -np.abs(t)))


def one_factor(correlation: Floats) -> Floats:
    """Find loadings l with correlation close to l_i l_j off the diagonal, shape (k,).

    Exact for differences to one control from independent means; for incomplete blocks the
    nearest such structure (principal factor, iterated).
    """
    k = len(correlation)
    if k == 2:
        rho = correlation[0, 1]
        return np.array([math.sqrt(abs(rho)), math.copysign(math.sqrt(abs(rho)), rho)])
    shared = np.max(np.abs(correlation - np.eye(k)), axis=1)
    loading = np.zeros(k)
    for _ in range(200):
        reduced = correlation - np.eye(k) + np.diag(shared)
        values, vectors = np.linalg.eigh(reduced)
        loading = vectors[:, -1] * math.sqrt(max(float(values[-1]), 0.0))
        newer = np.clip(loading**2, 0.0, 0.999)
        if np.allclose(newer, shared, atol=1e-10):
            break
        shared = newer
    return np.asarray(np.clip(loading, -0.9995, 0.9995))


def all_within(limit: float, loading: Floats, df: float) -> float:
    """Probability that no t of those that share one factor lies beyond the limit on either side."""
    z, weight = _normal_nodes()
    scale, scale_weight = _scale_nodes(df)
    rest = np.sqrt(1.0 - loading**2)
    shift = loading[:, None, None] * z[None, None, :]
    reach = limit * scale[None, :, None]
    inside = ndtr((reach - shift) / rest[:, None, None]) - ndtr(
        (-reach - shift) / rest[:, None, None]
    )
    return float(scale_weight @ np.prod(inside, axis=0) @ weight)


def _critical(loading: Floats, df: float, level: float) -> float:
    low = float(stdtrit(df, 0.5 + level / 2.0))
    # Bonferroni's limit is never too small.
    high = min(
        float(stdtrit(df, 1.0 - (1.0 - level) / (2.0 * len(loading)))) + 1e-6, _MOST_CRITICAL
    )
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        if all_within(middle, loading, df) < level:
            low = middle
        else:
            high = middle
        if high - low < 1e-7 * high:
            break
    return 0.5 * (low + high)


@cache
def _normal_nodes() -> tuple[Floats, Floats]:
    z, weight = np.polynomial.hermite_e.hermegauss(_NORMAL_NODES)
    return z, weight / weight.sum()


@cache
def _scale_nodes(df: float) -> tuple[Floats, Floats]:
    """Nodes and weights of the ratio of estimated to true standard deviation."""
    x, weight = np.polynomial.legendre.leggauss(_SCALE_NODES)
    return np.sqrt(chdtri(df, 0.5 * (1.0 - x)) / df), 0.5 * weight
