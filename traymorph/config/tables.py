"""Lists in CSV: takes a file, gives its rows as text with their lines, refuses what is ambiguous.

Every cell stays text: ``007`` keeps its zeros and ``NA`` is a name like any other.
"""

import csv
import difflib
import io
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from operator import itemgetter
from pathlib import Path

from traymorph.config.problems import Problem, quoted
from traymorph.errors import ListError

_SEPARATORS = ",;\t"
_UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")
_NAMED_LINES = 8
_ALIKE = 0.7  # share of letters in common: "Tray" for "tray_id"
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


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """A list as read, column by column.

    Parameters
    ----------
    name : str
        File name, for messages.
    columns : tuple of str
        The header, or what was wanted of it.
    lines : list of int
        Lines of the file on which rows begin that hold anything at all.
    cells : dict of str to list of str
        By column, one text per row.
    decimal_comma : bool
        Cells are separated by semicolons or tabs, as spreadsheets do where decimals have a comma.
    """

    name: str
    columns: tuple[str, ...]
    lines: list[int]
    cells: dict[str, list[str]]
    decimal_comma: bool

    def __len__(self) -> int:
        return len(self.lines)

    @property
    def rows(self) -> tuple[Row, ...]:
        """Every row; long tables are read by their columns."""
        return tuple(map(self.row, range(len(self))))

    def row(self, place: int) -> Row:
        """One row, counted from 0."""
        return Row(self.lines[place], {name: self.cells[name][place] for name in self.columns})

    def column(self, name: str) -> list[str]:
        """Cells of a column from the first row to the last; all "" where there is none."""
        return self.cells.get(name) or [""] * len(self)


def read_table(
    path: Path,
    required: tuple[str, ...],
    problems: list[Problem],
    wanted: Callable[[str], bool] = bool,
) -> Table:
    """Read a list whose cells are separated by commas, semicolons or tabs.

    Parameters
    ----------
    path : Path
        CSV file in UTF-8, with or without byte order mark.
    required : tuple of str
        Columns without which the list is of no use.
    problems : list of Problem
        What is wrong with header and rows is added here.
    wanted : callable
        Takes the name of a column and says whether to read it; unless told, all that have a name.

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
    names = _checked_header(path.name, _clean(header), required)
    lines, cells = _body(path.name, records, names, problems, wanted)
    return Table(path.name, tuple(cells), lines, cells, decimal_comma=separator != ",")


def _body(
    name: str,
    records: Iterator[tuple[int, list[str]]],
    header: list[str],
    problems: list[Problem],
    wanted: Callable[[str], bool],
) -> tuple[list[int], dict[str, list[str]]]:
    """Give the lines on which rows begin, and their cells by column."""
    too_long: list[tuple[int, str]] = []
    places = [k for k, column in enumerate(header) if column and wanted(column)]
    # The last place twice: of a single place the getter would give no tuple.
    picked, width = itemgetter(*places, places[-1]), len(header)
    lines: list[int] = []
    flat: list[str] = []
    for line, record in records:
        if not any(map(str.strip, record)):
            continue
        if len(record) != width:
            too_long += [(line, cell) for cell in _clean(record[width:]) if cell][:1]
            record.extend([""] * (width - len(record)))
        lines.append(line)
        flat += picked(record)
    if too_long:
        problems.append(_too_many_cells(name, too_long, width))
    step = len(places) + 1
    return lines, {header[place]: _clean(flat[k::step]) for k, place in enumerate(places)}


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
    """Cells as they stand, with the line on which their row begins."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    line = 1
    try:
        for record in reader:
            if record:
                yield line, record
            line = reader.line_num + 1
    except csv.Error as err:
        msg = f"{name} line {line} cannot be split into cells ({err})."
        hint = "Look for a quotation mark that is opened and never closed, or closed too early."
        raise ListError(msg, hint=hint) from err


def _clean(cells: Sequence[str]) -> list[str]:
    """Take off outer white space; of letters that can be written in two ways, one is kept.

    That is the one sign rather than letter and accent.
    """
    if all(map(str.isascii, cells)):
        return [cell.strip() for cell in cells]
    return [unicodedata.normalize("NFC", cell).strip() for cell in cells]


def _checked_header(name: str, header: list[str], required: tuple[str, ...]) -> list[str]:
    while header and not header[-1]:
        header = header[:-1]
    missing = [column for column in required if column not in header]
    twice = sorted({column for column in header if column and header.count(column) > 1})
    if missing:
        msg = f"{name} lacks the {_columns(missing)}; its header reads: {', '.join(header)}."
        hint = f"The first line must name {', '.join(required)}, spelt exactly so."
        if meant := _meant_for(missing, [column for column in header if column not in required]):
            hint = f"Perhaps {meant}. {hint}"
        raise ListError(msg, hint=hint)
    if twice:
        msg = f"{name} has the {_columns(twice)} more than once."
        raise ListError(msg, hint="Rename or delete all but one.")
    return header


def _meant_for(missing: list[str], others: list[str]) -> str:
    """Say which columns may be missing ones under another spelling; "" where none looks so."""
    plain = {column.casefold().replace(" ", "_"): column for column in others if column}
    near = {
        column: difflib.get_close_matches(column, plain, n=1, cutoff=_ALIKE) for column in missing
    }
    return ", ".join(f"{plain[found[0]]} is {column}" for column, found in near.items() if found)


def _columns(names: list[str]) -> str:
    return f"column{'s' if len(names) > 1 else ''} {', '.join(names)}"


def _too_many_cells(name: str, rows: list[tuple[int, str]], width: int) -> Problem:
    """Tell once of all rows that are too long: mostly the same has happened to each.

    Parameters
    ----------
    name : str
        Of the file.
    rows : list of tuple of int and str
        Line and first cell too many of each such row.
    width : int
        Cells of the header.
    """
    advice = (
        "Is a decimal comma in a cell? Write a decimal point; else put a value that holds the "
        "separator in quotes, or name the further column"
    )
    what = f"more cells than the header's {width}"
    if len(rows) == 1:
        (line, stray), *_ = rows
        return Problem(name, f"the row has {what}", advice, line=line, value=quoted(stray))
    lines = ", ".join(str(line) for line, _ in rows[:_NAMED_LINES])
    more = f" and {len(rows) - _NAMED_LINES} more" if len(rows) > _NAMED_LINES else ""
    return Problem(f"{name} lines {lines}{more}", f"the rows have {what}", advice)
