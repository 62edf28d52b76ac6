"""Tables, groups and overlaps checked by cases worked out by hand."""

from __future__ import annotations

import json

import numpy as np
import pytest
from PIL import Image

from tests.accuracy import groups, readings
from tests.accuracy.overlaps import outline_band, overlap
from tests.accuracy.tables import (
    error_table,
    farthest_off,
    group_table,
    overlap_table,
    rank_correlation,
    report,
    serving_table,
)
from traymorph.model.photo import View
from traymorph.model.results import Failure, Measured, TrayResult, TrayRow


def reading(metric: str, value: float, truth: float, scene: str = "s0", u: float = 1.0) -> dict:
    facts = {"scene": scene, "crop": "pea", "light": "lamp_5000"}
    return {**facts, "metric": metric, "value": value, "u": u, "truth": truth}


def overlap_row(view: str, scene: str = "s0", **dice: float) -> dict:
    parts = dict.fromkeys(("plant", "leaf", "stem", "leaf_clear", "stem_clear"), 0.9) | dice
    return {"scene": scene, "crop": "pea", "view": view, "plant_area_pct": 1.0, **parts}


def scene(name: str, group: str, rows: list[dict], overlaps: list[dict] | None = None) -> dict:
    return {
        "scene": name, "crop": "pea", "light": "lamp_5000", "group": group, "flags": [],
        "failures": [], "readings": rows, "overlaps": overlaps or [],
    }  # fmt: skip


def cells(lines: list[str], start: str) -> list[str]:
    line = next(line for line in lines if line.startswith(f"| {start}"))
    return [cell.strip() for cell in line.strip("|").split("|")]


def test_errors_are_points_for_cover_and_per_cent_for_areas() -> None:
    found = error_table({
        "canopy_cover_pct": [reading("canopy_cover_pct", 82, 80), reading("", 77, 80)],
        "projected_leaf_area_cm2": [reading("", 110, 100, u=10), reading("", np.nan, 100)],
    })  # fmt: skip
    cover = cells(found, "`canopy_cover_pct`")
    assert cover[1:] == ["2 of 2", "2.50", "-3.00", "-0.50", "0 of 2", "2.55"]
    area = cells(found, "`projected_leaf_area_cm2`")
    assert area[1:] == ["1 of 2", "10.00 %", "+10.00 %", "+10.00 %", "1 of 1", "1.00"]
    assert found[-1] == "95 % intervals that hold: 33.3 % of 3"


def test_a_column_serves_when_it_is_near_or_ranks() -> None:
    truth = [10.0, 20.0, 30.0, 40.0, 50.0, 0.0]
    off = {
        "near": [value * 1.05 for value in truth],
        "ranks": [value * 1.4 + 2 for value in truth],
        "neither": [50.0, 40.0, 30.0, 20.0, 10.0, 60.0],
    }
    found = serving_table({
        name: [reading(name, v, t) for v, t in zip(values, truth, strict=True)]
        for name, values in off.items()
    })  # fmt: skip
    assert cells(found, "`near`")[2:4] == ["5.0 %", "5.0 %"]
    assert cells(found, "`near`")[-2:] == ["1.000", "near and ranks"]
    assert cells(found, "`ranks`")[-3:] == ["+12.00 (+48.0 %)", "1.000", "ranks"]
    assert cells(found, "`neither`")[-2:] == ["-1.000", "no"]


def test_rank_correlation_gives_ties_their_mean_rank() -> None:
    # ranks 1, 2.5, 2.5, 4 against 1, 2, 3, 4: 4.5 / sqrt(4.5 * 5)
    assert rank_correlation(np.array([1.0, 5, 5, 9]), np.array([1.0, 2, 3, 4])) == pytest.approx(
        4.5 / np.sqrt(22.5)
    )


def test_groups_show_mean_and_worst_of_their_trays_alone() -> None:
    scenes = [
        scene("a", groups.WIDE, [reading("canopy_cover_pct", 90, 91)],
              [overlap_row("side", stem=0.8)]),
        scene("b", groups.WIDE, [reading("canopy_cover_pct", 90, 87)],
              [overlap_row("side", stem=0.6)]),
        scene("c", groups.RED, [reading("canopy_cover_pct", 50, 90)]),
    ]  # fmt: skip
    found = group_table(scenes)
    assert len(found) == 4
    wide = dict(zip(cells(found, "group"), cells(found, groups.WIDE), strict=True))
    assert wide["trays"] == "2"
    assert wide["cover, points"] == "2.0 (+3.0)"
    assert wide["stem from the side"] == "0.700 (worst 0.600)"
    assert wide["plant from above"] == ""
    assert cells(found, groups.RED)[2] == "40.0 (-40.0)"


def test_farthest_off_come_first_and_overlaps_by_the_least() -> None:
    scenes = [
        scene(name, groups.WIDE, [reading("canopy_height_mm", value, 50, name)],
              [overlap_row("overhead", name, plant=dice)])
        for name, value, dice in (("a", 51, 0.7), ("b", np.nan, 0.9), ("c", 40, 0.8))
    ]  # fmt: skip
    found = farthest_off(scenes, 2)
    assert [(row["scene"], off) for row, off in found["canopy_height_mm"]] == [("c", -10), ("a", 1)]
    assert [row["scene"] for row, _ in found["overhead_plant"]] == ["a", "c"]
    assert "canopy_height_mm: c pea -10, a pea +1" in report(scenes)


def test_outline_is_one_pixel_on_either_side(tmp_path) -> None:
    truth = np.zeros((20, 20), np.uint8)
    truth[5:15, 5:15] = 1
    assert outline_band(truth == 1).sum() == 12**2 - 8**2
    mask = np.zeros_like(truth)
    mask[6:15, 5:14] = 1  # off by the outline alone
    mask[9:11, 9:11] = 2
    for name, classes in (("truth", truth), ("mask", mask)):
        Image.fromarray(classes).save(tmp_path / f"{name}.png")
    found = overlap(tmp_path / "mask.png", tmp_path / "truth.png")
    assert found["plant"] == pytest.approx(2 * 81 / (100 + 81))
    assert found["leaf"] == pytest.approx(2 * 77 / (100 + 77))
    assert found["leaf_clear"] == pytest.approx(2 * 60 / (64 + 60))
    assert found["stem"] == 0
    assert cells(overlap_table([{"view": "side", **found}]), "side")[3] == "0.870 (worst 0.870)"


def test_hulls_are_neither_plant_nor_not(tmp_path) -> None:
    truth = np.full((9, 9), 1, np.uint8)
    truth[4, 4] = 7
    Image.fromarray(truth).save(tmp_path / "truth.png")
    Image.fromarray(np.full((9, 9), 1, np.uint8)).save(tmp_path / "mask.png")
    assert overlap(tmp_path / "mask.png", tmp_path / "truth.png")["plant"] == 1


@pytest.mark.parametrize(
    ("crop", "cover", "age", "group"),
    [
        ("radish_green", 90, None, groups.WIDE),
        ("radish_green", 90, 0.5, groups.YOUNG_OR_SPARSE),
        ("radish_green", 59, None, groups.YOUNG_OR_SPARSE),
        ("amaranth_red", 90, None, groups.RED),
        ("radish_purple", 90, None, groups.RED),
        ("orach_bronze_like", 90, None, groups.RED),
        ("pea", 90, None, groups.PEA_LIKE),
        ("fennel_like", 90, None, groups.NARROW),
        ("coriander_like", 90, None, groups.NARROW),
        ("beet_like", 90, None, groups.WIDE),
    ],
)
def test_a_tray_belongs_to_the_first_group_that_fits(crop, cover, age, group) -> None:
    record = {"spec": {"crop": crop, "age": age}, "truth": {"canopy_cover_pct": cover}}
    assert groups.group_of(record) == group
    assert group in groups.GROUPS


RECORD = {
    "id": "s0",
    "spec": {"crop": "pea", "views": {"overhead": {"card": {"plane": "rim"}}}},
    "tray": {"inside_length_mm": 250.0, "inside_width_mm": 250.0, "rim_above_medium_mm": 9.0,
             "rim_above_bench_mm": 46.0, "light": "overcast"},
    "truth": {"canopy_cover_pct": 90.0, "projected_leaf_area_inside_cm2": 500.0,
              "largest_gap_opened_5mm_cm2": 1.0, "visible_blade_width_median_mm": 9.0,
              "level_view": {"bare_stem_mm": 5.0, "leaf_layer_mm": 20.0}},
    "photos": {"overhead": {"photo": "overhead.jpg", "leaf_colour": {
                   "ideal_camera_lab_mean_of_pixels": [50.0, -25.0, 31.0]}},
               "side": {"photo": "side.jpg", "front_plane": {"stem_to_leaf_ratio": 0.2}}},
}  # fmt: skip


def test_readings_are_kept_unless_of_another_form(tmp_path, monkeypatch) -> None:
    folder, out = tmp_path / "s0", tmp_path / "out"
    folder.mkdir()
    out.mkdir()
    (folder / "truth.json").write_text(json.dumps(RECORD), "utf-8")
    measured = []

    def measure(job) -> TrayResult:
        measured.append([photo.entry.view for photo in job.photos])
        metrics = dict.fromkeys(readings.truths(RECORD), Measured(88.0, 2.0))
        row = TrayRow("s0", None, {}, metrics, ("card_nominal",), None, {}, None)
        return TrayResult("s0", (row,), (), (Failure("s0", "side.jpg", "no card", 5),), ())

    monkeypatch.setattr(readings, "measure_tray", measure)
    first = readings.read_scene(folder, out)
    assert first == readings.read_scene(folder, out)
    assert measured == [[View.OVERHEAD, View.SIDE]]
    assert (first["group"], first["failures"]) == (groups.PEA_LIKE, ["no card"])
    cover = next(row for row in first["readings"] if row["metric"] == "canopy_cover_pct")
    assert (cover["value"], cover["u"], cover["truth"]) == (88.0, 2.0, 90.0)
    (out / "s0.json").write_text('{"failures": []}', "utf-8")
    readings.read_scene(folder, out, (View.OVERHEAD,))
    assert measured[1:] == [[View.OVERHEAD]]
