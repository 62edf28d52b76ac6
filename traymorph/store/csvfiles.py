"""A CSV file: takes a header and rows, writes UTF-8 with one header line, whole or not at all."""

import csv
from collections.abc import Iterable, Sequence
from math import isnan
from pathlib import Path

from traymorph.whole_file import whole_file


def number_cell(value: float) -> str:
    """Write a number with six significant digits; empty for NaN."""
    # Adding 0.0 turns -0.0 into 0.
    return "" if isnan(value) else f"{value + 0.0:.6g}"


def write_table(path: Path, header: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write a table, whole or not at all.

    Parameters
    ----------
    path : Path
        Where to.
    header : sequence of str
        Names of the columns.
    rows : iterable of sequence of str
        Cells as they stand in the file.

    Raises
    ------
    StoreError
        The file cannot be written; what was there stays as it was.
    """
    with whole_file(path) as part, part.open("x", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)
