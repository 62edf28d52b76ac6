"""Families of tests: Holm's step-down adjustment (Holm 1979, Scand. J. Statistics 6:65-70)."""

import numpy as np
from numpy.typing import NDArray


def holm(p: NDArray[np.float64]) -> NDArray[np.float64]:
    """Adjust p values so that the chance of any false alarm in the family stays at the level.

    Parameters
    ----------
    p : ndarray, shape (m,)
        NaN for tests that could not be made; they do not count.

    Returns
    -------
    ndarray, shape (m,)
    """
    adjusted = np.full(len(p), np.nan)
    known = np.flatnonzero(np.isfinite(p))
    order = known[np.argsort(p[known], kind="stable")]
    steps = p[order] * np.arange(len(order), 0, -1)
    adjusted[order] = np.minimum(np.maximum.accumulate(steps), 1.0)
    return adjusted
