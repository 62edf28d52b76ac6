"""The sample season: what drift says of it, and that it is what its maker writes."""

import shutil

import pytest

from tests import season
from tests.cli.running import table, traymorph
from tests.docs.reference_pages import DOCS
from traymorph.errors import ExitCode

SAMPLE = DOCS.parent / "sample_images" / "season"
WRITTEN = ("trays.csv", "results/tray_metrics.csv")


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "results").mkdir()
    for name in (*WRITTEN, "trial.toml", "standard.csv", "events.csv"):
        shutil.copy(SAMPLE / name, tmp_path / name)
    return tmp_path


@pytest.mark.parametrize("name", WRITTEN)
def test_the_season_is_what_its_maker_writes(tmp_path, name):
    season.write(tmp_path)
    assert (tmp_path / name).read_bytes() == (SAMPLE / name).read_bytes()


def test_the_slide_is_told_with_its_begin_its_size_and_what_was_new(folder):
    outcome = traymorph("drift", folder)
    assert outcome.code == ExitCode.DONE, outcome.stderr
    (said,) = (line for line in outcome.stdout.splitlines() if "probably since" in line)
    assert "Cover is" in said
    assert "points lower than the baseline's" in said
    assert "probably since batch R29 (2026-06-02)" in said
    assert "seed lot S12 opened (2026-05-24)" in said
    assert "seed_lot S12 instead of S11 (batch R29)" in said
    assert "lamp" not in outcome.stdout, "what changed nothing is named nowhere"
    assert "The newest batch signals: canopy_cover_pct." in outcome.stdout


def test_the_slide_is_caught_within_a_few_batches_and_before_the_standard_is_missed(folder):
    traymorph("drift", folder)
    rows = [r for r in table(folder / "results" / "drift.csv") if r["metric"] == "canopy_cover_pct"]
    location = ("individuals", "ewma", "cusum_up", "cusum_down")
    first = min(row["batch"] for row in rows if row["signal"] and row["chart"] in location)
    failing = min(row["batch"] for row in rows if row["signal"] and row["chart"] == "standard")
    assert f"R{season.FIRST_OF_NEW_LOT}" < first <= f"R{season.FIRST_OF_NEW_LOT + 4}"
    assert first < failing


def test_a_batch_without_a_colour_has_no_point_for_it(folder):
    traymorph("drift", folder)
    rows = table(folder / "results" / "drift.csv")
    hue = {r["batch"] for r in rows if (r["metric"], r["chart"]) == ("leaf_hue_deg", "individuals")}
    assert len(hue) == season.BATCHES - 1
    assert f"R{season.UNDER_A_LAMP}" not in hue


def test_measuring_a_season_without_photos_leaves_its_table(folder):
    before = (folder / "results" / "tray_metrics.csv").read_bytes()
    outcome = traymorph("measure", folder)
    assert outcome.code == ExitCode.LISTS
    assert "no folder photos/" in outcome.stderr
    assert (folder / "results" / "tray_metrics.csv").read_bytes() == before
