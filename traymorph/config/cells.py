"""Cells of a list read one by one, each problem noted with its line, column and value."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from traymorph.config.dates import read_moment
from traymorph.config.problems import Problem, ValueProblemError, quoted
from traymorph.config.sizes import read_size
from traymorph.config.tables import Row, Table

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class CellReader:
    """Reads the cells of one list.

    Parameters
    ----------
    table : Table
        The list.
    problems : list of Problem
        What is wrong is added here.
    """

    table: Table
    problems: list[Problem]

    def note(self, row: Row, column: str, what: str, advice: str) -> None:
        """Add a problem with a cell."""
        value = quoted(row.get(column))
        self.problems.append(Problem(self.table.name, what, advice, row.line, column, value))

    def size(self, row: Row, column: str) -> float | None:
        """Size in mm, None where the cell is empty or cannot be used."""
        comma = self.table.decimal_comma
        return self._read(row, column, lambda text: read_size(column, text, decimal_comma=comma))

    def moment(self, row: Row, column: str) -> datetime | None:
        """Date with its time, None where the cell is empty or cannot be used."""
        return self._read(row, column, read_moment)

    def word(self, row: Row, column: str, known: tuple[str, ...]) -> str | None:
        """One of several words in any case, None where the cell is empty or cannot be used."""

        def read(text: str) -> str:
            if text.lower() in known:
                return text.lower()
            what = "is not one of the words that are known"
            raise ValueProblemError(what, f"Write {', '.join(known[:-1])} or {known[-1]}")

        return self._read(row, column, read)

    def _read(self, row: Row, column: str, read: Callable[[str], _T]) -> _T | None:
        text = row.get(column)
        if not text:
            return None
        try:
            return read(text)
        except ValueProblemError as err:
            self.note(row, column, err.what, err.advice)
            return None
