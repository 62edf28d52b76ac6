"""What ``measure`` found, as CSV files: trays, cut plants, photos.

An empty cell means not measured, and ``flags`` says why. Numbers have six significant digits:
more than any uncertainty here leaves standing, so that nothing is lost by writing them.
"""

from collections.abc import Collection, Iterable, Sequence
from datetime import datetime
from pathlib import Path

from traymorph.model.metrics import METRICS
from traymorph.model.results import Measured, PhotoCheck, PlantRow, PlantSpread, TrayRow
from traymorph.store.csvfiles import number_cell
from traymorph.store.dictionary import write_described
from traymorph.store.measured_columns import (
    CHECK_NUMBERS,
    OF_PLANTS,
    PHOTO_CHECKS,
    plant_columns,
    tray_columns,
)
from traymorph.store.textcells import guarded

_DAYS = ("sown_on", "harvested_on", "photographed_on")
_NOT_MEASURED = Measured()
_NO_SPREAD = PlantSpread()


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
    write_described(path, tray_columns(listed), (_tray_cells(row, listed) for row in rows))


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
    write_described(path, plant_columns(), (_plant_cells(plant) for plant in plants))


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
    write_described(path, PHOTO_CHECKS, (_check_cells(check) for check in checks))


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
    cells |= {name: _day(cells[name]) for name in _DAYS if cells.get(name)}
    texts = [guarded(cells.get(name, "")) for name in listed]
    numbers = [number_cell(value) for name in METRICS for value in _numbers_of(row, name)]
    numbers.append("" if row.n_plants is None else str(row.n_plants))
    made = row.provenance
    ending = [" ".join(row.flags), made.program_version, made.mask_method]
    return [guarded(row.tray_id), *texts, *numbers, *ending]


def _day(moment: str) -> str:
    """Day of an ISO 8601 date that a list may give with its time, or without hyphens."""
    return datetime.fromisoformat(moment).date().isoformat()


def _numbers_of(row: TrayRow, metric: str) -> list[float]:
    one = row.metrics.get(metric, _NOT_MEASURED)
    spread = row.spread.get(metric, _NO_SPREAD)
    between = [spread.sd, spread.standard_error] if metric in OF_PLANTS else []
    return [one.value, one.u, *between]


def _plant_cells(plant: PlantRow) -> list[str]:
    _refuse_undeclared(plant.metrics, OF_PLANTS)
    day = plant.photographed_on.isoformat() if plant.photographed_on else ""
    place = [str(plant.plant), number_cell(plant.x_mm), number_cell(plant.y_mm)]
    pairs = [plant.metrics.get(name, _NOT_MEASURED) for name in OF_PLANTS]
    numbers = [number_cell(value) for one in pairs for value in (one.value, one.u)]
    texts = [guarded(plant.photo), guarded(plant.tray_id), day]
    return [*texts, *place, *numbers, " ".join(plant.flags)]


def _check_cells(check: PhotoCheck) -> list[str]:
    texts = [guarded(text) for text in (check.photo, check.tray_id, check.view)]
    numbers = [number_cell(getattr(check, name)) for name in CHECK_NUMBERS]
    error = guarded(" ".join(check.error.split()))
    return [*texts, *numbers, " ".join(check.flags), error, check.sha256]
