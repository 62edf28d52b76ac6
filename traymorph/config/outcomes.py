"""``outcomes.csv``: takes the list, gives what was weighed, tasted or found in a laboratory.

So far the weights of cut plants are used; rows on anything else are left for others to read.
"""

import dataclasses
import math
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from traymorph.config.cells import CellReader
from traymorph.config.numbers import read_number
from traymorph.config.problems import Problem, ValueProblemError
from traymorph.config.tables import Row, Table, read_table
from traymorph.model.trial import Sample, SampleWeight

OUTCOMES_FILE = "outcomes.csv"
SAMPLE_WEIGHT = "sample_fresh_weight"
_REQUIRED = ("what", "value", "unit")
_SUBJECTS = ("tray_id", "lot", "treatment", "batch")
_GRAMS = {"g": 1.0, "mg": 0.001}
_HEAVIEST_G = 5000.0  # twenty-five plants of the largest crop weigh less than a tenth of this
_MOST_PLANTS = 10_000


def read_weights(
    path: Path, samples: Sequence[Sample], problems: list[Problem]
) -> tuple[Sample, ...]:
    """Read the fresh weights of cut plants from ``outcomes.csv``.

    Parameters
    ----------
    path : Path
        The list.
    samples : sequence of Sample
        Trays and packs of the trial.
    problems : list of Problem
        What is wrong is added here.

    Returns
    -------
    tuple of Sample
        The same samples with their weights.

    Raises
    ------
    ListError
        The file cannot be read as a list at all.
    """
    table = read_table(path, _REQUIRED, problems)
    if not set(_SUBJECTS) & set(table.columns):
        what = f"has none of the columns {', '.join(_SUBJECTS)}"
        problems.append(Problem(table.name, what, "Say in one of them what each row is about", 1))
    reader = CellReader(table, problems)
    weights: dict[str, dict[date | None, SampleWeight]] = {one.tray_id: {} for one in samples}
    lines: dict[tuple[str, date | None], int] = {}
    for row in table.rows:
        if _is_weight(reader, row):
            weight = _weight(reader, row, table)
            tray_id = _tray_id(reader, row, weights)
            if weight is None or tray_id is None:
                continue
            place = (tray_id, weight.weighed_on)
            if place in lines:
                what = f"was weighed in line {lines[place]} already"
                advice = "Give one weight for all its cut plants of a day, or each its on_date"
                reader.note(row, "tray_id", what, advice)
            lines.setdefault(place, row.line)
            weights[tray_id][weight.weighed_on] = weight
    return tuple(
        dataclasses.replace(one, weights=tuple(weights[one.tray_id].values())) for one in samples
    )


def _is_weight(reader: CellReader, row: Row) -> bool:
    what = row.get("what")
    if not what:
        reader.note(row, "what", "is empty", f"Say what was found, for example {SAMPLE_WEIGHT}")
        return False
    plain = what.lower().replace(" ", "_").replace("-", "_")
    if plain == SAMPLE_WEIGHT and what != SAMPLE_WEIGHT:
        reader.note(row, "what", "is spelt otherwise", f"Write {SAMPLE_WEIGHT}")
    return what == SAMPLE_WEIGHT


def _tray_id(
    reader: CellReader, row: Row, known: dict[str, dict[date | None, SampleWeight]]
) -> str | None:
    tray_id = row.get("tray_id")
    if not tray_id:
        reader.note(row, "tray_id", "is empty", "Say which tray or pack the plants are of")
    elif tray_id not in known:
        advice = "Correct it, or add the tray to trays.csv"
        reader.note(row, "tray_id", "is no tray of this trial", advice)
    else:
        return tray_id
    return None


def _weight(reader: CellReader, row: Row, table: Table) -> SampleWeight | None:
    moment = reader.moment(row, "on_date")
    n_plants = _count(reader, row)
    unit = reader.word(row, "unit", tuple(_GRAMS))
    if not row.get("unit"):
        reader.note(row, "unit", "is empty", "Write g or mg")
    try:
        value = read_number(
            row.get("value"),
            decimal_comma=table.decimal_comma,
            if_empty="Give the weight, or delete the line",
        )
        grams = value * _GRAMS[unit] if unit else math.nan
        _check_heaviness(value, grams)
    except ValueProblemError as err:
        reader.note(row, "value", err.what, err.advice)
        return None
    if unit is None:
        return None
    return SampleWeight(grams, moment.date() if moment else None, n_plants)


def _check_heaviness(value: float, grams: float) -> None:
    if not math.isfinite(value) or value <= 0:
        what = "a weight must be more than zero"
        raise ValueProblemError(what, "Weigh the cut plants again, or delete the line")
    if grams > _HEAVIEST_G:
        what = f"is more than {_HEAVIEST_G:g} g"
        advice = "Give the weight of the plants on the board alone, and check the unit"
        raise ValueProblemError(what, advice)


def _count(reader: CellReader, row: Row) -> int | None:
    text = row.get("n_plants")
    if not text:
        return None
    if not text.isdecimal() or not 1 <= int(text) <= _MOST_PLANTS:
        what, advice = "is no number of plants", "Write how many plants were weighed together"
        reader.note(row, "n_plants", what, advice)
        return None
    return int(text)
