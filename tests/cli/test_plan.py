"""``traymorph plan``: a trial is laid out once, told in words, and never written over."""

import json

import pymupdf
import pytest

from tests.cli.running import table, traymorph
from traymorph.config.lists import read_trial
from traymorph.config.settings import Settings
from traymorph.errors import ExitCode

TWO = ("--treatment", "15 g", "--treatment", "30 g")
USUAL = (*TWO, "--trays", 6, "--blocks", 3, "--crop", "radish", "--sow", "2026-12-01")


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plan") / "trial"
    return folder, traymorph("plan", folder, *USUAL, "--seed", 42, "--difference", "10%")


def test_a_plan_leaves_list_labels_map_and_codes(planned):
    folder, outcome = planned
    assert outcome.code == 0, outcome.stderr
    names = {path.name for path in folder.iterdir()}
    assert names == {"trays.csv", "labels.pdf", "plan.txt", "blind_codes.csv"}
    assert (folder / "labels.pdf").read_bytes().startswith(b"%PDF")
    assert (folder / "plan.txt").read_text(encoding="utf-8") == outcome.stdout
    assert "--seed 42" in outcome.stdout
    rows = table(folder / "trays.csv")
    assert len(rows) == 12
    assert {row["sown_on"] for row in rows} == {"2026-12-01"}
    assert {row["batch"] for row in rows} == {"2026-12-01"}
    assert {row["photographed_on"] for row in rows} == {""}
    for row in rows:
        assert f"[{row['tray_id']} {row['treatment']}]" in outcome.stdout


def test_measure_takes_the_planned_list(planned, tmp_path):
    folder = tmp_path / "trial"
    (folder / "photos").mkdir(parents=True)
    (folder / "photos" / "one.jpg").write_bytes(b"later")
    (folder / "trays.csv").write_bytes((planned[0] / "trays.csv").read_bytes())
    trial = read_trial(folder, Settings())
    assert [sample.tray_id for sample in trial.samples][:2] == ["T01", "T02"]


def test_codes_for_tasting_are_in_their_own_file_only(planned):
    folder, outcome = planned
    codes = {row["treatment"]: row["code"] for row in table(folder / "blind_codes.csv")}
    assert set(codes) == {"15 g", "30 g"}
    assert not any(f" {code}" in outcome.stdout + outcome.stderr for code in codes.values())


def test_the_numbers_are_told(planned):
    told = planned[1].stdout
    assert "takes 12 trays of each treatment to be found 8 times" in " ".join(told.split())
    assert "of common practice, without a source" in told
    assert "simulated" in told


def test_the_seed_draws_the_same_plan_and_none_draws_another(planned, tmp_path):
    again = traymorph("plan", tmp_path / "a", *USUAL, "--seed", 42, "--difference", "10%")
    assert again.stdout == planned[1].stdout
    traymorph("plan", tmp_path / "b", *USUAL)
    traymorph("plan", tmp_path / "c", *USUAL)
    assert table(tmp_path / "b" / "trays.csv") != table(tmp_path / "c" / "trays.csv")


def test_nothing_is_written_over(tmp_path):
    folder = tmp_path / "trial"
    folder.mkdir()
    (folder / "trays.csv").write_text("mine", encoding="utf-8")
    outcome = traymorph("plan", folder, *USUAL)
    assert outcome.code == ExitCode.LISTS
    assert "already holds trays.csv" in outcome.stderr
    assert [path.name for path in folder.iterdir()] == ["trays.csv"]
    assert (folder / "trays.csv").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((*TWO, "--trays", 1), "one tray only"),
        ((*TWO, "--trays", 2, "--blocks", 3), "3 blocks cannot each hold"),
        ((*TWO, "--trays", 6, "--whole-shelves"), "one shelf only"),
        ((*TWO, "--trays", 6, "--metric", "stem_lenght_mm"), "Perhaps stem_length_mm was meant"),
        ((*TWO, "--trays", 6, "--metric", "leaf_a"), "is not known"),
        (
            (*TWO, "--trays", 6, "--metric", "canopy_cover_pct", "--difference", "5%"),
            "in points, without the %",
        ),
        ((*TWO, "--trays", 6, "--difference", "5"), "give amounts in per cent"),
    ],
)
def test_what_could_show_nothing_is_refused_and_writes_nothing(tmp_path, options, said):
    outcome = traymorph("plan", tmp_path / "trial", *options)
    assert outcome.code == ExitCode.DESIGN
    assert said in outcome.stderr
    assert not (tmp_path / "trial").exists()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--treatment", "15 g", "--trays", 4), "at least two treatments"),
        (("--treatment", "15 g", "--treatment", "15g", "--trays", 4), "named twice"),
        (("--treatment", "15 g", "--treatment", " ", "--trays", 4), "is empty"),
        (TWO, "how many trays"),
        (("--trays", 4), "name its treatments"),
        ((*TWO, "--trays", 4, "--difference", "-3%"), "no amount above 0"),
        ((*TWO, "--trays", 4, "--prefix", "x" * 20), "--prefix"),
        ((*TWO, "--trays", 4, "--sow", "1.12.2026"), "--sow"),
    ],
)
def test_misuse_is_told_in_a_sentence(tmp_path, options, said):
    outcome = traymorph("plan", tmp_path / "trial", *options)
    assert outcome.code == ExitCode.USAGE
    assert said in outcome.stderr
    assert not (tmp_path / "trial").exists()


def test_without_treatments_it_only_counts_trays(tmp_path):
    outcome = traymorph("plan", tmp_path, "--difference", "10%", "--spread", "12.5%")
    assert outcome.code == 0
    # Cohen 1992, table 2 (from memory): d = 0.8, power .80: 26 a group
    assert "takes 26 trays" in " ".join(outcome.stdout.split())
    assert list(tmp_path.iterdir()) == []


def test_past_trays_tell_the_spread(tmp_path):
    results = tmp_path / "results"
    results.mkdir()
    lines = ["tray_id,crop,treatment,block,batch,stem_length_mm"]
    for number in range(12):
        length = 50 + 10 * (number // 6) + (1 if number % 2 else -1)
        lines.append(f"P{number},radish,{number // 6},1,B1,{length}")
    (results / "tray_metrics.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    outcome = traymorph("plan", tmp_path, *USUAL, "--seed", 1)
    assert outcome.code == 0, outcome.stderr
    # by hand: 12 deviations of 1 mm, 10 degrees of freedom, mean 55: 100 sqrt(1.2) / 55 = 1.99
    assert "deviation of 1.99 % (12 trays measured in this folder)" in " ".join(
        outcome.stdout.split()
    )
    assert "90 % interval" in outcome.stdout


def test_trials_that_run_at_once_have_names_of_their_own(tmp_path):
    outcome = traymorph("plan", tmp_path, *USUAL, "--prefix", "pea ")
    assert outcome.code == 0, outcome.stderr
    assert [row["tray_id"] for row in table(tmp_path / "trays.csv")][:2] == ["pea 01", "pea 02"]


def test_whole_shelves_are_spoken_of(tmp_path):
    options = (*TWO, "--trays", 8, "--blocks", 4, "--block-name", "side", "--whole-shelves")
    outcome = traymorph("plan", tmp_path, *options, "--difference", "20%")
    assert outcome.code == 0, outcome.stderr
    told = " ".join(outcome.stdout.split())
    assert "Shelves of one treatment and block are taken to differ" in told
    assert "shelves of each" in told
    assert "How far whole shelves of one treatment differ is not known" in told


def test_labels_are_blind_unless_the_treatment_is_asked_for(planned, tmp_path):
    traymorph("plan", tmp_path, *USUAL, "--show-treatment", "--batch", "B7")
    for folder, shown in ((planned[0], False), (tmp_path, True)):
        with pymupdf.open(folder / "labels.pdf") as document:
            texts = [page.get_text() for page in document][1:]
        assert len(texts) == 2
        assert all(("15 g" in text) == shown for text in texts[:1])
        assert "block 1, shelf 1" in texts[0]
        assert "position 4" in texts[0]
        assert ("B7" in texts[0]) == shown


def test_json_holds_the_plan_and_no_codes(tmp_path):
    outcome = traymorph("plan", tmp_path, *USUAL, "--seed", 42, "--json")
    content = json.loads(outcome.stdout)
    assert content["wanted"]["seed"] == 42
    assert len(content["trays"]) == 12
    assert content["trays"][0]["sown_on"] == "2026-12-01"
    assert "blind_codes" not in content


def test_labels_of_a_list_of_ones_own(tmp_path):
    lists = "tray_id,crop,treatment,block,batch\nA 1,pea,dark 3 d,1,1\nトレイ,pea,dark 5 d,1,1\n"
    (tmp_path / "trays.csv").write_text(lists, encoding="utf-8")
    outcome = traymorph("plan", tmp_path, "--labels-only", "--paper", "letter")
    assert outcome.code == 0, outcome.stderr
    assert "トレイ: the label's letters lack" in outcome.stderr
    assert {path.name for path in tmp_path.iterdir()} == {"trays.csv", "labels.pdf"}


def test_labels_without_a_list_are_refused(tmp_path):
    outcome = traymorph("plan", tmp_path, "--labels-only")
    assert outcome.code == ExitCode.LISTS
    assert "no trays to label" in outcome.stderr
