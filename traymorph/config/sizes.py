"""Which sizes in mm can be meant, shared by trial.toml and trays.csv.

The limits are wide: they catch another unit or a slip of the finger, not an unusual tray.
"""

import math
import re
from dataclasses import dataclass

from traymorph.config.numbers import NUMBER
from traymorph.config.problems import ValueProblemError

_MM_PER_CM, _MM_PER_INCH = 10.0, 25.4  # exact: international yard and pound agreement, 1959
_INCH_MARK = re.compile(r"([+-]?[\d.,]+)\s*(\"|''|\u2033|in|inch|inches)\.?", re.IGNORECASE)
_OTHER_UNIT = re.compile(r"([+-]?[\d.,]+)\s*(mm|cm|m)\.?", re.IGNORECASE)
_MM_PER_UNIT = {"mm": 1.0, "cm": _MM_PER_CM, "m": 1000.0}


@dataclass(frozen=True, slots=True)
class SizeLimits:
    """Smallest and largest size that can be meant, and from where on it looks like another unit.

    Parameters
    ----------
    low, high : float
        Limits, mm, both allowed.
    inches_from : float or None
        A value from here up to ``low`` is probably given in inches, or in centimetres where these
        lie within the limits; None where other units and millimetres cannot be told apart.
    """

    low: float
    high: float
    inches_from: float | None = None


SIZE_LIMITS: dict[str, SizeLimits] = {
    "inside_length_mm": SizeLimits(60.0, 3000.0, inches_from=2.0),
    "inside_width_mm": SizeLimits(60.0, 3000.0, inches_from=2.0),
    "rim_above_medium_mm": SizeLimits(0.0, 200.0),
    "rim_above_bench_mm": SizeLimits(5.0, 400.0, inches_from=0.5),
    "cut_above_medium_mm": SizeLimits(0.0, 200.0),
    "height_above_medium_mm": SizeLimits(1.0, 600.0),
}
TRAY_SIZES = (
    "inside_length_mm",
    "inside_width_mm",
    "rim_above_medium_mm",
    "rim_above_bench_mm",
)


def checked_size(name: str, value_mm: float) -> float:
    """Give back a size that can be meant.

    Parameters
    ----------
    name : str
        A key of ``SIZE_LIMITS``.
    value_mm : float
        The size as stated, mm.

    Raises
    ------
    ValueProblemError
        The value lies outside the limits.
    """
    limits = SIZE_LIMITS[name]
    if not math.isfinite(value_mm):
        what, advice = "is not a size", "Give a number of millimetres"
    elif value_mm < 0 or (value_mm == 0 and limits.low > 0):
        what, advice = "a size cannot be zero or negative", "Measure it and give millimetres"
    elif limits.inches_from is not None and limits.inches_from <= value_mm < limits.low:
        what = f"is too small for millimetres (at least {limits.low:g})"
        advice = _other_units(value_mm, limits)
    elif not limits.low <= value_mm <= limits.high:
        what = f"lies outside {limits.low:g} to {limits.high:g} mm"
        advice = "Measure it and give millimetres"
    else:
        return value_mm
    raise ValueProblemError(what, advice)


def _other_units(value: float, limits: SizeLimits) -> str:
    inches, from_cm = value * _MM_PER_INCH, value * _MM_PER_CM
    if from_cm < limits.low:
        return f"If inches were meant, write {inches:g}"
    return f"If centimetres were meant, write {from_cm:g}; if inches, {inches:g}"


def read_size(name: str, text: str, *, decimal_comma: bool = False) -> float:
    """Read a size from a cell of a list.

    Parameters
    ----------
    name : str
        A key of ``SIZE_LIMITS``.
    text : str
        The cell, not empty.
    decimal_comma : bool
        The list separates its cells by something other than commas, so that ``12,5`` can only
        be a decimal number.

    Returns
    -------
    float
        mm.

    Raises
    ------
    ValueProblemError
        The cell holds no number, a unit, or a size that cannot be meant.
    """
    plain = text.replace(",", ".") if decimal_comma else text
    if NUMBER.fullmatch(plain):
        return checked_size(name, float(plain))
    what, advice = "is not a plain number of millimetres", "Write digits only, for example 52.5"
    with_inches = _INCH_MARK.fullmatch(text)
    with_unit = _OTHER_UNIT.fullmatch(text)
    if with_inches:
        advice = _suggestion(with_inches[1], _MM_PER_INCH, advice)
    elif with_unit:
        advice = _suggestion(with_unit[1], _MM_PER_UNIT[with_unit[2].lower()], advice)
    elif NUMBER.fullmatch(text.replace(",", ".")):
        what, advice = "has a decimal comma", f"Write {text.replace(',', '.')}"
    raise ValueProblemError(what, advice)


def _suggestion(number: str, mm_per_unit: float, otherwise: str) -> str:
    plain = number.replace(",", ".")
    return f"Write {float(plain) * mm_per_unit:g}" if NUMBER.fullmatch(plain) else otherwise
