"""Colour profiles: takes pixels and the ICC profile that came with them, gives sRGB.

Most profiles in photos are sRGB under one of many names. Whether one is, is found by sending a
grid of colours through it, not by its name; only where that changes colours are the pixels
converted. A profile that cannot be used is treated as missing, and missing means sRGB.
"""

from functools import lru_cache
from io import BytesIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

Pixels = NDArray[np.uint8]

_GRID_STEPS = 9
_SAME_CODES = 1  # 8-bit rounding on the way through a profile
_PROFILES_KEPT = 8  # phones of one trial
_BAND_ROWS = 256  # converted at once: keeps the copies that Pillow needs small


def to_srgb(rgb: Pixels, profile: bytes | None) -> Pixels:
    """Convert pixels to sRGB where their profile is another one.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (height, width, 3)
        As decoded.
    profile : bytes or None
        The ICC profile embedded in the file.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        ``rgb`` itself where nothing has to change. Relative colorimetric: white stays white.
    """
    transform = _transform(profile) if profile else None
    return rgb if transform is None else _applied(transform, rgb)


@lru_cache(maxsize=_PROFILES_KEPT)
def _transform(profile: bytes) -> ImageCms.ImageCmsTransform | None:
    try:
        source = ImageCms.ImageCmsProfile(BytesIO(profile))
        if source.profile.xcolor_space.strip() != "RGB":
            return None
        transform = ImageCms.buildTransform(
            source,
            ImageCms.createProfile("sRGB"),
            "RGB",
            "RGB",
            ImageCms.Intent.RELATIVE_COLORIMETRIC,
        )
    except (ImageCms.PyCMSError, OSError):
        return None
    levels = np.linspace(0, 255, _GRID_STEPS).round().astype(np.uint8)
    grid = np.stack(np.meshgrid(levels, levels, levels), axis=-1).reshape(1, -1, 3)
    change = np.abs(_applied(transform, grid).astype(int) - grid.astype(int))
    return transform if change.max() > _SAME_CODES else None


def _applied(transform: ImageCms.ImageCmsTransform, rgb: Pixels) -> Pixels:
    converted = np.empty_like(rgb)
    for start in range(0, len(rgb), _BAND_ROWS):
        band = Image.fromarray(rgb[start : start + _BAND_ROWS])
        ImageCms.applyTransform(band, transform, inPlace=True)
        converted[start : start + _BAND_ROWS] = np.asarray(band)
    return converted
