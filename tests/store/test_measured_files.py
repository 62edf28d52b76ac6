"""Result files: their columns, their empty cells, and text that looks like a formula."""

import csv
from dataclasses import replace
from datetime import date
from math import nan

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from traymorph.errors import StoreError
from traymorph.model.metrics import METRICS
from traymorph.model.photo import View
from traymorph.model.results import Measured
from traymorph.store.measured_files import write_photo_checks, write_plants, write_tray_metrics
from traymorph.store.textcells import guarded, unguarded

WEIGHED = ("plant_weight_mg", "leaf_area_per_gram_cm2")
LISTED = ("tray_id", "crop", "treatment", "block", "batch")


def _rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_columns_of_tray_metrics(tmp_path, result):
    path = tmp_path / "results" / "tray_metrics.csv"
    write_tray_metrics(path, result.rows, LISTED)
    header = path.read_text(encoding="utf-8").splitlines()[0].split(",")
    measured = [
        column
        for name, spec in METRICS.items()
        for column in (name, f"{name}_u")
        + ((f"{name}_sd", f"{name}_se") if spec.view is View.BOARD and name not in WEIGHED else ())
    ]
    assert header == [
        "tray_id",
        "photographed_on",
        "crop",
        "treatment",
        "block",
        "batch",
        *measured,
        "n_plants",
        "flags",
        "program_version",
        "mask_method",
    ]
    assert len(set(header)) == len(header)


def test_the_cells_of_tray_metrics(tmp_path, result):
    path = tmp_path / "tray_metrics.csv"
    write_tray_metrics(path, result.rows, LISTED)
    first, second = _rows(path)
    assert first["tray_id"] == "007"
    assert first["photographed_on"] == "2026-11-13"
    assert first["batch"] == "NA"
    assert first["treatment"] == "'=dense"
    assert first["canopy_cover_pct"] == "81.25"
    assert first["canopy_cover_pct_u"] == "0.3"
    assert first["leaf_l"] == first["leaf_l_u"] == ""
    assert first["flags"] == "blurred no_side_photo"
    assert first["mask_method"] == "mixture 1"
    assert all(second[name] == second[f"{name}_u"] == "" for name in METRICS)
    assert second["photographed_on"] == second["flags"] == ""


def test_the_day_of_the_photos_stands_in_the_column_of_the_list(tmp_path, result):
    path = tmp_path / "tray_metrics.csv"
    columns = {"tray_id": "007", "photographed_on": "2026-11-01"}
    dated, undated = (replace(row, columns=columns) for row in result.rows)
    write_tray_metrics(path, [dated, undated], ("photographed_on", "tray_id"))
    assert [row["photographed_on"] for row in _rows(path)] == ["2026-11-13", "2026-11-01"]
    assert path.read_text(encoding="utf-8").startswith("tray_id,photographed_on,canopy_cover_pct,")


def test_the_columns_and_cells_of_photo_checks(tmp_path, result):
    path = tmp_path / "photo_checks.csv"
    check = replace(result.checks[1], photo="=x.jpg", tilt_deg=-0.0, error="No card.\nLay one.")
    write_photo_checks(path, [result.checks[0], check])
    first, second = _rows(path)
    assert list(first) == [
        "photo",
        "tray_id",
        "view",
        "mm_per_px",
        "tilt_deg",
        "card_residual_px",
        "colour_error_de00",
        "sharpness",
        "clipped_pct",
        "flags",
        "error",
        "sha256",
    ]
    assert (first["mm_per_px"], first["tilt_deg"], first["error"]) == ("0.15", "", "")
    assert (second["photo"], second["tilt_deg"]) == ("'=x.jpg", "0")
    assert second["error"] == "No card. Lay one."


def test_board_metrics_have_their_spread_between_plants(tmp_path, board_result):
    write_tray_metrics(tmp_path / "a.csv", board_result.rows, LISTED)
    first, second = _rows(tmp_path / "a.csv")
    assert (first["stem_length_mm"], first["stem_length_mm_u"]) == ("46.25", "0.5")
    # 9 plants with a standard deviation of 3: 3 / sqrt(9) = 1 (JCGM 100:2008, 4.2.3)
    assert (first["stem_length_mm_sd"], first["stem_length_mm_se"]) == ("3", "1")
    assert first["leaf_area_mm2_sd"] == first["leaf_area_mm2_se"] == ""
    assert (first["n_plants"], second["n_plants"]) == ("9", "")
    assert "plant_weight_mg_sd" not in first
    assert "canopy_cover_pct_sd" not in first


def test_the_columns_and_cells_of_plants(tmp_path, board_result):
    write_plants(tmp_path / "plants.csv", board_result.plants)
    first, second = _rows(tmp_path / "plants.csv")
    columns = list(first)
    assert columns[:6] == ["photo", "tray_id", "photographed_on", "plant", "x_mm", "y_mm"]
    assert columns[-1] == "flags"
    wanted = {
        *("stem_length_mm", "stem_width_mm", "stem_area_mm2", "leaf_area_mm2"),
        *("blade_count", "blade_length_mm", "board_blade_width_mm"),
        *("board_leaf_l", "board_leaf_hue_deg", "board_greenness_index"),
    }
    assert wanted | {f"{name}_u" for name in wanted} <= set(columns)
    assert not set(WEIGHED) & set(columns)
    assert (first["photo"], first["tray_id"]) == ("'=board.jpg", "007")
    assert (first["photographed_on"], second["photographed_on"]) == ("2026-11-13", "")
    assert (first["plant"], first["x_mm"], first["y_mm"]) == ("1", "-31.5", "120.25")
    assert (first["stem_length_mm"], first["stem_length_mm_u"]) == ("46.25", "0.6")
    assert first["leaf_area_mm2"] == second["stem_length_mm"] == ""
    assert first["flags"] == "blade_folded stem_unclear"


def test_a_plant_metric_that_is_not_declared_is_not_lost_in_silence(tmp_path, board_result):
    plant = replace(board_result.plants[0], metrics={"canopy_cover_pct": Measured(1.0, 1.0)})
    with pytest.raises(ValueError, match="canopy_cover_pct"):
        write_plants(tmp_path / "plants.csv", [plant])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("value", "expected"),
    [(nan, ""), (0.0, "0"), (1234.5678, "1234.57"), (-91.23456, "-91.2346"), (1e-7, "1e-07")],
)
def test_numbers_have_six_significant_digits(tmp_path, result, value, expected):
    path = tmp_path / "tray_metrics.csv"
    row = replace(result.rows[0], metrics={"leaf_a": Measured(value, 1.0)})
    write_tray_metrics(path, [row], LISTED)
    assert _rows(path)[0]["leaf_a"] == expected


def test_a_metric_that_is_not_declared_is_not_lost_in_silence(tmp_path, result):
    row = replace(result.rows[0], metrics={"leaf_shine": Measured(1.0, 1.0)})
    with pytest.raises(ValueError, match="leaf_shine"):
        write_tray_metrics(tmp_path / "tray_metrics.csv", [row], LISTED)
    assert list(tmp_path.iterdir()) == []


def test_no_rows_leave_the_header(tmp_path):
    write_tray_metrics(tmp_path / "a.csv", [], LISTED)
    assert pd.read_csv(tmp_path / "a.csv").empty


def test_a_failure_half_way_leaves_the_old_file(tmp_path, result):
    path = tmp_path / "photo_checks.csv"
    write_photo_checks(path, result.checks)
    before = path.read_bytes()

    def checks():
        yield result.checks[0]
        raise OSError(28, "No space left on device")

    with pytest.raises(StoreError, match="No space left"):
        write_photo_checks(path, checks())
    assert path.read_bytes() == before
    assert sorted(tmp_path.iterdir()) == [tmp_path / "data_dictionary.csv", path]


def test_a_place_that_cannot_be_written_is_told(tmp_path, result):
    (tmp_path / "results").write_text("a file where a folder should be")
    with pytest.raises(StoreError, match="cannot be written"):
        write_photo_checks(tmp_path / "results" / "photo_checks.csv", result.checks)


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("@dense", "'@dense"),
        ("-", "'-"),
        ("+4 C", "'+4 C"),
        ("'=1", "''=1"),
        ("-5", "-5"),
        ("+2.5e3", "+2.5e3"),
        ("'tis", "'tis"),
        ("007", "007"),
        ("", ""),
    ],
)
def test_text_that_looks_like_a_formula_is_guarded(text, cell):
    assert guarded(text) == cell
    assert unguarded(cell) == text


@settings(max_examples=60)
@given(st.text("'=+-@\t\r1.eEx ", max_size=8) | st.text(max_size=20))
def test_every_text_comes_back_and_none_is_a_formula(text):
    cell = guarded(text)
    assert unguarded(cell) == text
    # OWASP's list of signs that start a formula in a spreadsheet ("CSV Injection").
    if cell[:1] in {"=", "+", "-", "@", "\t", "\r"}:
        float(cell)


def test_trays_of_several_days_are_rows_of_their_own(tmp_path, result):
    days = [date(2026, 11, day) for day in (12, 13)]
    rows = [replace(result.rows[0], photographed_on=day) for day in days]
    write_tray_metrics(tmp_path / "a.csv", rows, LISTED)
    assert [row["photographed_on"] for row in _rows(tmp_path / "a.csv")] == [
        "2026-11-12",
        "2026-11-13",
    ]
