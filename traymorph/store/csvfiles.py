"""A CSV file: takes a header and rows, writes UTF-8 with one header line, whole or not at all."""

import csv
import os
from collections.abc import Iterable, Sequence
from contextlib import suppress
from math import isnan
from pathlib import Path
from uuid import uuid4

from traymorph.errors import StoreError


def number_cell(value: float) -> str:
    """Write a number with six significant digits; empty for NaN."""
    # Adding 0.0 turns -0.0 into 0.
    return "" if isnan(value) else f"{value + 0.0:.6g}"


def write_table(path: Path, header: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write beside the file, then put it in its place: readers never see half a file.

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
    partial = path.with_name(f".{path.name}.{uuid4().hex}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with partial.open("x", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(header)
            writer.writerows(rows)
            file.flush()
            os.fsync(file.fileno())
        partial.replace(path)
    except OSError as err:
        msg = f"{path} cannot be written ({err.strerror})."
        hint = "Close it where it is open in another program, and check folder and disk."
        raise StoreError(msg, hint=hint) from err
    finally:
        _remove(partial)


def _remove(partial: Path) -> None:
    with suppress(OSError):  # gone already, or its folder never was one
        partial.unlink()
