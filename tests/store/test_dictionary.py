"""The data dictionary: every column of every table, from the list that the tables are made from."""

import pytest

from tests.store.described import check_tables, header_of, read
from traymorph.errors import StoreError
from traymorph.flags import FLAGS
from traymorph.model.metrics import METRICS
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
        assert (entry["meaning"], entry["unit"]) == (spec.definition, spec.unit)
        assert (entry["type"], entry["source"]) == ("number", spec.source)
        assert (float(entry["minimum"]), float(entry["maximum"])) == (spec.low, spec.high)
        assert entries[f"{name}_u"]["unit"] == spec.unit
    assert entries["flags"]["allowed"].split(" | ") == list(FLAGS)


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
