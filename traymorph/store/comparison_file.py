"""``comparison.csv``: one row per metric and pair of treatments."""

from pathlib import Path

from traymorph.model.comparison import Comparison, Difference
from traymorph.store.csvfiles import number_cell, write_table
from traymorph.store.textcells import guarded

_TEXTS = ("metric", "unit", "treatment", "control")
_COUNTS = ("n_treatment", "n_control")
_NUMBERS = (
    "difference",
    "ci_low",
    "ci_high",
    "difference_pct",
    "ci_low_pct",
    "ci_high_pct",
    "p",
    "p_adjusted",
)
_FURTHER = (
    "mean_treatment",
    "mean_control",
    "replicate_sd",
    "measuring_u",
    "p_permutation",
    "smallest_p_permutation",
    "margin",
    "p_within",
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
    header = [*_TEXTS, *_COUNTS, *_NUMBERS, "method", "flags", "family", "replicate", *_FURTHER]
    write_table(path, header, (_cells(row, comparison) for row in comparison.differences))


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
