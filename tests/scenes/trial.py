"""Trial folders out of rendered scenes, and archives of limited size."""

from __future__ import annotations

import csv
import json
import shutil
import tarfile
from pathlib import Path

COLUMNS = ("tray_id", "crop", "treatment", "block", "batch", "sown_on", "photographed_on",
           "shelf", "rim_above_medium_mm", "inside_length_mm", "inside_width_mm")  # fmt: skip
BOARD_COLUMNS = ("tray_id", "kind", "crop", "treatment", "block", "batch", "cut_above_medium_mm")


def _records(source: Path) -> list[tuple[Path, dict]]:
    """Truth of every finished scene under `source`, in order."""
    files = sorted(source.glob("*/truth.json"))
    return [(file.parent, json.loads(file.read_text(encoding="utf-8"))) for file in files]


def write_trial(source: Path, out: Path, layout: str) -> list[Path]:
    """Write trial folders: trial.toml, trays.csv and photos with photos.csv or sub-folders.

    Height of the rim and plane of the card belong to a whole trial, so a set in which they
    differ becomes several trials, each in a folder of its own under `out`. Boards have neither;
    several of them may show plants of one tray.

    Parameters
    ----------
    layout : "list" (photos/ and photos.csv) or "folders" (photos/<tray_id>/)

    Returns
    -------
    folders : the trial folders written
    """
    groups: dict[tuple[str, float], list[tuple[Path, dict]]] = {}
    for folder, record in _records(source):
        groups.setdefault(_trial_key(record), []).append((folder, record))
    if not groups:
        message = f"{source}: no finished scenes here; render them first"
        raise FileNotFoundError(message)
    folders = []
    for (plane, rim), records in sorted(groups.items()):
        folders.append(out if len(groups) == 1 else out / f"{plane}_{rim:g}")
        _write_one(records, folders[-1], layout, plane)
    return folders


def _trial_key(record: dict) -> tuple[str, float]:
    if _is_board(record):
        return "board", 0.0
    view = record["spec"]["views"].get("overhead")
    plane = view["card"]["plane"] if view else "bench"
    return plane, record["tray"]["rim_above_bench_mm"]


def _is_board(record: dict) -> bool:
    return "board" in record["photos"]


def _sample_of(record: dict) -> str:
    """Name of the tray or pack that a scene shows."""
    return record["spec"].get("trial", {}).get("tray_id", record["id"])


def _write_one(records: list[tuple[Path, dict]], out: Path, layout: str, plane: str) -> None:
    out.mkdir(parents=True, exist_ok=True)
    photos = []
    for folder, record in records:
        for view, facts in record["photos"].items():
            tray, photo = _sample_of(record), f"{record['id']}_{view}.jpg"
            name = f"{tray}/{photo}" if layout == "folders" else photo
            target = out / "photos" / name
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(folder / facts["photo"], target)
            taken = facts["exif"]["date_time_original"][:10]
            photos.append([name, tray, facts["view"], taken])
    boards = _is_board(records[0][1])
    of_samples = {_sample_of(record): record for _, record in records}
    rows = [_board_row(one) if boards else _tray_row(one) for one in of_samples.values()]
    _write_csv(out / "trays.csv", BOARD_COLUMNS if boards else COLUMNS, rows)
    if layout == "list":
        _write_csv(out / "photos.csv", ("photo", "tray_id", "view", "taken_on"), photos)
    if boards:
        (out / "trial.toml").write_text("", encoding="utf-8")
    else:
        _write_settings(out / "trial.toml", records[0][1], plane)


def _tray_row(record: dict) -> list:
    tray, trial = record["tray"], record["spec"].get("trial", {})
    plain = {"tray_id": record["id"], "crop": record["spec"]["crop"], "treatment": record["set"],
             "block": 1, "batch": record["set"], "sown_on": "", "photographed_on": "",
             "shelf": ""}  # fmt: skip
    return [
        {**plain, **trial, **tray, "crop": trial.get("crop", plain["crop"])}[c] for c in COLUMNS
    ]


def _board_row(record: dict) -> list:
    plain = {"tray_id": record["id"], "kind": "tray", "crop": record["spec"]["crop"],
             "treatment": record["set"], "block": 1, "batch": record["set"],
             "cut_above_medium_mm": 15.0}  # fmt: skip
    sample = {**plain, **record["spec"].get("trial", {})}
    if sample["kind"] == "pack":
        sample["block"] = ""
    return [sample[c] for c in BOARD_COLUMNS]


def _write_csv(path: Path, header: tuple[str, ...], rows: list[list]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


def _write_settings(path: Path, record: dict, plane: str) -> None:
    """Settings of the trial; trays.csv overrides the tray's size and fill depth."""
    tray = record["tray"]
    keys = ("inside_length_mm", "inside_width_mm", "rim_above_medium_mm", "rim_above_bench_mm")
    lines = ["[tray]", *(f"{key} = {tray[key]}" for key in keys)]
    lines += ["", "[card]", f'plane = "{plane}"']
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
