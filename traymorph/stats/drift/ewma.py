"""Exponentially weighted moving average: sees small lasting shifts (Roberts 1959).

Technometrics 1:239-250; as in the NIST/SEMATECH e-Handbook, 6.3.2.4.
"""

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def moving_average(values: Floats, start: float, weight: float) -> Floats:
    """Exponentially weighted moving average.

    Parameters
    ----------
    values : ndarray, shape (n,)
        In their order, all finite.
    start : float
        What stands before the first value: the target or the baseline's mean.
    weight : float
        Of the newest value (lambda), above 0, at most 1.
    """
    averages = np.empty(len(values))
    held = start
    for place, value in enumerate(values):
        held = weight * float(value) + (1.0 - weight) * held
        averages[place] = held
    return averages


def half_width(sigma: float, weight: float, width: float) -> float:
    """Distance of the settled limits from the centre.

    Parameters
    ----------
    sigma : float
        Standard deviation of single values.
    weight : float
        Of the newest value.
    width : float
        In standard deviations of the average.
    """
    return width * sigma * math.sqrt(weight / (2.0 - weight))
