"""How many batches pass on average before a chart signals, by solving its integral equation.

The equations are those of Crowder 1987 (Technometrics 29:401-407) for the EWMA and of Page 1954
(Biometrika 41:100-115) for the CUSUM, solved at Gauss-Legendre nodes. Values are normal and
independent, limits known exactly; a shift counts in standard deviations.
"""

import math
from collections.abc import Callable
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]

_NODES = 64
_PRECISION = 1e-5
"""Of limits, in standard deviations."""


def shewhart_run_length(shift: float = 0.0, *, width: float = 3.0) -> float:
    """Average run length of an individuals chart with limits at ``width`` standard deviations."""
    return 1.0 / float(ndtr(shift - width) + ndtr(-shift - width))


@cache
def ewma_run_length(weight: float, width: float, shift: float = 0.0) -> float:
    """Average run length of an EWMA that starts at the centre.

    Parameters
    ----------
    weight : float
        Of the newest batch, above 0 and below 1.
    width : float
        Of the limits, in standard deviations of the EWMA once it has settled.
    shift : float
        Of the mean from the first batch on.
    """
    nodes, weights = _quadrature()
    limit = width * math.sqrt(weight / (2.0 - weight))
    places = nodes * limit
    kernel = _density((places - (1.0 - weight) * places[:, None]) / weight - shift)
    steps = weights * limit / weight
    lengths = np.linalg.solve(np.eye(_NODES) - kernel * steps, np.ones(_NODES))
    return float(1.0 + (_density(places / weight - shift) * steps) @ lengths)


@cache
def cusum_run_length(reference: float, limit: float, shift: float = 0.0) -> float:
    """Average run length of a two-sided tabular CUSUM that starts at zero.

    Parameters
    ----------
    reference, limit : float
        k and h, in standard deviations.
    shift : float
        Of the mean from the first batch on.
    """
    up, down = (_one_sided(reference, limit, side * shift) for side in (1.0, -1.0))
    return 1.0 / (1.0 / up + 1.0 / down)


def _one_sided(reference: float, limit: float, shift: float) -> float:
    """Run length from zero; the last unknown is that of a sum that fell back to zero."""
    nodes, weights = _quadrature()
    places = np.append((nodes + 1.0) * limit / 2.0, 0.0)
    system = np.empty((_NODES + 1, _NODES + 1))
    step = places[:-1] + reference - places[:, None] - shift
    system[:, :-1] = _density(step) * weights * limit / 2.0
    system[:, -1] = ndtr(reference - places - shift)
    lengths = np.linalg.solve(np.eye(_NODES + 1) - system, np.ones(_NODES + 1))
    return float(lengths[-1])


def ewma_width(weight: float, run_length: float) -> float:
    """Width of the limits that gives an in-control run length."""
    return _solved(lambda width: ewma_run_length(weight, width), run_length, (0.5, 6.0))


def cusum_limit(reference: float, run_length: float) -> float:
    """Limit h that gives an in-control run length, in standard deviations."""
    return _solved(lambda limit: cusum_run_length(reference, limit), run_length, (0.1, 15.0))


def _solved(
    length: Callable[[float], float], run_length: float, between: tuple[float, float]
) -> float:
    """Halve the interval; run lengths grow with the limit. Solvers of SciPy load for longer."""
    low, high = between
    while high - low > _PRECISION:
        middle = (low + high) / 2.0
        low, high = (middle, high) if length(middle) < run_length else (low, middle)
    return (low + high) / 2.0


@cache
def _quadrature() -> tuple[Floats, Floats]:
    """Nodes and weights between -1 and 1; to find them takes longer than to use them."""
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    return nodes, weights


def _density(x: Floats) -> Floats:
    return np.asarray(np.exp(-(x**2) / 2.0) / math.sqrt(2.0 * math.pi))
