"""Published data sets that the statistics are checked on; sources stand in ``data/README.md``."""

import csv
from pathlib import Path

import numpy as np

_DATA = Path(__file__).parent / "data"


def read(name: str) -> dict[str, list[str]]:
    """Columns of a data set as text."""
    with (_DATA / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {column: [row[column] for row in rows] for column in rows[0]}


def numbers(cells: list[str]) -> np.ndarray:
    """Cells as numbers."""
    return np.array(cells, dtype=np.float64)


def codes(cells: list[str]) -> np.ndarray:
    """Cells as codes 0, 1, 2 ... in the order in which they first appear."""
    names = list(dict.fromkeys(cells))
    return np.array([names.index(cell) for cell in cells], dtype=np.intp)
