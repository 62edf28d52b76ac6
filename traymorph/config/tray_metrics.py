"""``tray_metrics.csv`` as a comparison takes it, written by traymorph or by hand."""

import re
from collections.abc import Collection, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from traymorph.config.problems import Problem, quoted, told
from traymorph.config.tables import Table, read_table
from traymorph.config.tray_columns import check_days_and_sizes
from traymorph.errors import ListError
from traymorph.model.comparison import TrayTable
from traymorph.model.metrics import METRICS

RESULTS_FILE = "tray_metrics.csv"
REPEAT_OF = "repeat_of"
"""Names the tray that a row measures again."""
_REQUIRED = ("tray_id",)
_OF_METRICS = frozenset(name + ending for name in METRICS for ending in ("", "_u", "_sd", "_se"))
_MADE = ("flags", "program_version", "mask_method", "n_plants")
_GUARD = re.compile(r"'+[=+\-@]")
_MOST_PROBLEMS = 50
_HOW_WELL_SEEN = "leaf_colour_share_pct"
"""Says how well the leaves were seen and nothing of the plants; it is not compared."""


def read_tray_metrics(
    path: Path, metrics: Collection[str] | None = None, *, with_repeats: bool = False
) -> TrayTable:
    """Read a table of trays.

    Parameters
    ----------
    path : Path
        ``results/tray_metrics.csv``, or one written by hand: a column ``tray_id``, metrics by
        their names, and whatever the trays are compared by.
    metrics : collection of str or None
        Read these alone, without their uncertainties; None = all that the table has.
    with_repeats : bool
        Rows that measure a tray again stay in it; they are no trays of their own, so that only a
        study of the measuring wants them.

    Raises
    ------
    ListError
        There is no such table, or cells of it cannot be meant; all are named.
    """
    if not path.exists():
        msg = f"There is no {path}: nothing has been measured yet."
        raise ListError(msg, hint="Run `traymorph measure` on the folder first.")
    problems: list[Problem] = []
    unread = frozenset[str]() if metrics is None else _OF_METRICS - set(metrics)
    table = read_table(path, _REQUIRED, problems, lambda name: name not in unread)
    _check_rows(table, problems)
    measured = [
        name for name in table.columns if name in METRICS and not name.endswith(_HOW_WELL_SEEN)
    ]
    values = {name: _numbers(table, name, problems) for name in measured}
    doubts = {
        name: _numbers(table, f"{name}_u", problems)
        if f"{name}_u" in table.columns
        else np.full(len(table), np.nan)
        for name in measured
    }
    _check_limits(table, values, problems)
    check_days_and_sizes(table, problems)
    if problems:
        raise ListError(told(problems[:_MOST_PROBLEMS], "results"), hint="Correct the table.")
    flags = table.column("flags")
    known = {cell: frozenset(cell.split()) for cell in set(flags)}
    read = TrayTable(
        {name: _texts(table, name) for name in _text_columns(table)},
        values,
        doubts,
        tuple(map(known.__getitem__, flags)),
        {name: METRICS[name].unit for name in measured},
    )
    return read if with_repeats else _without_repeats(read)


def _without_repeats(table: TrayTable) -> TrayTable:
    again = table.text(REPEAT_OF)
    if not any(again):
        return table
    return table.only(np.flatnonzero([not cell for cell in again]))


def _text_columns(table: Table) -> list[str]:
    return [name for name in table.columns if name not in _OF_METRICS and name not in _MADE]


def _texts(table: Table, column: str) -> tuple[str, ...]:
    cells = table.column(column)
    if not any("'" in cell for cell in set(cells)):
        return tuple(cells)
    return tuple(map(_unguarded, cells))


def _unguarded(cell: str) -> str:
    """Take off the apostrophe that keeps a spreadsheet from running the text as a formula."""
    return cell[1:] if cell[:1] == "'" and _GUARD.match(cell) else cell


def _check_rows(table: Table, problems: list[Problem]) -> None:
    trays, days = table.column("tray_id"), table.column("photographed_on")
    if not trays:
        problems.append(Problem(table.name, "holds no tray", "Measure a tray first"))
    if len(set(trays)) == len(trays) and "" not in trays:
        return
    seen: dict[tuple[str, str], int] = {}
    for place, key in enumerate(zip(trays, days, strict=True)):
        line = seen.setdefault(key, table.lines[place])
        if not key[0]:
            problems.append(_problem(table, place, "tray_id", "is empty", "Name the tray"))
        elif line != table.lines[place]:
            what = f"stands in line {line} already with the same photographed_on"
            problems.append(_problem(table, place, "tray_id", what, "Delete one of the two lines"))


def _numbers(table: Table, column: str, problems: list[Problem]) -> NDArray[np.float64]:
    cells = table.column(column)
    try:
        found = [float(cell) if cell else np.nan for cell in cells]
    except ValueError:
        found = [_number(table, place, column, problems) for place in range(len(cells))]
    return np.array(found, dtype=np.float64)


def _number(table: Table, place: int, column: str, problems: list[Problem]) -> float:
    cell = table.column(column)[place]
    text = cell.replace(",", ".") if table.decimal_comma and cell.count(",") == 1 else cell
    try:
        return float(text or "nan")
    except ValueError:
        advice = "Write a number with a decimal point, or leave the cell empty"
        problems.append(_problem(table, place, column, "is not a number", advice))
        return np.nan


def _check_limits(
    table: Table, values: dict[str, NDArray[np.float64]], problems: list[Problem]
) -> None:
    for name, numbers in values.items():
        spec = METRICS[name]
        with np.errstate(invalid="ignore"):
            beyond = np.isinf(numbers) | (numbers < spec.low) | (numbers > spec.high)
        for place in np.flatnonzero(beyond).tolist():
            what = f"lies outside {spec.low:g} to {spec.high:g} {spec.unit}"
            advice = "Correct it, or leave the cell empty"
            problems.append(_problem(table, place, name, what, advice))


def _problem(table: Table, place: int, column: str, what: str, advice: str) -> Problem:
    held = quoted(table.column(column)[place])
    return Problem(table.name, what, advice, table.lines[place], column, held)


def metrics_of(table: TrayTable) -> Sequence[str]:
    """Metrics of a table in the order of ``METRICS``."""
    return [name for name in METRICS if name in table.values]
