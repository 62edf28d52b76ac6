"""Photo files: takes a path, gives an upright sRGB photo, refuses what cannot be measured in.

JPEG and PNG always, HEIC where the extra is installed. Pillow reads header, EXIF data and colour
profile; OpenCV decodes the pixels, in about half the time.
"""

import hashlib
import struct
import warnings
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image

from traymorph.errors import (
    PhotoError,
    PhotoSizeError,
    UnreadablePhotoError,
    UnsupportedFormatError,
)
from traymorph.intake.exif import ExifSummary, read_exif
from traymorph.intake.formats import Format, format_of, is_cut_short, is_text, unread_format_of
from traymorph.intake.heic import heic_picture, open_heic
from traymorph.intake.profiles import to_srgb
from traymorph.model.photo import Photo

Pixels = npt.NDArray[np.uint8]

_MEGA = 1e6
_MIN_MEGAPIXELS = 0.3
_MAX_MEGAPIXELS = 60.0
_DIRECT_MODES = {"RGB", "L"}  # JPEG colour models that OpenCV decodes as they are meant
_SEND_AGAIN = "Copy it from the phone once more, or take it again."
_AS_JPEG = 'Export it as JPEG, or set the phone\'s camera to "Most compatible".'
_OPAQUE = 255
_SIXTEEN_TO_EIGHT_BITS = 255 / 65535
# EXIF orientations 2 to 8 as flips of (rows, columns), after swapping both from 5 on.
_FLIPS = {2: (False, True), 3: (True, True), 4: (True, False), 5: (False, False)}
_FLIPS |= {6: (False, True), 7: (True, True), 8: (True, False)}
_SWAPPED_FROM = 5


@dataclass(frozen=True, slots=True, eq=False)
class _Decoded:
    """Pixels as stored, with what the file says of them."""

    rgb: Pixels
    exif: ExifSummary
    profile: bytes | None


def read_photo(path: Path) -> Photo:
    """Read a photo.

    Parameters
    ----------
    path : Path
        JPEG, PNG, or HEIC where the extra ``heic`` is installed; told by content, not by name.

    Returns
    -------
    Photo
        Upright by its EXIF data, sRGB (converted where its colour profile is another one),
        transparency laid over white, 16 bits rounded to 8.

    Raises
    ------
    UnreadablePhotoError
        No file, an empty one, text, a damaged picture, or one cut short.
    UnsupportedFormatError
        A picture or film of another kind.
    PhotoSizeError
        Under 0.3 or over 60 megapixels.
    MissingDependencyError
        HEIC without its decoder.
    """
    data = _bytes_of(path)
    kind = format_of(data)
    if kind is None:
        raise _not_read(path, data)
    if is_cut_short(data, kind):
        msg = f"{path.name} is cut short: the end of the picture is missing."
        raise UnreadablePhotoError(msg, hint=_SEND_AGAIN)
    decoded = _from_heic(path, data) if kind is Format.HEIC else _from_bytes(path, data, kind)
    rgb = _upright(to_srgb(decoded.rgb, decoded.profile), decoded.exif.orientation)
    return Photo(path, hashlib.sha256(data).hexdigest(), rgb, decoded.exif.camera)


def _bytes_of(path: Path) -> bytes:
    if path.is_dir():
        msg = f"{path} is a folder, not a photo."
        raise UnreadablePhotoError(msg, hint="Name the photo itself.")
    try:
        data = path.read_bytes()
    except FileNotFoundError as err:
        msg = f"There is no photo {path}."
        raise UnreadablePhotoError(msg, hint="Check the name.") from err
    except OSError as err:
        msg = f"{path} cannot be read ({err.strerror})."
        raise UnreadablePhotoError(msg, hint="Check the file and its permissions.") from err
    if not data:
        msg = f"{path.name} is empty (0 bytes)."
        raise UnreadablePhotoError(msg, hint=_SEND_AGAIN)
    return data


def _not_read(path: Path, data: bytes) -> PhotoError:
    other = unread_format_of(data)
    if other == "video":
        msg = f"{path.name} is a film, not a photo."
        return UnsupportedFormatError(msg, hint="Take a photo instead.")
    if other:
        msg = f"{path.name} is a picture of the kind {other}, which is not read."
        return UnsupportedFormatError(msg, hint=_AS_JPEG)
    if is_text(data):
        msg = f"{path.name} holds text, not a picture."
        return UnreadablePhotoError(msg, hint="Put the photo itself in its place.")
    msg = f"{path.name} is not a JPEG, PNG or HEIC photo, or its beginning is damaged."
    return UnreadablePhotoError(msg, hint=_SEND_AGAIN)


def _check_size(path: Path, size: tuple[int, int]) -> None:
    width, height = size
    megapixels = width * height / _MEGA
    told = f"{path.name} has {megapixels:.1f} megapixels ({width} x {height})"
    if megapixels < _MIN_MEGAPIXELS:
        msg = f"{told}, too few to measure in."
        hint = "Send the photo in original size, not through a messenger that shrinks it."
        raise PhotoSizeError(msg, hint=hint)
    if megapixels > _MAX_MEGAPIXELS:
        msg = f"{told}, more than the {_MAX_MEGAPIXELS:.0f} that are read."
        raise PhotoSizeError(msg, hint="Set the phone's camera to 12 or 50 megapixels.")


def _from_heic(path: Path, data: bytes) -> _Decoded:
    heif = open_heic(path.name, data)
    _check_size(path, heif.size)
    picture = heic_picture(path.name, heif)
    rgb = _over_white(np.asarray(picture.convert("RGBA" if picture.mode.endswith("A") else "RGB")))
    return _Decoded(rgb, read_exif(picture), picture.info.get("icc_profile"))


def _from_bytes(path: Path, data: bytes, kind: Format) -> _Decoded:
    damaged = UnreadablePhotoError(f"{path.name} is a damaged {kind} picture.", hint=_SEND_AGAIN)
    try:
        picture = _header(data)
    except Image.DecompressionBombError as err:
        msg = f"{path.name} has far more than the {_MAX_MEGAPIXELS:.0f} megapixels that are read."
        raise PhotoSizeError(msg, hint="Set the phone's camera to 12 or 50 megapixels.") from err
    except (OSError, SyntaxError, ValueError, EOFError, struct.error) as err:
        raise damaged from err
    _check_size(path, picture.size)
    try:
        rgb = _jpeg_pixels(data, picture) if kind is Format.JPEG else _png_pixels(data)
    except (OSError, ValueError, cv2.error) as err:
        raise damaged from err
    if rgb is None:
        raise damaged
    has_exif = kind is Format.JPEG or b"eXIf" in data  # Pillow decodes a PNG in search of it
    exif = read_exif(picture) if has_exif else ExifSummary()
    return _Decoded(rgb, exif, picture.info.get("icc_profile"))


def _header(data: bytes) -> Image.Image:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # odd EXIF data, large pictures: handled by ourselves
        return Image.open(BytesIO(data))


def _jpeg_pixels(data: bytes, picture: Image.Image) -> Pixels | None:
    if picture.mode not in _DIRECT_MODES:
        return np.asarray(picture.convert("RGB"))
    how = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    stored = cv2.imdecode(np.frombuffer(data, np.uint8), how)
    return None if stored is None else _bytewise(stored)


def _png_pixels(data: bytes) -> Pixels | None:
    stored = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if stored is None:
        return None
    if stored.dtype == np.uint16:
        stored = cv2.convertScaleAbs(stored, alpha=_SIXTEEN_TO_EIGHT_BITS)
    to_rgb = {2: cv2.COLOR_GRAY2RGB, 3: cv2.COLOR_BGR2RGB}
    channels = 2 if stored.ndim == 2 else stored.shape[2]
    return _over_white(_bytewise(cv2.cvtColor(stored, to_rgb.get(channels, cv2.COLOR_BGRA2RGBA))))


def _bytewise(pixels: npt.ArrayLike) -> Pixels:
    """State towards the type checker that OpenCV gave bytes; copies nothing."""
    return np.asarray(pixels, dtype=np.uint8)


def _over_white(pixels: Pixels) -> Pixels:
    rgb, alpha = pixels[..., :3], pixels[..., 3:]
    if not alpha.size or alpha.min() == _OPAQUE:
        return np.ascontiguousarray(rgb)
    share = alpha.astype(np.float32) / _OPAQUE
    return np.rint(rgb * share + _OPAQUE * (1 - share)).astype(np.uint8)


def _upright(rgb: Pixels, orientation: int) -> Pixels:
    if orientation not in _FLIPS:
        return rgb
    if orientation >= _SWAPPED_FROM:
        rgb = _bytewise(cv2.transpose(rgb))
    rows, columns = _FLIPS[orientation]
    if rows or columns:
        rgb = _bytewise(cv2.flip(rgb, -1 if rows and columns else int(columns)))
    return rgb
