"""From the table of trays to charts of batches, in numbers and in words."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from traymorph.config.events import read_events
from traymorph.config.settings import Settings, read_settings
from traymorph.config.standard import STANDARD_FILE, read_standard
from traymorph.config.tray_columns import check_treatments, rows_with
from traymorph.config.tray_metrics import RESULTS_FILE, metrics_of, read_tray_metrics
from traymorph.errors import DesignError
from traymorph.model.comparison import TrayTable
from traymorph.model.drift import Batches, MetricDrift, StandardLimit
from traymorph.model.metrics import METRICS, name_meant
from traymorph.report.charts import save_drift_svg
from traymorph.report.drift_sentences import drift_sentences
from traymorph.stats.drift.baseline import ENOUGH
from traymorph.stats.drift.batches import find_batches
from traymorph.stats.drift.coincidences import coinciding
from traymorph.stats.drift.watch import Manner, few_in_words, season_in_words, watch
from traymorph.store.drift_file import write_drift

DRIFT_FILE = "drift.csv"
PICTURES = "drift"
WATCHED = ("canopy_cover_pct", "canopy_height_mm", "stem_length_mm", "leaf_hue_deg")
"""Metrics watched where neither option, primary metric nor standard names any."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What a person wants watched.

    Parameters
    ----------
    metrics : tuple of str
        Empty = those of [compare] primary and of the standard, else a short list.
    crop, treatment : str or None
        Only trays of this crop, of this treatment.
    since : str or None
        First batch to watch, after a change that was meant.
    left_out : tuple of str
        Batches that a known cause keeps out of the baseline.
    rules : str or None
        Set of run rules beside the first.
    run_length : float or None
        Batches to a false alarm of EWMA and CUSUM.
    """

    metrics: tuple[str, ...] = ()
    crop: str | None = None
    treatment: str | None = None
    since: str | None = None
    left_out: tuple[str, ...] = ()
    rules: str | None = None
    run_length: float | None = None


@dataclass(frozen=True, slots=True)
class DriftReport:
    """What the watch gave.

    Parameters
    ----------
    batches : Batches
        In the order of their days.
    watched : tuple of MetricDrift
        In numbers.
    sentences : tuple of tuple of str
        In words, for each metric.
    warnings : tuple of str
        On batches and baselines.
    out : tuple of Path
        The table and the pictures that were written.
    older : tuple of Path
        Pictures of earlier runs that lie beside them and show other charts.
    """

    batches: Batches
    watched: tuple[MetricDrift, ...]
    sentences: tuple[tuple[str, ...], ...]
    warnings: tuple[str, ...]
    out: tuple[Path, ...]
    older: tuple[Path, ...] = ()

    @property
    def signalling(self) -> tuple[str, ...]:
        """Metrics of which the newest batch signals on a control chart."""
        return tuple(one.metric for one in self.watched if one.signals_now)

    @property
    def failing(self) -> tuple[str, ...]:
        """Metrics of which the newest batch fails the standard."""
        return tuple(one.metric for one in self.watched if one.fails_now)


def watch_folder(folder: Path, asked: Asked) -> DriftReport:
    """Draw the charts of a folder's batches; write ``results/drift.csv`` and pictures.

    Parameters
    ----------
    folder : Path
        ``results/tray_metrics.csv`` must be there; ``standard.csv`` and ``events.csv`` are read
        where they are.
    asked : Asked
        What to watch, and how.

    Raises
    ------
    SettingsError, ListError
        Settings or lists cannot be used.
    DesignError
        Batches cannot be watched: crops are mixed, none is named, or there are too few.
    StoreError
        The result cannot be written.
    """
    settings = read_settings(folder)
    standard, events = read_standard(folder), read_events(folder)
    results = folder / "results"
    table = _read(results / RESULTS_FILE, asked, settings, standard)
    check_treatments(table, settings.compare.treatment_column)
    crops = {cell.casefold() for cell in table.text("crop")}
    table = rows_with(table, "crop", asked.crop)
    column = settings.compare.treatment_column
    table = rows_with(table, column, asked.treatment)
    metrics = _metrics(table, asked, settings, standard)
    batches = find_batches(table, metrics)
    _check_named((*filter(None, [asked.since]), *asked.left_out), batches)
    if asked.since:
        batches = batches.since(batches.names.index(asked.since))
    manner = Manner(
        settings.drift.baseline, frozenset(asked.left_out), asked.rules, asked.run_length
    )
    watched = tuple(
        watch(name, table.units[name], batches, manner, _limit(standard, batches.crop, name))
        for name in metrics
    )
    if not any(one.charts for one in watched):
        msg = " ".join(_own_warnings(watched))
        raise DesignError(msg, hint="Go on measuring, or write a standard.")
    write_drift(results / DRIFT_FILE, watched)
    drawn = {results / PICTURES / f"{one.metric}.svg": one for one in watched if one.charts}
    for path, one in drawn.items():
        save_drift_svg(path, one, events)
    return DriftReport(
        batches,
        watched,
        tuple(
            drift_sentences(one, [coinciding(move, one, batches, events) for move in one.moves])
            for one in watched
        ),
        (
            *batches.warnings,
            *_mixed(table, column),
            *(_without_limits(standard, batches.crop) or _of_no_crop(standard, crops)),
            *_of_no_tray(standard, batches.crop, table, asked),
            *_of_baselines(watched),
        ),
        (results / DRIFT_FILE, *drawn),
        _older(drawn),
    )


def _read(
    path: Path, asked: Asked, settings: Settings, standard: Sequence[StandardLimit]
) -> TrayTable:
    """Read the metrics that may be watched; all of the table where they were not measured."""
    named = set(asked.metrics)
    if not named:
        named = {*WATCHED, *(limit.metric for limit in standard)}
        named |= {settings.compare.primary} if settings.compare.primary else set()
    table = read_tray_metrics(path, named)
    found = set(_measured(table))
    return table if found and found >= set(asked.metrics) else read_tray_metrics(path)


def _measured(table: TrayTable) -> list[str]:
    return [name for name in metrics_of(table) if np.isfinite(table.values[name]).any()]


def _metrics(
    table: TrayTable, asked: Asked, settings: Settings, standard: Sequence[StandardLimit]
) -> list[str]:
    measured = _measured(table)
    for name in asked.metrics:
        if name not in METRICS:
            msg = f"{name} is not a metric."
            raise DesignError(msg, hint=f"{name_meant(name)}.")
    unknown = [name for name in asked.metrics if name not in measured]
    if unknown or not measured:
        what = f"{', '.join(unknown)} was not measured" if unknown else "No metric was measured"
        known = f" (measured: {', '.join(measured)})" if measured else ""
        msg = f"{what} in any tray of the table{known}."
        raise DesignError(msg, hint="`traymorph metrics` says which photo each metric needs.")
    if asked.metrics:
        return list(dict.fromkeys(asked.metrics))
    primary = settings.compare.primary
    wanted = {primary} if primary in measured else set(WATCHED)
    wanted |= {limit.metric for limit in standard}
    return [name for name in measured if name in wanted] or measured[:1]


def _limit(standard: Sequence[StandardLimit], crop: str, metric: str) -> StandardLimit | None:
    """Limits of a crop, else those for every crop."""
    of_metric = {one.crop.casefold(): one for one in standard if one.metric == metric}
    return of_metric.get(crop.casefold(), of_metric.get(""))


def _without_limits(standard: Sequence[StandardLimit], crop: str) -> list[str]:
    """Warn of a standard that has nothing for the crop."""
    crops = {one.crop.casefold(): one for one in standard}
    if not crops or "" in crops or crop.casefold() in crops:
        return []
    held = sorted(f"{one.crop} in line {one.line}" for one in crops.values())
    told = (
        f"{STANDARD_FILE} has no limits for {crop or 'trays without a crop'} (it has some for "
        f"{', '.join(held)}): no batch is held to it."
    )
    return [told]


def _of_no_crop(standard: Sequence[StandardLimit], crops: Collection[str]) -> list[str]:
    """Name the lines of a standard for crops that no tray of the table is of."""
    return [
        f"{STANDARD_FILE} line {one.line}: no tray is of the crop {one.crop}, so that no batch is "
        f"held to its limits for {one.metric}."
        for one in standard
        if one.crop and one.crop.casefold() not in crops
    ]


def _of_no_tray(
    standard: Sequence[StandardLimit], crop: str, table: TrayTable, asked: Asked
) -> list[str]:
    """Name the lines of a standard for metrics that no tray watched has."""
    measured = _measured(table)
    return [
        f"{STANDARD_FILE} line {one.line}: {one.metric} was measured in no tray that is watched, "
        "so that no batch is held to its limits."
        for one in standard
        if one.metric not in measured
        and one.crop.casefold() in {"", crop.casefold()}
        and not asked.metrics  # the metrics that were asked for were all measured
    ]


def _older(drawn: Collection[Path]) -> tuple[Path, ...]:
    """Find pictures of earlier runs beside those that were drawn."""
    beside = {other for path in drawn for other in path.parent.glob("*.svg")}
    return tuple(sorted(beside - set(drawn)))


def _check_named(named: Sequence[str], batches: Batches) -> None:
    unknown = [name for name in named if name not in batches.names]
    if unknown:
        msg = f"There is no batch {', '.join(unknown)}."
        raise DesignError(msg, hint=f"Batches are {', '.join(batches.names[:10])} and so on.")


def _mixed(table: TrayTable, column: str) -> list[str]:
    """Warn of treatments that share batches or take turns."""
    treatments = sorted(set(table.text(column)) - {""})
    if len(treatments) < 2:
        return []
    told = (
        f"The trays have {len(treatments)} treatments: batches that hold them in other shares "
        "differ by that alone. Watch one with --treatment."
    )
    return [told]


def _of_baselines(watched: Sequence[MetricDrift]) -> list[str]:
    """Say once what all metrics share."""
    charted = [one for one in watched if np.isfinite(one.sigma)]
    short = sorted({int(one.baseline.sum()) for one in charted})
    few = [few_in_words(n) for n in short if n < ENOUGH]
    unseen = [told for one in charted if (told := season_in_words(one))]
    return [*few, *unseen[:1], *_own_warnings(watched)]


def _own_warnings(watched: Sequence[MetricDrift]) -> list[str]:
    """Name the metrics of each warning before it."""
    named: dict[str, list[str]] = {}
    for one in watched:
        for warning in one.warnings:
            named.setdefault(warning, []).append(one.metric)
    return [f"{', '.join(metrics)}: {warning}" for warning, metrics in named.items()]
