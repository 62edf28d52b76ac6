"""`traymorph repeatability`: from repeats of trays to sentences and tables, or a refusal.

The trays are invented: ``sample_images/repeats``.
"""

import csv
import json
import statistics
from pathlib import Path

import pytest
from PIL import Image

from tests.cli.running import table, traymorph
from traymorph.errors import ExitCode

EXAMPLE = Path(__file__).parents[2] / "sample_images/repeats/results/tray_metrics.csv"
SHOWN = ("canopy_cover_pct", "canopy_height_mm", "leaf_hue_deg")


def rows_of_example():
    return table(EXAMPLE)


def folder_of(path, rows, **lists):
    (path / "results").mkdir(parents=True)
    with (path / "results" / "tray_metrics.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    for name, text in lists.items():
        (path / f"{name}.toml").write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def studied(tmp_path_factory):
    folder = folder_of(tmp_path_factory.mktemp("study") / "trial", rows_of_example())
    return folder, traymorph("repeatability", folder)


def test_the_example_is_told_in_sentences(studied):
    _, outcome = studied
    assert outcome.code == ExitCode.DONE, outcome.stderr
    assert outcome.stdout.startswith("32 measurements of 8 trays of radish by 2 people or phones")
    for name in SHOWN:
        assert f"{name}: of the variance between these measurements" in outcome.stdout
    assert "A difference under 2.4 mm between two trays that one person and phone" in outcome.stdout
    assert "with two photos of each, averaged, under 1.7 mm" in outcome.stdout
    assert "the stated doubt is too small for your way of photographing" in outcome.stdout
    assert "It covers what one person and phone scatter" in outcome.stdout
    assert "2 people or phones tell little of others" in outcome.stderr
    assert "The trays are of 2 treatments (15 g, 30 g)" in outcome.stderr


def test_tables_hold_every_metric_and_source(studied):
    folder, _ = studied
    rows = {row["metric"]: row for row in table(folder / "results" / "repeatability.csv")}
    assert set(rows) == set(SHOWN)
    height = rows["canopy_height_mm"]
    assert (height["trays"], height["operators"], height["measurements"]) == ("8", "2", "32")
    assert height["crop"] == "radish"
    assert rows["leaf_hue_deg"]["stated_doubt"] == "too_small"
    assert height["stated_doubt"] == "covers_one_operator"
    assert float(height["difference_1_photo"]) == pytest.approx(
        2.7718 * float(height["one_operator_sd"]), rel=1e-4
    )
    assert float(height["difference_4_photos"]) < float(height["difference_1_photo"])
    assert float(height["measuring_ratio"]) == pytest.approx(float(height["measuring_sd"]) / 1.6)
    parts = table(folder / "results" / "repeatability_parts.csv")
    of_height = {row["source"]: row for row in parts if row["metric"] == "canopy_height_mm"}
    assert list(of_height) == [
        "tray", "operator", "repeat", "trays", "one_operator", "measuring", "all"
    ]  # fmt: skip
    shares = [float(of_height[name]["share_pct"]) for name in ("tray", "operator", "repeat")]
    assert sum(shares) == pytest.approx(100.0, abs=1e-3)
    assert of_height["repeat"]["df"] == "23"
    assert float(of_height["repeat"]["sd_by_ranges"]) > 0


def test_json_is_json_and_nothing_else(studied, tmp_path):
    outcome = traymorph("repeatability", folder_of(tmp_path, rows_of_example()), "--json")
    content = json.loads(outcome.stdout)
    assert content["crop"] == "radish"
    assert [one["metric"] for one in content["metrics"]] == list(SHOWN)
    one = content["metrics"][0]
    assert {part["source"] for part in one["parts"]} == {"tray", "operator", "repeat"}
    assert one["smallest"][0]["photos"] == 1
    assert one["sentences"][0] in studied[1].stdout


def test_one_metric_is_spoken_of_and_all_are_written(tmp_path):
    folder = folder_of(tmp_path, rows_of_example())
    outcome = traymorph("repeatability", folder, "--metric", "leaf_hue_deg")
    assert "leaf_hue_deg:" in outcome.stdout
    assert "canopy_cover_pct:" not in outcome.stdout
    assert len(table(folder / "results" / "repeatability.csv")) == 3


def test_the_primary_metric_is_spoken_of(tmp_path):
    text = '[compare]\nprimary = "canopy_height_mm"\n'
    outcome = traymorph("repeatability", folder_of(tmp_path, rows_of_example(), trial=text))
    assert "canopy_height_mm:" in outcome.stdout
    assert "leaf_hue_deg:" not in outcome.stdout


def test_one_person_only_is_said_to_be_one(tmp_path):
    ana = [row for row in rows_of_example() if row["operator"] == "Ana"]
    outcome = traymorph("repeatability", folder_of(tmp_path, ana))
    assert outcome.code == ExitCode.DONE
    assert "Only Ana took part: what another person or phone would read differently" in (
        outcome.stderr
    )
    assert "this person and phone" in outcome.stdout
    held = table(tmp_path / "results" / "repeatability.csv")[0]
    assert (held["operators"], held["measuring_sd"]) == ("1", "")
    assert held["other_operator_difference_1_photo"] == ""
    assert held["one_operator_sd"]


def test_unequal_numbers_are_taken_and_said(tmp_path):
    rows = [row for k, row in enumerate(rows_of_example()) if k not in {6, 7, 13}]
    outcome = traymorph("repeatability", folder_of(tmp_path, rows))
    assert outcome.code == ExitCode.DONE
    assert "Not every tray was measured equally often" in outcome.stderr
    held = table(tmp_path / "results" / "repeatability.csv")[0]
    assert held["measurements"] == "29"
    assert "unequal numbers" in held["method"]


def test_a_metric_that_some_photos_did_not_give_is_studied_by_the_others(tmp_path):
    rows = rows_of_example()
    for row in rows[4:8]:
        row["leaf_hue_deg"] = ""
    folder = folder_of(tmp_path, rows)
    assert traymorph("repeatability", folder).code == ExitCode.DONE
    held = {row["metric"]: row for row in table(folder / "results" / "repeatability.csv")}
    assert (held["leaf_hue_deg"]["trays"], held["leaf_hue_deg"]["measurements"]) == ("7", "28")
    assert held["canopy_height_mm"]["trays"] == "8"


def test_repeats_that_hardly_scatter_are_asked_about(tmp_path):
    ana = [row for row in rows_of_example() if row["operator"] == "Ana"]
    for row in ana:
        row["canopy_height_mm_u"] = "9"
    outcome = traymorph("repeatability", folder_of(tmp_path, ana))
    (asked,) = (line for line in outcome.stdout.splitlines() if "So little is seen" in line)
    assert "a doubt of 9.0 mm" in asked


@pytest.mark.parametrize("by", [("tray",), ("tray", "operator")])
def test_copies_of_one_photo_are_not_taken_for_repeats(tmp_path, by):
    rows = rows_of_example()
    first = {}
    for row in rows:
        held = {"tray": row["repeat_of"] or row["tray_id"], "operator": row["operator"]}
        key = tuple(held[name] for name in by)
        row["leaf_hue_deg"] = first.setdefault(key, row["leaf_hue_deg"])
    outcome = traymorph("repeatability", folder_of(tmp_path, rows))
    assert "alike to the last digit, as copies of one photo are): leaf_hue_deg." in outcome.stderr
    assert "leaf_hue_deg:" not in outcome.stdout


def refused(path, rows, *options):
    outcome = traymorph("repeatability", folder_of(path, rows), *options)
    assert not (path / "results" / "repeatability.csv").exists()
    assert outcome.stdout == ""
    return outcome


def test_nothing_measured_again_is_refused_with_what_to_do(tmp_path):
    alone = [row for row in rows_of_example() if not row["repeat_of"]]
    outcome = refused(tmp_path, alone)
    assert outcome.code == ExitCode.DESIGN
    assert "No tray of the table was measured again" in outcome.stderr


def test_one_tray_only_is_refused(tmp_path):
    outcome = refused(tmp_path, rows_of_example()[:4])
    assert outcome.code == ExitCode.DESIGN
    assert "one tray only was measured again" in outcome.stderr
    assert "Photograph five trays or more" in outcome.stderr


def test_several_bad_rows_are_told_together(tmp_path):
    rows = rows_of_example()
    rows[1]["repeat_of"] = "R99"
    rows[2]["crop"] = "pea"
    rows[3]["photographed_on"] = "2026-05-13"
    outcome = refused(tmp_path, rows)
    assert outcome.code == ExitCode.LISTS
    assert "hold 3 problems" in outcome.stderr
    assert 'tray R1 Ana 2, repeat_of = "R99": names no tray' in outcome.stderr
    assert (
        'tray R1 Ben 1, crop = "pea": differs from R1, which it repeats ("radish")'
        in outcome.stderr
    )
    assert (
        'tray R1 Ben 2, photographed_on = "2026-05-13": was photographed on another'
        in outcome.stderr
    )


def test_several_crops_are_asked_about(tmp_path):
    rows = rows_of_example()
    for row in rows[:12]:
        row["crop"] = "pea"
    outcome = refused(tmp_path / "a", rows)
    assert outcome.code == ExitCode.DESIGN
    assert "are of several crops: pea, radish" in outcome.stderr
    one = traymorph("repeatability", folder_of(tmp_path / "b", rows), "--crop", "Pea")
    assert one.code == ExitCode.DONE
    assert "12 measurements of 3 trays of pea" in one.stdout
    assert "12 measurements of 3 trays are few" in one.stderr
    assert refused(tmp_path / "c", rows, "--crop", "amaranth").code == ExitCode.DESIGN


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("leaf_hue", "leaf_hue is not a metric.\nPerhaps leaf_hue_deg was meant."),
        (
            "canopy_height_mm_u",
            "canopy_height_mm_u is not a metric.\nPerhaps canopy_height_mm was meant.",
        ),
        ("stem_length_mm", "stem_length_mm was not measured in any tray of the table"),
    ],
)
def test_a_metric_that_is_not_there_is_refused(tmp_path, name, said):
    outcome = refused(tmp_path, rows_of_example(), "--metric", name)
    assert outcome.code == ExitCode.DESIGN
    assert said in outcome.stderr


def test_no_metric_measured_is_refused(tmp_path):
    rows = rows_of_example()
    for row in rows:
        row.update(dict.fromkeys(SHOWN, ""))
    outcome = refused(tmp_path, rows)
    assert outcome.code == ExitCode.DESIGN
    assert (
        "Nothing can be told of the measuring: canopy_cover_pct, canopy_height_mm, leaf_hue_deg "
        "(not measured)."
    ) in outcome.stderr


def test_a_folder_that_was_never_measured_says_so(tmp_path):
    outcome = traymorph("repeatability", tmp_path)
    assert outcome.code == ExitCode.LISTS
    assert "nothing has been measured yet" in outcome.stderr


def test_repeats_are_no_trays_of_their_own_for_compare_drift_and_plan(tmp_path):
    """Rows of repeats that bear treatment and batch as well would count as replicates."""
    rows = rows_of_example()
    own = {row["tray_id"]: row for row in rows if not row["repeat_of"]}
    for row in rows:
        tray = own[row["repeat_of"] or row["tray_id"]]
        row.update(treatment=tray["treatment"], block="1")
    with_repeats = folder_of(tmp_path / "with", rows)
    without = folder_of(tmp_path / "without", list(own.values()))
    for command in ("compare", "plan"):
        outcome = traymorph(command, with_repeats)
        assert outcome.code == ExitCode.DONE, outcome.stderr
        assert outcome.stdout == traymorph(command, without).stdout
    assert "15 g (4 trays), 30 g (4 trays)" in traymorph("compare", with_repeats).stdout
    limits = "[drift]\nbaseline = 2\n"
    for k, row in enumerate(rows):
        row.update(batch=f"B{k // 4}", photographed_on=f"2026-05-{1 + k // 4:02d}")
    folders = [folder_of(tmp_path / "a", rows, trial=limits),
               folder_of(tmp_path / "b", list(own.values()), trial=limits)]  # fmt: skip
    said = [traymorph("drift", folder) for folder in folders]
    assert said[0].code == ExitCode.DONE, said[0].stderr
    assert said[0].stdout == said[1].stdout


@pytest.mark.parametrize("measured", [True, False])
def test_repeats_add_no_trays_to_a_lot(tmp_path, measured):
    """Weights of a lot are told for each of its trays: repeats in the list are none."""
    rows = rows_of_example()
    own = {row["tray_id"]: row for row in rows if not row["repeat_of"]}
    for row in rows:
        tray = own[row["repeat_of"] or row["tray_id"]]
        row.update(treatment=tray["treatment"], block="1", lot=f"L{tray['tray_id']}")
    said = []
    for name, held in (("with", rows), ("without", list(own.values()))):
        folder = folder_of(tmp_path / name, held)
        columns = ("tray_id", "repeat_of", "operator", "crop", "treatment", "block", "batch", "lot")
        with (folder / "trays.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, columns, extrasaction="ignore")
            writer.writeheader()
            writer.writerows(held)
        lots = "".join(f",LR{k},fresh_weight,{400 + 10 * k * k},g\n" for k in range(1, 9))
        text = f"tray_id,lot,what,value,unit\n{lots}"
        (folder / "outcomes.csv").write_text(text, encoding="utf-8")
        if not measured:
            (folder / "results" / "tray_metrics.csv").unlink()
        outcome = traymorph("compare", folder)
        assert outcome.code == ExitCode.DONE, outcome.stderr
        lots_file = folder / "results" / "outcomes_lots.csv"
        said.append((outcome.stdout, lots_file.read_text(encoding="utf-8")))
    assert "fresh_weight_per_tray" in said[0][1]
    assert said[0] == said[1]


def test_measure_takes_from_a_study_what_its_own_doubt_is_too_small_for(measured, tmp_path):
    """The study is invented; the trial is measured for real and taken from its ledger."""
    before = table(measured / "results" / "tray_metrics.csv")
    rows = rows_of_example()
    for row in rows:  # ten times the scatter of the example, and of its trays
        row["leaf_hue_deg"] = f"{110 + 10 * (float(row['leaf_hue_deg']) - 115):.2f}"
    study = folder_of(tmp_path / "phone", rows)
    traymorph("repeatability", study)
    settings = (measured / "trial.toml").read_text(encoding="utf-8")
    (measured / "trial.toml").write_text(
        f"{settings}\n[repeatability]\nstudy = '{study}'\n", encoding="utf-8"
    )
    outcome = traymorph("measure", measured, "--masks", "--workers", 1)
    assert "2 trays are as when measured before" in outcome.stderr
    assert "doubt_from_study" in outcome.stderr
    found = next(
        float(row["measuring_sd"])
        for row in table(study / "results" / "repeatability.csv")
        if row["metric"] == "leaf_hue_deg"
    )
    for old, new in zip(before, table(measured / "results" / "tray_metrics.csv"), strict=True):
        changed = {name for name in old if old[name] != new[name]}
        assert float(old["leaf_hue_deg_u"]) < found
        assert changed == {"leaf_hue_deg_u", "flags"}
        assert float(new["leaf_hue_deg_u"]) == pytest.approx(found, rel=1e-4)
        assert "doubt_from_study" in new["flags"].split()


def test_a_study_judges_the_doubt_that_photos_state_by_themselves(tmp_path):
    rows = rows_of_example()
    for row in rows:
        row["flags"] = ""
        if not row["repeat_of"]:  # as measured after an earlier study
            row.update(flags="doubt_from_study", leaf_hue_deg_u="9")
    traymorph("repeatability", folder_of(tmp_path, rows))
    held = {row["metric"]: row for row in table(tmp_path / "results" / "repeatability.csv")}
    assert float(held["leaf_hue_deg"]["stated_u"]) == 0.25


def test_a_study_that_is_not_there_is_told_before_anything_is_measured(fresh):
    settings = (fresh / "trial.toml").read_text(encoding="utf-8")
    (fresh / "trial.toml").write_text(
        f'{settings}\n[repeatability]\nstudy = "nowhere"\n', encoding="utf-8"
    )
    outcome = traymorph("measure", fresh)
    assert outcome.code == ExitCode.LISTS
    assert "which [repeatability] study of trial.toml names" in outcome.stderr
    assert not (fresh / "results").exists()


@pytest.mark.slow
def test_from_photos_to_sentences(measured):
    """Repeats are the photos from above stored anew, smaller and paler, as another phone might."""
    lists = measured / "trays.csv"
    own = table(lists)
    with lists.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, [*own[0], "repeat_of", "operator"])
        writer.writeheader()
        for row in own:
            writer.writerow({**row, "repeat_of": "", "operator": "Ana"})
            for again in ("b", "c"):
                name = f"{row['tray_id']} {again}"
                writer.writerow(
                    {**row, "tray_id": name, "repeat_of": row["tray_id"], "operator": "Ana",
                     "treatment": "", "block": ""}
                )  # fmt: skip
                stored_anew(measured / "photos" / row["tray_id"], measured / "photos" / name, again)
    outcome = traymorph("measure", measured, "--masks", "--workers", 1)
    assert outcome.code == ExitCode.DONE, outcome.stderr
    assert "2 trays are as when measured before" in outcome.stderr
    rows = table(measured / "results" / "tray_metrics.csv")
    assert [row["tray_id"] for row in rows] == ["T01", "T01 b", "T01 c", "T02", "T02 b", "T02 c"]
    told = traymorph("repeatability", measured)
    assert told.code == ExitCode.DONE, told.stderr
    assert told.stdout.startswith("6 measurements of 2 trays of radish")
    assert "6 measurements of 2 trays are few" in told.stderr
    held = {row["metric"]: row for row in table(measured / "results" / "repeatability.csv")}
    cover = [float(row["canopy_cover_pct"]) for row in rows]
    within = [statistics.variance(cover[:3]), statistics.variance(cover[3:])]
    assert float(held["canopy_cover_pct"]["one_operator_sd"]) == pytest.approx(
        statistics.mean(within) ** 0.5, rel=1e-3
    )
    compared = traymorph("compare", measured)
    assert compared.code == ExitCode.DESIGN, "one tray a treatment, whatever its repeats"


def stored_anew(photos, to, how):
    to.mkdir()
    with Image.open(photos / f"{photos.name}_overhead.jpg") as picture:
        exif = picture.getexif().tobytes()
        size = tuple(round(side * (0.93 if how == "b" else 0.97)) for side in picture.size)
        smaller = picture.resize(size, Image.Resampling.LANCZOS)
    pale = smaller.point(lambda code: round(code * (0.94 if how == "b" else 0.97)))
    pale.save(to / f"{to.name}_overhead.jpg", quality=80, exif=exif)
