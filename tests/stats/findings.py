"""Findings as a list would give them, for tests."""

from datetime import date
from itertools import count

from traymorph.model.outcomes import Finding, Kind, Subject

_LINES = count(2)


def found(
    what: str,
    value: float,
    treatment: str,
    replicate: str = "",
    kind: Kind = Kind.LABORATORY,
    **more: object,
) -> Finding:
    """One row; without a replicate it is about the whole treatment."""
    level = "lot" if replicate else "treatment"
    subject = Subject(level, replicate or treatment, treatment, replicate)
    held = {"unit": "mg/100 g", "basis": "fresh"} if kind is Kind.LABORATORY else {"unit": ""}
    return Finding(next(_LINES), kind, subject, what, value, **{**held, **more})


def kept(
    days: float, treatment: str, replicate: str, *, still_good: bool = False, **more: object
) -> Finding:
    """One pack at 4 degrees."""
    held = {"unit": "days", "storage_c": 4.0, "still_good": still_good}
    return found("days_kept", days, treatment, replicate, Kind.KEEPING, **{**held, **more})


def looked(value: float, day: int, treatment: str, replicate: str) -> Finding:
    """One score on a day of January 2026."""
    on = date(2026, 1, day)
    return found("keeping_score", value, treatment, replicate, Kind.KEEPING_SCORE,
                 unit="points", on_date=on, storage_c=4.0)  # fmt: skip


def tasted(value: float, treatment: str, taster: str, what: str = "crispness") -> Finding:
    """One score of one person."""
    return found(what, value, treatment, "", Kind.TASTE_SCORE, unit="points", taster=taster)


def asked(kind: Kind, value: float, n: int) -> Finding:
    """One triangle test or preference."""
    return found(kind.value, value, "a", "", kind, unit="1", n=n, against="b")
