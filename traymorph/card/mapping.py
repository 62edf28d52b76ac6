"""From white-balanced light to linear sRGB, as far as the card's colours can hold it.

Two forms leave greys grey and do not change with exposure: a 3 x 3 matrix, and the root
polynomial of second degree, whose terms R, G, B, sqrt(RG), sqrt(GB), sqrt(RB) all double when the
light doubles. Source: Finlayson, Mackiewicz & Hurlbert 2015, IEEE Transactions on Image
Processing 24(5):1460-1470.
"""

from enum import IntEnum
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_Float = TypeVar("_Float", np.float32, np.float64)

_HELD = 1e-5
"""Keeps the solution finite where the colours seen lie in one plane."""
_PAIRS = ((0, 1), (1, 2), (0, 2))


class Form(IntEnum):
    """Form of the mapping; the value is its number of terms per channel."""

    NONE = 0
    LINEAR = 3
    ROOTS = 6


def expand(light: NDArray[_Float], form: Form) -> NDArray[_Float]:
    """Terms of the mapping, shape (..., 3) or (..., 6), of light of shape (..., 3)."""
    if form is not Form.ROOTS:
        return light
    above = np.maximum(light, 0.0)
    roots = [np.sqrt(above[..., i] * above[..., j]) for i, j in _PAIRS]
    return np.concatenate([light, np.stack(roots, axis=-1)], axis=-1)


def solve(light: Floats, wanted: Floats, weight: Floats, form: Form) -> Floats:
    """Coefficients, shape (3, 3) or (3, 6), by weighted least squares; each row sums to 1.

    Parameters
    ----------
    light, wanted : ndarray, shape (n, 3)
        White-balanced light seen, linear sRGB of the patches.
    weight : ndarray, shape (n,)
        By which each patch's errors are multiplied.
    form : Form
        Of the mapping.
    """
    if form is Form.NONE:
        return np.eye(3)
    # What is 0 on every grey, so that no coefficient can tint one.
    null = np.zeros((form.value, form.value - 1))
    null[0, 0] = null[1, 1] = 1.0
    null[2, :2] = -1.0
    if form is Form.ROOTS:
        for k, pair in enumerate(_PAIRS):
            null[3 + k, 2 + k] = 1.0
            null[list(pair), 2 + k] = -0.5
    design = expand(light, form) @ null * weight[:, None]
    target = (wanted - light) * weight[:, None]
    solved = np.linalg.solve(design.T @ design + _HELD * np.eye(null.shape[1]), design.T @ target)
    return np.asarray(np.eye(3, form.value) + (null @ solved).T)


def with_gains(coefficients: Floats, gains: Floats) -> Floats:
    """Coefficients for light that is still to be multiplied by a gain per channel, shape (3,)."""
    factors = gains
    if coefficients.shape[1] == Form.ROOTS.value:
        factors = np.append(gains, [np.sqrt(gains[i] * gains[j]) for i, j in _PAIRS])
    return np.asarray(coefficients * factors)
