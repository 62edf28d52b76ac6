"""``standard.csv``: the limits that a grower has set for batches, by crop and metric."""

import math
from pathlib import Path

from traymorph.config.cells import CellReader
from traymorph.config.problems import Problem, told
from traymorph.config.tables import Row, read_table
from traymorph.errors import ListError
from traymorph.model.drift import StandardLimit
from traymorph.model.metrics import METRICS, name_meant

STANDARD_FILE = "standard.csv"
_REQUIRED = ("crop", "metric", "lower", "upper")


def read_standard(folder: Path) -> tuple[StandardLimit, ...]:
    """Read the written standard of a folder; none without the list.

    Raises
    ------
    ListError
        The list cannot be read, or rows of it cannot be meant; all are named.
    """
    path = folder / STANDARD_FILE
    if not path.exists():
        return ()
    problems: list[Problem] = []
    table = read_table(path, _REQUIRED, problems)
    cells = CellReader(table, problems)
    limits: list[StandardLimit] = []
    firsts: dict[tuple[str, str], Row] = {}
    for row in table.rows:
        _check_metric(cells, row)
        key = (row.get("crop").casefold(), row.get("metric"))
        if key in firsts:
            _note_second(cells, row, firsts[key])
        firsts.setdefault(key, row)
        lower, upper = (_limit(cells, row, column) for column in ("lower", "upper"))
        _check_order(cells, row, lower, upper)
        limits.append(StandardLimit(row.get("crop"), row.get("metric"), lower, upper, row.line))
    if problems:
        raise ListError(told(problems, "standards"), hint="Correct the list.")
    return tuple(limits)


def _check_metric(cells: CellReader, row: Row) -> None:
    metric = row.get("metric")
    if metric in METRICS:
        return
    what = "is not a metric" if metric else "is empty"
    cells.note(row, "metric", what, name_meant(metric))


def _note_second(cells: CellReader, row: Row, first: Row) -> None:
    """Refuse a second line of one crop and metric; halves of one pair of limits belong together."""
    halves = all(bool(first.get(side)) != bool(row.get(side)) for side in ("lower", "upper"))
    what = f"has limits for this crop in line {first.line} already"
    advice = "Put both limits into one line" if halves else "Delete one of the two lines"
    cells.note(row, "metric", what, advice)


def _limit(cells: CellReader, row: Row, column: str) -> float:
    """Read a limit; NaN where the cell is empty or cannot be used."""
    text = row.get(column)
    if not text:
        return math.nan
    plain = text.replace(",", ".") if cells.table.decimal_comma else text
    try:
        value = float(plain)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        cells.note(row, column, "is not a number", "Write digits with a decimal point, no unit")
        return math.nan
    return value


def _check_order(cells: CellReader, row: Row, lower: float, upper: float) -> None:
    if not row.get("lower") and not row.get("upper"):
        cells.note(row, "lower", "is empty, and so is upper", "Give one limit at least")
    elif lower >= upper:
        what = f"is not less than upper = {upper:g}"
        cells.note(row, "lower", what, "Swap the two, if they are the wrong way round")
