"""``tray_metrics.csv`` as a comparison takes it, written by traymorph or by hand."""

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from traymorph.config.problems import Problem, quoted, told
from traymorph.config.tables import Row, Table, read_table
from traymorph.errors import ListError
from traymorph.model.comparison import TrayTable
from traymorph.model.metrics import METRICS

RESULTS_FILE = "tray_metrics.csv"
_REQUIRED = ("tray_id",)
_DERIVED = ("_u", "_sd", "_se")
_MADE = ("flags", "program_version", "mask_method", "n_plants")
_GUARD = re.compile(r"'+[=+\-@]")
_MOST_PROBLEMS = 50
_HOW_WELL_SEEN = "leaf_colour_share_pct"
"""Says how well the leaves were seen and nothing of the plants; it is not compared."""


def read_tray_metrics(path: Path) -> TrayTable:
    """Read a table of trays.

    Parameters
    ----------
    path : Path
        ``results/tray_metrics.csv``, or one written by hand: a column ``tray_id``, metrics by
        their names, and whatever the trays are compared by.

    Raises
    ------
    ListError
        There is no such table, or cells of it cannot be meant; all are named.
    """
    if not path.exists():
        msg = f"There is no {path}: nothing has been measured yet."
        raise ListError(msg, hint="Run `traymorph measure` on the folder first.")
    problems: list[Problem] = []
    table = read_table(path, _REQUIRED, problems)
    _check_rows(table, problems)
    measured = [
        name for name in table.columns if name in METRICS and not name.endswith(_HOW_WELL_SEEN)
    ]
    values = {name: _numbers(table, name, problems) for name in measured}
    doubts = {
        name: _numbers(table, f"{name}_u", problems)
        if f"{name}_u" in table.columns
        else np.full(len(table.rows), np.nan)
        for name in measured
    }
    _check_limits(table, values, problems)
    if problems:
        raise ListError(told(problems[:_MOST_PROBLEMS], "results"), hint="Correct the table.")
    return TrayTable(
        {name: _texts(table, name) for name in _text_columns(table)},
        values,
        doubts,
        tuple(frozenset(row.get("flags").split()) for row in table.rows),
        {name: METRICS[name].unit for name in measured},
    )


def _text_columns(table: Table) -> list[str]:
    derived = {name + ending for name in METRICS for ending in ("", *_DERIVED)}
    return [name for name in table.columns if name not in derived and name not in _MADE]


def _texts(table: Table, column: str) -> tuple[str, ...]:
    return tuple(map(_unguarded, table.column(column)))


def _unguarded(cell: str) -> str:
    """Take off the apostrophe that keeps a spreadsheet from running the text as a formula."""
    return cell[1:] if cell[:1] == "'" and _GUARD.match(cell) else cell


def _check_rows(table: Table, problems: list[Problem]) -> None:
    seen: dict[tuple[str, str], int] = {}
    for row in table.rows:
        tray, day = row.get("tray_id"), row.get("photographed_on")
        if not tray:
            problems.append(_problem(table, row, "tray_id", "is empty", "Name the tray"))
        elif (tray, day) in seen:
            what = f"stands in line {seen[tray, day]} already with the same photographed_on"
            problems.append(_problem(table, row, "tray_id", what, "Delete one of the two lines"))
        seen.setdefault((tray, day), row.line)
    if not table.rows:
        problems.append(Problem(table.name, "holds no tray", "Measure a tray first"))


def _numbers(table: Table, column: str, problems: list[Problem]) -> NDArray[np.float64]:
    cells = table.column(column)
    try:
        return np.array([cell or "nan" for cell in cells], dtype=object).astype(np.float64)
    except ValueError:
        return np.array(
            [_number(table, row, column, problems) for row in table.rows], dtype=np.float64
        )


def _number(table: Table, row: Row, column: str, problems: list[Problem]) -> float:
    cell = row.get(column)
    text = cell.replace(",", ".") if table.decimal_comma and cell.count(",") == 1 else cell
    try:
        return float(text or "nan")
    except ValueError:
        advice = "Write a number with a decimal point, or leave the cell empty"
        problems.append(_problem(table, row, column, "is not a number", advice))
        return np.nan


def _check_limits(
    table: Table, values: dict[str, NDArray[np.float64]], problems: list[Problem]
) -> None:
    for name, numbers in values.items():
        spec = METRICS[name]
        with np.errstate(invalid="ignore"):
            beyond = np.isinf(numbers) | (numbers < spec.low) | (numbers > spec.high)
        for place in np.flatnonzero(beyond):
            what = f"lies outside {spec.low:g} to {spec.high:g} {spec.unit}"
            advice = "Correct it, or leave the cell empty"
            problems.append(_problem(table, table.rows[place], name, what, advice))


def _problem(table: Table, row: Row, column: str, what: str, advice: str) -> Problem:
    return Problem(table.name, what, advice, row.line, column, quoted(row.get(column)))


def metrics_of(table: TrayTable) -> Sequence[str]:
    """Metrics of a table in the order of ``METRICS``."""
    return [name for name in METRICS if name in table.values]
