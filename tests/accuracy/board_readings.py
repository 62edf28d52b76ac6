"""Measures rendered boards as a user would and sets each plant beside its truth."""

from __future__ import annotations

import json
import math
import time
from pathlib import Path

import cv2
import numpy as np
from PIL import Image
from scipy.optimize import linear_sum_assignment

from tests.accuracy.overlaps import dice
from tests.scenes.board import crop_of
from traymorph.config.settings import Settings
from traymorph.model.photo import View
from traymorph.model.results import TrayResult, TrayRow
from traymorph.model.trial import PhotoEntry, Sample, TraySize
from traymorph.pipeline.jobs import JobPhoto, TrayJob
from traymorph.pipeline.measure_tray import measure_tray

_LEAF, _STEM, _HULL = 1, 2, 7
_SAME_PLANT_MM = 8.0
_TWO_AS_ONE = 1.5
"""A plant measured at more than this many times its true area holds part of another."""
OF_TRAY = ("stem_length_mm", "stem_width_mm", "leaf_area_mm2", "board_stem_to_leaf_ratio")
OF_PLANT = ("stem_length_mm", "stem_width_mm", "stem_area_mm2", "leaf_area_mm2")
_RATIO = "board_stem_to_leaf_ratio"
_LEFT_OUT = {"plants_touch", "plant_cut_off", "heap"}


def read_board(folder: Path, out: Path) -> dict:
    """Measure one scene and compare; the result is kept in ``out`` and found there again."""
    kept = out / f"{folder.name}.json"
    if kept.exists():
        return json.loads(kept.read_text("utf-8"))
    record = json.loads((folder / "truth.json").read_text("utf-8"))
    job = _job(folder, record, out)
    started = time.perf_counter()
    result = measure_tray(job)
    spent = time.perf_counter() - started
    found = {
        "scene": record["id"],
        "crop": record["tray"]["crop"],
        "board": record["tray"]["board"],
        "light": record["tray"]["light"],
        "megapixels": record["photos"]["board"]["width"]
        * record["photos"]["board"]["height"]
        / 1e6,
        "times_decoding": spent / _decoding(folder / "board.jpg"),
        "groups": record["truth"]["n_groups"],
        "failures": [failure.message for failure in result.failures],
        "flags": sorted({flag for row in result.rows for flag in row.flags}),
        **_compared(result, record["truth"]),
    }
    mask = job.mask_of(job.photos[0])
    if mask.exists():
        found["overlap"] = _overlap(mask, folder / "board.mask.png")
    kept.write_text(json.dumps(found), "utf-8")
    return found


def _decoding(photo: Path) -> float:
    started = time.perf_counter()
    cv2.imread(str(photo))
    return time.perf_counter() - started


def crop_name(record: dict) -> str:
    """Give what a grower would write in trays.csv: a name that tells how the crop is built."""
    if any(not plant["has_node"] for plant in record["truth"]["plants"]):
        return "wheat"
    return "pea" if crop_of(record["spec"]).form == "pea" else "radish"


def _job(folder: Path, record: dict, out: Path) -> TrayJob:
    name = record["id"]
    crop = crop_name(record)
    entry = PhotoEntry(folder / "board.jpg", name, View.BOARD, None)
    sample = Sample(
        name, "tray", TraySize(), None, {"crop": crop, "tray_id": name, "cut_above_medium_mm": "15"}
    )
    photos = (JobPhoto(entry, f"{name}/board", name),)
    return TrayJob(sample, photos, Settings(), overlays=out / "overlays", masks=out / "masks")


def _compared(result: TrayResult, truth: dict) -> dict:
    alone = [plant for plant in result.plants if not _LEFT_OUT & set(plant.flags)]
    pairs = _matched(alone, truth["plants"])
    singles = []
    for got, want in pairs:
        for metric in OF_PLANT:
            if want[metric] is not None and want["group"] is None and want["whole_in_frame"]:
                value = got.metrics[metric]
                singles.append([want["number"], metric, value.value, value.u, want[metric]])
    blades = [
        [got.metrics["blade_count"].value, len(want["blades"])]
        for got, want in pairs
        if want["group"] is None
    ]
    row = result.rows[0] if result.rows else None
    tray = [
        [metric, row.metrics[metric].value, row.metrics[metric].u, true]
        for metric, true in _true_means([want for _, want in pairs]).items()
        if row is not None
    ]
    return {
        "n_measured": len(alone),
        "n_left_out": len(result.plants) - len(alone),
        "n_true": truth["n_plants"],
        "n_true_alone": truth["n_alone_and_whole"],
        "n_matched": len(pairs),
        "two_as_one": [want["number"] for got, want in pairs if _holds_another(got, want)],
        "singles": singles,
        "blades": blades,
        "blade_sizes": _blade_sizes(pairs),
        "tray": tray,
        "laid": _against_all_laid(row, truth["plants"]) if row is not None else [],
    }


def _true_means(plants: list[dict]) -> dict[str, float]:
    """Means over some plants of the truth, by the tray's metrics."""
    noded = [one for one in plants if one["has_node"]]
    means = {}
    if noded:
        for metric in ("stem_length_mm", "stem_width_mm"):
            means[metric] = float(np.mean([one[metric] for one in noded]))
        leaf = sum(one["leaf_area_mm2"] for one in noded)
        means[_RATIO] = sum(one["stem_area_mm2"] for one in noded) / leaf
    if plants:
        means["leaf_area_mm2"] = float(np.mean([one["leaf_area_mm2"] for one in plants]))
    return means


def _against_all_laid(row: TrayRow, plants: list[dict]) -> list:
    """Tray values beside the means of all whole plants of the photo.

    Groups that are left out and plants that lack a blade make the measured plants a sample of
    those laid: the doubt then holds the standard error of what is missing, for a finite number
    of plants (Cochran 1977, Sampling Techniques, 3rd ed., section 2.5).
    """
    whole = [one for one in plants if one["whole_in_frame"]]
    found = []
    for metric, true in _true_means(whole).items():
        between = row.spread[metric]
        unseen = max(0.0, 1.0 - between.n_plants / len(whole))
        sampling = between.standard_error * math.sqrt(unseen) if unseen else 0.0
        got = row.metrics[metric]
        if math.isfinite(sampling):
            found.append([metric, got.value, math.hypot(got.u, sampling), true])
    return found


def _matched(plants: list, wanted: list[dict]) -> list[tuple]:
    """Pair measured with true plants by how near the measured place is to the true stem."""
    if not plants or not wanted:
        return []
    cost = np.array(
        [[_distance(got, want["centre_line_card_mm"]) for want in wanted] for got in plants]
    )
    rows, columns = linear_sum_assignment(np.minimum(cost, 1e3))
    return [
        (plants[r], wanted[c])
        for r, c in zip(rows, columns, strict=True)
        if cost[r, c] < _SAME_PLANT_MM
    ]


def _distance(got, line: list) -> float:
    away = np.array(line)[:, :2] - [got.x_mm, got.y_mm]
    return float(np.hypot(*away.T).min())


def _holds_another(got, want: dict) -> bool:
    area = sum(got.metrics[name].value for name in ("stem_area_mm2", "leaf_area_mm2"))
    true = want["stem_area_mm2"] + want["leaf_area_mm2"]
    return bool(math.isfinite(area) and area > _TWO_AS_ONE * true)


def _blade_sizes(pairs: list[tuple]) -> list:
    """Mean blade length and width of plants whose blades lie flat and apart."""
    found = []
    for got, want in pairs:
        blades = want["blades"]
        if not blades or any(b["folded"] or b["overlapped_share"] > 0.02 for b in blades):
            continue
        for metric, key in (("blade_length_mm", "length_mm"), ("board_blade_width_mm", "width_mm")):
            true = float(np.mean([blade[key] for blade in blades]))
            found.append([metric, got.metrics[metric].value, got.metrics[metric].u, true])
    return found


def _overlap(mask: Path, truth: Path) -> dict[str, float]:
    got, want = np.array(Image.open(mask)), np.array(Image.open(truth))
    judged = want != _HULL
    leaf, stem = (judged & (got == k) for k in (_LEAF, _STEM))
    true_leaf, true_stem = want == _LEAF, want == _STEM
    plant, true = leaf | stem, true_leaf | true_stem
    return {
        "plant": dice(plant, true),
        "leaf": dice(leaf, true_leaf),
        "stem": dice(stem, true_stem),
        "stem_recall": float((plant & true_stem).sum() / max(true_stem.sum(), 1)),
        "area_pct": 100 * float(plant.sum() / max(true.sum(), 1) - 1),
    }
