"""`traymorph drift`: from a table of trays to what moved since when, or a refusal.

The season is invented: radish sown every fourth day, three trays a batch.
"""

import csv
import json
import random
from datetime import date, timedelta
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from tests.cli.running import table, traymorph
from traymorph.errors import ExitCode

COLUMNS = ["metric", "chart", "batch", "value", "centre", "lower", "upper", "signal"]


def _season(batches=32, slide=24, by=-6.0, seed=5):
    """Trays 60 mm tall; from batch ``slide`` on, counted from 0, they are shorter."""
    draw = random.Random(seed)  # noqa: S311 - not for secrets
    rows = []
    for b in range(batches):
        sown = date(2026, 1, 5) + timedelta(days=4 * b)
        level = 60 + draw.gauss(0, 2) + (by if b >= slide else 0.0)
        for t in range(3):
            rows.append(
                {
                    "tray_id": f"{b + 1}-{t}", "crop": "radish", "treatment": "30 g",
                    "block": "1", "batch": f"B{b + 1}", "seed_lot": "S7" if b < slide else "S9",
                    "sown_on": sown.isoformat(),
                    "photographed_on": (sown + timedelta(days=8)).isoformat(),
                    "canopy_height_mm": f"{level + draw.gauss(0, 1):.2f}",
                }
            )  # fmt: skip
    return rows


def _folder(path, rows, **lists):
    (path / "results").mkdir(parents=True)
    with (path / "results" / "tray_metrics.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    for name, text in lists.items():
        ending = "toml" if name == "trial" else "csv"
        (path / f"{name}.{ending}").write_text(text, encoding="utf-8")
    return path


def _refused(path, rows, *options, **lists):
    outcome = traymorph("drift", _folder(path, rows, **lists), *options)
    assert not (path / "results" / "drift.csv").exists()
    return outcome


# --- what it says


def test_a_slide_is_caught_dated_and_set_beside_what_else_changed(tmp_path):
    folder = _folder(tmp_path, _season(), events="on_date,what\n2026-04-10,lamp replaced\n"
                                                 "2026-01-20,pump cleaned\n")  # fmt: skip
    outcome = traymorph("drift", folder)
    assert outcome.code == ExitCode.DONE, outcome.stderr
    (said,) = (line for line in outcome.stdout.splitlines() if "probably since" in line)
    assert "The canopy is" in said
    assert "mm shorter than the baseline's" in said
    # the batch that a CUSUM names is seldom more than two off after so large a shift
    assert any(f"since batch {batch} (2026-04-" in said for batch in ("B23", "B24", "B25", "B26"))
    assert "lamp replaced (2026-04-10)" in said
    assert "seed_lot S9 instead of S7 (batch B25)" in said
    assert "pump" not in said
    assert "The newest batch signals: canopy_height_mm." in outcome.stdout
    rows = table(folder / "results" / "drift.csv")
    assert list(rows[0])[:8] == COLUMNS
    assert {row["chart"] for row in rows} == {
        "individuals", "moving_range", "within_s", "ewma", "cusum_up", "cusum_down"
    }  # fmt: skip
    signalled = [row["batch"] for row in rows if row["chart"] == "ewma" and row["signal"]]
    assert signalled
    assert signalled[0] in {"B25", "B26", "B27"}


def test_limits_rest_on_batch_means_not_on_trays_within_a_batch(tmp_path):
    trays = _season()
    folder = _folder(tmp_path, trays)
    traymorph("drift", folder)
    means = {}
    for row in trays:
        means.setdefault(row["batch"], []).append(float(row["canopy_height_mm"]))
    first = np.array([np.mean(means[f"B{k + 1}"]) for k in range(20)])
    sigma = np.abs(np.diff(first)).mean() / 1.128
    row = next(r for r in table(folder / "results" / "drift.csv") if r["chart"] == "individuals")
    assert float(row["value"]) == pytest.approx(first[0], abs=1e-3)
    assert float(row["centre"]) == pytest.approx(first.mean(), abs=1e-3)
    assert float(row["upper"]) == pytest.approx(first.mean() + 3 * sigma, rel=1e-3)


def test_alarm_turns_a_standing_signal_into_an_exit_code(tmp_path):
    moved = _folder(tmp_path / "moved", _season())
    assert traymorph("drift", moved, "--alarm").code == ExitCode.SOME_FAILED
    assert traymorph("drift", moved).code == ExitCode.DONE
    steady = _folder(tmp_path / "steady", _season(by=0.0))
    assert traymorph("drift", steady, "--alarm").code == ExitCode.DONE


def test_json_is_json_and_nothing_else(tmp_path):
    outcome = traymorph("drift", _folder(tmp_path, _season()), "--json")
    content = json.loads(outcome.stdout)
    (metric,) = content["metrics"]
    assert metric["moves"][-1]["direction"] == "down"
    assert len(metric["charts"]["individuals"]) == 32
    assert metric["charts"]["moving_range"][0]["value"] is None
    assert content["signals_now"] == ["canopy_height_mm"]


def test_few_batches_are_said_to_be_few_and_the_self_starting_chart_serves(tmp_path):
    folder = _folder(tmp_path, _season(12, slide=8, by=-9.0))
    outcome = traymorph("drift", folder)
    assert "rest on 12 batches, and fewer than 20 are few" in outcome.stderr
    assert "a false alarm about every" in outcome.stderr
    rows = table(folder / "results" / "drift.csv")
    charts = {row["chart"] for row in rows}
    assert {"self_starting_up", "self_starting_down"} <= charts
    assert "ewma" not in charts
    assert {row["few"] for row in rows} == {"few"}
    assert any(row["signal"] for row in rows if row["chart"] == "self_starting_down")


def test_the_baseline_is_chosen_in_the_settings(tmp_path):
    folder = _folder(tmp_path, _season(14, slide=99), trial="[drift]\nbaseline = 10\n")
    outcome = traymorph("drift", folder)
    assert "rest on 10 batches" in outcome.stderr
    rows = [r for r in table(folder / "results" / "drift.csv") if r["chart"] == "ewma"]
    assert [row["in_baseline"] for row in rows] == ["1"] * 10 + ["0"] * 4


def test_after_a_change_that_was_meant_the_baseline_begins_anew(tmp_path):
    folder = _folder(tmp_path, _season(50, slide=12, by=-15.0))
    assert "shorter than the baseline's" in traymorph("drift", folder).stdout
    outcome = traymorph("drift", folder, "--since", "B13")
    assert "38 batches of radish, B13 (" in outcome.stdout
    assert "than the baseline's" not in outcome.stdout
    rows = [r for r in table(folder / "results" / "drift.csv") if r["chart"] == "individuals"]
    held = [row["batch"] for row in rows if row["in_baseline"] == "1"]
    assert held == [f"B{k}" for k in range(13, 33)]
    assert traymorph("drift", folder, "--since", "B99").code == ExitCode.DESIGN


def test_a_strange_batch_stays_in_the_baseline_until_it_is_left_out(tmp_path):
    trays = _season(by=0.0)
    for row in trays:
        if row["batch"] == "B7":
            row["canopy_height_mm"] = "40"
    folder = _folder(tmp_path, trays)
    outcome = traymorph("drift", folder)
    assert "in batch B7" in outcome.stdout
    assert "--leave-out" in outcome.stdout
    traymorph("drift", folder, "--leave-out", "B7")
    rows = [r for r in table(folder / "results" / "drift.csv") if r["chart"] == "individuals"]
    held = {row["batch"]: row for row in rows}
    assert held["B7"]["signal"] == "below"
    assert held["B7"]["in_baseline"] == "0"
    assert held["B21"]["in_baseline"] == "1"
    assert traymorph("drift", folder, "--leave-out", "B99").code == ExitCode.DESIGN


def test_a_written_standard_is_checked_and_its_capability_told(tmp_path):
    text = "crop,metric,lower,upper\nradish,canopy_height_mm,57,66\npea,canopy_height_mm,1,2\n"
    outcome = traymorph("drift", _folder(tmp_path, _season(), standard=text))
    assert "Standard for canopy_height_mm, at least 57.0 mm and at most 66.0 mm:" in outcome.stdout
    assert "batches fail it" in outcome.stdout
    assert "Cpk" in outcome.stdout
    assert "32 batches" in outcome.stdout


def test_a_standard_judges_before_the_first_chart(tmp_path):
    text = "crop,metric,lower,upper\nradish,canopy_height_mm,90,95\n"
    outcome = traymorph("drift", _folder(tmp_path, _season(3), standard=text), "--alarm")
    assert "3 of 3 batches fail it" in outcome.stdout
    assert "the first chart takes 5" in outcome.stderr
    assert outcome.code == ExitCode.SOME_FAILED


def test_a_standard_for_another_crop_is_told(tmp_path):
    text = "crop,metric,lower,upper\nraddish,canopy_height_mm,52,68\n"
    outcome = traymorph("drift", _folder(tmp_path, _season(), standard=text))
    assert "no limits for radish (it has some for raddish in line 2)" in outcome.stderr
    assert "Standard for" not in outcome.stdout


def test_failing_the_standard_is_no_signal_of_a_chart(tmp_path):
    text = "crop,metric,lower,upper\nradish,canopy_height_mm,90,95\n"
    folder = _folder(tmp_path, _season(by=0.0), standard=text)
    lines = traymorph("drift", folder).stdout.splitlines()
    assert lines[1:3] == [
        "The newest batch signals nothing.",
        "The newest batch fails the standard: canopy_height_mm.",
    ]
    assert "no batch beyond the control limits" in lines[3]
    outcome = traymorph("drift", folder, "--alarm", "--json")
    assert outcome.code == ExitCode.SOME_FAILED
    content = json.loads(outcome.stdout)
    assert content["signals_now"] == []
    assert content["fails_standard_now"] == ["canopy_height_mm"]


def test_lines_of_a_standard_that_hold_no_batch_are_named(tmp_path):
    text = (
        "crop,metric,lower,upper\nRadish,canopy_height_mm,50,70\n"
        "radish,stem_length_mm,40,\npea,canopy_height_mm,50,70\n,leaf_l,30,\n"
    )
    folder = _folder(tmp_path, _season(), standard=text)
    told = traymorph("drift", folder).stderr
    assert "standard.csv line 3: stem_length_mm was measured in no tray that is watched" in told
    assert "standard.csv line 4: no tray is of the crop pea" in told
    assert "standard.csv line 5: leaf_l was measured in no tray" in told
    assert told.count("standard.csv") == 3
    assert "line 3" not in traymorph("drift", folder, "--metric", "canopy_height_mm").stderr


def test_pictures_of_an_earlier_run_are_named_as_such(tmp_path):
    folder = _folder(
        tmp_path, [dict(row, leaf_l=f"{40 + k % 7}") for k, row in enumerate(_season())]
    )
    both = traymorph("drift", folder, "--metric", "leaf_l", "--metric", "canopy_height_mm")
    assert "earlier run" not in both.stderr
    one = traymorph("drift", folder, "--metric", "canopy_height_mm")
    assert "Charts of an earlier run, not drawn anew: leaf_l.svg" in one.stderr


def test_a_crops_own_limit_goes_before_one_for_all_and_capitals_do_not_matter(tmp_path):
    text = "crop,metric,lower,upper\n,canopy_height_mm,1,2\nRADISH,canopy_height_mm,90,95\n"
    outcome = traymorph("drift", _folder(tmp_path, _season(), standard=text))
    assert "Standard for canopy_height_mm, at least 90.0 mm and at most 95.0 mm" in outcome.stdout


def test_of_many_moves_the_newest_are_told(tmp_path):
    trays = _season(80, slide=99)
    for k, row in enumerate(trays):
        if k // 3 >= 20 and k // 3 % 6 < 2:
            row["canopy_height_mm"] = "70" if k // 3 % 6 == 0 else "50"
    outcome = traymorph("drift", _folder(tmp_path, trays))
    assert "times before: drift.csv has it all" in outcome.stdout
    assert "in batch B79" in outcome.stdout or "in batch B80" in outcome.stdout
    assert sum("than the baseline's" in line for line in outcome.stdout.splitlines()) == 6


def test_run_rules_are_off_until_a_set_is_named(tmp_path):
    folder = _folder(tmp_path, _season(by=-3.0))
    assert "run rule" not in traymorph("drift", folder).stdout
    assert "run rule nelson:" in traymorph("drift", folder, "--rules", "nelson").stdout


def test_longer_run_lengths_make_wider_limits(tmp_path):
    folder = _folder(tmp_path, _season())
    widths = []
    for length in (100, 1000):
        traymorph("drift", folder, "--run-length", length)
        rows = table(folder / "results" / "drift.csv")
        widths.append([float(next(r for r in rows if r["chart"] == chart)["upper"])
                       for chart in ("ewma", "cusum_up")])  # fmt: skip
    assert widths[0][0] < widths[1][0]
    assert widths[0][1] < widths[1][1]


def test_a_season_that_the_baseline_has_not_seen_is_warned_of(tmp_path):
    trays = _season(60, slide=99)
    for k, row in enumerate(trays):
        row["leaf_hue_deg"] = "" if row["batch"] == "B4" else f"{110 + k * k % 7}"
    outcome = traymorph("drift", _folder(tmp_path, trays))
    # once, although the metrics have other baselines
    assert outcome.stderr.count("a change of season") == 1


def test_only_the_last_day_of_a_tray_counts(tmp_path):
    trays = _season(8, slide=99)
    again = [dict(row, photographed_on=row["sown_on"], canopy_height_mm="9") for row in trays]
    folder = _folder(tmp_path, again + trays)
    traymorph("drift", folder)
    rows = [r for r in table(folder / "results" / "drift.csv") if r["chart"] == "individuals"]
    assert all(float(row["value"]) > 50 for row in rows)


def test_charts_are_drawn_with_limits_signals_and_events(tmp_path):
    folder = _folder(tmp_path, _season(), events="on_date,what\n2026-04-10,pipes < 3 & more\n"
                                                 "2020-01-01,long ago\n")  # fmt: skip
    traymorph("drift", folder)
    path = folder / "results" / "drift" / "canopy_height_mm.svg"
    drawn = ET.fromstring(path.read_text(encoding="utf-8"))  # noqa: S314 - our own file
    words = [text.text or "" for text in drawn.iter("{http://www.w3.org/2000/svg}text")]
    assert "1  pipes < 3 & more (2026-04-10)" in words
    assert not any("long ago" in one for one in words)
    assert {"Mean of each batch, mm", "Moving average (EWMA), mm"} <= set(words)
    rows = table(folder / "results" / "drift.csv")
    red = [r for r in drawn.iter("{http://www.w3.org/2000/svg}rect") if r.get("width") == "8"]
    assert len(red) == sum(bool(row["signal"]) for row in rows) > 0
    points = list(drawn.iter("{http://www.w3.org/2000/svg}circle"))
    # sums that stand at zero have no point
    resting = [r for r in rows if r["chart"].startswith("cusum") and float(r["value"]) == 0.0]
    assert len(red) + len(points) == len(rows) - len(resting)
    left = [p for p in path.parent.iterdir() if p.suffix != ".svg"]
    assert not left, "nothing half-written stays"


def test_packs_and_other_treatments_can_stay_out(tmp_path):
    trays = _season(by=0.0)
    thick = [dict(row, tray_id=f"{row['tray_id']}+", treatment="60 g", canopy_height_mm="90")
             for row in trays]  # fmt: skip
    packs = [dict(row, tray_id=f"P{k}", kind="pack", canopy_height_mm="1")
             for k, row in enumerate(trays)]  # fmt: skip
    folder = _folder(tmp_path, [dict(row, kind="tray") for row in trays + thick] + packs)
    outcome = traymorph("drift", folder)
    assert "96 packs are left out." in outcome.stderr
    assert "Watch one with --treatment" in outcome.stderr
    outcome = traymorph("drift", folder, "--treatment", "30 g")
    assert "--treatment" not in outcome.stderr
    rows = [r for r in table(folder / "results" / "drift.csv") if r["chart"] == "individuals"]
    assert all(50 < float(row["value"]) < 70 for row in rows)


def test_other_ages_are_warned_of(tmp_path):
    trays = _season()
    for row in trays:
        if row["batch"] == "B9":
            row["photographed_on"] = (
                date.fromisoformat(row["sown_on"]) + timedelta(12)
            ).isoformat()
    outcome = traymorph("drift", _folder(tmp_path, trays))
    assert "at ages from 8 to 12 days" in outcome.stderr


def test_a_batch_of_uneven_trays_is_told(tmp_path):
    trays = _season(by=0.0)
    for row in trays:
        if row["tray_id"] == "26-1":
            row["canopy_height_mm"] = str(float(row["canopy_height_mm"]) + 9)
    outcome = traymorph("drift", _folder(tmp_path, trays))
    assert "Trays differ more among themselves than usual in B26" in outcome.stdout


def test_what_signals_now_stands_first_and_what_moved_before_what_did_not(tmp_path):
    trays = _season()
    for k, row in enumerate(trays):
        row["canopy_cover_pct"] = f"{90 + k * k % 7}"
    lines = traymorph("drift", _folder(tmp_path, trays)).stdout.splitlines()
    assert lines[1] == "The newest batch signals: canopy_height_mm."
    assert "The canopy is" in lines[2]
    assert any("canopy_cover_pct: no lasting move" in line for line in lines[3:])


# --- what it refuses


def test_batches_without_a_day_are_named(tmp_path):
    trays = _season()
    for row in trays:
        if row["batch"] in {"B3", "B9"}:
            row.update(sown_on="", photographed_on="")
    outcome = _refused(tmp_path, trays)
    assert outcome.code == ExitCode.LISTS
    assert "without a day: B3, B9" in outcome.stderr


def test_two_batches_with_one_name_are_named(tmp_path):
    trays = _season()
    for row in trays:
        if row["batch"] == "B20":
            row["batch"] = "B2"
    outcome = _refused(tmp_path, trays)
    assert outcome.code == ExitCode.LISTS
    assert "too far apart for one batch: B2 " in outcome.stderr


def test_two_spellings_of_one_batch_are_asked_about(tmp_path):
    trays = _season()
    trays[4]["batch"] = "b2"
    outcome = _refused(tmp_path, trays)
    assert outcome.code == ExitCode.LISTS
    assert "spelling alone: B2, b2" in outcome.stderr


def test_days_out_of_order_are_named(tmp_path):
    trays = _season()
    for row in trays:
        if row["batch"] == "B5":
            row.update(sown_on="2026-03-05", photographed_on="2026-03-13")
        if row["batch"] == "B8":
            row["sown_on"] = "2026-12-01"
    outcome = _refused(tmp_path / "wrong", trays)
    assert outcome.code == ExitCode.LISTS
    assert "photographed before they were sown: B8" in outcome.stderr
    sane = [row for row in trays if row["batch"] != "B8"]
    outcome = traymorph("drift", _folder(tmp_path / "odd", sane))
    assert outcome.code == ExitCode.DONE
    assert "in the order of their days, not of their names: B5 after B15" in outcome.stderr


def test_a_crop_mixed_in_is_refused_until_one_is_named(tmp_path):
    trays = _season()
    for row in trays[4:]:
        if row["tray_id"].endswith("-2"):
            row["crop"] = "pea"
    outcome = _refused(tmp_path, trays)
    assert outcome.code == ExitCode.DESIGN
    assert "mixes crops: pea, radish, in one batch even" in outcome.stderr
    assert traymorph("drift", tmp_path, "--crop", "Radish").code == ExitCode.DONE


@pytest.mark.parametrize(
    ("change", "options", "words"),
    [
        ({"batch": ""}, (), "No tray of the table has a batch"),
        ({"canopy_height_mm": ""}, (), "No metric was measured"),
        ({"canopy_height_mm": "60"}, (), "the same in every batch"),
        ({}, ("--metric", "stem_length_mm"), "stem_length_mm was not measured"),
        (
            {},
            ("--metric", "canopy_hight_mm"),
            "canopy_hight_mm is not a metric.\nPerhaps canopy_height_mm was meant.",
        ),
        ({}, ("--crop", "pea"), "'pea' in the column crop (radish)"),
    ],
)
def test_what_cannot_be_watched_is_refused_in_words(tmp_path, change, options, words):
    outcome = _refused(tmp_path, [dict(row, **change) for row in _season()], *options)
    assert outcome.code == ExitCode.DESIGN
    assert words in outcome.stderr


def test_four_batches_are_too_few_for_a_chart(tmp_path):
    trays = [dict(row, leaf_hue_deg="112") for row in _season(4)]
    outcome = _refused(tmp_path, trays)
    assert outcome.code == ExitCode.DESIGN
    said = "canopy_height_mm, leaf_hue_deg: batches so far: 4; the first chart takes 5"
    assert outcome.stderr.count(said) == 1
    assert outcome.stderr.count("batches so far") == 1


def test_a_place_that_cannot_be_written_is_told(tmp_path):
    folder = _folder(tmp_path, _season())
    (folder / "results" / "drift.csv").mkdir()
    outcome = traymorph("drift", folder)
    assert outcome.code == ExitCode.STORE
    assert "drift.csv cannot be written" in outcome.stderr
    assert not list((folder / "results").glob("*.part"))


def test_bad_lists_are_told_before_anything_is_drawn(tmp_path):
    text = "crop,metric,lower,upper\nradish,canopy_height_mm,68,52\n"
    outcome = _refused(tmp_path / "standard", _season(), standard=text)
    assert outcome.code == ExitCode.LISTS
    assert "wrong way round" in outcome.stderr
    outcome = _refused(tmp_path / "events", _season(), events="on_date,what\nsoon,lamp\n")
    assert outcome.code == ExitCode.LISTS
    assert 'on_date = "soon"' in outcome.stderr


def test_a_folder_that_was_not_measured_is_told_what_to_do(tmp_path):
    outcome = traymorph("drift", tmp_path)
    assert outcome.code == ExitCode.LISTS
    assert "traymorph measure" in outcome.stderr
