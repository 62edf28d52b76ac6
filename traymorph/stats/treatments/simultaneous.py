"""Several comparisons at once: p values and limits that hold for all of them together.

Against a control the differences share the control's mean, so their t values have a multivariate
t distribution (Dunnett 1955, JASA 50:1096-1121; with unequal variances Hasler & Hothorn 2008,
Biometrical Journal 50:793-800). Between all pairs the studentized range gives them (Tukey-Kramer;
with unequal variances Games & Howell 1976, J. Educational Statistics 1:113-125).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv, ndtr, stdtr, stdtrit

from traymorph.stats.treatments.contrasts import Contrasts

Floats = NDArray[np.float64]

_NORMAL_NODES, _SCALE_NODES = 48, 64
_MOST_STEPS = 60


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
        within = partial(all_within, loading=loading, df=float(df[k]))
        critical[k] = _critical(within, len(t), float(df[k]), level)
        if np.isfinite(t[k]):
            together[k] = 1.0 - within(float(t[k]))
    return Together(
        two_sided_p(contrasts.t, df), np.clip(together, 0.0, 1.0), critical * contrasts.se
    )


def between_all(contrasts: Contrasts, treatments: int, level: float) -> Together:
    """Every treatment against every other."""
    if len(contrasts.pairs) == 1:
        return by_itself(contrasts, level)
    t, df = np.abs(contrasts.t), contrasts.df
    together, critical = np.full(len(t), np.nan), np.full(len(t), np.nan)
    for k in np.flatnonzero(np.isfinite(df) & (df > 0)):
        freedom = float(df[k])
        within = partial(range_within, treatments=treatments, df=freedom)
        critical[k] = _critical(within, len(t), freedom, level)
        if np.isfinite(t[k]):
            together[k] = 1.0 - within(float(t[k]))
    return Together(
        two_sided_p(contrasts.t, df), np.clip(together, 0.0, 1.0), critical * contrasts.se
    )


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
        # Only a treatment without any spread brings it to the end of the scale.
        rho = float(np.clip(correlation[0, 1], -0.9990, 0.9990))
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


def range_within(limit: float, treatments: int, df: float) -> float:
    """Probability that no difference between treatments exceeds the limit in standard errors.

    The distribution of the studentized range at the limit times the square root of 2. SciPy's
    ``studentized_range`` gives the same; it takes some hundred times as long, and every metric and
    pair has freedom of its own.
    """
    z, weight = _normal_nodes()
    scale, scale_weight = _scale_nodes(df)
    reach = limit * math.sqrt(2.0) * scale[:, None]
    # Shifted by half the range, where the integrand has its bulk.
    middle = z[None, :] + 0.5 * reach
    density = np.exp(0.5 * z[None, :] ** 2 - 0.5 * middle**2)
    below = ndtr(middle) - ndtr(middle - reach)
    return float(treatments * (scale_weight @ (density * below ** (treatments - 1)) @ weight))


def _critical(within: Callable[[float], float], comparisons: int, df: float, level: float) -> float:
    """Limit that all comparisons keep together with the probability asked for."""
    # Too small for more than one comparison; Bonferroni's limit is never too small.
    low = float(stdtrit(df, 0.5 + level / 2.0))
    high = float(stdtrit(df, 1.0 - (1.0 - level) / (2.0 * comparisons))) * (1.0 + 1e-6)
    below, above = within(low) - level, within(high) - level
    for _ in range(_MOST_STEPS):
        if above <= 0.0 or below >= 0.0 or high - low < 1e-9 * high:
            break
        # False position; the end that stays is pulled in (the Illinois rule).
        middle = (low * above - high * below) / (above - below)
        error = within(middle) - level
        if abs(error) < 1e-10:
            return middle
        if error < 0.0:
            low, below, above = middle, error, 0.5 * above
        else:
            high, above, below = middle, error, 0.5 * below
    return high if above <= 0.0 else 0.5 * (low + high)


@cache
def _normal_nodes() -> tuple[Floats, Floats]:
    z, weight = np.polynomial.hermite_e.hermegauss(_NORMAL_NODES)
    return z, weight / weight.sum()


@cache
def _shares() -> tuple[Floats, Floats]:
    """Nodes between 0 and 1, dense near 0, and their weights."""
    x, weight = np.polynomial.legendre.leggauss(_SCALE_NODES)
    share = 0.5 * (1.0 + x)
    return share**4, 2.0 * share**3 * weight


def _scale_nodes(df: float) -> tuple[Floats, Floats]:
    """Nodes and weights of the ratio of estimated to true standard deviation.

    Dense where the ratio is small: far t values come from there.
    """
    share, weight = _shares()
    return np.sqrt(2.0 * gammaincinv(0.5 * df, share) / df), weight
