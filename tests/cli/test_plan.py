"""``traymorph plan``: a trial is laid out once, told in words, and never written over."""

import json
import tomllib

import pymupdf
import pytest

from tests.cli.running import table, traymorph
from traymorph.config.lists import read_trial
from traymorph.config.settings import Settings, read_settings
from traymorph.config.sizes import TRAY_SIZES
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
    assert names == {
        *("trays.csv", "labels.pdf", "plan.txt", "blind_codes.csv"),
        *("trial.toml", "photos"),
    }
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


def test_sizes_wait_as_comments_to_be_filled_in(planned):
    folder, _ = planned
    assert list((folder / "photos").iterdir()) == []
    assert read_settings(folder) == Settings(), "nothing filled in, nothing changed"
    lines = (folder / "trial.toml").read_text(encoding="utf-8").splitlines()
    filled = [line.removeprefix("# ") for line in lines if " = " in line or line[:1] == "["]
    held = tomllib.loads("\n".join(filled))
    assert set(held["tray"]) == set(TRAY_SIZES)
    Settings.model_validate(held)


def test_settings_and_photos_that_are_there_stay(tmp_path):
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "one.jpg").write_bytes(b"mine")
    (tmp_path / "trial.toml").write_text("[tray]\ninside_length_mm = 400\n", encoding="utf-8")
    outcome = traymorph("plan", tmp_path, *USUAL)
    assert outcome.code == 0, outcome.stderr
    assert read_settings(tmp_path).tray.inside_length_mm == 400
    assert (tmp_path / "photos" / "one.jpg").read_bytes() == b"mine"


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
    marked = [line.split() for line in told.splitlines() if line.endswith("< this plan")]
    assert [line[0] for line in marked] == ["6"]


def test_a_metric_of_cut_plants_says_that_every_tray_needs_a_board_photo(planned, tmp_path):
    said = "stem_length_mm is measured on cut plants, so that every tray needs a board photo"
    assert said in " ".join(planned[1].stdout.split())
    cover = traymorph("plan", tmp_path / "trial", *USUAL, "--metric", "canopy_cover_pct")
    assert "board photo" not in cover.stdout


@pytest.mark.parametrize("seed", [3, 4, 12])
def test_no_line_of_a_plan_begins_with_the_unit_of_a_number(tmp_path, seed):
    few = (*TWO, "--trays", 4, "--blocks", 2, "--difference", "10%", "--seed", seed)
    told = traymorph("plan", tmp_path / "trial", *few).stdout
    assert " %" in told
    assert not [line for line in told.splitlines() if line.strip().startswith(("%", "mm "))]


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
        ((*TWO, "--trays", 4, "--sow", "1.12.2026"), "Write 2026-12-01."),
        ((*TWO, "--trays", 4, "--sow", "2026-02-30"), "is not written as year-month-day"),
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
    marked = [line.split()[0] for line in outcome.stdout.splitlines() if "< this plan" in line]
    assert marked == ["4"]
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


STUDY = (
    "metric,crop,trays,measurements,mean,one_operator_sd\n"
    "stem_length_mm,radish,10,60,50,{}\nleaf_l,radish,10,60,40,0.4\n"
)


def study_in(folder, sd="3"):
    (folder / "results").mkdir(parents=True)
    (folder / "results" / "repeatability.csv").write_text(STUDY.format(sd), encoding="utf-8")
    return folder


def test_a_study_of_the_measuring_says_what_more_photos_bring(tmp_path):
    study = study_in(tmp_path / "study")
    outcome = traymorph("plan", tmp_path / "a", "--study", study, "--difference", "10%")
    told = " ".join(outcome.stdout.split())
    # assumed 8 %, 3 mm of 50 mm are 6 %: 10 % in all, 36 of 100 of the variance
    assert "deviation of 10 % (an assumption of common practice" in told
    assert "36 % of that variance is measuring" in told
    assert "scatter by 6 % on single trays (study of the measuring, 60 measurements of 10" in told
    assert (
        "Averaged over 2 photos of each tray the standard deviation is 9.06 %, over 3 photos "
        "8.72 %, "
    ) in told
    # statsmodels 0.15, TTestIndPower: 16.71, 13.90, 12.96 and 12.50 trays
    assert "takes 17 trays of each treatment" in told
    assert (
        "with 2 photos, averaged, 14 trays find it 8 times out of 10, with 3 photos 13, with 4 "
        "photos 13."
    ) in told


def test_the_folders_own_study_is_read_and_stated_spreads_hold_the_measuring(tmp_path):
    folder = study_in(tmp_path)
    outcome = traymorph("plan", folder, "--spread", "10%", "--json")
    content = json.loads(outcome.stdout)
    assert content["spread"]["sd"] == 10.0
    assert content["measuring"]["share_pct"] == pytest.approx(36.0)
    assert [row["photos"] for row in content["measuring"]["rows"]] == [2, 3, 4]
    other = traymorph("plan", folder, "--metric", "canopy_height_mm", "--json")
    assert json.loads(other.stdout)["measuring"] is None


def test_a_plan_with_a_study_tells_it_in_its_text(tmp_path):
    study = study_in(tmp_path / "study")
    outcome = traymorph("plan", tmp_path / "trial", *USUAL, "--study", study, "--seed", 1)
    assert outcome.code == 0, outcome.stderr
    assert "of that variance is measuring" in (tmp_path / "trial" / "plan.txt").read_text("utf-8")
    shelves = (*TWO, "--trays", 8, "--blocks", 4, "--block-name", "side", "--whole-shelves")
    outcome = traymorph("plan", tmp_path / "shelves", *shelves, "--study", study)
    assert "is measuring" not in outcome.stdout


def test_repeats_that_scatter_more_than_trays_do_not_fit(tmp_path):
    outcome = traymorph("plan", study_in(tmp_path), "--spread", "4%")
    assert "more than trays are taken to differ: the two do not fit" in " ".join(
        outcome.stdout.split()
    )


@pytest.mark.parametrize(
    ("sd", "metric", "code", "said"),
    [
        ("much", "stem_length_mm", ExitCode.LISTS, 'one_operator_sd = "much": is not a number'),
        ("-1", "stem_length_mm", ExitCode.LISTS, "is less than 0"),
    ],
)
def test_a_study_that_cannot_be_used_is_refused(tmp_path, sd, metric, code, said):
    study = study_in(tmp_path / "study", sd)
    outcome = traymorph("plan", tmp_path / "a", "--study", study, "--metric", metric)
    assert outcome.code == code
    assert said in outcome.stderr


@pytest.mark.parametrize("named", [True, False])
def test_a_study_that_lacks_the_metric_says_what_it_tells_and_the_plan_goes_on(tmp_path, named):
    study = study_in(tmp_path / "study")
    options = ("--metric", "leaf_area_mm2")
    if named:
        outcome = traymorph("plan", tmp_path / "trial", *USUAL, *options, "--study", study)
    else:
        outcome = traymorph("plan", study, *USUAL, *options)
    assert outcome.code == ExitCode.DONE, outcome.stderr
    told = " ".join(outcome.stdout.split())
    assert told.count("does not tell what repeats of leaf_area_mm2 scatter") == 1
    assert "It tells stem_length_mm, leaf_l: name one with --metric." in told
    assert "is measuring:" not in told


def test_a_folder_without_a_study_is_no_study(tmp_path):
    outcome = traymorph("plan", tmp_path, "--study", tmp_path)
    assert outcome.code == ExitCode.LISTS
    assert "the measuring has not been studied there" in outcome.stderr
