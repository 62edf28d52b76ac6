"""Names stay text in the browser, in tables and in the names of files."""

import csv
import os
import subprocess
import sys

import pytest

from tests.browser.trials import NAMES, SETTINGS, pea_trays, write_full, write_strange
from tests.report.page_trials import write_trial
from traymorph.pipeline.report import report_folder

_SIGNS = ("=", "+", "-", "@", "\t", "\r")


@pytest.mark.parametrize("name", NAMES)
def test_a_tray_is_called_what_it_is_called(opened, name):
    headings = opened["strange"].page.locator(".tray h3").all_text_contents()
    assert name.strip() in [one.strip() for one in headings]


def test_nothing_of_a_name_becomes_part_of_the_page(opened):
    seen = opened["strange"]
    counts = seen.page.evaluate(
        """["script", "b", "img", "iframe", "object"].map(
            one => document.querySelectorAll(one).length)"""
    )
    assert counts == [0] * 5
    assert seen.complaints == []
    assert seen.page.title() == "=<b>🌱"


def test_right_to_left_names_do_not_turn_the_line(opened):
    """Number and unit after a name stay left to right; the name by itself runs from the right."""
    turned = opened["strange"].page.evaluate(
        """[...document.querySelectorAll("bdi")].filter(one => /^[\\u0590-\\u06ff ]+$/.test(
            one.textContent) && getComputedStyle(one.parentElement).direction !== "ltr").length"""
    )
    assert turned == 0


def test_tables_hold_no_formula(folders):
    """A cell that a spreadsheet would run begins with an apostrophe; plain numbers stay."""
    tables = [one for one in (folders["strange"] / "results").glob("*.csv")
              if one.name != "tray_metrics.csv"]  # fmt: skip
    assert "comparison.csv" in {one.name for one in tables}
    held = set()
    for place in tables:
        with place.open(encoding="utf-8", newline="") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        held |= set(cells)
        for cell in cells:
            assert not cell.startswith(_SIGNS) or _is_number(cell), (place.name, cell)
    assert NAMES[0] in held


def _is_number(cell):
    try:
        float(cell)
    except ValueError:
        return False
    return True


@pytest.mark.parametrize("name", ["=1+1", "@SUM(A1)", "-2+3", "+x"])
def test_a_treatment_that_looks_like_a_formula_is_guarded(tmp_path, name):
    rows = [row | {"treatment": row["treatment"].replace("4 days dark", name)}
            for row in pea_trays()]  # fmt: skip
    folder = write_trial(tmp_path, rows, settings=SETTINGS)
    report_folder(folder)
    with (folder / "results" / "comparison.csv").open(encoding="utf-8", newline="") as file:
        treatments = {row[key] for row in csv.DictReader(file) for key in ("treatment", "control")}
    assert f"'{name}" in treatments
    assert name not in treatments


def test_no_file_is_written_elsewhere(tmp_path):
    folder = write_strange(tmp_path / "a" / "b" / "trial")
    before = {one for one in tmp_path.rglob("*") if folder / "results" not in one.parents}
    report_folder(folder)
    after = {one for one in tmp_path.rglob("*") if folder / "results" not in one.parents}
    assert after == before
    written = {one.name for one in (folder / "results").rglob("*")}
    assert "report.html" in written
    assert all(name.isascii() and not set(name) & set('<>=:"|?*') for name in written)


def test_two_runs_give_the_same_bytes(tmp_path):
    """In processes with different seeds of hashing, time zones and languages."""
    folder = write_full(tmp_path / "trial")
    runs = []
    for seed, zone, language in (("1", "UTC", "C.UTF-8"), ("2", "Asia/Tokyo", "de_DE.UTF-8")):
        subprocess.run(  # noqa: S603 - our own program
            [sys.executable, "-m", "traymorph", "report", str(folder)], check=True,
            capture_output=True,
            env=os.environ | {"PYTHONHASHSEED": seed, "TZ": zone, "LANG": language},
        )  # fmt: skip
        runs.append({one.name: one.read_bytes() for one in (folder / "results").glob("*.*")})
    assert runs[0].keys() == runs[1].keys()
    assert [name for name in runs[0] if runs[0][name] != runs[1][name]] == []


def test_every_range_says_between_which_treatments(opened):
    """With three treatments a range alone would not tell which pair it is of."""
    page = opened["full"].page
    ranges = page.locator("#metrics figcaption p", has_text="Not told:").all_text_contents()
    assert len(ranges) > 2
    assert len(set(ranges)) == len(ranges)
    assert all("days dark than at 2 days dark" in one for one in ranges)
