"""Greenness indices of one sRGB-encoded colour, as published."""

import math

import numpy as np
from numpy.typing import NDArray
from skimage.color import rgb2hsv

_GREEN_HUE_DEG = (60.0, 120.0)
"""Hue between which Karcher & Richardson (2003) define their index. Beyond it the formula still
gives numbers, 1.83 for a purple, on a scale that ends at 1."""

Colour = NDArray[np.float64]


def green_share(encoded: Colour) -> float:
    """G / (R + G + B) of an sRGB-encoded colour, shape (3,); NaN for black.

    Sources: Gillespie et al. 1987; Richardson et al. 2007.
    """
    total = float(encoded.sum())
    return float(encoded[1]) / total if total > 0 else math.nan


def excess_green(encoded: Colour) -> float:
    """2g - r - b on chromatic coordinates of an sRGB-encoded colour, shape (3,); NaN for black.

    Source: Woebbecke et al. 1995, Trans. ASAE 38(1):259-269.
    """
    return 3.0 * green_share(encoded) - 1.0


def greenness_index(encoded: Colour) -> float:
    """Dark green colour index of an sRGB-encoded colour; NaN outside hues of 60 to 120 degrees.

    Source: Karcher & Richardson 2003, Crop Science 43(3):943-951.
    """
    hue, saturation, brightness = rgb2hsv(np.asarray(encoded, dtype=np.float64)[None, None])[0, 0]
    degrees = 360.0 * float(hue)
    low, high = _GREEN_HUE_DEG
    if saturation <= 0 or not low - 1e-9 <= degrees <= high + 1e-9:
        return math.nan
    return ((degrees - 60.0) / 60.0 + (1.0 - float(saturation)) + (1.0 - float(brightness))) / 3.0


INDICES = {
    "green_share": green_share,
    "excess_green": excess_green,
    "greenness_index": greenness_index,
}
"""Every index by the name of its column."""
