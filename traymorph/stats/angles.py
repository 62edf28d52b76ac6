"""Angles as numbers that can be averaged and subtracted."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def unwound(degrees: Floats) -> Floats:
    """Angles near one another as numbers near one another: 350 and 10 degrees lie 20 apart."""
    turned = np.exp(1j * np.radians(degrees))
    middle = float(np.degrees(np.angle(turned.mean())))
    return np.asarray(middle + (degrees - middle + 180.0) % 360.0 - 180.0)
