"""Columns of a table of trays: dates and sizes held against misprints, rows kept by a word.

``measure`` writes them checked; a table made by hand may hold anything.
"""

import numpy as np

from traymorph.config.dates import read_moment
from traymorph.config.problems import Problem, ValueProblemError, quoted
from traymorph.config.sizes import SIZE_LIMITS, read_size
from traymorph.config.spellings import spelt_two_ways
from traymorph.config.tables import Table
from traymorph.errors import DesignError, ListError
from traymorph.model.comparison import TrayTable

_DATES = ("sown_on", "harvested_on", "photographed_on")


def check_days_and_sizes(table: Table, problems: list[Problem]) -> None:
    """Find dates and sizes that cannot be meant.

    Parameters
    ----------
    table : Table
        As read.
    problems : list of Problem
        What is wrong is added here.
    """
    for column in (*_DATES, *SIZE_LIMITS):
        cells = table.column(column)
        wrong = {cell: told for cell in set(cells) if cell and (told := _wrong(column, cell))}
        if not wrong:
            continue
        for line, cell in zip(table.lines, cells, strict=True):
            if cell in wrong:
                told = wrong[cell]
                problems.append(
                    Problem(table.name, told.what, told.advice, line, column, quoted(cell))
                )


def _wrong(column: str, cell: str) -> ValueProblemError | None:
    try:
        if column in _DATES:
            read_moment(cell)
        else:
            read_size(column, cell)
    except ValueProblemError as err:
        return err
    return None


def check_treatments(table: TrayTable, treatment_column: str) -> None:
    """Refuse one treatment that is spelt two ways.

    Parameters
    ----------
    table : TrayTable
        As read.
    treatment_column : str
        Column that holds the treatments.

    Raises
    ------
    ListError
        Every such pair is asked about.
    """
    questions = spelt_two_ways(table.text(treatment_column), "treatment")
    if questions:
        raise ListError(" ".join(questions))


def rows_with(table: TrayTable, column: str, wanted: str | None) -> TrayTable:
    """Keep the rows that hold a word in a column, however it is capitalised.

    Parameters
    ----------
    table : TrayTable
        As read.
    column : str
        Like ``crop``.
    wanted : str or None
        The word; all rows are kept where none is wanted.

    Raises
    ------
    DesignError
        No row holds it.
    """
    if wanted is None:
        return table
    cells = table.text(column)
    kept = np.flatnonzero([cell.casefold() == wanted.casefold() for cell in cells])
    if not len(kept):
        known = ", ".join(sorted(set(cells) - {""})) or "none is named"
        msg = f"No tray of the table has {wanted!r} in the column {column} ({known})."
        raise DesignError(msg, hint="Write it as trays.csv does.")
    return table.only(kept)
