"""`traymorph measure` on a small trial, from photos to files."""

import csv
import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.cli.running import TRIAL, table, traymorph
from traymorph.model.metrics import METRICS

pytestmark = pytest.mark.slow

LIST_COLUMNS = (TRIAL / "trays.csv").read_text(encoding="utf-8").splitlines()[0].split(",")
CHECK_COLUMNS = [
    *("photo", "tray_id", "view", "mm_per_px", "tilt_deg", "card_residual_px"),
    *("colour_error_de00", "sharpness", "clipped_pct", "flags", "error"),
]
# Limits within which a grower could use the numbers; docs/accuracy.md has the real figures.
COVER_POINTS, HEIGHT_MM, AREA_SHARE = 5.0, 8.0, 0.08


def header(path: Path) -> list[str]:
    with path.open(encoding="utf-8", newline="") as file:
        return next(csv.reader(file))


def forbid_measuring(monkeypatch):
    def measure(job):
        pytest.fail(f"{job.sample.tray_id} was measured again")

    monkeypatch.setattr("traymorph.pipeline.run.measure_tray", measure)


def test_a_trial_is_measured_and_nothing_fails(first_run):
    folder, outcome = first_run
    assert outcome.code == 0, outcome.stderr
    assert sorted(path.name for path in (folder / "results").iterdir()) == [
        "data_dictionary.csv",
        "masks",
        "overlays",
        "photo_checks.csv",
        "plants.csv",
        "tray_metrics.csv",
    ]
    assert (folder / "traymorph.sqlite").is_file()
    assert not list(folder.rglob("*.part"))


def test_table_goes_to_stdout_and_everything_else_to_stderr(first_run):
    _, outcome = first_run
    lines = outcome.stdout.splitlines()
    assert lines[0].split()[:3] == ["tray", "treatment", "block"]
    assert [line.split()[0] for line in lines[2:4]] == ["T01", "T02"]
    assert "±" in lines[2]
    assert lines[4].startswith("± is one standard uncertainty")
    assert "trays done" not in outcome.stdout
    assert "2 of 2 trays done" in outcome.stderr
    assert "edge_plants" in outcome.stderr


def test_the_next_steps_are_named_where_trays_have_treatments(first_run):
    folder, outcome = first_run
    wanted = f"Next: traymorph compare {folder}, traymorph report {folder}"
    assert outcome.stderr.splitlines()[-1] == wanted


def test_a_narrow_terminal_gets_values_below_each_other(measured, monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    outcome = traymorph("measure", measured)
    lines = outcome.stdout.splitlines()
    assert "T01" in lines
    assert all(len(line) <= 80 for line in lines)
    assert any(line.split()[:2] == ["cover", "%"] for line in lines)


def test_tray_metrics_has_the_columns_of_list_and_metrics(first_run):
    columns = header(first_run[0] / "results" / "tray_metrics.csv")
    pairs = [column for name in METRICS for column in (name, f"{name}_u")]
    between_plants = [name for name in columns if name.endswith(("_sd", "_se"))]
    assert {"stem_length_mm_sd", "stem_length_mm_se"} <= set(between_plants)
    wanted = [*LIST_COLUMNS, *pairs, "n_plants", "flags"]
    assert [name for name in columns if name not in between_plants][: len(wanted)] == wanted
    assert len(set(columns)) == len(columns)


def test_photo_checks_has_one_row_per_photo(first_run):
    path = first_run[0] / "results" / "photo_checks.csv"
    assert header(path)[: len(CHECK_COLUMNS)] == CHECK_COLUMNS
    rows = table(path)
    assert {(row["tray_id"], row["view"]) for row in rows} == {
        (tray, view) for tray in ("T01", "T02") for view in ("overhead", "side")
    }
    for row in rows:
        assert row["error"] == ""
        assert 0.3 < float(row["mm_per_px"]) < 0.8
        assert float(row["card_residual_px"]) < 0.5


def test_an_empty_cell_has_a_flag_and_a_value_has_its_doubt(first_run):
    for row in table(first_run[0] / "results" / "tray_metrics.csv"):
        empty = [name for name in METRICS if not row[name]]
        assert not empty or row["flags"]
        for name in METRICS:
            assert bool(row[name]) == bool(row[f"{name}_u"]), name
            if row[name]:
                assert float(row[f"{name}_u"]) > 0
                assert METRICS[name].low <= float(row[name]) <= METRICS[name].high


def test_values_are_near_the_truth_of_the_scene(first_run, truth):
    for row in table(first_run[0] / "results" / "tray_metrics.csv"):
        true = truth[row["tray_id"]]
        assert float(row["canopy_cover_pct"]) == pytest.approx(
            true["canopy_cover_pct"], abs=COVER_POINTS
        )
        assert float(row["canopy_height_mm"]) == pytest.approx(
            true["canopy_height_mm"], abs=HEIGHT_MM
        )
        assert float(row["projected_leaf_area_cm2"]) == pytest.approx(
            true["projected_leaf_area_inside_cm2"], rel=AREA_SHARE
        )


def test_days_come_from_the_photos(first_run):
    rows = table(first_run[0] / "results" / "tray_metrics.csv")
    assert [row["photographed_on"] for row in rows] == ["2026-03-10", "2026-03-10"]


def test_overlays_are_pictures_of_every_photo(first_run):
    overlays = first_run[0] / "results" / "overlays"
    names = {f"{tray}_{view}.jpg" for tray in ("T01", "T02") for view in ("overhead", "side")}
    assert {path.name for path in overlays.iterdir()} == names
    for path in overlays.iterdir():
        with Image.open(path) as picture:
            picture.load()
            assert picture.format == "JPEG"
            assert min(picture.size) > 300
            assert np.asarray(picture).std() > 10, "nothing is drawn"


def test_masks_lie_on_the_upright_grid_and_hold_classes_only(first_run, truth):
    masks = first_run[0] / "results" / "masks"
    assert len(list(masks.iterdir())) == 4
    # T02's photos are stored turned by a quarter, 1096 x 1460.
    for path in masks.iterdir():
        with Image.open(path) as picture:
            assert picture.format == "PNG"
            assert picture.mode == "L"
            assert picture.size == (1460, 1096), path.stem
            classes = np.asarray(picture)
        assert set(np.unique(classes)) == {0, 1, 2, 3}
    with Image.open(masks / "T01_overhead.png") as picture:
        classes = np.asarray(picture)
    x, y = np.mean(truth["T01"]["overhead_card_px"], axis=0).round().astype(int)
    assert classes[y, x] == 3


def test_second_run_measures_nothing_and_writes_equal_tables(measured, monkeypatch):
    tables = {path: path.read_bytes() for path in (measured / "results").glob("*.csv")}
    forbid_measuring(monkeypatch)
    outcome = traymorph("measure", measured, "--masks")
    assert outcome.code == 0, outcome.stderr
    assert "2 trays are as when measured before" in outcome.stderr
    assert {path: path.read_bytes() for path in tables} == tables


def test_deleted_tables_come_back_without_measuring(measured, monkeypatch):
    table_path = measured / "results" / "tray_metrics.csv"
    before = table_path.read_bytes()
    table_path.unlink()
    forbid_measuring(monkeypatch)
    assert traymorph("measure", measured).code == 0
    assert table_path.read_bytes() == before


def test_deleted_results_come_back_whole(measured):
    before = {
        path.relative_to(measured): path.read_bytes()
        for path in (measured / "results").rglob("*")
        if path.is_file()
    }
    shutil.rmtree(measured / "results")
    outcome = traymorph("measure", measured, "--masks", "--workers", 2)
    assert outcome.code == 0, outcome.stderr
    after = {path: (measured / path).read_bytes() for path in before}
    # Measured anew by two processes: equal to the serial run to the last byte.
    assert after == before


def test_a_corrected_treatment_shows_without_measuring(measured, monkeypatch):
    trays = measured / "trays.csv"
    trays.write_text(trays.read_text().replace("15 g", "18 g"))
    forbid_measuring(monkeypatch)
    outcome = traymorph("measure", measured)
    assert outcome.code == 0
    assert "18 g" in outcome.stdout
    assert table(measured / "results" / "tray_metrics.csv")[0]["treatment"] == "18 g"


def test_a_changed_size_is_measured_anew(measured, monkeypatch):
    asked = []

    def measure(job):
        asked.append(job.sample.tray_id)
        raise KeyboardInterrupt

    monkeypatch.setattr("traymorph.pipeline.run.measure_tray", measure)
    trays = measured / "trays.csv"
    trays.write_text(trays.read_text().replace(",10.5,", ",12.5,"))
    assert traymorph("measure", measured, "--workers", 1).code == 130
    assert asked == ["T02"]


def test_json_holds_what_the_tables_hold_and_no_nan(measured):
    outcome = traymorph("measure", measured, "--json")

    def refuse(constant):
        pytest.fail(f"{constant} is not JSON")

    content = json.loads(outcome.stdout, parse_constant=refuse)
    rows = table(measured / "results" / "tray_metrics.csv")
    assert [tray["tray_id"] for tray in content["trays"]] == [row["tray_id"] for row in rows]
    for tray, row in zip(content["trays"], rows, strict=True):
        assert tray["flags"] == row["flags"].split()
        for name in METRICS:
            if row[name]:
                assert tray[name] == pytest.approx(float(row[name]), rel=1e-5)
            else:
                assert tray[name] is None
    assert len(content["photos"]) == 4
    assert content["failures"] == []


def test_results_and_ledger_go_where_asked(measured, tmp_path, monkeypatch):
    shutil.rmtree(measured / "results")
    kept = tmp_path / "kept" / "ledger.sqlite"
    kept.parent.mkdir()
    (measured / "traymorph.sqlite").unlink()

    def interrupted(_job):
        raise KeyboardInterrupt

    monkeypatch.setattr("traymorph.pipeline.run.measure_tray", interrupted)
    monkeypatch.setenv("TRAYMORPH_LEDGER", str(kept))
    traymorph("measure", measured, "--out", tmp_path / "elsewhere", "--workers", 1)
    assert kept.is_file()
    assert not (measured / "traymorph.sqlite").exists()
    assert not (measured / "results").exists()


def test_a_missing_file_of_sizes_is_named(first_run, fresh):
    (fresh / "trial.toml").unlink()
    for photo in fresh.glob("photos/T02/*"):
        photo.unlink()
    outcome = traymorph("measure", fresh, "--workers", 1)
    said = [line for line in outcome.stderr.splitlines() if str(fresh / "trial.toml") in line]
    assert len(said) == 1
    assert said[0].startswith("There is no ")
    assert "There is no " not in first_run[1].stderr


def test_installed_command_measures_a_loose_photo(tmp_path):
    command = Path(sys.executable).with_name("traymorph")
    photo = TRIAL / "photos" / "T01" / "T01_overhead.jpg"
    outcome = subprocess.run(  # noqa: S603 - our own command
        [command, "measure", photo, "--tray", "500x250", "--json"],
        cwd=tmp_path,
        capture_output=True,
        check=False,
        text=True,
    )
    assert outcome.returncode == 0, outcome.stderr
    (tray,) = json.loads(outcome.stdout)["trays"]
    assert tray["tray_id"] == "T01_overhead"
    assert {"height_assumed", "rim_height_missing"} <= set(tray["flags"])
    assert "no_side_photo" not in tray["flags"], "a loose photo is a sample of its own"
    assert tray["canopy_height_mm"] is None
    assert list(tmp_path.iterdir()) == [], "loose photos leave nothing behind without --out"


def test_loose_photos_with_out_give_tables_and_overlays(tmp_path):
    photos = [TRIAL / "photos" / tray / f"{tray}_side.jpg" for tray in ("T01", "T02")]
    out = tmp_path / "out"
    outcome = traymorph("measure", *photos, photos[0], "--out", out, "--workers", 1)
    assert outcome.code == 0, outcome.stderr
    names = {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()}
    assert names == {
        *("tray_metrics.csv", "plants.csv", "photo_checks.csv", "data_dictionary.csv"),
        *("overlays/T01_side.jpg", "overlays/T02_side.jpg"),
    }
    rows = table(out / "tray_metrics.csv")
    assert [row["tray_id"] for row in rows] == ["T01_side", "T02_side"]
    assert outcome.stdout.splitlines()[-1] == "No value could be measured; the flags say why."
    for row in rows:
        assert "tray_size_missing" in row["flags"].split()
        assert "no_overhead_photo" not in row["flags"], "a loose photo is a sample of its own"
        assert row["canopy_height_mm"] == "", "no tray size: nothing can be measured"
