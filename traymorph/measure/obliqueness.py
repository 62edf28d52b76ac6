"""How much stem a vertical view would show, from a photo that sees the tray's ends at a slant.

A camera half a metre above a tray looks at its ends at 20 to 30 degrees and sees stems between
the leaves that nobody sees from straight above. The share of stem in the picture grows with the
slant, the tangent of the angle to the vertical, and what is left at no slant is what a vertical
projection would show. The growth is read from the tray itself, weighed against what stems
of usual lean would do: a stand is never quite even, and no two crops lean alike.
"""

import math

import numpy as np
from numpy.typing import NDArray

USUAL_LEAN = 0.3
"""Tangent of the usual angle between stems and the vertical, from rendered trays."""
REMAINING_U = 0.3
"""Standard uncertainty of what is taken off, as a share of it, from the same trays."""
_LEAN_U = 0.15
"""Doubt of the share that remains, from the spread of lean between crops."""
_BLOCK_MM = 20.0
_BLOCKS_PER_PATCH = 4.0
_FEWEST_BLOCKS = 20

Plane = NDArray[np.float32]


def seen_from_above(
    stem: Plane, slant: Plane, inside: tuple[slice, slice], step_mm: float
) -> Plane:
    """Share of stem that a vertical view would show.

    Parameters
    ----------
    stem : ndarray of float32, shape (rows, columns)
        Share of stem as the photo shows it.
    slant : ndarray of float32, shape (rows, columns)
        Tangent of the angle between the line of sight and the vertical.
    inside : tuple of slice
        Rows and columns of the tray's opening.
    step_mm : float
        Side of a cell.

    Returns
    -------
    ndarray of float32, shape (rows, columns)
        At most ``stem``.
    """
    amount, tangent = (_blocks(layer[inside], step_mm) for layer in (stem, slant))
    mean, usual = float(amount.mean()), float(tangent.mean())
    if mean <= 0 or usual <= 0:
        return stem
    upright = mean * USUAL_LEAN / math.hypot(USUAL_LEAN, usual)
    if len(amount) >= _FEWEST_BLOCKS:
        read, doubt = _at_no_slant(amount, tangent)
        weight = (_LEAN_U * mean) ** 2 / ((_LEAN_U * mean) ** 2 + doubt**2)
        upright += weight * (float(np.clip(read, 0.0, mean)) - upright)
    growth = (mean - upright) / usual
    kept: Plane = (stem * (upright / (upright + growth * slant))).astype(np.float32)
    return kept


def _at_no_slant(amount: NDArray[np.float64], tangent: NDArray[np.float64]) -> tuple[float, float]:
    """Fit a straight line over the slant; its value at none, with its standard error.

    Neighbouring blocks share their patches of the stand, so that about one in four counts.
    """
    away = tangent - tangent.mean()
    squares = float((away**2).sum())
    if squares <= 0:
        return float(amount.mean()), math.inf
    growth = float((away * amount).sum()) / squares
    left = amount - amount.mean() - growth * away
    variance = float((left**2).mean()) * _BLOCKS_PER_PATCH
    return (
        float(amount.mean() - growth * tangent.mean()),
        math.sqrt(variance * (1.0 / len(amount) + float(tangent.mean()) ** 2 / squares)),
    )


def _blocks(layer: Plane, step_mm: float) -> NDArray[np.float64]:
    """Means over whole blocks of about 20 mm, flattened."""
    size = max(1, round(_BLOCK_MM / step_mm))
    rows, columns = (n // size for n in layer.shape)
    if rows == 0 or columns == 0:
        return np.array([float(layer.mean())])
    whole = layer[: rows * size, : columns * size].reshape(rows, size, columns, size)
    means: NDArray[np.float64] = whole.mean(axis=(1, 3), dtype=np.float64).ravel()
    return means
