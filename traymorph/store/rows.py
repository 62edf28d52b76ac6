"""Results as database rows and back; NaN is NULL in between."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from datetime import date
from math import isnan, nan
from typing import Any

from sqlalchemy import RowMapping

from traymorph.model.results import Failure, Measured, PhotoCheck, Provenance, TrayResult, TrayRow

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


def content_of(result: TrayResult) -> Content:
    """Turn what was measured into rows by table, without the columns of trays.csv."""
    return {
        "tray_rows": [_tray_row(row) for row in result.rows],
        "photo_checks": [_check(check) for check in result.checks],
        "failures": [_failure(failure) for failure in result.failures],
    }


def content_hash(content: Content) -> str:
    """SHA-256 of the rows' canonical JSON, hexadecimal."""
    return hashlib.sha256(to_json(content).encode()).hexdigest()


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
    )


def columns_of(result: TrayResult) -> str:
    """Columns of trays.csv of each tray row, as JSON in their order."""
    return json.dumps([row.columns for row in result.rows], ensure_ascii=False)


def _number(value: float) -> float | None:
    return None if isnan(value) else float(value)


def _measured(value: float | None) -> float:
    return nan if value is None else value


def _tray_row(row: TrayRow) -> Row:
    made = row.provenance
    metrics = {name: [_number(one.value), _number(one.u)] for name, one in row.metrics.items()}
    return {
        "tray_id": row.tray_id,
        "photographed_on": row.photographed_on.isoformat() if row.photographed_on else None,
        "metrics": to_json(metrics),
        "flags": " ".join(row.flags),
        "program_version": made.program_version,
        "settings_fingerprint": made.settings_fingerprint,
        "card_versions": to_json(list(made.card_versions)),
        "photo_sha256": to_json(list(made.photo_sha256)),
        "mask_method": made.mask_method,
    }


def _row_from(row: RowMapping, columns: dict[str, str]) -> TrayRow:
    metrics: dict[str, list[float | None]] = json.loads(row["metrics"])
    day = row["photographed_on"]
    return TrayRow(
        tray_id=row["tray_id"],
        photographed_on=date.fromisoformat(day) if day else None,
        columns=columns,
        metrics={name: Measured(*map(_measured, pair)) for name, pair in metrics.items()},
        flags=tuple(row["flags"].split()),
        provenance=Provenance(
            program_version=row["program_version"],
            settings_fingerprint=row["settings_fingerprint"],
            card_versions=tuple(json.loads(row["card_versions"])),
            photo_sha256=tuple(json.loads(row["photo_sha256"])),
            mask_method=row["mask_method"],
        ),
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
