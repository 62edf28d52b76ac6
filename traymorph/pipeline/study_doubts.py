"""Doubts of a trial's values held against a study of the measuring that its settings name."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path

from traymorph.config.repeatability_results import STUDY_FILE, read_scatter_beyond_doubt
from traymorph.config.settings import Settings
from traymorph.errors import ListError
from traymorph.model.results import Measured, TrayResult, TrayRow

FLAG = "doubt_from_study"


def scatter_beyond_doubt(folder: Path, settings: Settings) -> dict[str, float]:
    """Read of which metrics the study found the stated doubt too small; none without a study.

    Parameters
    ----------
    folder : Path
        The trial folder.
    settings : Settings
        Of the trial.

    Raises
    ------
    ListError
        The study that is named is not there or cannot be read.
    """
    named = settings.repeatability.study
    if named is None:
        return {}
    path = folder / named / "results" / STUDY_FILE
    if not path.is_file():
        msg = f"There is no {path}, which [repeatability] study of trial.toml names."
        raise ListError(msg, hint=f"Run `traymorph repeatability {folder / named}` first.")
    return read_scatter_beyond_doubt(path)


def with_study_doubts(
    results: Iterable[TrayResult], scatter: Mapping[str, float]
) -> list[TrayResult]:
    """Raise uncertainties to what repeats were found to scatter; none is made smaller.

    Parameters
    ----------
    results : iterable of TrayResult
        As measured. Rows that measure a tray again stay as they are: a study compares the doubt
        that photos state by themselves.
    scatter : mapping of str to float
        Standard deviation of measuring of the metrics whose doubt the study found too small, in
        their units.
    """
    if not scatter:
        return list(results)
    return [replace(one, rows=tuple(_raised(row, scatter) for row in one.rows)) for one in results]


def _raised(row: TrayRow, scatter: Mapping[str, float]) -> TrayRow:
    if row.columns.get("repeat_of"):
        return row
    raised = {
        name: Measured(row.metrics[name].value, least)
        for name, least in scatter.items()
        if name in row.metrics and row.metrics[name].u < least
    }
    if not raised:
        return row
    flags = tuple(dict.fromkeys((*row.flags, FLAG)))
    return replace(row, metrics={**row.metrics, **raised}, flags=flags)
