"""``outcomes.csv`` for a comparison: takes the list and the trays, gives findings, names problems.

Weights of the cut plants on a board photo (``sample_fresh_weight``) belong to measuring and are
read by :mod:`traymorph.config.outcomes`.
"""

import dataclasses
import difflib
import math
import re
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from traymorph.config.cells import CellReader
from traymorph.config.numbers import read_number
from traymorph.config.outcome_subjects import LEVELS, Subjects
from traymorph.config.outcome_words import (
    DAYS_KEPT,
    GRAMS,
    KEEPING_SCORE,
    KNOWN,
    MOISTURE,
    PAIRED,
    PARTS,
    TAKEN,
    TRAY_UNITS,
    TRAY_WEIGHTS,
    TRIANGLE,
    plain_unit,
)
from traymorph.config.outcomes import SAMPLE_WEIGHT
from traymorph.config.problems import Problem, ValueProblemError, quoted, told
from traymorph.config.tables import Row, Table, read_table
from traymorph.errors import ListError
from traymorph.model.outcomes import Finding, Kind, Outcomes
from traymorph.model.trial import Sample

_REQUIRED = ("what", "value", "unit")
_NAME = re.compile(r"[a-z][a-z0-9_]*")
_ALIKE = 0.85  # share of letters in common from which a name is taken for a slip of the pen
_MOST_PROBLEMS = 50
_HEAVIEST_G = 50_000.0  # a lot of a hundred trays weighs about as much
_COLDEST_C, _WARMEST_C = -2.0, 32.0  # above: degrees Fahrenheit, as household refrigerators show
_MOST_DAYS = 365.0
_MOST_TESTS = 10_000
_TESTS = {TRIANGLE: Kind.TRIANGLE, PAIRED: Kind.PAIRED}
_EVENTS = ("spoiled", "still_good")


def read_outcomes(path: Path, samples: Sequence[Sample], treatment_column: str) -> Outcomes:
    """Read ``outcomes.csv``.

    Parameters
    ----------
    path : Path
        The list.
    samples : sequence of Sample
        Trays and packs of the trial, with their columns.
    treatment_column : str
        Column of trays.csv that holds the treatments.

    Returns
    -------
    Outcomes
        Everything but the weights of cut plants.

    Raises
    ------
    ListError
        The file cannot be read, or cells of it cannot be meant; all are named.
    """
    problems: list[Problem] = []
    table = read_table(path, _REQUIRED, problems)
    if not set(LEVELS) & set(table.columns):
        what = f"has none of the columns {', '.join(LEVELS)}"
        problems.append(Problem(table.name, what, "Say in one of them what each row is about", 1))
    reader = _RowReader(table, Subjects(samples, treatment_column), problems)
    found = [reader.finding(row) for row in table.rows if row.get("what") != SAMPLE_WEIGHT]
    findings = tuple(one for one in found if one is not None)
    problems.extend(_contradictions(table, findings))
    if problems:
        raise ListError(told(problems[:_MOST_PROBLEMS], "outcomes"), hint="Correct the list.")
    return Outcomes(_in_one_unit(findings))


class _RowReader:
    """Reads the rows of one list; what cannot be meant is noted, and the row given up."""

    def __init__(self, table: Table, subjects: Subjects, problems: list[Problem]) -> None:
        self._table, self._subjects = table, subjects
        self._cells = CellReader(table, problems)
        self._problems = problems
        self._asked: set[str] = set()

    def finding(self, row: Row) -> Finding | None:
        """Read a row, or note every problem of it."""
        before = len(self._problems)
        subject = self._subjects.read(self._cells, row)
        what = self._what(row)
        unit = self._unit(row)
        moment = self._cells.moment(row, "on_date")
        basis = self._cells.word(row, "basis", ("fresh", "dry")) or ""
        storage_c = self._storage(row)
        if not what or not unit:
            return None
        kind = _kind(what, unit, basis, row.get("taster"))
        needed = _wrong_unit(kind, what, unit)
        if needed:
            self._cells.note(row, "unit", f"is no unit of {what}", f"Its unit is {needed}")
            return None
        below, value = self._value(row, kind, what, unit)
        event, n = self._event(row, kind), self._n(row, kind, value)
        against = self._against(row, kind)
        if subject is None or len(self._problems) > before:
            return None
        one = Finding(row.line, kind, subject, what, value, unit, basis, below,
                      moment.date() if moment else None, storage_c, event == "still_good", n,
                      row.get("taster"), against)  # fmt: skip
        self._check(row, one)
        return one if len(self._problems) == before else None

    def _what(self, row: Row) -> str:
        what = row.get("what")
        plain = re.sub(r"[\s\-]+", "_", what.casefold())
        if not what:
            self._cells.note(row, "what", "is empty", "Say what was found, like fresh_weight")
        elif plain in TAKEN:
            advice = "Give what was weighed or found; this is measured or worked out"
            self._cells.note(row, "what", "is a name of the results", advice)
        elif what in KNOWN or what in self._asked:
            return what
        elif near := difflib.get_close_matches(plain, (*KNOWN, SAMPLE_WEIGHT), 1, _ALIKE):
            self._cells.note(row, "what", "is spelt otherwise", f"Write {near[0]}")
        elif not _NAME.fullmatch(plain):
            advice = "Write small letters, digits and underscores, like vitamin_c"
            self._cells.note(row, "what", "is no name", advice)
        elif what != plain:
            self._cells.note(row, "what", "is spelt otherwise", f"Write {plain}")
        else:
            self._asked.add(what)
            return what
        return ""

    def _unit(self, row: Row) -> str:
        text = row.get("unit")
        unit = plain_unit(text)
        if unit in GRAMS or unit in PARTS or unit in TRAY_UNITS:
            return unit
        advice = f"Write one of {', '.join(dict.fromkeys([*GRAMS, *PARTS, *TRAY_UNITS]))}"
        self._cells.note(row, "unit", "is not a known unit" if text else "is empty", advice)
        return ""

    def _value(self, row: Row, kind: Kind, what: str, unit: str) -> tuple[bool, float]:
        text = row.get("value")
        below = text.startswith("<")
        if below and kind is not Kind.LABORATORY:
            advice = "Only a laboratory's value may be below a limit"
            self._cells.note(row, "value", "is no number", advice)
            return below, math.nan
        try:
            value = self._number(text.removeprefix("<").strip()) * GRAMS.get(unit, 1.0)
            _check_value(kind, what, unit, value)
        except ValueProblemError as err:
            self._cells.note(row, "value", err.what, err.advice)
            return below, math.nan
        return below, value

    def _number(self, text: str) -> float:
        return read_number(
            text,
            decimal_comma=self._table.decimal_comma,
            if_empty="Give the value, or delete the line",
        )

    def _storage(self, row: Row) -> float:
        text = row.get("storage_c")
        if not text:
            return math.nan
        try:
            degrees = self._number(text)
        except ValueProblemError as err:
            self._cells.note(row, "storage_c", err.what, "Give degrees Celsius, digits only")
            return math.nan
        if not _COLDEST_C <= degrees <= _WARMEST_C:
            celsius = (degrees - 32.0) / 1.8
            meant = f"If degrees Fahrenheit were meant, write {celsius:.1f}"
            likely = _COLDEST_C <= celsius <= _WARMEST_C
            advice = meant if likely else "Give degrees Celsius"
            what = f"lies outside {_COLDEST_C:g} to {_WARMEST_C:g} degrees Celsius"
            self._cells.note(row, "storage_c", what, advice)
        return degrees

    def _event(self, row: Row, kind: Kind) -> str:
        if kind is not Kind.KEEPING:
            return ""
        event = self._cells.word(row, "event", _EVENTS)
        if not row.get("event"):
            advice = "Write spoiled, or still_good where it was still good when watching ended"
            self._cells.note(row, "event", "is empty", advice)
        return event or ""

    def _n(self, row: Row, kind: Kind, value: float) -> int:
        if kind not in {Kind.TRIANGLE, Kind.PAIRED}:
            return 0
        text = row.get("n")
        if not text.isdecimal() or not 1 <= int(text) <= _MOST_TESTS:
            what = "is no number of tests" if text else "is empty"
            self._cells.note(row, "n", what, "Write how many people were asked")
            return 0
        if value > int(text):
            what = f"is more than the {int(text)} tests"
            self._cells.note(row, "value", what, "Correct value or n")
        return int(text)

    def _against(self, row: Row, kind: Kind) -> str:
        if kind not in {Kind.TRIANGLE, Kind.PAIRED}:
            return ""
        name = row.get("against")
        if not name:
            advice = "Name the other treatment of the test"
            self._cells.note(row, "against", "is empty", advice)
        elif self._subjects.treatment(self._cells, row, "against"):
            if name == row.get("treatment"):
                advice = "Name the other treatment of the test"
                self._cells.note(row, "against", "is the treatment itself", advice)
            return name
        return ""

    def _check(self, row: Row, one: Finding) -> None:
        """Hold the row's kind against what it is about."""
        level = one.subject.level
        if one.kind is Kind.TRAY and level not in {"tray_id", "lot"}:
            what = f"is of a whole {level}, which cannot be compared"
            advice = "Give one row for each tray, or for each lot that was weighed together"
            self._cells.note(row, level, what, advice)
        elif one.kind in {Kind.TRIANGLE, Kind.PAIRED} and level != "treatment":
            advice = "Name one treatment in treatment and the other in against"
            self._cells.note(row, level, "is not what was tasted", advice)
        elif one.kind is Kind.LABORATORY and not one.basis and one.what != MOISTURE:
            advice = "Write fresh or dry, as the laboratory's report says"
            self._cells.note(row, "basis", "is empty", advice)
        elif one.kind is Kind.KEEPING_SCORE:
            self._check_score(row, one)

    def _check_score(self, row: Row, one: Finding) -> None:
        if one.on_date is None:
            self._cells.note(row, "on_date", "is empty", "Say on which day it was scored")
        if not one.subject.replicate:
            what = "is of a whole treatment, which cannot be followed over days"
            self._cells.note(row, "treatment", what, "Name the tray, pack or lot that was scored")


def _kind(what: str, unit: str, basis: str, taster: str) -> Kind:
    if what in _TESTS:
        return _TESTS[what]
    if what == DAYS_KEPT:
        return Kind.KEEPING
    if taster:
        return Kind.TASTE_SCORE
    if what == KEEPING_SCORE:
        return Kind.KEEPING_SCORE
    if what == MOISTURE or basis or (unit in PARTS and unit != "%"):
        return Kind.LABORATORY if what not in TRAY_WEIGHTS else Kind.TRAY
    return Kind.TRAY


def _check_value(kind: Kind, what: str, unit: str, value: float) -> None:
    """Refuse values that cannot be meant."""
    counted = kind in {Kind.TRIANGLE, Kind.PAIRED}
    faults = (
        (not 0 <= value < math.inf, "cannot be less than zero or endless", "Correct it"),
        (value == 0 and what == "seed_weight", "must be more than zero", "Weigh the seed"),
        (unit in GRAMS and value > _HEAVIEST_G, "is more than 50 kg", "Check the unit"),
        (unit == "%" and value > 100, "is more than 100 %", "Check value and unit"),
        (unit == "days" and value > _MOST_DAYS, "is more than a year", "Give days, not a date"),
        (counted and value % 1 != 0, "is not a whole number", "Write how many people it was"),
    )
    for wrong, said, advice in faults:
        if wrong:
            raise ValueProblemError(said, advice)


def _wrong_unit(kind: Kind, what: str, unit: str) -> str:
    """Tell the unit that a name needs; "" where it has it."""
    if what in TRAY_WEIGHTS:
        return "" if unit in GRAMS else "g"
    if kind is Kind.KEEPING:
        return "" if unit == "days" else "days"
    if what == MOISTURE:
        return "" if unit == "%" else "%"
    if kind in {Kind.TRIANGLE, Kind.PAIRED}:
        return "" if unit == "1" else "1"
    if kind is Kind.LABORATORY:
        return "" if unit in PARTS else "mg/100 g or another content"
    return ""


def _contradictions(table: Table, findings: Sequence[Finding]) -> list[Problem]:
    return [*_mixed(table, findings), *_parts(table, findings), *_repeated(table, findings)]


def _mixed(table: Table, findings: Sequence[Finding]) -> list[Problem]:
    """One name with bases or units that differ."""
    problems = []
    first: dict[tuple[Kind, str], Finding] = {}
    for one in findings:
        earlier = first.setdefault((one.kind, one.what), one)
        if one.kind is Kind.LABORATORY and one.basis != earlier.basis:
            what = f"differs from {earlier.basis or 'no basis'} in line {earlier.line}"
            advice = f"Give {one.what} on one basis: fresh = dry x (100 - moisture in %) / 100"
            problems.append(_at(table, one.line, what, advice, ("basis", one.basis)))
        elif _kind_of_unit(one) != _kind_of_unit(earlier):
            what = f"differs from {earlier.unit} in line {earlier.line}"
            advice = f"Give {one.what} in one unit"
            problems.append(_at(table, one.line, what, advice, ("unit", one.unit)))
    return problems


def _parts(table: Table, findings: Sequence[Finding]) -> list[Problem]:
    """Find a treatment whose samples are of lots and of what was mixed from them."""
    problems = []
    first: dict[tuple[str, str], Finding] = {}
    for one in findings:
        if one.kind is Kind.LABORATORY and one.subject.treatment:
            earlier = first.setdefault((one.what, one.subject.treatment), one)
            level = earlier.subject.level
            if one.subject.level != level:
                what = f"{one.what} of this treatment stands by {level} in line {earlier.line}"
                advice = "Give all its samples by one of them; a mixture and its parts overlap"
                held = (one.subject.level, one.subject.name)
                problems.append(_at(table, one.line, what, advice, held))
    return problems


def _kind_of_unit(one: Finding) -> str:
    if one.unit in GRAMS:
        return "weight"
    return "content" if one.kind is Kind.LABORATORY and one.unit in PARTS else one.unit


def _repeated(table: Table, findings: Sequence[Finding]) -> list[Problem]:
    """One tray or lot with two values of a kind; cuts on several days add up."""
    problems = []
    first: dict[tuple[str, str, str, date | None], Finding] = {}
    for one in findings:
        if one.kind is not Kind.TRAY:
            continue
        cut = one.on_date if one.what in {"fresh_weight", "dry_weight"} else None
        key = (one.subject.level, one.subject.name, one.what, cut)
        earlier = first.setdefault(key, one)
        if earlier is not one:
            what = f"has {one.what} in line {earlier.line} already"
            advice = "Delete one; several cuts of one tray need each its on_date, and add up"
            held = (one.subject.level, one.subject.name)
            problems.append(_at(table, one.line, what, advice, held))
    return problems


def _at(table: Table, line: int, what: str, advice: str, held: tuple[str, str]) -> Problem:
    return Problem(table.name, what, advice, line, held[0], quoted(held[1]))


def _in_one_unit(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Write weights in g, and contents in the unit of their analyte's first row."""
    units: dict[str, str] = {}
    result = []
    for one in findings:
        unit = units.setdefault(one.what, one.unit) if one.kind is Kind.LABORATORY else one.unit
        unit = "g" if unit in GRAMS else unit
        if unit == one.unit:
            result.append(one)
            continue
        # Weights were turned into g when they were read.
        factor = PARTS[one.unit] / PARTS[unit] if one.unit in PARTS else 1.0
        result.append(dataclasses.replace(one, unit=unit, value=one.value * factor))
    return tuple(result)
