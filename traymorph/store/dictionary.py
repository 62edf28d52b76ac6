"""``results/data_dictionary.csv``: what each column of each result table means.

It is written from the very columns that the tables are written from, so that it cannot say anything
else; and anew with every table, so that it is there wherever one is.
"""

import csv
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from traymorph.store.columns import Column, Type, names_of, text
from traymorph.store.compared_columns import COMPARISON, OUTCOMES
from traymorph.store.csvfiles import write_table
from traymorph.store.measured_columns import PHOTO_CHECKS, plant_columns, tray_columns
from traymorph.store.textcells import guarded, unguarded
from traymorph.store.watched_columns import DRIFT, PARTS, repeatability_columns

DICTIONARY_FILE = "data_dictionary.csv"
TRAY_TABLE = "tray_metrics.csv"
_PHOTOS = (1, 2, 3, 4)
_BETWEEN = " | "
_OWN = (
    text("file", "Table in results/."),
    text("column", "Column of the table."),
    text("type", "Type of its values, by its name in the Frictionless Table Schema.",
         *(one.value for one in Type)),
    text("unit", "Unit symbol, 1 for a plain number; empty where the meaning names the column "
         "that holds it, and for what is no number."),
    text("meaning", "What its values are."),
    text("allowed", f"Every value that can stand there, with{_BETWEEN}between them; of flags "
         "several may, separated by spaces."),
    Column("minimum", "A smaller value cannot be meant.", Type.NUMBER),
    Column("maximum", "A larger value cannot be meant.", Type.NUMBER),
    text("source", "Published definition, where there is one."),
)  # fmt: skip
_FIXED = {
    "plants.csv": plant_columns(),
    "photo_checks.csv": PHOTO_CHECKS,
    "comparison.csv": COMPARISON,
    **OUTCOMES,
    "outcomes_lots.csv": COMPARISON,
    "drift.csv": DRIFT,
    "repeatability.csv": repeatability_columns(_PHOTOS),
    "repeatability_parts.csv": PARTS,
    DICTIONARY_FILE: _OWN,
}


def write_described(path: Path, columns: Sequence[Column], rows: Iterable[Sequence[str]]) -> None:
    """Write a result table, and beside it the dictionary of all result tables.

    Parameters
    ----------
    path : Path
        Where to.
    columns : sequence of Column
        In their order.
    rows : iterable of sequence of str
        Cells as they stand in the file, one for each column.

    Raises
    ------
    StoreError
        A file cannot be written; what was there stays as it was.
    """
    write_table(path, list(map(guarded, names_of(columns))), _whole(rows, len(columns)))
    folder = path.parent
    tables = {TRAY_TABLE: tray_columns(_listed_columns(folder / TRAY_TABLE)), **_FIXED}
    entries = (_cells(table, column) for table, held in tables.items() for column in held)
    write_table(folder / DICTIONARY_FILE, names_of(_OWN), entries)


def _whole(rows: Iterable[Sequence[str]], wanted: int) -> Iterator[Sequence[str]]:
    for row in rows:
        if len(row) != wanted:
            msg = f"a row has {len(row)} cells for {wanted} columns"
            raise ValueError(msg)
        yield row


def _listed_columns(path: Path) -> list[str]:
    """Give the columns of trays.csv that a table of trays holds; one made by hand has any."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            header = next(csv.reader(file), [])
    except (OSError, UnicodeDecodeError, csv.Error):
        return []
    measured = set(names_of(tray_columns(())))
    return [name for name in map(unguarded, header) if name not in measured]


def _cells(table: str, column: Column) -> list[str]:
    return [
        table,
        guarded(column.name),
        column.type.value,
        column.unit,
        column.meaning,
        _BETWEEN.join(column.allowed),
        *("" if limit is None else f"{limit:g}" for limit in (column.low, column.high)),
        column.source,
    ]
