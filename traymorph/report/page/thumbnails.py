"""Small pictures that the page carries in itself, made from pixels alone.

A thumbnail is encoded anew from the picture's pixels, so that nothing else of a file (place,
device, day, profiles) can come along.
"""

import base64
import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

_QUALITY = 72
_WIDTHS = ((90, 520), (180, 400), (360, 280), (720, 200))
"""Up to so many pictures on the page: so wide, px."""
_SMALLEST = 150


@dataclass(frozen=True, slots=True)
class Thumbnail:
    """A small picture.

    Parameters
    ----------
    url : str
        The picture itself as a ``data:`` URL.
    width, height : int
        px.
    """

    url: str
    width: int
    height: int


def width_for(count: int) -> int:
    """Tell how wide thumbnails may be where the page has so many."""
    return next((width for most, width in _WIDTHS if count <= most), _SMALLEST)


def thumbnail(path: Path, width: int) -> Thumbnail | None:
    """Make a small picture.

    Parameters
    ----------
    path : Path
        A picture.
    width : int
        px; narrower pictures stay as they are.

    Returns
    -------
    Thumbnail or None
        None where the file is no picture any more.
    """
    try:
        with Image.open(path) as picture:
            picture.draft("RGB", (width, width))
            rgb = picture.convert("RGB")
    except (OSError, ValueError, SyntaxError):
        return None
    size = (min(width, rgb.width), max(1, round(rgb.height * min(1.0, width / rgb.width))))
    small = Image.fromarray(np.asarray(rgb.resize(size, Image.Resampling.LANCZOS)))
    buffer = io.BytesIO()
    small.save(buffer, "JPEG", quality=_QUALITY, optimize=True, progressive=True)
    return Thumbnail(data_url(buffer.getvalue()), *size)


def data_url(jpeg: bytes) -> str:
    """Write a JPEG as a URL that holds it."""
    return f"data:image/jpeg;base64,{base64.b64encode(jpeg).decode('ascii')}"
