"""Lists in CSV: takes a file, gives its rows as text with their lines, refuses what is ambiguous.

Every cell stays text: ``007`` keeps its zeros and ``NA`` is a name like any other.
"""

import csv
import io
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from traymorph.config.problems import Problem, quoted
from traymorph.errors import ListError

_SEPARATORS = ",;\t"
_UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")
_SAVE_AGAIN = 'Save it from the spreadsheet as "CSV UTF-8"'


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a list.

    Parameters
    ----------
    line : int
        Line of the file on which the row begins, counted from 1.
    cells : dict of str to str
        Text by column, outer white space removed, "" where the cell is empty.
    """

    line: int
    cells: dict[str, str]

    def get(self, column: str) -> str:
        """Text of a cell; "" also where the list has no such column."""
        return self.cells.get(column, "")


@dataclass(frozen=True, slots=True)
class Table:
    """A list as read.

    Parameters
    ----------
    name : str
        File name, for messages.
    columns : tuple of str
        The header.
    rows : tuple of Row
        Rows that hold anything at all.
    decimal_comma : bool
        Cells are separated by semicolons or tabs, as spreadsheets do where decimals have a comma.
    """

    name: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    decimal_comma: bool

    def column(self, name: str) -> list[str]:
        """Cells of a column from the first row to the last; all "" where there is none."""
        return [row.cells.get(name, "") for row in self.rows]


def read_table(path: Path, required: tuple[str, ...], problems: list[Problem]) -> Table:
    """Read a list whose cells are separated by commas, semicolons or tabs.

    Parameters
    ----------
    path : Path
        CSV file in UTF-8, with or without byte order mark.
    required : tuple of str
        Columns without which the list is of no use.
    problems : list of Problem
        What is wrong with header and rows is added here.

    Returns
    -------
    Table
        Without the rows that could not be split into cells.

    Raises
    ------
    ListError
        The file cannot be read as text or has no usable header, so that no row can be judged.
    """
    text = _text_of(path)
    separator = _separator(text, required)
    records = _records(path.name, text, separator)
    _, header = next(records, (1, []))
    columns = _checked_header(path.name, header, required)
    rows = []
    for line, record in records:
        if any(record):
            problem = _stray_cells(path.name, line, record, len(columns))
            if problem:
                problems.append(problem)
            padded = record + [""] * (len(columns) - len(record))
            cells = {name: cell for name, cell in zip(columns, padded, strict=False) if name}
            rows.append(Row(line, cells))
    named = tuple(name for name in columns if name)
    return Table(path.name, named, tuple(rows), decimal_comma=separator != ",")


def _text_of(path: Path) -> str:
    try:
        data = path.read_bytes()
    except OSError as err:
        msg = f"{path} cannot be read ({err.strerror})."
        raise ListError(msg, hint="Check the file and its permissions.") from err
    if data.startswith(_UTF16_MARKS) or b"\0" in data:
        msg = f"{path.name} is not UTF-8 text."
        raise ListError(msg, hint=f"{_SAVE_AGAIN}.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as err:
        line = data.count(b"\n", 0, err.start) + 1
        msg = f"{path.name} line {line} is not UTF-8 text."
        raise ListError(msg, hint=f"{_SAVE_AGAIN}.") from err


def _separator(text: str, required: tuple[str, ...]) -> str:
    header = text.lstrip().split("\n", 1)[0]
    found = {
        separator: {cell.strip() for cell in next(csv.reader([header], delimiter=separator), [])}
        for separator in _SEPARATORS
    }
    # The separator under which most of the expected columns appear; commas where none does.
    return max(_SEPARATORS, key=lambda one: (len(found[one] & set(required)), len(found[one])))


def _records(name: str, text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    line = 1
    try:
        for record in reader:
            cells = [cell.strip() if cell.isascii() else _composed(cell) for cell in record]
            if cells:
                yield line, cells
            line = reader.line_num + 1
    except csv.Error as err:
        msg = f"{name} line {line} cannot be split into cells ({err})."
        hint = "Look for a quotation mark that is opened and never closed, or closed too early."
        raise ListError(msg, hint=hint) from err


def _composed(cell: str) -> str:
    """One form of letters that can be written in two: as one sign, or as letter and accent."""
    return unicodedata.normalize("NFC", cell).strip()


def _checked_header(name: str, header: list[str], required: tuple[str, ...]) -> list[str]:
    while header and not header[-1]:
        header = header[:-1]
    missing = [column for column in required if column not in header]
    twice = sorted({column for column in header if column and header.count(column) > 1})
    if missing:
        msg = f"{name} lacks the {_columns(missing)}; its header reads: {', '.join(header)}."
        hint = f"The first line must name {', '.join(required)}, spelt exactly so."
        raise ListError(msg, hint=hint)
    if twice:
        msg = f"{name} has the {_columns(twice)} more than once."
        raise ListError(msg, hint="Rename or delete all but one.")
    return header


def _columns(names: list[str]) -> str:
    return f"column{'s' if len(names) > 1 else ''} {', '.join(names)}"


def _stray_cells(name: str, line: int, record: list[str], width: int) -> Problem | None:
    stray = [cell for cell in record[width:] if cell]
    if not stray:
        return None
    what = f"the row has more cells than the header's {width}"
    advice = "Put a value that holds the separator in quotes, or name the further column"
    return Problem(name, what, advice, line=line, value=quoted(stray[0]))
