"""``results/outcomes_*.csv``: one row per thing found, one column per field."""

from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any

from traymorph.store.columns import names_of
from traymorph.store.compared_columns import OUTCOMES
from traymorph.store.csvfiles import number_cell
from traymorph.store.dictionary import write_described
from traymorph.store.textcells import guarded


def write_findings(path: Path, rows: Sequence[Any]) -> None:
    """Write a table whose columns are the fields of its rows.

    Parameters
    ----------
    path : Path
        Where to; the file's name says which of the tables of ``OUTCOMES`` it is.
    rows : sequence of dataclass instances
        At least one, all of one class, with fields of text, numbers and yes or no.

    Raises
    ------
    StoreError
        The file cannot be written; what was there stays as it was.
    """
    columns = OUTCOMES[path.name]
    names = [field.name for field in fields(rows[0])]
    if names != names_of(columns):
        msg = f"{path.name} has no such columns: {', '.join(names)}"
        raise ValueError(msg)
    write_described(path, columns, ([_cell(getattr(row, name)) for name in names] for row in rows))


def _cell(value: str | float | bool) -> str:  # noqa: FBT001 - a cell of any kind
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return guarded(value)
    return number_cell(float(value))
