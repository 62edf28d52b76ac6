"""Checks of the colour tables against worked values; no rendered tray is needed."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from tests.accuracy import colour, colour_readings
from tests.accuracy.colour_readings import (
    COLUMNS,
    LAB,
    UNFIT,
    WAYS,
    columns_of,
    de00,
    ideal_columns,
)

NAN = math.nan
GREEN = columns_of([50.0, -25.0, 31.0], np.array([0.30, 0.50, 0.20]))


def row(photo: str, light: str = "lamp_5000", **changed: float) -> dict:
    """A photo whose reading is the truth but for what is changed."""
    read = {name: [GREEN[name] + changed.get(name, 0.0), 1.0] for name in COLUMNS}
    return {
        "tray": "t0", "crop": "pea", "photo": photo, "light": light, "error": "", "flags": [],
        "colour_error_de00": 1.0, "ideal": dict(GREEN),
        "readings": dict.fromkeys(WAYS, read),
        "yellowed": {"value": 3.0, "u": 1.0, "of_true_leaf": 2.0, "truth": 2.5},
    }  # fmt: skip


def refused(photo: str, light: str) -> dict:
    made = row(photo, light)
    made["flags"] = [UNFIT]
    made["readings"] = {way: {name: [NAN, NAN] for name in COLUMNS} for way in WAYS}
    made["yellowed"]["value"] = NAN
    return made


def cells(table: str, start: str) -> list[str]:
    line = next(line for line in table.splitlines() if line.startswith(f"| {start}"))
    return [cell.strip() for cell in line.strip("|").split("|")]


def test_difference_of_colours_is_ciede2000() -> None:
    # Pairs 1 and 25 of Sharma, Wu & Dalal 2005, Color Research & Application 30(1), table 1.
    assert de00([50, 2.6772, -79.7751], [50, 0, -82.7485]) == pytest.approx(2.0425, abs=1e-4)
    assert de00([60.2574, -34.0099, 36.2677], [60.4626, -34.1751, 39.4387]) == pytest.approx(
        1.2644, abs=1e-4
    )
    assert math.isnan(de00([50, 0, NAN], [50, 0, 0]))


def test_columns_of_a_mean_colour() -> None:
    # By hand: hue 60 + 60 (1 - 0.1 / 0.3) = 100 degrees, saturation 0.6, brightness 0.5.
    assert GREEN["green_share"] == pytest.approx(0.5)
    assert GREEN["excess_green"] == pytest.approx(0.5)
    assert GREEN["greenness_index"] == pytest.approx((40 / 60 + 0.4 + 0.5) / 3)
    assert GREEN["leaf_hue_deg"] == pytest.approx(128.88, abs=0.01)
    purple = columns_of([30, 20, -10], np.array([0.35, 0.25, 0.40]))
    assert math.isnan(purple["greenness_index"])


def test_ideal_camera_encodes_light_by_the_srgb_curve() -> None:
    # IEC 61966-2-1: a linear value of 0.214041 is encoded as 0.5; more than white is cut off.
    light = np.array([[0.214041, 0.214041, 0.214041], [1.7, 1.7, 1.7]])
    assert ideal_columns([0, 0, 0], light)["green_share"] == pytest.approx(1 / 3)
    light = np.array([[0.0, 0.214041, 0.0], [1.7, 0.214041, 0.0]])
    assert ideal_columns([0, 0, 0], light)["green_share"] == pytest.approx(0.5, abs=1e-5)


def test_spread_between_lights_is_that_of_the_five_even_ones() -> None:
    shifts = dict(zip(colour.WHITE_LIGHTS, (-2.0, -1.0, 0.0, 1.0, 2.0), strict=True))
    rows = [row(name, leaf_l=shift) for name, shift in shifts.items()]
    rows += [row("shadow", leaf_l=-30.0), row("5000_plus1", leaf_l=30.0)]
    table = colour.spread_table(rows, "program")
    found = cells(table, "t0")
    assert found[2] == "5"
    assert found[5] == f"{math.sqrt(2.5):.2f} (0.00; {math.sqrt(2.5):.2f})"
    assert found[4].startswith("0.0000")
    assert cells(table, "largest")[5] == found[5]


def test_a_light_that_was_refused_leaves_the_spread_to_the_others() -> None:
    rows = [row("overcast", leaf_a=1.0), row("5000", leaf_a=-1.0), refused("3000", "lamp_3000")]
    found = cells(colour.spread_table(rows, "true leaf"), "t0")
    assert found[2] == "2"
    assert found[6].startswith(f"{math.sqrt(2):.2f} ")


def test_distance_to_the_ideal_camera() -> None:
    rows = [row("5000", leaf_l=1.0), row("6500", leaf_l=2.0), refused("strips", "strips")]
    # CIEDE2000 divides a difference of lightness by 1 at L* 50 and little more near it.
    found = cells(colour.distance_table(rows), "five lights")
    assert found[1] == "2 of 3"
    assert [float(v) for v in found[2].split(",")] == pytest.approx([1.49, 1.94, 1.98], abs=0.02)


def test_exposure_and_phones_compare_developments_with_each_other() -> None:
    rows = [row("5000", leaf_l=5.0), row("5000_plus1", leaf_l=5.0), row("5000_minus1", leaf_l=4.0)]
    found = cells(colour.change_table("", rows, colour.EXPOSURE_PAIRS), "t0")
    assert found[4] == "0.00"
    assert float(found[1]) == pytest.approx(0.94, abs=0.03)
    assert set(cells(colour.change_table("", rows, colour.PHONE_PAIRS), "t0")[1:]) == {""}


def test_refusals_are_counted_and_wrong_ones_named() -> None:
    rows = [refused("grow", "grow"), row("grow", "grow"), row("5000"), refused("6500", "lamp_6500")]
    broken = row("strips", "strips") | {"error": "strips.jpg: no card."}
    text = colour.refusal_lines([*rows, broken])
    assert "Colour refused under grow light: 1 of 2 photos" in text
    assert "Colour refused under white light: 1 of 2 photos" in text
    assert "- wrongly kept: t0 grow (pea, grow)" in text
    assert "- wrongly refused: t0 6500 (pea, lamp_6500)" in text
    assert "t0 strips (pea, strips): strips.jpg: no card." in text


def test_doubt_counts_white_photos_and_turns_hue_the_short_way() -> None:
    rows = [row("5000", leaf_l=1.5), row("6500", leaf_l=-2.5), row("grow", "grow", leaf_l=90.0)]
    rows[0]["ideal"] = dict(GREEN) | {"leaf_hue_deg": GREEN["leaf_hue_deg"] - 359.5}
    table = colour.doubt_table(rows)
    assert cells(table, "`leaf_l`")[1:] == ["2", "2.00", "-0.50", "-2.50", "50 %", "2.06"]
    assert cells(table, "`leaf_hue_deg`")[4] == "-0.50"
    assert cells(table, "`all colour columns`")[1] == "16"


def test_yellowed_share_keeps_the_leaf_and_the_colour_apart() -> None:
    rows = [row("5000"), row("6500"), refused("grow", "grow")]
    assert cells(colour.yellowed_table(rows), "t0")[2:] == ["2.5", "3.0", "0.50", "+0.50", "0.50"]


def test_the_whole_report_names_the_photo_that_is_farthest_off() -> None:
    rows = [row(name, leaf_b=shift) for name, shift in (("5000", 0.5), ("shadow", 9.0))]
    text = colour.report(rows)
    assert "- t0 shadow (pea, lamp_5000)" in text
    assert "L* +0.0, a* +0.0, b* +9.0" in text


def test_readings_are_kept_and_found_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tray = tmp_path / "t0"
    tray.mkdir()
    (tray / "truth.json").write_text(json.dumps({"id": "t0", "photos": {"a": {}, "b": {}}}))
    seen = []

    def read(folder: Path, _record: dict, photo: str) -> dict:
        seen.append((folder, photo))
        return {"photo": photo}

    monkeypatch.setattr(colour_readings, "read_photo", read)
    first = colour_readings.read_tray(tray, tmp_path)
    assert first == colour_readings.read_tray(tray, tmp_path) == [{"photo": "a"}, {"photo": "b"}]
    assert seen == [(tray, "a"), (tray, "b")]


def test_a_photo_that_cannot_be_measured_is_said_with_its_reason(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    np.savez(tmp_path / "overhead_5000.leaf_pixels.npz", light=rng.random((9, 3)),
             yellowed=np.arange(9) < 3)  # fmt: skip
    (tmp_path / "overhead_5000.jpg").write_bytes(b"no picture")
    view = {"light": {"kind": "lamp_5000"}, "card": {"plane": "bench"}}
    record = {
        "id": "t0",
        "tray": {"inside_length_mm": 250.0, "inside_width_mm": 250.0, "rim_above_medium_mm": 9.0,
                 "rim_above_bench_mm": 46.0},
        "spec": {"crop": "pea", "views": {"overhead_5000": view}},
        "photos": {"overhead_5000": {"photo": "overhead_5000.jpg", "leaf_colour": {
            "ideal_camera_lab_mean_of_pixels": [50.0, -25.0, 31.0]}}},
    }  # fmt: skip
    found = colour_readings.read_photo(tmp_path, record, "overhead_5000")
    assert "overhead_5000.jpg" in found["error"]
    assert found["yellowed"]["truth"] == pytest.approx(100 / 3)
    assert [found["ideal"][name] for name in LAB] == [50.0, -25.0, 31.0]
