"""Colour maths of the scene maker: sRGB coding, CIELAB, colour of lamps.

Everything is computed here from the published formulas, so that the yardstick shares
nothing with what it judges.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.floating]

# IEC 61966-2-1, linear sRGB to CIE XYZ (D65, 2 degrees).
RGB_TO_XYZ = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
WHITE_D65 = RGB_TO_XYZ.sum(axis=1)


def decode_srgb(encoded: ArrayLike) -> Array:
    """Turn sRGB-encoded values (0..1) into linear light (IEC 61966-2-1)."""
    v = np.asarray(encoded, dtype=np.float64)
    return np.where(v <= 0.04045, v / 12.92, ((np.maximum(v, 0.0) + 0.055) / 1.055) ** 2.4)


def encode_srgb(linear: ArrayLike) -> Array:
    """Turn linear light (0..1) into sRGB-encoded values (IEC 61966-2-1)."""
    v = np.asarray(linear)
    return np.where(v <= 0.0031308, v * 12.92, 1.055 * np.maximum(v, 1e-9) ** (1 / 2.4) - 0.055)


def paint(red: float, green: float, blue: float) -> Array:
    """Linear reflectance of a colour written as 8-bit sRGB."""
    return decode_srgb(np.array([red, green, blue]) / 255.0)


def linear_to_lab(linear: ArrayLike) -> Array:
    """CIELAB (D65, 2 degrees) of linear sRGB; last axis is the colour."""
    xyz = np.asarray(linear, dtype=np.float64) @ RGB_TO_XYZ.T / WHITE_D65
    delta = 6 / 29
    f = np.where(xyz > delta**3, np.cbrt(xyz), xyz / (3 * delta**2) + 4 / 29)
    return np.stack(
        [
            116 * f[..., 1] - 16,
            500 * (f[..., 0] - f[..., 1]),
            200 * (f[..., 1] - f[..., 2]),
        ],
        axis=-1,
    )


def hsv_to_rgb(hue_deg: ArrayLike, saturation: ArrayLike, value: ArrayLike) -> Array:
    """Encoded RGB (0..1) of hue (degrees), saturation and value (0..1)."""
    h = np.asarray(hue_deg, dtype=np.float64) / 60.0
    s, v = np.asarray(saturation, dtype=np.float64), np.asarray(value, dtype=np.float64)
    channels = [
        v - v * s * np.clip(np.minimum(k % 6, 4 - k % 6), 0, 1) for k in (5 + h, 3 + h, 1 + h)
    ]
    return np.stack(np.broadcast_arrays(*channels), axis=-1)


def kelvin_to_linear(kelvin: float) -> Array:
    """Linear sRGB of a black body, scaled to a mean of 1.

    Chromaticity by the cubic fits of Kim et al. (2002) to the Planckian locus,
    good from 1667 K to 25000 K.
    """
    t = 1e3 / kelvin
    if kelvin < 4000:
        x = -0.2661239 * t**3 - 0.2343589 * t**2 + 0.8776956 * t + 0.179910
        y = -0.9549476 * x**3 - 1.37418593 * x**2 + 2.09137015 * x - 0.16748867
    else:
        x = -3.0258469 * t**3 + 2.1070379 * t**2 + 0.2226347 * t + 0.240390
        y = 3.0817580 * x**3 - 5.87338670 * x**2 + 3.75112997 * x - 0.37001483
    xyz = np.array([x / y, 1.0, (1 - x - y) / y])
    rgb = np.maximum(np.linalg.solve(RGB_TO_XYZ, xyz), 0.02)
    return rgb / rgb.mean()
