"""``photo_checks.csv`` as the page reads it: which photos each tray has, and what is known of them.

A table that another version wrote may lack columns; what it has is read.
"""

import math
from dataclasses import dataclass
from pathlib import Path

from traymorph.config.problems import Problem
from traymorph.config.tables import Row, read_table
from traymorph.model.results import PhotoCheck

CHECKS_FILE = "photo_checks.csv"


def read_photo_checks(path: Path) -> tuple[PhotoCheck, ...]:
    """Read the table of photos.

    Parameters
    ----------
    path : Path
        ``results/photo_checks.csv``.

    Returns
    -------
    tuple of PhotoCheck
        In the order of the table; none where there is no such table.

    Raises
    ------
    ListError
        The table cannot be read as text, or names no photos.
    """
    if not path.is_file():
        return ()
    problems: list[Problem] = []
    table = read_table(path, ("photo", "tray_id"), problems)
    return tuple(_check(row) for row in table.rows)


@dataclass(frozen=True, slots=True)
class TableHead:
    """What a table of trays says of itself.

    Parameters
    ----------
    columns : tuple of str
        Its header; empty where there is no table.
    program_versions, mask_methods : tuple of str
        That its rows name, in the order of their names.
    """

    columns: tuple[str, ...] = ()
    program_versions: tuple[str, ...] = ()
    mask_methods: tuple[str, ...] = ()


def read_head(path: Path) -> TableHead:
    """Read what a table of trays says of itself.

    Parameters
    ----------
    path : Path
        ``results/tray_metrics.csv``; need not be there.

    Raises
    ------
    ListError
        The table cannot be read as text, or names no trays.
    """
    if not path.is_file():
        return TableHead()
    table = read_table(path, ("tray_id",), [])
    versions, methods = (
        tuple(sorted(set(table.column(name)) - {""})) for name in ("program_version", "mask_method")
    )
    return TableHead(table.columns, versions, methods)


def _check(row: Row) -> PhotoCheck:
    return PhotoCheck(
        photo=_text(row, "photo"),
        tray_id=_text(row, "tray_id"),
        view=_text(row, "view"),
        sha256=row.get("sha256"),
        colour_error_de00=_number(row, "colour_error_de00"),
        flags=tuple(row.get("flags").split()),
        error=_text(row, "error"),
    )


def _text(row: Row, column: str) -> str:
    """Take off the apostrophe that keeps a spreadsheet from running the text as a formula."""
    cell = row.get(column)
    return cell[1:] if cell.startswith("'") and cell.lstrip("'")[:1] in set("=+-@") else cell


def _number(row: Row, column: str) -> float:
    try:
        return float(row.get(column) or "nan")
    except ValueError:
        return math.nan
