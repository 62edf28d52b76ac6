"""Dates in lists: ISO 8601 only, and for anything else what was probably meant."""

import re
from datetime import date, datetime, timedelta

from traymorph.config.problems import ValueProblemError

_YEARS = range(2000, 2100)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_YEAR_FIRST = re.compile(r"(\d{4})[-/. ](\d{1,2})[-/. ](\d{1,2})\.?")
_YEAR_LAST = re.compile(r"(\d{1,2})[-/. ]+(\d{1,2})[-/. ]+(\d{4}|\d{2})")
_DAY_NAMED_MONTH = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[-/. ]*([a-z]{3})[a-z]*[-/., ]*(\d{4})")
_NAMED_MONTH_DAY = re.compile(r"([a-z]{3})[a-z]*[-/. ]*(\d{1,2})(?:st|nd|rd|th)?[-/., ]+(\d{4})")
_DAY_NUMBER = re.compile(r"[34567]\d{4}(\.\d+)?")
_DAY_ZERO = date(1899, 12, 30)  # of the day numbers of common spreadsheets, after February 1900


def read_moment(text: str) -> datetime:
    """Read an ISO 8601 date, with or without time.

    Parameters
    ----------
    text : str
        The cell, not empty.

    Returns
    -------
    datetime
        Local time as written, without zone; midnight where only the day is given.

    Raises
    ------
    ValueProblemError
        The cell is no ISO 8601 date, or its year cannot be meant.
    """
    try:
        moment = datetime.fromisoformat(text).replace(tzinfo=None)
    except ValueError as err:
        what = "is not written as year-month-day"
        raise ValueProblemError(what, _advice(text)) from err
    if moment.year not in _YEARS:
        what = f"the year {moment.year} cannot be meant"
        raise ValueProblemError(what, "Write the date as year-month-day, for example 2026-11-13")
    return moment


def _advice(text: str) -> str:
    meant = _meant(text.strip().lower())
    if not meant:
        return "Write year-month-day, for example 2026-11-13"
    if len(meant) > 1:
        return f"Write {' or '.join(one.isoformat() for one in meant)}, whichever is meant"
    return f"Write {meant[0].isoformat()}"


def _meant(text: str) -> list[date]:
    if found := _YEAR_FIRST.match(text):
        return _valid([(int(found[1]), int(found[2]), int(found[3]))])
    if found := _YEAR_LAST.match(text):
        year = int(found[3]) if len(found[3]) == 4 else 2000 + int(found[3])
        first, second = int(found[1]), int(found[2])
        day_first, month_first = (year, second, first), (year, first, second)
        return _valid([day_first] if "." in text else [day_first, month_first])
    if (found := _DAY_NAMED_MONTH.match(text)) and found[2] in _MONTHS:
        return _valid([(int(found[3]), _MONTHS.index(found[2]) + 1, int(found[1]))])
    if (found := _NAMED_MONTH_DAY.match(text)) and found[1] in _MONTHS:
        return _valid([(int(found[3]), _MONTHS.index(found[1]) + 1, int(found[2]))])
    if _DAY_NUMBER.fullmatch(text):
        return [_DAY_ZERO + timedelta(days=int(float(text)))]
    return []


def _valid(candidates: list[tuple[int, int, int]]) -> list[date]:
    days = []
    for year, month, day in candidates:
        try:
            days.append(date(year, month, day))
        except ValueError:
            continue
    return sorted(set(days))
