"""Trial folders out of rendered scenes, and archives of limited size."""

from __future__ import annotations

import csv
import json
import shutil
import tarfile
from pathlib import Path

COLUMNS = ("tray_id", "crop", "treatment", "block", "batch", "sown_on", "photographed_on",
           "shelf", "rim_above_medium_mm", "inside_length_mm", "inside_width_mm")  # fmt: skip


def _records(source: Path) -> list[tuple[Path, dict]]:
    """Truth of every finished scene under `source`, in order."""
    files = sorted(source.glob("*/truth.json"))
    return [(file.parent, json.loads(file.read_text(encoding="utf-8"))) for file in files]


def write_trial(source: Path, out: Path, layout: str) -> None:
    """Write trial.toml, trays.csv and photos, with photos.csv or a folder for each tray.

    Parameters
    ----------
    layout : "list" (photos/ and photos.csv) or "folders" (photos/<tray_id>/)
    """
    records = _records(source)
    if not records:
        message = f"{source}: no finished scenes here; render them first"
        raise FileNotFoundError(message)
    out.mkdir(parents=True, exist_ok=True)
    rows, photos, planes = [], [], set()
    for folder, record in records:
        rows.append(_tray_row(record))
        for view, facts in record["photos"].items():
            target = Path(record["id"]) / f"{view}.jpg" if layout == "folders" else Path(
                f"{record['id']}_{view}.jpg")  # fmt: skip
            (out / "photos" / target).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(folder / facts["photo"], out / "photos" / target)
            taken = facts["exif"]["date_time_original"][:10]
            photos.append([target.as_posix(), record["id"], facts["view"], taken])
            if facts["view"] == "overhead":
                planes.add(record["spec"]["views"][view]["card"]["plane"])
    _write_csv(out / "trays.csv", COLUMNS, rows)
    if layout == "list":
        _write_csv(out / "photos.csv", ("photo", "tray_id", "view", "taken_on"), photos)
    _write_settings(out / "trial.toml", records[0][1], planes)


def _tray_row(record: dict) -> list:
    tray, trial = record["tray"], record["spec"].get("trial", {})
    plain = {"tray_id": record["id"], "crop": record["spec"]["crop"], "treatment": record["set"],
             "block": 1, "batch": record["set"], "sown_on": "", "photographed_on": "",
             "shelf": ""}  # fmt: skip
    return [
        {**plain, **trial, **tray, "crop": trial.get("crop", plain["crop"])}[c] for c in COLUMNS
    ]


def _write_csv(path: Path, header: tuple[str, ...], rows: list[list]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


def _write_settings(path: Path, record: dict, planes: set[str]) -> None:
    """Settings of the trial; trays that differ from the first override them in trays.csv."""
    tray = record["tray"]
    if len(planes) > 1:
        message = f"cards lie in different planes ({', '.join(sorted(planes))}): split the trial"
        raise ValueError(message)
    keys = ("inside_length_mm", "inside_width_mm", "rim_above_medium_mm", "rim_above_bench_mm")
    lines = ["[tray]", *(f"{key} = {tray[key]}" for key in keys)]
    if planes:
        lines += ["", "[card]", f'plane = "{planes.pop()}"']
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def pack_scenes(source: Path, out: Path, mib: float) -> list[Path]:
    """Pack finished scenes into uncompressed archives of at most `mib` MiB each."""
    out.mkdir(parents=True, exist_ok=True)
    archives: list[Path] = []
    room = 0.0
    archive = None
    for folder, _ in _records(source):
        size = sum(f.stat().st_size + 2048 for f in folder.iterdir()) / 2**20
        if archive is None or size > room:
            if archive is not None:
                archive.close()
            archives.append(out / f"{source.name}_{len(archives):02d}.tar")
            archive = tarfile.open(archives[-1], "w")  # noqa: SIM115 (kept open over several scenes)
            room = mib - 0.1
        archive.add(folder, arcname=f"{source.name}/{folder.name}")
        room -= size
    if archive is not None:
        archive.close()
    return archives
