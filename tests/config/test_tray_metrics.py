"""The table of trays: all of it, or only the metrics that are watched."""

import numpy as np
import pytest

from traymorph.config.tray_metrics import read_tray_metrics
from traymorph.errors import ListError

TABLE = """\
tray_id,photographed_on,crop,canopy_height_mm,canopy_height_mm_u,canopy_cover_pct,note,flags
R1,2026-03-10,radish,60.5,1.4,91,"two
lines",edge_plants closed_canopy
 , ,,
R2,2026-03-10,radish,,,92
R3, 2026-03-10 ,radish,61 ,1.3,{cover},'=1+1,
"""


def _table(folder, cover="93", **changes):
    text = TABLE.format(cover=cover)
    for old, new in changes.items():
        text = text.replace(old, new)
    path = folder / "tray_metrics.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_everything_is_read_unless_told_otherwise(tmp_path):
    table = read_tray_metrics(_table(tmp_path))
    assert table.text("tray_id") == ("R1", "R2", "R3")
    assert table.text("photographed_on") == ("2026-03-10",) * 3
    assert table.text("note") == ("two\nlines", "", "=1+1")
    np.testing.assert_array_equal(table.values["canopy_height_mm"], [60.5, np.nan, 61.0])
    np.testing.assert_array_equal(table.doubts["canopy_height_mm"], [1.4, np.nan, 1.3])
    np.testing.assert_array_equal(table.values["canopy_cover_pct"], [91.0, 92.0, 93.0])
    assert table.flags == (frozenset({"edge_plants", "closed_canopy"}), frozenset(), frozenset())


def test_only_the_metrics_wanted_are_read(tmp_path):
    table = read_tray_metrics(_table(tmp_path), {"canopy_height_mm", "leaf_hue_deg"})
    assert set(table.values) == {"canopy_height_mm"}
    assert np.isnan(table.doubts["canopy_height_mm"]).all()
    assert table.text("crop") == ("radish",) * 3, (
        "what trays are told apart by is read all the same"
    )


def test_a_bad_cell_is_named_with_the_line_on_which_its_row_begins(tmp_path):
    path = _table(tmp_path, cover="9o")
    with pytest.raises(ListError, match=r'line 6, canopy_cover_pct = "9o": is not a number'):
        read_tray_metrics(path)
    assert len(read_tray_metrics(path, {"canopy_height_mm"})) == 3


def test_a_tray_without_a_name_and_one_given_twice_are_named(tmp_path):
    with pytest.raises(ListError) as caught:
        read_tray_metrics(_table(tmp_path, R2="R1", R3=""))
    assert 'line 5, tray_id = "R1": stands in line 2 already' in str(caught.value)
    assert 'line 6, tray_id = "": is empty' in str(caught.value)


def test_a_row_with_too_many_cells_is_named(tmp_path):
    with pytest.raises(ListError, match=r'line 6 = "more".*more cells than the header'):
        read_tray_metrics(_table(tmp_path, **{"'=1+1,": "'=1+1,,more"}))


def test_decimal_commas_that_shift_every_row_are_told_once(tmp_path):
    path = tmp_path / "tray_metrics.csv"
    rows = "".join(f"T{k},radish,58,{k % 9}\n" for k in range(12))
    path.write_text(f"tray_id,crop,canopy_height_mm\n{rows}", encoding="utf-8")
    with pytest.raises(ListError) as caught:
        read_tray_metrics(path)
    said = str(caught.value)
    assert said.count("more cells") == 1
    assert "tray_metrics.csv lines 2, 3, 4, 5, 6, 7, 8, 9 and 4 more: the rows have more" in said
    assert "Is a decimal comma in a cell?" in said


def test_a_bad_number_and_bad_days_are_told_in_one_run_with_their_lines(tmp_path):
    path = tmp_path / "tray_metrics.csv"
    path.write_text(
        "tray_id,photographed_on,rim_above_medium_mm,canopy_height_mm,repeat_of\n"
        "T1,2026-03-10,12,tall,\nT2,10/03/2026,12,58,\nT3,10/03/2026,-3,58,T1\n",
        encoding="utf-8",
    )
    with pytest.raises(ListError) as caught:
        read_tray_metrics(path)
    said = str(caught.value)
    assert "hold 4 problems" in said
    assert 'line 2, canopy_height_mm = "tall": is not a number' in said
    assert 'line 3, photographed_on = "10/03/2026": is not written as year-month-day' in said
    assert 'line 4, photographed_on = "10/03/2026": is not written as year-month-day' in said
    assert 'line 4, rim_above_medium_mm = "-3"' in said
