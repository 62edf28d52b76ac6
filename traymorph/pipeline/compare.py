"""From the table of trays to differences between treatments, in numbers and in words."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from traymorph.config.settings import Settings, read_settings
from traymorph.config.tray_metrics import RESULTS_FILE, metrics_of, read_tray_metrics
from traymorph.errors import DesignError
from traymorph.model.comparison import Comparison, Margin, Question, TrayTable
from traymorph.report.sentences import sentences
from traymorph.stats.compare import compare_treatments
from traymorph.store.comparison_file import write_comparison

COMPARISON_FILE = "comparison.csv"


@dataclass(frozen=True, slots=True)
class ComparisonReport:
    """What a comparison gave.

    Parameters
    ----------
    comparison : Comparison
        In numbers.
    sentences : tuple of str
        In words.
    out : Path
        The table that was written.
    """

    comparison: Comparison
    sentences: tuple[str, ...]
    out: Path


def compare_folder(
    folder: Path, *, crop: str | None = None, margins: Sequence[Margin] = ()
) -> ComparisonReport:
    """Compare the treatments of a trial folder and write ``results/comparison.csv``.

    Parameters
    ----------
    folder : Path
        The trial folder; ``results/tray_metrics.csv`` must be there.
    crop : str or None
        Compare this crop only.
    margins : sequence of Margin
        For "no worse than".

    Raises
    ------
    SettingsError, ListError
        Settings or table cannot be used.
    DesignError
        The design cannot answer the question.
    StoreError
        The result cannot be written.
    """
    settings = read_settings(folder)
    results = folder / "results"
    table = read_tray_metrics(results / RESULTS_FILE)
    if crop is not None:
        table = _of_crop(table, crop)
    comparison = compare_treatments(table, _question(settings, margins), metrics_of(table))
    out = results / COMPARISON_FILE
    write_comparison(out, comparison)
    return ComparisonReport(comparison, sentences(comparison), out)


def _question(settings: Settings, margins: Sequence[Margin]) -> Question:
    asked = settings.compare
    return Question(asked.treatment_column, asked.control, asked.primary, tuple(margins))


def _of_crop(table: TrayTable, crop: str) -> TrayTable:
    """Keep the rows of one crop."""
    crops = table.text("crop")
    kept = np.flatnonzero([one.casefold() == crop.casefold() for one in crops])
    if not len(kept):
        known = ", ".join(sorted(set(crops) - {""})) or "none is named"
        msg = f"No tray of the table is of the crop {crop!r} ({known})."
        raise DesignError(msg, hint="Write the crop as trays.csv does.")
    return replace(
        table,
        columns={name: tuple(cells[row] for row in kept) for name, cells in table.columns.items()},
        values={name: numbers[kept] for name, numbers in table.values.items()},
        doubts={name: numbers[kept] for name, numbers in table.doubts.items()},
        flags=tuple(table.flags[row] for row in kept),
    )
