"""Numbers, units and days as a locale writes them; words stay English.

Patterns come from the Unicode Common Locale Data Repository through Babel. The per cent sign and
signs without a pattern there (mm², cm²/g) stand as international usage has them, after a space.
"""

import math
import re
from collections.abc import Sequence
from datetime import date
from typing import Literal

from babel import Locale, UnknownLocaleError
from babel.dates import format_date
from babel.numbers import format_decimal, get_decimal_symbol
from babel.units import format_unit
from markupsafe import Markup, escape

from traymorph.report.page import wording

SPACE = "\N{NO-BREAK SPACE}"
_CLDR = {
    "mm": "length-millimeter",
    "cm2": "area-square-centimeter",
    "g": "mass-gram",
    "mg": "mass-milligram",
}
_LONGEST_SIGN = 4
_SIGNS = {
    "mm": "mm",
    "cm2": "cm²",
    "mm2": "mm²",
    "g": "g",
    "mg": "mg",
    "g/m2": "g/m²",
    "deg": "°",
    "1": "",
}
_ISO_DAY = re.compile(r"(?<![\w-])\d{4}-\d{2}-\d{2}(?![\w-])")
_DECIMAL_POINT = re.compile(r"(?<![\w.])(\d+)\.(\d+)(?![\w.(])")
_BEFORE_A_SIGN = re.compile(r"(?<=\d) (?=(?:%|°C?|[kmµ]?g(?:/m²)?|[ckm]?m²?|m?[lL]|h|W)(?![\w/]))")


def unbroken(text: str) -> str:
    """Keep numbers and the signs of their units on one line, as in ``15 g``."""
    return _BEFORE_A_SIGN.sub(SPACE, text)


def parse_locale(text: str) -> Locale:
    """Read a locale as people write it: ``de``, ``de-CH``, ``en_GB``.

    Raises
    ------
    ValueError
        There is no such locale.
    """
    try:
        return Locale.parse(text.replace("-", "_"))
    except (UnknownLocaleError, ValueError, TypeError) as err:
        msg = f"{text!r} is not a locale; write a language, or language and country: en, de, fr_CA."
        raise ValueError(msg) from err


def isolated(name: str) -> Markup:
    """Keep a name from turning the direction of the words around it."""
    return Markup("<bdi>{}</bdi>").format(unbroken(name))


class Numbers:
    """Writes numbers.

    Parameters
    ----------
    locale : str
        Anything that :func:`parse_locale` reads.
    """

    def __init__(self, locale: str) -> None:
        self._locale = parse_locale(locale)
        self._point = get_decimal_symbol(self._locale)

    def plain(self, value: float, decimals: int, *, sign: bool = False) -> str:
        """Write a number with so many decimals; a dash where there is none."""
        if not math.isfinite(value):
            return "–"
        rounded = round(value, decimals) + 0.0
        pattern = "0" if decimals <= 0 else "0." + "0" * decimals
        text = format_decimal(abs(rounded), format=pattern, locale=self._locale)
        mark = "−" if rounded < 0 else "+" if sign and rounded > 0 else ""
        return f"{mark}{text}"

    def unit(self, unit: str) -> str:
        """Write a unit; "" where the number has none."""
        if unit in _CLDR:
            return self._local_sign(unit)
        if unit == "cm2/g":
            return f"{self.unit('cm2')}/{self.unit('g')}"
        return _SIGNS.get(unit, unit)

    def _local_sign(self, unit: str) -> str:
        """Give the locale's sign; where its patterns hold none or a word, that of the SI."""
        lengths: tuple[Literal["narrow", "short"], ...] = ("narrow", "short")
        for length in lengths:
            held = format_unit("0", _CLDR[unit], length=length, locale=self._locale)
            sign = held.replace("0", "").strip()
            if sign and len(sign) <= _LONGEST_SIGN:
                return sign
        return _SIGNS[unit]

    def with_unit(self, text: str, unit: str) -> str:
        """Put a unit after a number that is written already."""
        sign = self.unit(unit)
        if not sign:
            return text
        if unit == "points" and text.lstrip("+−") == "1":
            sign = wording.POINT
        return text + ("" if sign == "°" else SPACE) + sign

    def measured(self, value: float, doubt: float, unit: str) -> str:
        """Write value ± standard uncertainty, to the digits that the doubt allows.

        The uncertainty gets two significant digits at most (JCGM 100:2008, 7.2.6).
        """
        if not math.isfinite(value):
            return "–"
        if not math.isfinite(doubt) or doubt <= 0:
            return self.with_unit(self.rough(value), unit)
        error = self.plain(doubt, max(0, 1 - math.floor(math.log10(doubt))))
        return self.with_unit(f"{self.like(value, doubt)}{SPACE}±{SPACE}{error}", unit)

    def like(self, value: float, doubt: float) -> str:
        """Write a number to the digits that its doubt allows; three digits where none is stated."""
        if not math.isfinite(doubt) or doubt <= 0:
            return self.rough(value)
        return self.plain(value, max(0, 1 - math.floor(math.log10(doubt))))

    def rough(self, value: float) -> str:
        """Write three significant digits, without an exponent."""
        if value == 0 or not math.isfinite(value):
            return self.plain(value, 0)
        return self.plain(value, max(0, 2 - math.floor(math.log10(abs(value)))))

    def day(self, day: date) -> str:
        """Write a day."""
        return format_date(day, format="medium", locale=self._locale)

    def sentence(self, text: str, names: Sequence[str] = ()) -> Markup:
        """Write a sentence made elsewhere: numbers and days as the locale has them.

        Parameters
        ----------
        text : str
            The sentence, numbers with a decimal point.
        names : sequence of str
            Names of treatments and trays; they stay as they are and cannot turn the direction of
            the words around them.
        """
        text = wording.in_words(text)
        known = sorted({name for name in names if name}, key=lambda name: (-len(name), name))
        if not known:
            return escape(self._pointed(text))
        either = "|".join(map(re.escape, known))
        pieces = re.split(rf"(?<![\w.,])({either})(?!\w|[.,]\d)", text)
        return Markup("").join(
            isolated(piece) if place % 2 else escape(self._pointed(piece))
            for place, piece in enumerate(pieces)
        )

    def _pointed(self, text: str) -> str:
        pointed = _DECIMAL_POINT.sub(rf"\1{self._point}\2", text)
        return unbroken(_ISO_DAY.sub(self._told_day, pointed))

    def _told_day(self, found: re.Match[str]) -> str:
        try:
            return self.day(date.fromisoformat(found[0]))
        except ValueError:  # no day of any calendar: a name, or a number of something
            return found[0]
