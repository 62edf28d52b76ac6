"""Result files: takes rows, writes UTF-8 CSV with one header line, whole or not at all.

An empty cell means not measured, and ``flags`` says why. Numbers have six significant digits:
more than any uncertainty here leaves standing, so that nothing is lost by writing them.
"""

import csv
import os
from collections.abc import Collection, Iterable, Sequence
from contextlib import suppress
from math import isnan
from pathlib import Path
from uuid import uuid4

from traymorph.errors import StoreError
from traymorph.model.metrics import METRICS
from traymorph.model.photo import View
from traymorph.model.results import Measured, PhotoCheck, PlantRow, PlantSpread, TrayRow
from traymorph.store.textcells import guarded

_CHECK_NUMBERS = (
    "mm_per_px",
    "tilt_deg",
    "card_residual_px",
    "colour_error_de00",
    "sharpness",
    "clipped_pct",
)
_NOT_MEASURED = Measured()
_NO_SPREAD = PlantSpread()
_WEIGHED_TOGETHER = {"plant_weight_mg", "leaf_area_per_gram_cm2"}
_OF_PLANTS = tuple(
    name
    for name, spec in METRICS.items()
    if spec.view is View.BOARD and name not in _WEIGHED_TOGETHER
)


def write_tray_metrics(path: Path, rows: Iterable[TrayRow], list_columns: Sequence[str]) -> None:
    """Write ``tray_metrics.csv``, one row per tray and day.

    Parameters
    ----------
    path : Path
        Where to.
    rows : iterable of TrayRow
        In the order wanted.
    list_columns : sequence of str
        Header of trays.csv; empty without it. They follow ``tray_id`` in their order;
        ``photographed_on`` holds the day that the row's photos were taken.

    Raises
    ------
    StoreError
        The file cannot be written; what was there stays as it was.
    """
    listed = [name for name in list_columns if name != "tray_id"]
    if "photographed_on" not in listed:
        listed.insert(0, "photographed_on")
    header = [
        "tray_id",
        *map(guarded, listed),
        *(column for name in METRICS for column in _columns_of(name)),
        "n_plants",
        "flags",
        "program_version",
        "mask_method",
    ]
    write_table(path, header, (_tray_cells(row, listed) for row in rows))


def write_plants(path: Path, plants: Iterable[PlantRow]) -> None:
    """Write ``plants.csv``, one row per cut plant on a board.

    Parameters
    ----------
    path : Path
        Where to.
    plants : iterable of PlantRow
        In the order wanted.

    Raises
    ------
    StoreError
        The file cannot be written; what was there stays as it was.
    """
    measured = [column for name in _OF_PLANTS for column in (name, f"{name}_u")]
    header = ["photo", "tray_id", "photographed_on", "plant", "x_mm", "y_mm", *measured, "flags"]
    write_table(path, header, (_plant_cells(plant) for plant in plants))


def write_photo_checks(path: Path, checks: Iterable[PhotoCheck]) -> None:
    """Write ``photo_checks.csv``, one row per photo.

    Parameters
    ----------
    path : Path
        Where to.
    checks : iterable of PhotoCheck
        In the order wanted.

    Raises
    ------
    StoreError
        The file cannot be written; what was there stays as it was.
    """
    header = ["photo", "tray_id", "view", *_CHECK_NUMBERS, "flags", "error", "sha256"]
    write_table(path, header, (_check_cells(check) for check in checks))


def _columns_of(metric: str) -> list[str]:
    endings = ("", "_u", "_sd", "_se") if metric in _OF_PLANTS else ("", "_u")
    return [metric + ending for ending in endings]


def _refuse_undeclared(names: Iterable[str], declared: Collection[str]) -> None:
    unknown = set(names) - set(declared)
    if unknown:
        msg = f"not in METRICS: {', '.join(sorted(unknown))}"
        raise ValueError(msg)


def _tray_cells(row: TrayRow, listed: Sequence[str]) -> list[str]:
    _refuse_undeclared(row.metrics, METRICS)
    cells = dict(row.columns)
    if row.photographed_on is not None:
        cells["photographed_on"] = row.photographed_on.isoformat()
    texts = [guarded(cells.get(name, "")) for name in listed]
    numbers = [number_cell(value) for name in METRICS for value in _numbers_of(row, name)]
    numbers.append("" if row.n_plants is None else str(row.n_plants))
    made = row.provenance
    ending = [" ".join(row.flags), made.program_version, made.mask_method]
    return [guarded(row.tray_id), *texts, *numbers, *ending]


def _numbers_of(row: TrayRow, metric: str) -> list[float]:
    one = row.metrics.get(metric, _NOT_MEASURED)
    spread = row.spread.get(metric, _NO_SPREAD)
    between = [spread.sd, spread.standard_error] if metric in _OF_PLANTS else []
    return [one.value, one.u, *between]


def _plant_cells(plant: PlantRow) -> list[str]:
    _refuse_undeclared(plant.metrics, _OF_PLANTS)
    day = plant.photographed_on.isoformat() if plant.photographed_on else ""
    place = [str(plant.plant), number_cell(plant.x_mm), number_cell(plant.y_mm)]
    pairs = [plant.metrics.get(name, _NOT_MEASURED) for name in _OF_PLANTS]
    numbers = [number_cell(value) for one in pairs for value in (one.value, one.u)]
    texts = [guarded(plant.photo), guarded(plant.tray_id), day]
    return [*texts, *place, *numbers, " ".join(plant.flags)]


def _check_cells(check: PhotoCheck) -> list[str]:
    texts = [guarded(text) for text in (check.photo, check.tray_id, check.view)]
    numbers = [number_cell(getattr(check, name)) for name in _CHECK_NUMBERS]
    error = guarded(" ".join(check.error.split()))
    return [*texts, *numbers, " ".join(check.flags), error, check.sha256]


def number_cell(value: float) -> str:
    """Write a number with six significant digits; empty for NaN."""
    # Adding 0.0 turns -0.0 into 0.
    return "" if isnan(value) else f"{value + 0.0:.6g}"


def write_table(path: Path, header: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write beside the file, then put it in its place: readers never see half a file.

    Parameters
    ----------
    path : Path
        Where to.
    header : sequence of str
        Names of the columns.
    rows : iterable of sequence of str
        Cells as they stand in the file.

    Raises
    ------
    StoreError
        The file cannot be written; what was there stays as it was.
    """
    partial = path.with_name(f".{path.name}.{uuid4().hex}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with partial.open("x", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(header)
            writer.writerows(rows)
            file.flush()
            os.fsync(file.fileno())
        partial.replace(path)
    except OSError as err:
        msg = f"{path} cannot be written ({err.strerror})."
        hint = "Close it where it is open in another program, and check folder and disk."
        raise StoreError(msg, hint=hint) from err
    finally:
        _remove(partial)


def _remove(partial: Path) -> None:
    with suppress(OSError):  # gone already, or its folder never was one
        partial.unlink()
