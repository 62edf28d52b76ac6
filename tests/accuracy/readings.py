"""Measures rendered trays as a user would and sets each reading beside its truth."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from PIL import Image

from traymorph.config.settings import Settings
from traymorph.model.metrics import METRICS
from traymorph.model.photo import View
from traymorph.model.trial import PhotoEntry, Sample, TraySize
from traymorph.pipeline.jobs import JobPhoto, TrayJob
from traymorph.pipeline.measure_tray import measure_tray

_LEAF, _STEM, _HULL = 1, 2, 7
_DAY = datetime(2026, 3, 10)  # noqa: DTZ001 (a phone's local time has no zone)


@dataclass(frozen=True)
class Reading:
    """One metric of one tray; NaN where truth or program has no value."""

    scene: str
    crop: str
    light: str
    metric: str
    value: float
    u: float
    truth: float


@dataclass(frozen=True)
class Overlap:
    """Dice of one photo's own plants, leaf and stem with their truth."""

    scene: str
    crop: str
    light: str
    view: str
    plant: float
    leaf: float
    stem: float
    plant_area_pct: float


def read_scene(folder: Path, out: Path) -> dict:
    """Measure one scene and compare; the result is kept in ``out`` and found there again."""
    kept = out / f"{folder.name}.json"
    if kept.exists():
        return json.loads(kept.read_text("utf-8"))
    record = json.loads((folder / "truth.json").read_text("utf-8"))
    job = _job(folder, record, out)
    result = measure_tray(job)
    facts = {
        "scene": record["id"],
        "crop": record["spec"]["crop"],
        "light": record["tray"]["light"],
    }
    found = {
        "failures": [failure.message for failure in result.failures],
        "flags": sorted({flag for row in result.rows for flag in row.flags}),
        "readings": [],
        "overlaps": [],
    }
    for row in result.rows:
        for metric, truth in truths(record).items():
            got = row.metrics[metric]
            reading = Reading(**facts, metric=metric, value=got.value, u=got.u, truth=truth)
            found["readings"].append(asdict(reading))
    for photo in job.photos:
        mask = job.mask_of(photo)
        if mask.exists():
            overlap = _overlap(mask, folder / f"{photo.entry.view}.mask.png")
            found["overlaps"].append({**facts, "view": str(photo.entry.view), **overlap})
    kept.write_text(json.dumps(found), "utf-8")
    return found


def _job(folder: Path, record: dict, out: Path) -> TrayJob:
    tray = record["tray"]
    size = TraySize(
        tray["inside_length_mm"],
        tray["inside_width_mm"],
        tray["rim_above_medium_mm"],
        tray["rim_above_bench_mm"],
    )
    plane = record["spec"]["views"]["overhead"]["card"]["plane"]
    # Scenes date their photos at random; a tray's photos belong together.
    photos = tuple(
        JobPhoto(
            PhotoEntry(folder / facts["photo"], record["id"], View(view), _DAY),
            f"{record['id']}/{view}",
            f"{record['id']}_{view}",
        )
        for view, facts in record["photos"].items()
    )
    return TrayJob(
        Sample(record["id"], "tray", size, None),
        photos,
        Settings.model_validate({"card": {"plane": plane}}),
        overlays=out / "overlays",
        masks=out / "masks",
    )


def truths(record: dict) -> dict[str, float]:
    """Truth of every metric that the scene knows, by the program's names."""
    tray, level = record["truth"], record["truth"]["level_view"]
    front = record["photos"]["side"]["front_plane"]
    lab = record["photos"]["overhead"]["leaf_colour"]["ideal_camera_lab_mean_of_pixels"]
    known = {name: tray[name] for name in METRICS if name in tray}
    known |= {
        "projected_leaf_area_cm2": tray["projected_leaf_area_inside_cm2"],
        "largest_gap_cm2": tray["largest_gap_opened_5mm_cm2"],
        "blade_width_mm": tray["visible_blade_width_median_mm"],
        "canopy_height_cv_pct": _variation_of_the_middle(tray["column_height_mm"]),
        "stem_to_leaf_ratio": front["stem_to_leaf_ratio"],
        "bare_stem_mm": level["bare_stem_mm"],
        "leaf_layer_mm": level["leaf_layer_mm"],
        "leaf_l": lab[0],
        "leaf_a": lab[1],
        "leaf_b": lab[2],
    }
    return {name: float("nan") if value is None else float(value) for name, value in known.items()}


def _variation_of_the_middle(column_height_mm: list[float | None]) -> float:
    """Variation of true heights in per cent, without the tenth of the columns at either end."""
    heights = np.array([height for height in column_height_mm if height is not None])
    ends = round(0.1 * len(heights))
    middle = heights[ends : len(heights) - ends]
    return float(100 * middle.std() / middle.mean())


def _overlap(mask: Path, truth: Path) -> dict[str, float]:
    got, want = np.array(Image.open(mask)), np.array(Image.open(truth))
    judged = want != _HULL  # a hull on a leaf is neither plant nor not
    leaf, stem = (judged & (got == k) for k in (_LEAF, _STEM))
    true_leaf, true_stem = want == _LEAF, want == _STEM
    return {
        "plant": dice(leaf | stem, true_leaf | true_stem),
        "leaf": dice(leaf, true_leaf),
        "stem": dice(stem, true_stem),
        "plant_area_pct": 100 * float((leaf | stem).sum() / (true_leaf | true_stem).sum() - 1),
    }


def dice(a: np.ndarray, b: np.ndarray) -> float:
    """Twice the common area over the sum of both."""
    return float(2 * (a & b).sum() / max(a.sum() + b.sum(), 1))
