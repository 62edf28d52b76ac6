"""From a trial folder to the one page that shows it: gathers what is there, says what is not."""

import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from urllib.parse import quote

import numpy as np
from scipy.special import stdtrit

from traymorph import __version__
from traymorph.config.events import read_events
from traymorph.config.outcomes import OUTCOMES_FILE
from traymorph.config.photo_checks import CHECKS_FILE, TableHead, read_head, read_photo_checks
from traymorph.config.settings import Settings, read_settings
from traymorph.config.tray_columns import rows_with
from traymorph.config.tray_metrics import RESULTS_FILE, metrics_of, read_tray_metrics
from traymorph.errors import DesignError
from traymorph.model.comparison import Question, TrayTable
from traymorph.model.drift import Event
from traymorph.model.metrics import METRICS
from traymorph.model.outcomes import Kind
from traymorph.model.photo import View
from traymorph.model.report import (
    DriftShown,
    Floats,
    GroupValues,
    MadeBy,
    PhotoShown,
    TrialReport,
)
from traymorph.model.results import PhotoCheck
from traymorph.model.trial import PhotoEntry, Sample, TraySize, Trial
from traymorph.pipeline.compare import ComparisonReport, compare_folder
from traymorph.pipeline.drift import PICTURES, Asked, watch_folder
from traymorph.pipeline.jobs import plan_jobs
from traymorph.pipeline.plates import typical_plates
from traymorph.pipeline.trial_outcomes import listed_samples, read_trial_outcomes, with_listed
from traymorph.report.page import wording
from traymorph.report.page.numbers import Numbers
from traymorph.report.page.render import render_page, save_page
from traymorph.stats.outcomes.yields import with_outcomes
from traymorph.stats.replicates import find_replicates, values_of

PAGE_FILE = "report.html"
_LEVEL = 0.95
_LEAST_FOR_INTERVAL = 5
"""Of fewer replicates an interval by Student's t says less than the replicates themselves."""


@dataclass(frozen=True, slots=True)
class WrittenPage:
    """The page that was written.

    Parameters
    ----------
    path : Path
        Where it lies.
    size_bytes : int
        Its size.
    trays : int
        Trays on it.
    findings : tuple of str
        The sentences that it opens with.
    missing : tuple of str
        What is not on it, and why.
    """

    path: Path
    size_bytes: int
    trays: int
    findings: tuple[str, ...]
    missing: tuple[str, ...]


def report_folder(
    folder: Path, *, out: Path | None = None, locale: str = "en_GB", crop: str | None = None
) -> WrittenPage:
    """Write the page of a trial folder.

    Parameters
    ----------
    folder : Path
        The trial folder; ``results/tray_metrics.csv`` must be there, or lists of trays and
        outcomes.
    out : Path or None
        Where to; ``results/report.html`` when None.
    locale : str
        How numbers, units and days are written, as Babel knows it.
    crop : str or None
        Show the trays of this crop only.

    Raises
    ------
    SettingsError, ListError
        Settings or lists cannot be used.
    DesignError
        There is no tray of the crop.
    StoreError
        The page cannot be written.
    """
    target = out or folder / "results" / PAGE_FILE
    report = gather(folder, target.parent, crop)
    text, findings = render_page(report, Numbers(locale))
    save_page(target, text)
    trays = len(set(report.table.text("tray_id")))
    return WrittenPage(target, len(text.encode()), trays, findings, report.missing)


def gather(folder: Path, page_folder: Path, crop: str | None = None) -> TrialReport:
    """Gather what the page shows.

    Parameters
    ----------
    folder : Path
        The trial folder.
    page_folder : Path
        Where the page will lie; pictures beside it are linked from there.
    crop : str or None
        Keep the trays of this crop only.

    Raises
    ------
    SettingsError, ListError, DesignError, StoreError
        As :func:`report_folder`.
    """
    settings = read_settings(folder)
    results = folder / "results"
    listed = listed_samples(folder, settings)
    measured = _read_table(folder, listed)
    table = rows_with(_joined(folder, measured, listed, settings), "crop", crop)
    compared, not_compared = _compared(folder, crop)
    column = settings.compare.treatment_column
    metrics = tuple(name for name in metrics_of(measured) if np.isfinite(table.values[name]).any())
    outcomes = tuple(
        name for name, numbers in table.values.items()
        if name not in measured.values and np.isfinite(numbers).any()
    )  # fmt: skip
    head = read_head(results / RESULTS_FILE)
    checks = read_photo_checks(results / CHECKS_FILE)
    drift, drift_notes = _drift(folder, page_folder, crop, table)
    replicate, groups = _groups(table, column, settings.compare.control, (*metrics, *outcomes))
    photos = _photos(folder, page_folder, checks)
    return TrialReport(
        name=settings.report.title or folder.resolve().name or wording.UNNAMED,
        treatment_meaning=settings.compare.treatment_meaning or "",
        tray_sizes_mm=_tray_sizes(table, settings.tray_size()),
        table=table,
        metrics=metrics,
        outcomes=outcomes,
        treatment_column=column,
        primary=settings.compare.primary,
        groups=groups,
        replicate=replicate,
        comparison=compared.comparison if compared else None,
        not_compared=not_compared,
        outcome_sections=(compared.outcomes.sections or {}) if compared else {},
        plates=typical_plates(folder, rows_with(measured, "crop", crop), _question(settings)),
        drift=drift,
        drift_notes=drift_notes if drift else (),
        events=_events(folder, drift),
        photos=photos,
        made_by=_made_by(head, settings),
        missing=(
            *_missing_trays(measured, metrics, listed if crop is None else ()),
            *_missing_pictures(photos),
            *_missing_columns(head),
            *([] if drift else map(wording.no_batches, drift_notes)),
        ),
    )


def _read_table(folder: Path, listed: Sequence[Sample]) -> TrayTable:
    """Read what was measured; nothing yet is enough where trays are listed and outcomes stated."""
    path = folder / "results" / RESULTS_FILE
    if path.exists() or not (listed and (folder / OUTCOMES_FILE).is_file()):
        return read_tray_metrics(path)
    return TrayTable({"tray_id": ()}, {}, {}, (), {})


def _joined(
    folder: Path, table: TrayTable, listed: Sequence[Sample], settings: Settings
) -> TrayTable:
    """Add what was weighed or counted of single trays."""
    found = read_trial_outcomes(folder, table, listed, settings.compare.treatment_column)
    of_trays = found.of(Kind.TRAY)
    table = with_listed(table, listed, of_trays)
    return with_outcomes(table, of_trays, settings.prices(), settings.tray_size())


def _compared(folder: Path, crop: str | None) -> tuple[ComparisonReport | None, str]:
    """Compare; a design that cannot tell is a sentence of the page, not the end of it."""
    try:
        return compare_folder(folder, crop=crop), ""
    except DesignError as err:
        return None, str(err)


def _question(settings: Settings) -> Question:
    asked = settings.compare
    return Question(asked.treatment_column, asked.control, asked.primary)


def _groups(
    table: TrayTable, column: str, control: str | None, names: Sequence[str]
) -> tuple[str, dict[str, tuple[GroupValues, ...]]]:
    """Values of the replicates by treatment; all trays together where no treatment is named."""
    replicates = find_replicates(table, column, control)
    groups: dict[str, tuple[GroupValues, ...]] = {}
    for name in names:
        if not replicates.treatments:
            groups[name] = (_group(name, "", table.text("tray_id"), table.values[name]),)
            continue
        doubt = _doubt_of_one(table, name)
        values, _ = values_of(table, replicates, name)
        of_treatment = [
            (treatment, np.flatnonzero(replicates.treatment == code))
            for code, treatment in enumerate(replicates.treatments)
        ]
        groups[name] = tuple(
            replace(
                _group(name, treatment, [replicates.names[k] for k in places], values[places]),
                doubt=doubt,
            )
            for treatment, places in of_treatment
        )
    return replicates.kind, groups


def _doubt_of_one(table: TrayTable, name: str) -> float:
    doubts = table.doubts[name]
    known = doubts[np.isfinite(doubts)]
    return float(np.median(known)) if len(known) else np.nan


def _tray_sizes(table: TrayTable, usual: TraySize) -> tuple[tuple[float, float], ...]:
    """Inside length and width: as the trays state them, else as ``trial.toml`` does."""
    stated = zip(table.text("inside_length_mm"), table.text("inside_width_mm"), strict=True)
    kinds = table.text("kind")
    sizes = [
        (float(length), float(width))
        for (length, width), kind in zip(stated, kinds, strict=True)
        if kind != "pack" and _is_size(length) and _is_size(width)
    ]
    if not sizes and usual.inside_length_mm is not None and usual.inside_width_mm is not None:
        sizes = [(usual.inside_length_mm, usual.inside_width_mm)]
    return tuple(dict.fromkeys(sizes))


def _is_size(cell: str) -> bool:
    return re.fullmatch(r"\d+(\.\d+)?", cell) is not None


def _group(metric: str, treatment: str, names: Sequence[str], values: Floats) -> GroupValues:
    """Mean of the replicates that have a value; of enough of them its interval by Student's t.

    The interval ends where the metric does: no cover is above 100 %, no length below nought.
    """
    known = np.flatnonzero(np.isfinite(values)).tolist()
    held = values[known]
    names = tuple(names[place] for place in known)
    if len(held) < _LEAST_FOR_INTERVAL:
        return GroupValues(treatment, names, held, float(held.mean()) if len(held) else np.nan)
    mean, error = float(held.mean()), float(held.std(ddof=1) / np.sqrt(len(held)))
    reach = float(stdtrit(len(held) - 1, 0.5 + _LEVEL / 2.0)) * error
    low, high = _limits(metric)
    return GroupValues(
        treatment, names, held, mean, max(mean - reach, low), min(mean + reach, high)
    )


def _limits(metric: str) -> tuple[float, float]:
    """Give the least and the most that a metric can be; margins of money know neither."""
    if metric in METRICS:
        return METRICS[metric].low, METRICS[metric].high
    return (-np.inf if metric == "margin_per_tray" else 0.0), np.inf


def _drift(
    folder: Path, page_folder: Path, crop: str | None, table: TrayTable
) -> tuple[tuple[DriftShown, ...], tuple[str, ...]]:
    """Watch the batches where there are several; say what qualifies that, or why it cannot be."""
    if len(set(table.text("batch")) - {""}) < 2:
        return (), ()
    try:
        watched = watch_folder(folder, Asked(crop=crop))
    except DesignError as err:
        return (), (str(err),)
    pictures = folder / "results" / PICTURES
    return tuple(
        DriftShown(one, said, _link(pictures / f"{one.metric}.svg", page_folder))
        for one, said in zip(watched.watched, watched.sentences, strict=True)
        if one.charts
    ), watched.warnings


def _events(folder: Path, drift: Sequence[DriftShown]) -> tuple[Event, ...]:
    return read_events(folder) if drift else ()


def _photos(
    folder: Path, page_folder: Path, checks: Sequence[PhotoCheck]
) -> dict[str, tuple[PhotoShown, ...]]:
    """Find the overlay of every photo in the place where measuring puts it."""
    entries = tuple(
        PhotoEntry(folder / "photos" / one.photo, one.tray_id, _view(one.view), None)
        for one in checks
        if one.tray_id
    )
    samples = tuple(Sample(name, "tray", TraySize(), None) for name in _trays_of(checks))
    overlays = folder / "results" / "overlays"
    jobs, _ = plan_jobs(Trial(folder, samples, entries, ()), Settings(), overlays=overlays,
                        masks=None)  # fmt: skip
    places = {
        (job.sample.tray_id, photo.name): job.overlay_of(photo)
        for job in jobs
        for photo in job.photos
    }
    shown: dict[str, list[PhotoShown]] = {}
    for one in checks:
        place = places.get((one.tray_id, one.photo))
        there = place if place is not None and place.is_file() else None
        link = _link(there, page_folder) if there else ""
        shown.setdefault(one.tray_id, []).append(
            PhotoShown(
                one.photo, one.view, there, link, one.flags, one.error, one.colour_error_de00
            )
        )
    return {name: tuple(photos) for name, photos in shown.items()}


def _trays_of(checks: Sequence[PhotoCheck]) -> list[str]:
    return list(dict.fromkeys(one.tray_id for one in checks if one.tray_id))


def _view(name: str) -> View | None:
    return View(name) if name in set(View) else None


def _link(path: Path, page_folder: Path) -> str:
    """Give the URL of a file as seen from the page's folder."""
    relative = os.path.relpath(path.resolve(), page_folder.resolve())
    return quote(Path(relative).as_posix())


def _made_by(head: TableHead, settings: Settings) -> MadeBy:
    return MadeBy(
        page_version=__version__,
        program_versions=head.program_versions,
        mask_methods=head.mask_methods,
        settings_fingerprint=settings.fingerprint(),
        card_plane=settings.card.plane,
        printed_bar_mm=settings.card.printed_bar_mm,
    )


def _missing_trays(
    measured: TrayTable, metrics: Sequence[str], listed: Sequence[Sample]
) -> list[str]:
    there = set(measured.text("tray_id"))
    unmeasured = [one.tray_id for one in listed if one.tray_id not in there]
    said = [wording.NOTHING_MEASURED] if len(measured) and not metrics else []
    return [*said, wording.not_measured(unmeasured)] if unmeasured else said


def _missing_pictures(photos: Mapping[str, Sequence[PhotoShown]]) -> list[str]:
    if not photos:
        return [wording.NO_PHOTOS]
    strays = [one.photo for one in photos.get("", ())]
    said = [wording.stray_photos(strays)] if strays else []
    lacking = sum(one.overlay is None and not one.error for held in photos.values() for one in held)
    return [*said, wording.overlays_missing(lacking)] if lacking else said


def _missing_columns(head: TableHead) -> list[str]:
    """Name the columns that a table by another version lacks; one made by hand may lack any."""
    absent = [name for name in METRICS if name not in head.columns]
    return [wording.columns_missing(absent)] if absent and head.program_versions else []
