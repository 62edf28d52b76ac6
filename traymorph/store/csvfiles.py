"""Result files: takes rows, writes UTF-8 CSV with one header line, whole or not at all.

An empty cell means not measured, and ``flags`` says why. Numbers have six significant digits:
more than any uncertainty here leaves standing, so that nothing is lost by writing them.
"""

import csv
import os
from collections.abc import Iterable, Sequence
from contextlib import suppress
from math import isnan
from pathlib import Path
from uuid import uuid4

from traymorph.errors import StoreError
from traymorph.model.metrics import METRICS
from traymorph.model.results import Measured, PhotoCheck, TrayRow
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
    measured = [column for name in METRICS for column in (name, f"{name}_u")]
    header = [
        "tray_id",
        *map(guarded, listed),
        *measured,
        "flags",
        "program_version",
        "mask_method",
    ]
    _write(path, header, (_tray_cells(row, listed) for row in rows))


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
    _write(path, header, (_check_cells(check) for check in checks))


def _tray_cells(row: TrayRow, listed: Sequence[str]) -> list[str]:
    unknown = row.metrics.keys() - METRICS.keys()
    if unknown:
        msg = f"not in METRICS: {', '.join(sorted(unknown))}"
        raise ValueError(msg)
    cells = dict(row.columns)
    if row.photographed_on is not None:
        cells["photographed_on"] = row.photographed_on.isoformat()
    texts = [guarded(cells.get(name, "")) for name in listed]
    pairs = [row.metrics.get(name, _NOT_MEASURED) for name in METRICS]
    numbers = [_number(value) for one in pairs for value in (one.value, one.u)]
    made = row.provenance
    ending = [" ".join(row.flags), made.program_version, made.mask_method]
    return [guarded(row.tray_id), *texts, *numbers, *ending]


def _check_cells(check: PhotoCheck) -> list[str]:
    texts = [guarded(text) for text in (check.photo, check.tray_id, check.view)]
    numbers = [_number(getattr(check, name)) for name in _CHECK_NUMBERS]
    error = guarded(" ".join(check.error.split()))
    return [*texts, *numbers, " ".join(check.flags), error, check.sha256]


def _number(value: float) -> str:
    # Adding 0.0 turns -0.0 into 0.
    return "" if isnan(value) else f"{value + 0.0:.6g}"


def _write(path: Path, header: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write beside the file, then put it in its place: readers never see half a file."""
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
