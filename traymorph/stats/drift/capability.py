"""How well batches fit between the limits of a written standard."""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from traymorph.model.drift import Capability

Floats = NDArray[np.float64]

FEWEST = 10
"""With fewer batches the interval is so wide that the figure says nothing."""


def capability(
    values: Floats, lower: float, upper: float, *, level: float = 0.95
) -> Capability | None:
    """Distance from the mean to the nearer limit over three standard deviations (Cpk).

    Parameters
    ----------
    values : ndarray, shape (n,)
        Batches in their order, all finite.
    lower, upper : float
        Limits; NaN = none on that side.
    level : float
        Of the interval.

    Returns
    -------
    Capability or None
        None with fewer than ten batches, or where they do not vary. The standard deviation is that
        of all batches (e-Handbook 6.1.6), the interval that of Bissell 1990 (Applied Statistics
        39:331-340): normal, independent batches of one kind.
    """
    n = len(values)
    if n < FEWEST or float(np.ptp(values)) == 0.0:
        return None
    mean, sd = float(values.mean()), float(values.std(ddof=1))
    cpk = float(np.nanmin([upper - mean, mean - lower])) / (3.0 * sd)
    doubt = math.sqrt(1.0 / (9.0 * n) + cpk**2 / (2.0 * (n - 1)))
    away = float(ndtri(0.5 + level / 2.0)) * doubt
    return Capability(cpk, cpk - away, cpk + away, n)
