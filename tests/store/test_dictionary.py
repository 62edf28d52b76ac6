"""The data dictionary: every column of every table, from the list that the tables are made from."""

from dataclasses import replace

import pytest

from tests.store.described import check_tables, header_of, read
from traymorph.errors import StoreError
from traymorph.flags import FLAGS
from traymorph.model.metrics import METRICS, PER_PLANT
from traymorph.store.columns import text
from traymorph.store.dictionary import DICTIONARY_FILE, write_described
from traymorph.store.measured_files import write_photo_checks, write_plants, write_tray_metrics
from traymorph.store.outcome_files import write_findings

LISTED = ("tray_id", "crop", "treatment", "block", "batch", "=lamp", "sown_on")


def _entries(folder, table):
    held = read(folder / DICTIONARY_FILE)
    return {entry["column"]: entry for entry in held if entry["file"] == table}


def test_what_measure_writes_is_described_to_the_last_cell(tmp_path, board_result):
    write_tray_metrics(tmp_path / "tray_metrics.csv", board_result.rows, LISTED)
    write_plants(tmp_path / "plants.csv", board_result.plants)
    write_photo_checks(tmp_path / "photo_checks.csv", board_result.checks)
    measured = {"tray_metrics.csv", "plants.csv", "photo_checks.csv"}
    assert check_tables(tmp_path) == {*measured, DICTIONARY_FILE}
    for table in measured:
        assert list(_entries(tmp_path, table)) == header_of(tmp_path / table)


def test_a_metric_is_described_as_the_list_of_metrics_does(tmp_path, result):
    write_tray_metrics(tmp_path / "tray_metrics.csv", result.rows, LISTED)
    entries = _entries(tmp_path, "tray_metrics.csv")
    for name, spec in METRICS.items():
        entry = entries[name]
        assert entry["meaning"].startswith(spec.definition)
        assert ("mean over plants" in entry["meaning"]) == (name in PER_PLANT)
        assert entry["unit"] == spec.unit
        assert (entry["type"], entry["source"]) == ("number", spec.source)
        assert (float(entry["minimum"]), float(entry["maximum"])) == (spec.low, spec.high)
        assert entries[f"{name}_u"]["unit"] == spec.unit
    assert entries["flags"]["allowed"].split(" | ") == list(FLAGS)


def test_meanings_say_whose_leaf_and_how_many_plants(tmp_path, result):
    write_tray_metrics(tmp_path / "tray_metrics.csv", result.rows, LISTED)
    trays, plants = (_entries(tmp_path, f"{one}.csv") for one in ("tray_metrics", "plants"))
    for name, spec in METRICS.items():
        whose = {"board_leaf_l": "of cut plants", "pack_leaf_l": "in the pack"}.get(name, "")
        assert whose in spec.definition
        assert "{" not in spec.definition
    assert trays["leaf_l"]["meaning"].startswith("Lightness L* of the well-lit leaf. ")
    assert trays["board_leaf_l"]["meaning"].startswith(
        "Lightness L* of the well-lit leaf of cut plants."
    )
    assert trays["pack_yellowed_pct"]["meaning"].startswith(
        "Share of the visible leaf in the pack that is yellowed"
    )
    assert not any("Sum of the plants'" in entry["meaning"] for entry in plants.values())
    assert "canopy_height_mm" in trays["canopy_height_p95_mm"]["meaning"]
    assert _entries(tmp_path, "photo_checks.csv")["mm_per_px"]["unit"] == "mm/px"


def test_days_of_a_list_are_days_in_the_table_whatever_else_the_list_says(tmp_path, result):
    columns = {"sown_on": "2026-11-03T07:30", "harvested_on": "20261113"}
    rows = [replace(row, columns=columns) for row in result.rows]
    write_tray_metrics(tmp_path / "tray_metrics.csv", rows, ("tray_id", "sown_on", "harvested_on"))
    (row, *_) = read(tmp_path / "tray_metrics.csv")
    assert (row["sown_on"], row["harvested_on"]) == ("2026-11-03", "2026-11-13")
    for name in columns:
        assert _entries(tmp_path, "tray_metrics.csv")[name]["type"] == "date"
    check_tables(tmp_path)


def test_a_column_of_one_s_own_is_described_as_such(tmp_path, result):
    write_tray_metrics(tmp_path / "tray_metrics.csv", result.rows, LISTED)
    write_plants(tmp_path / "plants.csv", [])  # a later table does not forget it
    entry = _entries(tmp_path, "tray_metrics.csv")["'=lamp"]
    assert entry["meaning"].startswith("Column of your own")
    assert entry["type"] == "string"


def test_a_table_made_by_hand_is_described_as_far_as_it_is_known(tmp_path, result):
    (tmp_path / "tray_metrics.csv").write_text("tray_id,lamp\nT1,old\n", encoding="utf-8")
    write_photo_checks(tmp_path / "photo_checks.csv", result.checks)
    assert "lamp" in _entries(tmp_path, "tray_metrics.csv")
    (tmp_path / "tray_metrics.csv").write_bytes(b"\xff\xfe\x00")
    write_photo_checks(tmp_path / "photo_checks.csv", result.checks)
    assert "canopy_cover_pct" in _entries(tmp_path, "tray_metrics.csv")


def test_rows_that_do_not_fit_their_columns_are_a_bug_and_write_nothing(tmp_path):
    with pytest.raises(ValueError, match="1 cells for 2 columns"):
        write_described(tmp_path / "a.csv", (text("a", "A."), text("b", "B.")), [["1"]])
    assert list(tmp_path.iterdir()) == []


def test_an_outcome_table_of_other_columns_is_a_bug(tmp_path, result):
    with pytest.raises(ValueError, match=r"outcomes_keeping.csv has no such columns"):
        write_findings(tmp_path / "outcomes_keeping.csv", result.checks)
    assert list(tmp_path.iterdir()) == []


def test_a_dictionary_that_cannot_be_written_is_told(tmp_path, result):
    (tmp_path / DICTIONARY_FILE).mkdir()
    with pytest.raises(StoreError, match=r"data_dictionary.csv cannot be written"):
        write_photo_checks(tmp_path / "photo_checks.csv", result.checks)
