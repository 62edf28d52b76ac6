"""sRGB by IEC 61966-2-1: code values, linear light, and the CIE values they stand for."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

_DECODE_KNEE = 0.04045
_ENCODE_KNEE = 0.0031308


def decode_srgb(encoded: ArrayLike) -> NDArray[np.float64]:
    """From encoded values in 0..1 to linear light in 0..1, any shape."""
    value = np.asarray(encoded, dtype=np.float64)
    curved = ((np.maximum(value, 0.0) + 0.055) / 1.055) ** 2.4
    return np.where(value <= _DECODE_KNEE, value / 12.92, curved)


def encode_srgb(linear: ArrayLike) -> NDArray[np.float64]:
    """From linear light in 0..1 to encoded values in 0..1, any shape; nothing is clipped."""
    value = np.asarray(linear, dtype=np.float64)
    curved = 1.055 * np.maximum(value, 0.0) ** (1.0 / 2.4) - 0.055
    return np.where(value <= _ENCODE_KNEE, value * 12.92, curved)


LINEAR_OF_CODE: NDArray[np.float32] = decode_srgb(np.arange(256) / 255.0).astype(np.float32)
"""Linear light of each 8-bit code, shape (256,)."""
LINEAR_OF_CODE.flags.writeable = False

XYZ_OF_LINEAR: NDArray[np.float64] = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
"""CIE XYZ (2 degrees, white D65 at Y = 1) of linear red, green and blue, shape (3, 3)."""
XYZ_OF_LINEAR.flags.writeable = False
