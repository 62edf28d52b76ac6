"""``comparison.csv``: one row per metric and pair of treatments."""

from pathlib import Path

from traymorph.model.comparison import Comparison, Difference
from traymorph.store.columns import names_of
from traymorph.store.compared_columns import (
    COMPARISON,
    COMPARISON_COUNTS,
    COMPARISON_FURTHER,
    COMPARISON_NUMBERS,
    COMPARISON_TEXTS,
)
from traymorph.store.csvfiles import number_cell
from traymorph.store.dictionary import write_described
from traymorph.store.textcells import guarded

_TEXTS, _COUNTS, _NUMBERS, _FURTHER = map(
    names_of, (COMPARISON_TEXTS, COMPARISON_COUNTS, COMPARISON_NUMBERS, COMPARISON_FURTHER)
)


def write_comparison(path: Path, comparison: Comparison) -> None:
    """Write the differences of a trial.

    Parameters
    ----------
    path : Path
        Where to.
    comparison : Comparison
        What was found.

    Raises
    ------
    StoreError
        The file cannot be written; what was there stays as it was.
    """
    write_described(path, COMPARISON, (_cells(row, comparison) for row in comparison.differences))


def _cells(row: Difference, comparison: Comparison) -> list[str]:
    return [
        *(guarded(getattr(row, name)) for name in _TEXTS),
        *(str(getattr(row, name)) for name in _COUNTS),
        *(number_cell(getattr(row, name)) for name in _NUMBERS),
        row.method,
        " ".join(row.flags),
        row.family,
        comparison.unit,
        *(number_cell(getattr(row, name)) for name in _FURTHER),
    ]
