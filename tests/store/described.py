"""Holds result tables against the dictionary beside them.

Types by the Frictionless Table Schema (Data Package standard, version 2, field types): what a cell
of each may look like is written here anew, from the standard.
"""

import csv
import re
from datetime import date

from traymorph.store.textcells import unguarded

NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?")
LOOKS = {
    "string": lambda cell, allowed: not allowed or cell in allowed,
    "number": lambda cell, allowed: NUMBER.fullmatch(cell) is not None,  # noqa: ARG005 - one signature
    "integer": lambda cell, allowed: re.fullmatch(r"[+-]?\d+", cell) is not None,  # noqa: ARG005
    "boolean": lambda cell, allowed: cell in allowed and len(allowed) == 2,
    "date": lambda cell, allowed: date.fromisoformat(cell).isoformat() == cell,  # noqa: ARG005
}


def read(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def header_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return next(csv.reader(file))


def check_tables(results):
    """Hold every cell of every table against the dictionary; give the names of the tables."""
    entries = {}
    for entry in read(results / "data_dictionary.csv"):
        table = entries.setdefault(entry["file"], {})
        assert entry["column"] not in table, "said twice"
        assert entry["meaning"]
        assert entry["type"] in LOOKS
        table[entry["column"]] = entry
    paths = sorted(results.glob("*.csv"))
    for path in paths:
        assert set(header_of(path)) <= set(entries[path.name]), path.name
        for row in read(path):
            for name, cell in row.items():
                if cell:
                    _check_cell(unguarded(cell), entries[path.name][name])
    return {path.name for path in paths}


def _check_cell(cell, entry):
    allowed = entry["allowed"].split(" | ") if entry["allowed"] else []
    where = f"{entry['file']} {entry['column']}: {cell}"
    parts = cell.split() if entry["column"] == "flags" else [cell]
    assert all(LOOKS[entry["type"]](part, allowed) for part in parts), where
    if entry["type"] in {"number", "integer"}:
        for limit, sign in ((entry["minimum"], 1), (entry["maximum"], -1)):
            assert not limit or sign * (float(cell) - float(limit)) >= 0, where
