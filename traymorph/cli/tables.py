"""The results as a person reads them on a terminal, and as JSON for programs."""

import json
import math
import shutil
from collections.abc import Sequence
from pathlib import PurePosixPath

import click

from traymorph.flags import FLAGS
from traymorph.model.results import (
    Failure,
    Measured,
    PhotoCheck,
    PlantRow,
    PlantSpread,
    TrayRow,
)
from traymorph.pipeline.run import RunReport

# What one looks at first; the CSV holds every metric.
_COLUMNS = (
    ("canopy_cover_pct", "cover %"),
    ("projected_leaf_area_cm2", "leaf cm²"),
    ("canopy_height_mm", "height mm"),
    ("bare_stem_mm", "bare stem mm"),
    ("leaf_layer_mm", "leaf layer mm"),
    ("greenness_index", "greenness"),
    ("leaf_l", "L*"),
    ("leaf_hue_deg", "hue °"),
)
_TOLD_SINGLY = 2  # from three failures of one kind on, the reason stands once
# Of cut plants one sees first how they spread.
_PLANT_COLUMNS = (
    ("stem_length_mm", "stem mm*"),
    ("leaf_area_mm2", "leaf mm²*"),
    ("board_stem_to_leaf_ratio", "stem:leaf*"),
)


def print_report(report: RunReport, *, table: bool) -> None:
    """Print the table to stdout; what failed, flags and places to stderr."""
    rows = [row for result in report.results for row in result.rows]
    if table and rows:
        click.echo(_table(rows, report.list_columns))
    _explain_flags(rows, report.checks)
    _tell_failures(report.failures)
    if report.reused:
        words = "tray is" if report.reused == 1 else "trays are"
        click.echo(f"{report.reused} {words} as when measured before.", err=True)
    if report.out is not None:
        click.echo(f"Tables and pictures: {report.out}", err=True)


def _tell_failures(failures: Sequence[Failure]) -> None:
    """Say each reason in full where it is first met; many that share it follow by their names."""
    alike: dict[str, list[Failure]] = {}
    for failure in failures:
        place = PurePosixPath(failure.photo or failure.tray_id)
        reason = failure.message.replace(str(place), "").replace(place.name, "")
        alike.setdefault(reason, []).append(failure)
    for group in alike.values():
        told = len(group) if len(group) <= _TOLD_SINGLY else 1
        for failure in group[:told]:
            click.echo(f"Not measured: {_placed(failure)}", err=True)
        if others := ", ".join(one.photo or one.tray_id for one in group[told:]):
            click.echo(f"Not measured, for the same reason: {others}", err=True)


def _placed(failure: Failure) -> str:
    """Say where as the tables do: photos of several trays may bear one file name."""
    place, message = failure.photo or failure.tray_id, failure.message
    if place in message:
        return message
    name = PurePosixPath(place).name
    return place + message[len(name) :] if message.startswith(name) else f"{place}: {message}"


def _table(rows: list[TrayRow], list_columns: tuple[str, ...]) -> str:
    """Lines of aligned columns; ± is one standard uncertainty."""
    said = [name for name in ("treatment", "block") if name in list_columns]
    header = ["tray", *said, *(title for _, title in (*_COLUMNS, *_PLANT_COLUMNS)), "plants"]
    body = [
        [
            row.tray_id,
            *(row.columns.get(name, "") for name in said),
            *(row.metrics[metric].with_doubt() for metric, _ in _COLUMNS),
            *(_over_plants(row, metric) for metric, _ in _PLANT_COLUMNS),
            "–" if row.n_plants is None else str(row.n_plants),
        ]
        for row in rows
    ]
    used = [
        place
        for place in range(len(header))
        if place == 0 or any(line[place] not in {"–", ""} for line in body)
    ]
    kept = [[line[place] for place in used] for line in [header, *body]]
    widths = [max(len(line[place]) for line in kept) for place in range(len(used))]
    if sum(widths) + 2 * len(widths) > shutil.get_terminal_size((160, 24)).columns:
        return _stacked(kept)
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True))
        for line in kept
    ]
    lines.insert(1, "  ".join("─" * width for width in widths))
    return "\n".join(line.rstrip() for line in [*lines, *_footnote(kept)])


def _over_plants(row: TrayRow, metric: str) -> str:
    """Mean over cut plants ± its standard error between them."""
    spread = row.spread.get(metric, PlantSpread())
    return Measured(row.metrics[metric].value, spread.standard_error).with_doubt()


def _stacked(kept: list[list[str]]) -> str:
    """For a narrow terminal: each tray's values under its name."""
    header, *body = kept
    width = max(len(title) for title in header)
    blocks = []
    for line in body:
        pairs = [
            f"  {t.ljust(width)}  {cell}" for t, cell in zip(header[1:], line[1:], strict=True)
        ]
        blocks.append("\n".join([line[0], *pairs]))
    return "\n".join([*blocks, *_footnote(kept)])


def _footnote(kept: list[list[str]]) -> list[str]:
    header, *body = kept
    titles = {title for _, title in _PLANT_COLUMNS}
    of_plants = [title in titles for title in header]
    doubts = {of for line in body for of, cell in zip(of_plants, line, strict=True) if "±" in cell}
    lines = []
    if False in doubts:
        told = "± is one standard uncertainty; about 95 % of true values lie within twice that."
        lines.append(told)
    if any(of_plants):
        lines.append("* mean over cut plants; here ± is its standard error between plants.")
    return lines or ["No value could be measured; the flags say why."]


def _explain_flags(rows: list[TrayRow], checks: Sequence[PhotoCheck]) -> None:
    """Name each flag once, with the trays or photos it touches and what to do."""
    touched: dict[str, list[str]] = {}
    for row in rows:
        for name in row.flags:
            touched.setdefault(name, []).append(row.tray_id)
    for check in checks:
        for name in check.flags:
            if name not in touched or check.tray_id not in touched[name]:
                touched.setdefault(name, []).append(check.photo)
    for name, things in touched.items():
        flag = FLAGS[name]
        shown = ", ".join(dict.fromkeys(things))
        click.echo(f"{name} ({shown}): {flag.meaning} {flag.advice}", err=True)


def report_as_json(report: RunReport) -> str:
    """Everything that the tables hold; null = not measured."""
    content = {
        "trays": [_row_as_dict(row) for result in report.results for row in result.rows],
        "photos": [_check_as_dict(check) for check in report.checks],
        "plants": [_plant_as_dict(plant) for plant in report.plants],
        "failures": [
            {"tray_id": f.tray_id, "photo": f.photo, "error": f.message, "exit_code": f.exit_code}
            for f in report.failures
        ],
        "results": str(report.out) if report.out else None,
    }
    return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)


def _row_as_dict(row: TrayRow) -> dict[str, object]:
    values: dict[str, object] = {**row.columns, "tray_id": row.tray_id}
    day = row.photographed_on
    values["photographed_on"] = day.isoformat() if day else None
    for name, measured in row.metrics.items():
        values[name] = _or_null(measured.value)
        values[f"{name}_u"] = _or_null(measured.u)
    for name, spread in row.spread.items():
        values[f"{name}_sd"] = _or_null(spread.sd)
        values[f"{name}_se"] = _or_null(spread.standard_error)
    values["n_plants"] = row.n_plants
    values["flags"] = list(row.flags)
    return values


def _plant_as_dict(plant: PlantRow) -> dict[str, object]:
    day = plant.photographed_on
    values: dict[str, object] = {
        "photo": plant.photo,
        "tray_id": plant.tray_id,
        "photographed_on": day.isoformat() if day else None,
        "plant": plant.plant,
        "x_mm": _or_null(plant.x_mm),
        "y_mm": _or_null(plant.y_mm),
    }
    for name, measured in plant.metrics.items():
        values[name] = _or_null(measured.value)
        values[f"{name}_u"] = _or_null(measured.u)
    values["flags"] = list(plant.flags)
    return values


def _check_as_dict(check: PhotoCheck) -> dict[str, object]:
    return {
        "photo": check.photo,
        "tray_id": check.tray_id,
        "view": check.view,
        "mm_per_px": _or_null(check.mm_per_px),
        "tilt_deg": _or_null(check.tilt_deg),
        "card_residual_px": _or_null(check.card_residual_px),
        "colour_error_de00": _or_null(check.colour_error_de00),
        "sharpness": _or_null(check.sharpness),
        "clipped_pct": _or_null(check.clipped_pct),
        "flags": list(check.flags),
        "error": check.error,
    }


def _or_null(number: float) -> float | None:
    return number if math.isfinite(number) else None
