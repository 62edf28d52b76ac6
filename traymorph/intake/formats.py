"""What kind of file a photo is and whether all of it is there, told from its bytes."""

import re
import struct
from enum import StrEnum

_PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_JPEG_SIGNATURE = b"\xff\xd8\xff"
# Brands of ISO/IEC 23008-12 (HEIF) whose pictures are coded with HEVC, and the two generic ones.
_HEIF_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
_OTHER_SIGNATURES = (
    (b"GIF8", "GIF"),
    (b"II*\0", "TIFF or camera raw"),
    (b"MM\0*", "TIFF or camera raw"),
    (b"BM", "BMP"),
    (b"%PDF", "PDF"),
    (b"\xff\x0a", "JPEG XL"),
    (b"\0\0\0\x0cJXL ", "JPEG XL"),
    (b"\xffO\xffQ", "JPEG 2000"),
)
_TEXT = re.compile(rb"[\t\n\r\f\x20-\x7e\x80-\xff]*")
_HEAD = 512  # bytes looked at to tell text from binary data

# JPEG markers, ISO/IEC 10918-1 table B.1
_SOS, _EOI, _FILL = 0xDA, 0xD9, 0xFF  # any number of fill bytes may precede a marker
_STAND_ALONE = {0x01, *range(0xD0, 0xD9)}  # TEM, RST0-7, SOI: no length follows
_MARKER_IN_SCAN = re.compile(rb"\xff[^\x00\xff\xd0-\xd7]")  # not stuffed, no fill, no restart


class Format(StrEnum):
    """Kinds of picture files that are read."""

    JPEG = "JPEG"
    PNG = "PNG"
    HEIC = "HEIC"


def format_of(data: bytes) -> Format | None:
    """Tell the format by signature, whatever the file is called; None for all others."""
    if data.startswith(_JPEG_SIGNATURE):
        return Format.JPEG
    if data.startswith(_PNG_SIGNATURE):
        return Format.PNG
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS and b"avif" not in _brands(data):
        return Format.HEIC
    return None


def unread_format_of(data: bytes) -> str | None:
    """Name a known format that is not read; None where the bytes are none of them."""
    if data[4:8] == b"ftyp":
        return "AVIF" if b"avif" in _brands(data) else "video"
    if data[:4] == b"RIFF":
        return "WebP" if data[8:12] == b"WEBP" else "video"
    for signature, name in _OTHER_SIGNATURES:
        if data.startswith(signature):
            return name
    return None


def is_text(data: bytes) -> bool:
    """Tell whether the file begins like text."""
    return _TEXT.fullmatch(data[:_HEAD]) is not None


def is_cut_short(data: bytes, kind: Format) -> bool:
    """Tell whether the end of the picture is missing.

    Decoders fill what is missing with grey, some of them in silence; hence the file's own
    structure is followed to its end marker. Data behind the end (a second picture, a short
    film) do not matter. HEIC says so itself when it is decoded.

    Parameters
    ----------
    data : bytes
        The whole file.
    kind : Format
        Its format.
    """
    if kind is Format.JPEG:
        return not _jpeg_ends(data)
    if kind is Format.PNG:
        return not _png_ends(data)
    return False


def _brands(data: bytes) -> set[bytes]:
    (size,) = struct.unpack(">I", data[:4])
    listed = data[8 : min(size, 256)]
    return {listed[start : start + 4] for start in range(0, len(listed), 4)}


def _jpeg_ends(data: bytes) -> bool:
    position = 2
    while position + 2 <= len(data):
        if data[position] != _FILL:
            return False
        marker = data[position + 1]
        if marker == _EOI:
            return True
        if marker == _FILL:
            position += 1
        elif marker in _STAND_ALONE:
            position += 2
        else:
            length = int.from_bytes(data[position + 2 : position + 4], "big")
            position += 2 + length
            if marker == _SOS:
                found = _MARKER_IN_SCAN.search(data, position)
                if found is None:
                    return False
                position = found.start()
    return False


def _png_ends(data: bytes) -> bool:
    position = len(_PNG_SIGNATURE)
    while position + 12 <= len(data):
        (length,) = struct.unpack(">I", data[position : position + 4])
        if data[position + 4 : position + 8] == b"IEND":
            return True
        position += 12 + length
    return False
