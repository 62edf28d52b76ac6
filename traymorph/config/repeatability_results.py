"""``repeatability.csv`` as planning and measuring take it: what repeats scatter."""

import math
from pathlib import Path

from traymorph.config.problems import Problem, quoted
from traymorph.config.tables import Row, read_table
from traymorph.errors import ListError
from traymorph.model.plan import Scatter

STUDY_FILE = "repeatability.csv"
_SD, _ALL, _MEAN, _VERDICT = "one_operator_sd", "measuring_sd", "mean", "stated_doubt"


def read_scatter(path: Path, metric: str) -> Scatter | None:
    """Read what repeats of a metric scatter.

    Parameters
    ----------
    path : Path
        ``results/repeatability.csv`` of a study.
    metric : str
        Name of the metric.

    Returns
    -------
    Scatter or None
        None where the study does not tell this metric.

    Raises
    ------
    ListError
        The table cannot be read, or its figures cannot be meant.
    """
    rows = _rows(path, ("metric", _SD, _MEAN))
    found = next(((name, row) for name, row in rows if row.get("metric") == metric), None)
    if found is None:
        return None
    name, row = found
    sd, mean = _number(name, row, _SD), _number(name, row, _MEAN)
    of_crop = f" of {row.get('crop')}" if row.get("crop") else ""
    source = f"{row.get('measurements')} measurements of {row.get('trays')} trays{of_crop}"
    return Scatter(metric, sd, mean, source)


def studied_metrics(path: Path) -> tuple[str, ...]:
    """Give the metrics that a study tells, in its order.

    Parameters
    ----------
    path : Path
        ``results/repeatability.csv`` of a study.

    Raises
    ------
    ListError
        The table cannot be read.
    """
    return tuple(row.get("metric") for _, row in _rows(path, ("metric",)))


def read_scatter_beyond_doubt(path: Path) -> dict[str, float]:
    """Read of which metrics a study found the stated doubt too small.

    Parameters
    ----------
    path : Path
        ``results/repeatability.csv`` of a study.

    Returns
    -------
    dict of str to float
        Standard deviation of measuring by metric, in its unit: that of all people and phones, or of
        the only one.

    Raises
    ------
    ListError
        The table cannot be read, or its figures cannot be meant.
    """
    return {
        row.get("metric"): _number(name, row, _ALL if row.get(_ALL) else _SD)
        for name, row in _rows(path, ("metric", _SD, _ALL, _VERDICT))
        if row.get(_VERDICT) == "too_small"
    }


def _rows(path: Path, columns: tuple[str, ...]) -> list[tuple[str, Row]]:
    """Rows of the table, each with the file's name for messages."""
    problems: list[Problem] = []
    table = read_table(path, columns, problems)
    if problems:
        raise ListError(str(problems[0]), hint="Run `traymorph repeatability` again.")
    return [(table.name, row) for row in table.rows]


def _number(name: str, row: Row, column: str) -> float:
    try:
        number = float(row.get(column))
    except ValueError:
        number = math.nan
    if math.isfinite(number) and (column == _MEAN or number >= 0):
        return number
    what = "is less than 0" if math.isfinite(number) else "is not a number"
    advice = "Run `traymorph repeatability` again"
    problem = Problem(name, what, advice, row.line, column, quoted(row.get(column)))
    raise ListError(str(problem))
