"""HEIC photos, decoded by an optional library."""

from io import BytesIO
from typing import Any

from traymorph.errors import MissingDependencyError, UnreadablePhotoError

_DAMAGED = (ValueError, OSError, RuntimeError, EOFError, SyntaxError)  # by kind of damage


def open_heic(name: str, data: bytes) -> Any:  # noqa: ANN401 - the library has no types
    """Open a HEIC file without decoding its pixels.

    Parameters
    ----------
    name : str
        File name, for messages.
    data : bytes
        The whole file.

    Returns
    -------
    pi_heif.HeifFile
        ``size`` is (width, height) after the turns that the container asks for.

    Raises
    ------
    MissingDependencyError
        The decoder is not installed.
    UnreadablePhotoError
        The container is damaged.
    """
    try:
        import pi_heif  # noqa: PLC0415 - an extra, wanted by HEIC photos only
    except ImportError as err:
        msg = f"{name} is a HEIC photo, and the library that reads these is not installed."
        hint = (
            'Run pip install "traymorph[heic]", or set the phone\'s camera to '
            '"Most compatible" (JPEG).'
        )
        raise MissingDependencyError(msg, hint=hint) from err
    try:
        return pi_heif.open_heif(BytesIO(data))
    except _DAMAGED as err:
        raise damaged_heic(name) from err


def heic_picture(name: str, heif: Any) -> Any:  # noqa: ANN401 - the library has no types
    """Decode an open HEIC file to a Pillow image, turned as its container asks for.

    Its EXIF orientation is reset to upright: the container's own turns count (ISO/IEC 23008-12).

    Raises
    ------
    UnreadablePhotoError
        The pixels are damaged or cut short.
    """
    try:
        return heif.to_pillow()
    except _DAMAGED as err:
        raise damaged_heic(name) from err


def damaged_heic(name: str) -> UnreadablePhotoError:
    """Say that a HEIC file is damaged."""
    msg = f"{name} is a damaged HEIC photo or cut short."
    return UnreadablePhotoError(msg, hint="Copy it from the phone once more, or take it again.")
