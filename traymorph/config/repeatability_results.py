"""``repeatability.csv`` as a plan takes it: what one person and phone scatter."""

import math
from pathlib import Path

from traymorph.config.problems import Problem, quoted
from traymorph.config.tables import Row, read_table
from traymorph.errors import ListError
from traymorph.model.plan import Scatter

STUDY_FILE = "repeatability.csv"
_SD, _MEAN = "one_operator_sd", "mean"


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
    problems: list[Problem] = []
    table = read_table(path, ("metric", _SD, _MEAN), problems)
    if problems:
        raise ListError(str(problems[0]), hint="Run `traymorph repeatability` again.")
    row = next((row for row in table.rows if row.get("metric") == metric), None)
    if row is None:
        return None
    sd, mean = _number(table.name, row, _SD), _number(table.name, row, _MEAN)
    if sd < 0:
        raise _unusable(table.name, row, _SD, "is less than 0")
    of_crop = f" of {row.get('crop')}" if row.get("crop") else ""
    source = f"{row.get('measurements')} measurements of {row.get('trays')} trays{of_crop}"
    return Scatter(metric, sd, mean, source)


def _number(name: str, row: Row, column: str) -> float:
    try:
        number = float(row.get(column))
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise _unusable(name, row, column, "is not a number")
    return number


def _unusable(name: str, row: Row, column: str, what: str) -> ListError:
    advice = "Run `traymorph repeatability` again"
    problem = Problem(name, what, advice, row.line, column, quoted(row.get(column)))
    return ListError(str(problem))
