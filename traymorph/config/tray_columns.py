"""Columns of a table of trays that a comparison reads as dates and sizes, held against misprints.

``measure`` writes them checked; a table made by hand may hold anything.
"""

from traymorph.config.dates import read_moment
from traymorph.config.problems import Problem, ValueProblemError, quoted, told
from traymorph.config.sizes import SIZE_LIMITS, read_size
from traymorph.config.spellings import spelt_two_ways
from traymorph.config.tray_metrics import RESULTS_FILE
from traymorph.errors import ListError
from traymorph.model.comparison import TrayTable

_DATES = ("sown_on", "harvested_on", "photographed_on")
_MOST_PROBLEMS = 50


def check_columns(table: TrayTable, treatment_column: str) -> None:
    """Refuse dates, sizes and treatments that cannot be meant.

    Parameters
    ----------
    table : TrayTable
        As read.
    treatment_column : str
        Column that holds the treatments.

    Raises
    ------
    ListError
        Every problem is named.
    """
    problems: list[Problem] = []
    for column in _DATES:
        _check(table, column, problems)
    for column in SIZE_LIMITS:
        if column in table.columns:
            _check(table, column, problems)
    if problems:
        raise ListError(told(problems[:_MOST_PROBLEMS], "results"), hint="Correct the table.")
    questions = spelt_two_ways(table.text(treatment_column), "treatment")
    if questions:
        raise ListError(" ".join(questions))


def _check(table: TrayTable, column: str, problems: list[Problem]) -> None:
    wrong: dict[str, ValueProblemError] = {}
    for cell in set(table.text(column)) - {""}:
        try:
            if column in _DATES:
                read_moment(cell)
            else:
                read_size(column, cell)
        except ValueProblemError as err:
            wrong[cell] = err
    if wrong:
        trays = table.text("tray_id")
        for row, cell in enumerate(table.text(column)):
            if cell in wrong:
                what = f"of tray {trays[row]} {wrong[cell].what}"
                held = quoted(cell)
                problems.append(Problem(RESULTS_FILE, what, wrong[cell].advice, None, column, held))
