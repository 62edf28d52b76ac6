"""From the table of trays and their repeats to how much of the spread is the measuring."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from traymorph.config.repeats import find_repeats
from traymorph.config.settings import read_settings
from traymorph.config.tray_columns import check_treatments
from traymorph.config.tray_metrics import RESULTS_FILE, metrics_of, read_tray_metrics
from traymorph.errors import DesignError
from traymorph.model.comparison import TrayTable
from traymorph.model.metrics import METRICS, name_meant
from traymorph.model.repeatability import MetricRepeatability, Repeats
from traymorph.pipeline.study_doubts import FLAG as DOUBT_FLAG
from traymorph.report.repeatability_sentences import cautions, repeatability_sentences
from traymorph.stats.measuring.repeat_designs import Cells, Design, find_design
from traymorph.stats.measuring.repeatability import study_metric
from traymorph.store.repeatability_file import write_parts, write_repeatability

Floats = NDArray[np.float64]

REPEATABILITY_FILE = "repeatability.csv"
PARTS_FILE = "repeatability_parts.csv"
SHOWN = (
    "canopy_cover_pct",
    "projected_leaf_area_cm2",
    "canopy_height_mm",
    "bare_stem_mm",
    "stem_length_mm",
    "leaf_area_mm2",
    "leaf_hue_deg",
    "greenness_index",
)
"""Metrics spoken of where neither option nor primary metric names any; the table holds all."""
_MANY_NAMES = 8


@dataclass(frozen=True, slots=True)
class RepeatabilityReport:
    """What a study gave.

    Parameters
    ----------
    crop : str
        Of the trays; empty where none is named.
    studied : tuple of MetricRepeatability
        Every metric that could be studied.
    shown : tuple of MetricRepeatability
        Those to speak of.
    sentences : tuple of tuple of str
        In words, for each of ``shown``.
    warnings : tuple of str
        What weakens the study, and metrics that it does not tell.
    out : tuple of Path
        The tables that were written.
    """

    crop: str
    studied: tuple[MetricRepeatability, ...]
    shown: tuple[MetricRepeatability, ...]
    sentences: tuple[tuple[str, ...], ...]
    warnings: tuple[str, ...]
    out: tuple[Path, ...]


def study_folder(
    folder: Path, *, metrics: Sequence[str] = (), crop: str | None = None
) -> RepeatabilityReport:
    """Tell how much of the spread between a folder's trays is the measuring; write two tables.

    Parameters
    ----------
    folder : Path
        ``results/tray_metrics.csv`` must be there, with a column ``repeat_of``.
    metrics : sequence of str
        To speak of; the tables hold all.
    crop : str or None
        Only trays of this crop.

    Raises
    ------
    SettingsError, ListError
        Settings or table cannot be used.
    DesignError
        The repeats tell nothing of the measuring.
    StoreError
        The results cannot be written.
    """
    settings = read_settings(folder)
    results = folder / "results"
    table = read_tray_metrics(results / RESULTS_FILE, with_repeats=True)
    check_treatments(table, settings.compare.treatment_column)
    repeats, warnings = find_repeats(table)
    repeats, named = _of_crop(table, repeats, crop)
    treatments = _names(table, repeats, settings.compare.treatment_column)
    studied, untold = _study(table, repeats)
    asked = _asked(metrics, studied, untold)
    if not studied:
        why = "; ".join(f"{_listed(names)} ({reason})" for reason, names in untold.items())
        msg = f"Nothing can be told of the measuring: {why or 'the table holds no metric'}."
        raise DesignError(msg, hint="Photograph five trays or more, each at least twice.")
    primary = (settings.compare.primary,) if settings.compare.primary else SHOWN
    wanted = asked or primary
    shown = tuple(one for one in studied if one.metric in wanted) or studied[:1]
    out = results / REPEATABILITY_FILE
    write_parts(results / PARTS_FILE, studied)
    write_repeatability(out, studied, named)
    return RepeatabilityReport(
        named,
        studied,
        shown,
        tuple(map(repeatability_sentences, shown)),
        (*warnings, *cautions(shown, repeats, treatments), *_gathered(untold)),
        (out, results / PARTS_FILE),
    )


def _names(table: TrayTable, repeats: Repeats, column: str) -> tuple[str, ...]:
    """Give what the trays that are studied hold in a column, each name once."""
    cells = table.text(column)
    own = dict.fromkeys(repeats.own[repeats.tray].tolist())
    return tuple(dict.fromkeys(cells[row] for row in own if cells[row]))


def _of_crop(table: TrayTable, repeats: Repeats, crop: str | None) -> tuple[Repeats, str]:
    """Keep the trays of one crop; measuring one crop says little of another."""
    crops = [table.text("crop")[row] for row in repeats.own.tolist()]
    written = {name.casefold(): name for name in crops if name}
    if crop is None:
        if len(written) > 1:
            msg = f"The trays measured again are of several crops: {', '.join(written.values())}."
            hint = "Name one with --crop: what differs between crops is no spread between trays."
            raise DesignError(msg, hint=hint)
        return repeats, next(iter(written.values()), "")
    of_crop = np.array([name.casefold() == crop.casefold() for name in crops])
    if not of_crop.any():
        known = ", ".join(written.values()) or "none is named"
        msg = f"No tray measured again is of the crop {crop!r} ({known})."
        raise DesignError(msg, hint="Write the crop as trays.csv does.")
    kept = np.flatnonzero(of_crop[repeats.tray])
    return (
        replace(
            repeats,
            rows=repeats.rows[kept],
            tray=repeats.tray[kept],
            operator=repeats.operator[kept],
            batch=repeats.batch[kept],
        ),
        written[crop.casefold()],
    )


def _study(
    table: TrayTable, repeats: Repeats
) -> tuple[tuple[MetricRepeatability, ...], dict[str, list[str]]]:
    """Study every metric; of those that tell nothing, say why, by reason."""
    batch = repeats.batch if repeats.batches and repeats.batch.min() >= 0 else None
    from_study = np.array([DOUBT_FLAG in flags for flags in table.flags])

    def stated(doubts: Floats) -> Floats:
        """Doubts that photos state by themselves, not those of an earlier study."""
        return np.where(from_study, np.nan, doubts)

    cells = Cells(repeats.tray, repeats.operator, batch)
    designs: dict[bytes, tuple[Cells, Design] | str] = {}
    studied = []
    untold: dict[str, list[str]] = {}
    for name in metrics_of(table):
        values = table.values[name][repeats.rows]
        kept = np.flatnonzero(np.isfinite(values))
        key = kept.tobytes()
        if key not in designs:
            designs[key] = _designed(cells, kept)
        found = designs[key]
        if isinstance(found, str):
            untold.setdefault(found, []).append(name)
            continue
        held, design = found
        doubts = stated(table.doubts[name])[repeats.rows][kept]
        why = _no_scatter(values[kept], held)
        if why:
            untold.setdefault(why, []).append(name)
        else:
            unit = table.units[name]
            studied.append(study_metric((name, unit), values[kept], doubts, held, design))
    return tuple(studied), untold


def _designed(cells: Cells, kept: np.ndarray) -> tuple[Cells, Design] | str:
    if not len(kept):
        return "not measured"
    held = cells.only(kept)
    try:
        return held, find_design(held)
    except DesignError as err:
        return err.message


def _no_scatter(values: np.ndarray, cells: Cells) -> str:
    """Say why values that do not scatter tell nothing."""
    if np.ptp(values) == 0.0:
        return "the same in every photo"
    cell = cells.cell
    n = int(cell.max()) + 1
    low, high = np.full(n, np.inf), np.full(n, -np.inf)
    np.minimum.at(low, cell, values)
    np.maximum.at(high, cell, values)
    if n < len(cell) and (low == high).all():
        return "repeats are alike to the last digit, as copies of one photo are"
    return ""


def _asked(
    metrics: Sequence[str],
    studied: Sequence[MetricRepeatability],
    untold: dict[str, list[str]],
) -> tuple[str, ...]:
    """Hold what is asked for against what could be studied."""
    told = {one.metric for one in studied}
    why = {name: reason for reason, names in untold.items() for name in names}
    for name in metrics:
        if name in told:
            continue
        if name in why:
            msg = f"{name} tells nothing of the measuring: {why[name]}."
            raise DesignError(msg, hint="`traymorph metrics` says which photo each metric needs.")
        if name not in METRICS:
            msg = f"{name} is not a metric."
            raise DesignError(msg, hint=f"{name_meant(name)}.")
        msg = f"{name} was not measured in any tray of the table."
        raise DesignError(msg, hint="`traymorph metrics` says which photo each metric needs.")
    return tuple(metrics)


def _gathered(untold: dict[str, list[str]]) -> tuple[str, ...]:
    """One sentence for each reason; what no photo showed needs none."""
    return tuple(
        f"Left out ({reason}): {_listed(names)}."
        for reason, names in untold.items()
        if reason != "not measured" or len(untold) == 1
    )


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - _MANY_NAMES} more" if len(names) > _MANY_NAMES else ""
    return ", ".join(names[:_MANY_NAMES]) + more
