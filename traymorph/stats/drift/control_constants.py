"""Constants of control charts for samples of ``n`` normal values, computed, not looked up.

``d2`` and ``d3`` are mean and standard deviation of the range of ``n`` standard normal values
(Tippett 1925, Biometrika 17:364-387), ``c4`` the mean of their standard deviation. The limits
follow from them as in ISO 7870-2 and the NIST/SEMATECH e-Handbook, 6.3.2.
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import gammaln, ndtr

_WIDEST = 16.0
"""No range of so few normal values is wider."""
_STEP = 0.02
_NODES = 200


@dataclass(frozen=True, slots=True)
class ControlConstants:
    """Constants for samples of one size, with limits at three standard deviations.

    Parameters
    ----------
    d2, d3 : float
        Mean and standard deviation of the range.
    c4 : float
        Mean of the sample standard deviation.
    """

    n: int
    d2: float
    d3: float
    c4: float

    @property
    def a2(self) -> float:
        """Half width of the limits of means, in mean ranges."""
        return 3.0 / (self.d2 * math.sqrt(self.n))

    @property
    def lower_range(self) -> float:
        """D3: lower limit of ranges, in mean ranges."""
        return max(0.0, 1.0 - 3.0 * self.d3 / self.d2)

    @property
    def upper_range(self) -> float:
        """D4: upper limit of ranges, in mean ranges."""
        return 1.0 + 3.0 * self.d3 / self.d2

    @property
    def lower_sd(self) -> float:
        """B3: lower limit of standard deviations, in mean standard deviations."""
        return max(0.0, 1.0 - 3.0 * math.sqrt(1.0 - self.c4**2) / self.c4)

    @property
    def upper_sd(self) -> float:
        """B4: upper limit of standard deviations, in mean standard deviations."""
        return 1.0 + 3.0 * math.sqrt(1.0 - self.c4**2) / self.c4


def mean_sd(n: int) -> float:
    """Mean of the standard deviation of ``n`` standard normal values (c4)."""
    return math.sqrt(2.0 / (n - 1)) * math.exp(float(gammaln(n / 2) - gammaln((n - 1) / 2)))


@cache
def control_constants(n: int) -> ControlConstants:
    """Compute the constants for samples of ``n`` values, at least 2; errors under 1e-9.

    The range of ``n`` values exceeds ``r`` with 1 - n * integral of the density at ``x`` times the
    chance that the other values lie between ``x`` and ``x + r``.
    """
    x = np.arange(-10.0, 10.0, _STEP)
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    r = (nodes + 1.0) * _WIDEST / 2.0
    weights = weights * _WIDEST / 2.0
    density = np.exp(-(x**2) / 2.0) / math.sqrt(2.0 * math.pi)
    between = (ndtr(x[:, None] + r) - ndtr(x)[:, None]) ** (n - 1)
    beyond = 1.0 - n * _STEP * (density @ between)
    mean = float(weights @ beyond)
    square = float(weights @ (2.0 * r * beyond))
    return ControlConstants(n, mean, math.sqrt(square - mean**2), mean_sd(n))
