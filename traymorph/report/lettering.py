"""Words on pictures: only signs that the font has, with raised digits drawn as such.

Pillow's built-in font is the only one there on every machine; it knows little more than ASCII. So
text is first brought to its signs: accents are dropped, a few signs are written another way, and
what is left over (other scripts, pictographs) becomes a question mark. Tables and messages are not
touched by this; they hold every text as it was written.
"""

import unicodedata
from functools import cache

from PIL import ImageDraw, ImageFont

Font = ImageFont.FreeTypeFont | ImageFont.ImageFont

_SMALLEST = 8.0
_RAISED = {"²": "2", "³": "3"}
_RAISED_SIZE = 0.62
_RAISED_BY = 0.04  # of the font's size, from the top of the line
_OTHERWISE = {
    "–": "-",
    "—": "-",
    "−": "-",
    "×": "x",
    "µ": "u",
    "μ": "u",
    "ß": "ss",
    "æ": "ae",
    "Æ": "Ae",
    "ø": "o",
    "Ø": "O",
    "ł": "l",
    "Ł": "L",
}
_UNKNOWN = "?"
_INVISIBLE = {"Mn", "Me", "Cf"}  # marks that join the sign before, joiners, directions
_NO_SIGN = "\uffff"  # a code point that no font draws
_PROBE_SIZE = 20.0


@cache
def font(size: float) -> Font:
    """Give the font at a size in pixels, never too small to read."""
    return ImageFont.load_default(max(_SMALLEST, size))


@cache
def has_sign(sign: str) -> bool:
    """Whether the font draws a sign, and not the box that stands for a missing one."""
    return _drawn(sign) != _drawn(_NO_SIGN)


def legible(text: str) -> str:
    """Bring a text to signs that can be drawn.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        Holds only signs that the font has, ``²`` and ``³`` (drawn raised by :func:`draw_text`).
    """
    return "".join(_legible_sign(sign) for sign in unicodedata.normalize("NFC", text))


def text_length(text: str, size: float) -> float:
    """Width of a text as :func:`draw_text` draws it, pixels."""
    return sum(_font_of(sign, size).getlength(words) for sign, words in _pieces(legible(text)))


def draw_text(
    draw: ImageDraw.ImageDraw,
    at: tuple[float, float],
    text: str,
    size: float,
    fill: tuple[int, int, int],
) -> None:
    """Write one line with its upper left corner at a place.

    Parameters
    ----------
    draw : ImageDraw
        Of the picture.
    at : tuple of float
        (x, y), pixels.
    text : str
        Any text; what the font lacks is written another way.
    size : float
        Of the font, pixels.
    fill : tuple of int
        RGB.
    """
    x, y = at
    for raised, words in _pieces(legible(text)):
        piece_font = _font_of(raised, size)
        lift = _RAISED_BY * size if raised else 0.0
        draw.text((x, y + lift), words, font=piece_font, fill=fill)
        x += piece_font.getlength(words)


def _font_of(raised: bool, size: float) -> Font:  # noqa: FBT001 - internal
    return font(_RAISED_SIZE * size if raised else size)


def _pieces(text: str) -> list[tuple[bool, str]]:
    """Part a text into stretches that are raised or not."""
    pieces: list[tuple[bool, str]] = []
    for sign in text:
        raised, words = sign in _RAISED, _RAISED.get(sign, sign)
        if pieces and pieces[-1][0] == raised:
            pieces[-1] = (raised, pieces[-1][1] + words)
        else:
            pieces.append((raised, words))
    return pieces


@cache
def _legible_sign(sign: str) -> str:
    if sign in _RAISED or (sign.isprintable() and has_sign(sign)):
        return sign
    if sign in _OTHERWISE:
        return _OTHERWISE[sign]
    if unicodedata.category(sign) in _INVISIBLE:
        return ""
    plain = "".join(one for one in unicodedata.normalize("NFD", sign) if has_sign(one))
    return plain or _UNKNOWN


def _drawn(sign: str) -> tuple[bytes, float]:
    probe = font(_PROBE_SIZE)
    return bytes(probe.getmask(sign)), probe.getlength(sign)
