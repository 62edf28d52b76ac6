"""Results as database rows and back; NaN is NULL in between."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from datetime import date
from math import isnan, nan
from typing import Any

from sqlalchemy import RowMapping

from traymorph.model.results import (
    Failure,
    Measured,
    PhotoCheck,
    PlantRow,
    PlantSpread,
    PrintUsed,
    Provenance,
    TrayResult,
    TrayRow,
)

Row = dict[str, Any]
Content = dict[str, list[Row]]

_CHECK_NUMBERS = (
    "mm_per_px",
    "tilt_deg",
    "card_residual_px",
    "colour_error_de00",
    "sharpness",
    "clipped_pct",
)
_CHECK_TEXTS = ("photo", "tray_id", "view", "sha256", "error")
# Columns that a later version added: without a value they are no part of a row's hash.
_ADDED = ("n_plants", "spread", "prints")


def content_of(result: TrayResult) -> Content:
    """Turn what was measured into rows by table, without the columns of trays.csv."""
    return {
        "tray_rows": [_tray_row(row) for row in result.rows],
        "photo_checks": [_check(check) for check in result.checks],
        "cut_plants": [_plant(plant) for plant in result.plants],
        "failures": [_failure(failure) for failure in result.failures],
    }


def content_hash(content: Content) -> str:
    """SHA-256 of the rows' canonical JSON, hexadecimal.

    What older versions did not note is left out where it has no value, so that the hash is that
    which they gave.
    """
    held = {name: rows for name, rows in content.items() if rows or name != "cut_plants"}
    held["tray_rows"] = [
        {name: cell for name, cell in row.items() if cell is not None or name not in _ADDED}
        for row in held["tray_rows"]
    ]
    return hashlib.sha256(to_json(held).encode()).hexdigest()


def to_json(value: object) -> str:
    """Canonical JSON; NaN and infinity are refused, since JSON does not know them."""
    return json.dumps(
        value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def result_of(
    tray_id: str, content: Mapping[str, Sequence[RowMapping]], columns: str
) -> TrayResult:
    """Turn rows by table, and the columns kept beside them as JSON, into a tray's result."""
    of_rows: list[dict[str, str]] = json.loads(columns)
    return TrayResult(
        tray_id=tray_id,
        rows=tuple(
            _row_from(row, cells) for row, cells in zip(content["tray_rows"], of_rows, strict=True)
        ),
        checks=tuple(_check_from(row) for row in content["photo_checks"]),
        failures=tuple(
            Failure(row["tray_id"], row["photo"], row["message"], row["exit_code"])
            for row in content["failures"]
        ),
        plants=tuple(_plant_from(row) for row in content["cut_plants"]),
    )


def columns_of(result: TrayResult) -> str:
    """Columns of trays.csv of each tray row, as JSON in their order."""
    return json.dumps([row.columns for row in result.rows], ensure_ascii=False)


def _number(value: float) -> float | None:
    return None if isnan(value) else float(value)


def _measured(value: float | None) -> float:
    return nan if value is None else value


def _metrics(metrics: Mapping[str, Measured]) -> str:
    return to_json({name: [_number(one.value), _number(one.u)] for name, one in metrics.items()})


def _metrics_from(text: str) -> dict[str, Measured]:
    held: dict[str, list[float | None]] = json.loads(text)
    return {name: Measured(*map(_measured, pair)) for name, pair in held.items()}


def _day(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _day_from(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


def _tray_row(row: TrayRow) -> Row:
    made = row.provenance
    spread = {name: [_number(one.sd), one.n_plants] for name, one in row.spread.items()}
    return {
        "tray_id": row.tray_id,
        "photographed_on": _day(row.photographed_on),
        "metrics": _metrics(row.metrics),
        "flags": " ".join(row.flags),
        "program_version": made.program_version,
        "settings_fingerprint": made.settings_fingerprint,
        "card_versions": to_json(list(made.card_versions)),
        "photo_sha256": to_json(list(made.photo_sha256)),
        "mask_method": made.mask_method,
        "n_plants": row.n_plants,
        "spread": to_json(spread) if spread else None,
        "prints": _prints(made.prints),
    }


def _prints(prints: Sequence[PrintUsed] | None) -> str | None:
    if prints is None:
        return None
    return to_json([[one.card_id, one.colours_sha256] for one in prints])


def _prints_from(text: str | None) -> tuple[PrintUsed, ...] | None:
    return None if text is None else tuple(PrintUsed(*pair) for pair in json.loads(text))


def _row_from(row: RowMapping, columns: dict[str, str]) -> TrayRow:
    spread: dict[str, tuple[float | None, int]] = json.loads(row["spread"] or "{}")
    return TrayRow(
        tray_id=row["tray_id"],
        photographed_on=_day_from(row["photographed_on"]),
        columns=columns,
        metrics=_metrics_from(row["metrics"]),
        flags=tuple(row["flags"].split()),
        provenance=Provenance(
            program_version=row["program_version"],
            settings_fingerprint=row["settings_fingerprint"],
            card_versions=tuple(json.loads(row["card_versions"])),
            photo_sha256=tuple(json.loads(row["photo_sha256"])),
            mask_method=row["mask_method"],
            prints=_prints_from(row["prints"]),
        ),
        spread={name: PlantSpread(_measured(sd), n) for name, (sd, n) in spread.items()},
        n_plants=row["n_plants"],
    )


def _plant(plant: PlantRow) -> Row:
    return {
        "photo": plant.photo,
        "tray_id": plant.tray_id,
        "plant": plant.plant,
        "photographed_on": _day(plant.photographed_on),
        "x_mm": _number(plant.x_mm),
        "y_mm": _number(plant.y_mm),
        "metrics": _metrics(plant.metrics),
        "flags": " ".join(plant.flags),
    }


def _plant_from(row: RowMapping) -> PlantRow:
    return PlantRow(
        photo=row["photo"],
        tray_id=row["tray_id"],
        plant=row["plant"],
        x_mm=_measured(row["x_mm"]),
        y_mm=_measured(row["y_mm"]),
        metrics=_metrics_from(row["metrics"]),
        flags=tuple(row["flags"].split()),
        photographed_on=_day_from(row["photographed_on"]),
    )


def _check(check: PhotoCheck) -> Row:
    numbers = {name: _number(getattr(check, name)) for name in _CHECK_NUMBERS}
    texts = {name: str(getattr(check, name)) for name in _CHECK_TEXTS}
    return {**texts, **numbers, "flags": " ".join(check.flags)}


def _check_from(row: RowMapping) -> PhotoCheck:
    fields: dict[str, Any] = {name: row[name] for name in _CHECK_TEXTS}
    fields |= {name: _measured(row[name]) for name in _CHECK_NUMBERS}
    return PhotoCheck(**fields, flags=tuple(row["flags"].split()))


def _failure(failure: Failure) -> Row:
    return {
        "tray_id": failure.tray_id,
        "photo": failure.photo,
        "message": failure.message,
        "exit_code": int(failure.exit_code),
    }
