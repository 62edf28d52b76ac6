"""Colour difference of two leaf colours with its doubt, from table values alone."""

import math

import numpy as np
from numpy.typing import NDArray
from skimage.color import deltaE_ciede2000

from traymorph.model.results import Measured

Lab = tuple[Measured, Measured, Measured]
"""L*, a*, b*: the columns ``leaf_l``, ``leaf_a``, ``leaf_b`` of a tray, each with its ``_u``."""


def colour_difference(one: Lab, other: Lab) -> Measured:
    """CIEDE2000 between two colours, with its standard uncertainty.

    Parameters
    ----------
    one, other : tuple of three Measured
        L*, a* and b* of each.

    Returns
    -------
    Measured
        The difference and its doubt: every one of the six values is moved by its own standard
        uncertainty, up and down, and the larger change counts (JCGM 100:2008, 5.1.3 note 2); they
        are taken to be independent, which overstates the doubt of two trays seen with one print
        of the card. NaN where a value is missing. A difference cannot fall below 0, so one no
        larger than its doubt says that none was seen.

    Notes
    -----
    Source of the difference: Sharma, Wu & Dalal 2005, Color Res. Appl. 30(1):21-30, with all
    parametric factors 1 (ISO/CIE 11664-6).
    """
    values = np.array([[m.value for m in colour] for colour in (one, other)])
    doubts = np.array([[m.u for m in colour] for colour in (one, other)])
    if not (np.isfinite(values).all() and np.isfinite(doubts).all()):
        return Measured()
    steps = doubts.ravel()[:, None] * np.eye(6)
    flat = values.ravel()
    base = float(ciede2000(*values))
    up, down = (
        np.abs(ciede2000(pairs[:, :3], pairs[:, 3:]) - base)
        for pairs in (flat + steps, flat - steps)
    )
    return Measured(base, math.hypot(*np.maximum(up, down)))


def ciede2000(one: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.float64]:
    """CIEDE2000 of CIELAB colours, shape (..., 3) each; what lacks a dimension is repeated."""
    first, second = np.broadcast_arrays(one, other)
    return np.asarray(deltaE_ciede2000(first, second))  # type: ignore[no-untyped-call]
