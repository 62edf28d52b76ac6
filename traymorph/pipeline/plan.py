"""Lays out a trial: places by lot, labels, codes for tasting, and how many trays it takes."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from traymorph.config.photo_files import PHOTO_FOLDER
from traymorph.config.problems import Problem, told
from traymorph.config.repeatability_results import STUDY_FILE, read_scatter, studied_metrics
from traymorph.config.settings import (
    SETTINGS_FILE,
    SETTINGS_SKELETON,
    Settings,
    read_settings,
)
from traymorph.config.tray_metrics import RESULTS_FILE, read_tray_metrics
from traymorph.config.trays import TRAYS_FILE, read_trays
from traymorph.errors import DesignError, ListError, StoreError
from traymorph.model.metrics import METRICS, name_meant
from traymorph.model.plan import (
    Measuring,
    Plan,
    PlannedTray,
    Scatter,
    Spread,
    TraysNeeded,
    Wanted,
)
from traymorph.report.labels import TrayLabel, printable, write_labels
from traymorph.report.plan_text import plan_lines
from traymorph.report.rack_map import rack_map
from traymorph.stats.planning.layout import blind_codes, lay_out
from traymorph.stats.planning.photos_per_tray import measuring_within, with_scatter
from traymorph.stats.planning.planned import comparisons, judge, power_table, trays_needed
from traymorph.stats.replicates import Replicates
from traymorph.stats.spread import (
    PER_CENT,
    POINTS,
    past_spread,
    unit_of_spread,
    usual_spread,
)
from traymorph.store.csvfiles import write_table
from traymorph.store.textcells import guarded
from traymorph.whole_file import whole_file

LABELS_FILE = "labels.pdf"
PLAN_FILE = "plan.txt"
CODES_FILE = "blind_codes.csv"
_PRIMARY = "stem_length_mm"
_SAID = {"sown_on": "sown"}
_COLUMNS = (
    "tray_id", "crop", "treatment", "block", "batch", "kind", "sown_on", "harvested_on",
    "photographed_on", "seed_lot", "shelf", "position", "at_edge", "cut_above_medium_mm", "lot",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Amount:
    """A difference or spread as a person states it.

    Parameters
    ----------
    size : float
        Above 0.
    in_percent : bool
        Per cent of the mean, else in the metric's unit (points for shares in per cent).
    """

    size: float
    in_percent: bool


@dataclass(frozen=True, slots=True)
class Asked:
    """What a person wants to find.

    Parameters
    ----------
    metric : str or None
        By which treatments are compared; that of trial.toml, or stem length, when None.
    difference : Amount or None
        Worth finding.
    spread : Amount or None
        Between trays, where a person knows better than the folder.
    study : Path or None
        Folder with a study of the measuring; when None that of trial.toml, else the folder itself
        where it holds one.
    """

    metric: str | None = None
    difference: Amount | None = None
    spread: Amount | None = None
    study: Path | None = None


def count_trays(folder: Path, asked: Asked, crop: str = "") -> Plan:
    """Tell how many trays a difference takes; lays out and writes nothing.

    Parameters
    ----------
    folder : Path
        Its measured trays, where there are any, tell how far trays differ.
    asked : Asked
        What to find.
    crop : str
        Only past trays of this crop count; all where it is empty.
    """
    spread, difference, scatter, unstudied = _reckoning(folder, read_settings(folder), asked, crop)
    needed = None if difference is None else trays_needed(difference, spread, 1)
    return Plan(
        None,
        (),
        {},
        spread,
        1,
        power_table(None, spread, 1, 0),
        needed,
        measuring=_measuring(spread, scatter, difference, 1, None),
        unstudied=unstudied,
    )


def plan_trial(
    folder: Path, wanted: Wanted, asked: Asked, *, paper: str, show_treatment: bool
) -> Plan:
    """Lay out a trial and write its list, labels, map, codes, and settings where there are none.

    Parameters
    ----------
    folder : Path
        The trial folder; made where it is not there.
    wanted : Wanted
        The trial.
    asked : Asked
        What to find.
    paper : str
        ``a4`` or ``letter``.
    show_treatment : bool
        Whether labels tell the treatment.

    Raises
    ------
    ListError
        A list or label of a trial is there already; nothing is overwritten.
    DesignError
        What is planned could not show anything; nothing is written.
    StoreError
        The folder cannot be written.
    """
    _refuse_overwriting(folder, (TRAYS_FILE, LABELS_FILE, PLAN_FILE, CODES_FILE))
    settings = read_settings(folder)
    trays = lay_out(wanted)
    refusing, warnings, replicates = judge(trays, wanted)
    if refusing:
        raise DesignError(" ".join(refusing), hint="Nothing was written.")
    spread, difference, scatter, unstudied = _reckoning(folder, settings, asked, wanted.crop)
    pairs = comparisons(
        len(wanted.treatments), with_control=settings.compare.control in wanted.treatments
    )
    each = int(np.bincount(replicates.treatment).min())
    plan = Plan(
        wanted,
        trays,
        blind_codes(wanted),
        spread,
        pairs,
        power_table(wanted, spread, pairs, each),
        _needed(difference, spread, pairs, replicates),
        tuple(warnings),
        replicates.kind,
        _measuring(spread, scatter, difference, pairs, replicates),
        unstudied,
    )
    _write(folder, plan, paper, show_treatment=show_treatment)
    return plan


def print_labels(folder: Path, *, paper: str, show_treatment: bool) -> tuple[Path, tuple[str, ...]]:
    """Write labels of the trays that a folder's trays.csv lists; an older labels.pdf is replaced.

    Returns
    -------
    out : Path
        The labels.
    unprintable : tuple of str
        Trays whose name the label's letters cannot write; their codes are right.

    Raises
    ------
    ListError
        There is no list, it holds bad cells, or names are too long for a code.
    """
    path = folder / TRAYS_FILE
    if not path.is_file():
        msg = f"There is no {path}, so that there are no trays to label."
        raise ListError(msg, hint="Write the list, or lay out a trial with --treatment.")
    problems: list[Problem] = []
    samples, _ = read_trays(path, read_settings(folder).tray_size(), problems)
    if problems:
        raise ListError(told(problems, "lists"), hint="Correct this and run again.")
    cells = [sample.columns for sample in samples]
    labels = [_label(one, show_treatment=show_treatment) for one in cells]
    out = folder / LABELS_FILE
    with whole_file(out) as part:
        write_labels(part, labels, paper=paper)
    ids = (label.tray_id for label in labels)
    return out, tuple(name for name in ids if printable(name) != name)


def _needed(
    difference: float | None, spread: Spread, pairs: int, replicates: Replicates
) -> TraysNeeded | None:
    return None if difference is None else trays_needed(difference, spread, pairs, replicates)


def _measuring(
    spread: Spread,
    scatter: Scatter | None,
    difference: float | None,
    pairs: int,
    replicates: Replicates | None,
) -> Measuring | None:
    """Say what measuring has in the spread; of shelves, which average trays, it is not told."""
    if scatter is None or (replicates is not None and replicates.kind == "shelf"):
        return None

    def trays(left: Spread) -> int:
        return trays_needed(difference or 0.0, left, pairs, replicates).n_80

    return measuring_within(spread, scatter, None if difference is None else trays)


def _scatter(
    folder: Path, settings: Settings, asked: Asked, metric: str
) -> tuple[Scatter | None, str]:
    """Read the study that is named, or the folder's own; say why it does not tell the metric."""
    in_settings = settings.repeatability.study
    named = asked.study or (folder / in_settings if in_settings else None)
    path = (named or folder) / "results" / STUDY_FILE
    if not path.is_file():
        if named is None:
            return None, ""
        msg = f"There is no {path}: the measuring has not been studied there."
        raise ListError(msg, hint=f"Run `traymorph repeatability {named}` first.")
    found = read_scatter(path, metric)
    if found is not None:
        return found, ""
    told = ", ".join(studied_metrics(path)) or "nothing"
    return None, (
        f"The study in {named or folder} does not tell what repeats of {metric} scatter, so that "
        f"what several photos of each tray bring is not known. It tells {told}: name one with "
        "--metric."
    )


def _refuse_overwriting(folder: Path, names: Sequence[str]) -> None:
    there = [name for name in names if (folder / name).exists()]
    if there:
        msg = f"{folder} already holds {', '.join(there)}, and a plan never overwrites one."
        hint = "Plan into another folder, or move these away if nothing has been sown by them."
        raise ListError(msg, hint=hint)


def _reckoning(
    folder: Path, settings: Settings, asked: Asked, crop: str
) -> tuple[Spread, float | None, Scatter | None, str]:
    """Give spread, difference in its unit, scatter of measuring, and why that is not known."""
    metric = asked.metric or settings.compare.primary or _PRIMARY
    if metric not in METRICS:
        msg = f"{metric} is not a metric."
        raise DesignError(msg, hint=f"{name_meant(metric)}.")
    spread = _spread(folder, settings, metric, asked.spread, crop)
    scatter, unstudied = _scatter(folder, settings, asked, metric)
    if scatter is not None and spread == usual_spread(metric):
        spread = with_scatter(spread, scatter)
    if asked.difference is None:
        return spread, None, scatter, unstudied
    difference = _in_unit(asked.difference, spread.unit, spread.mean, metric)
    return spread, difference, scatter, unstudied


def _spread(
    folder: Path, settings: Settings, metric: str, stated: Amount | None, crop: str
) -> Spread:
    past = folder / "results" / RESULTS_FILE
    known = (
        past_spread(read_tray_metrics(past), settings.compare.treatment_column, metric, crop)
        if past.is_file()
        else None
    )
    if stated is not None:
        mean = known.mean if known else float("nan")
        unit = unit_of_spread(metric)
        if unit == PER_CENT and not stated.in_percent and not known:
            msg = f"A spread of {metric} must be given in per cent of its mean, such as 8%."
            raise DesignError(msg)
        return Spread(metric, _in_unit(stated, unit, mean, metric), unit, "as stated", mean=mean)
    found = known or usual_spread(metric)
    if found is None:
        msg = f"How far trays of one treatment differ in {metric} is not known."
        raise DesignError(msg, hint="State it with --spread, or measure a trial in this folder.")
    return found


def _in_unit(amount: Amount, unit: str, mean: float, metric: str) -> float:
    """Bring a stated amount to the unit of the spread."""
    if amount.in_percent == (unit == PER_CENT):
        return amount.size
    if unit == POINTS:
        msg = f"{metric} is a share in per cent: give its differences in points, without the %."
        raise DesignError(msg)
    if not mean > 0:
        wanted = "in per cent" if unit == PER_CENT else f"in its unit ({unit}), without the %"
        msg = f"No trays measured in this folder tell the mean of {metric}: give amounts {wanted}."
        raise DesignError(msg)
    return amount.size * (100.0 / mean if unit == PER_CENT else mean / 100.0)


def _write(folder: Path, plan: Plan, paper: str, *, show_treatment: bool) -> None:
    """Write the list last: where it stands, everything else does too. Settings are kept."""
    wanted = plan.wanted
    if wanted is None:
        return
    try:
        (folder / PHOTO_FOLDER).mkdir(parents=True, exist_ok=True)
    except OSError as err:
        msg = f"The folder {folder} cannot be made ({err.strerror})."
        raise StoreError(msg, hint="Name another folder.") from err
    rows = [_cells(tray, wanted) for tray in plan.trays]
    labels = [_label(cells, show_treatment=show_treatment) for cells in rows]
    lines = rack_map(plan.trays, wanted.block_name)
    with whole_file(folder / LABELS_FILE) as part:
        write_labels(part, labels, paper=paper, rack_map=lines)
    with whole_file(folder / PLAN_FILE) as part:
        part.write_text("\n".join(plan_lines(plan)) + "\n", encoding="utf-8")
    if not (folder / SETTINGS_FILE).exists():
        with whole_file(folder / SETTINGS_FILE) as part:
            part.write_text(SETTINGS_SKELETON, encoding="utf-8")
    codes = [(guarded(name), code) for name, code in plan.blind_codes.items()]
    write_table(folder / CODES_FILE, ("treatment", "code"), codes)
    write_table(folder / TRAYS_FILE, _COLUMNS, ([one[name] for name in _COLUMNS] for one in rows))


def _cells(tray: PlannedTray, wanted: Wanted) -> dict[str, str]:
    held = dict.fromkeys(_COLUMNS, "")
    return held | {
        "tray_id": tray.tray_id,
        "crop": wanted.crop,
        "treatment": tray.treatment,
        "block": tray.block,
        "batch": wanted.batch,
        "kind": "tray",
        "sown_on": tray.sown_on.isoformat() if tray.sown_on else "",
        "seed_lot": wanted.seed_lot,
        "shelf": tray.shelf,
        "position": str(tray.position),
        "at_edge": "yes" if tray.at_edge else "no",
    }


def _label(cells: dict[str, str], *, show_treatment: bool) -> TrayLabel:
    """Say where the tray belongs; the treatment only where it was asked for."""

    def said(*columns: str) -> str:
        return ", ".join(
            f"{_SAID.get(name, name)} {cells[name]}" for name in columns if cells.get(name)
        )

    of_the_day = cells.get("batch") == cells.get("sown_on")
    lines = [
        cells.get("treatment", "") if show_treatment else "",
        cells.get("crop", ""),
        said("sown_on"),
        "" if of_the_day else said("batch"),
        said("block", "shelf"),
        said("position"),
    ]
    return TrayLabel(cells["tray_id"], tuple(line for line in lines if line))
