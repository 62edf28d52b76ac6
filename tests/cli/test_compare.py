"""`traymorph compare`: from a table of trays and a list of outcomes to sentences, or a refusal."""

import csv
import io
import json
import random
import re

import pytest

from tests.cli.running import table, traymorph
from traymorph.errors import ExitCode

METRICS = ("canopy_cover_pct", "canopy_height_mm", "projected_leaf_area_cm2", "stem_length_mm",
           "bare_stem_mm")  # fmt: skip
SETTINGS = """
[tray]
inside_length_mm = 500
inside_width_mm = 250
[compare]
control = "15 g"
primary = "canopy_height_mm"
[outcomes]
pack_fill_g = 50
price_per_pack = 2.5
cost_per_tray = 3
cost_per_tray_day = 0.2
currency = "EUR"
"""


def _trays(pairs=6):
    """Radish sown thin and dense, side by side in blocks; dense trays are 8 mm taller."""
    draw = random.Random(3)  # noqa: S311 - not for secrets
    rows = []
    for k in range(2 * pairs):
        treatment, taller = ("15 g", 0.0) if k % 2 == 0 else ("30 g", 8.0)
        height = 60 + taller + draw.gauss(0, 1.5)
        rows.append(
            {
                "tray_id": f"T{k + 1:02d}", "crop": "radish", "treatment": treatment,
                "block": str(k // 2 % 3 + 1), "batch": "2026-03", "kind": "tray", "lot": "",
                "sown_on": "2026-03-02", "harvested_on": "2026-03-10",
                "photographed_on": "2026-03-10", "seed_lot": "S7", "shelf": "",
                "rim_above_medium_mm": "12", "cut_above_medium_mm": "5",
                "canopy_cover_pct": f"{80 + draw.gauss(0, 3):.2f}",
                "canopy_height_mm": f"{height:.2f}", "canopy_height_mm_u": "1.2",
                "projected_leaf_area_cm2": f"{10 * height + draw.gauss(0, 20):.1f}",
                "stem_length_mm": f"{height - 15 + draw.gauss(0, 1):.2f}",
                "bare_stem_mm": f"{height - 30 + draw.gauss(0, 1):.2f}",
            }
        )  # fmt: skip
    return rows


def _write(path, rows):
    path.parent.mkdir(parents=True, exist_ok=True)
    text = io.StringIO()
    writer = csv.DictWriter(text, list(dict.fromkeys(name for row in rows for name in row)))
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(text.getvalue(), encoding="utf-8")


def _folder(tmp_path, rows=None, outcomes=(), settings=SETTINGS):
    _write(tmp_path / "results" / "tray_metrics.csv", _trays() if rows is None else rows)
    (tmp_path / "trial.toml").write_text(settings, encoding="utf-8")
    if outcomes:
        _write(tmp_path / "outcomes.csv", outcomes)
    return tmp_path


def _changed(change, pairs=6):
    rows = _trays(pairs)
    for k, row in enumerate(rows):
        row.update(change(k, row))
    return rows


def _weights(rows):
    return [
        {"tray_id": row["tray_id"], "what": "fresh_weight", "unit": "g",
         "value": f"{float(row['canopy_height_mm']) * 6 + k % 3:.1f}"}
        for k, row in enumerate(rows)
    ]  # fmt: skip


# --- what it says


def test_sentences_table_and_file(tmp_path):
    outcome = traymorph("compare", _folder(tmp_path))
    assert outcome.code == ExitCode.DONE, outcome.stderr
    first, sentence = outcome.stdout.splitlines()[:2]
    assert first == "15 g (6 trays), 30 g (6 trays) in 3 blocks"
    assert sentence.startswith("  The canopy is ")
    assert "taller at 30 g than at 15 g" in sentence
    assert "Primary family: canopy_height_mm" in outcome.stdout
    assert "Exploratory family: 4 differences" in outcome.stdout
    rows = {row["metric"]: row for row in table(tmp_path / "results" / "comparison.csv")}
    assert set(rows) == set(METRICS)
    height = rows["canopy_height_mm"]
    assert float(height["ci_low"]) < 8 < float(height["ci_high"])
    assert (height["treatment"], height["control"], height["n_control"]) == ("30 g", "15 g", "6")
    assert rows["canopy_cover_pct"]["difference_pct"] == "", "shares differ by points alone"


def test_small_p_values_are_not_written_as_nought(tmp_path):
    outcome = traymorph("compare", _folder(tmp_path))
    (line,) = (one for one in outcome.stdout.splitlines() if one.startswith("canopy_height_mm"))
    assert line.endswith("<0.001")
    (line,) = (one for one in outcome.stdout.splitlines() if one.startswith("canopy_cover_pct"))
    assert "points" in line


def test_no_per_cent_of_means_that_are_hardly_more_than_their_doubt(tmp_path):
    """Means of 60 and 68 mm, measured to 1.2 mm and to 30 mm."""
    cells = {}
    for u in ("1.2", "30"):
        rows = _changed(lambda _k, _row, u=u: {"canopy_height_mm_u": u})
        outcome = traymorph("compare", _folder(tmp_path / u, rows))
        (line,) = (one for one in outcome.stdout.splitlines() if one.startswith("canopy_height_mm"))
        cells[u] = len(re.findall(r"[+-][\d.]+", line))
    assert cells == {"1.2": 6, "30": 3}, "difference and interval, in mm and in per cent"


def test_json_is_json_and_nothing_else(tmp_path):
    folder = _folder(tmp_path, outcomes=_weights(_trays()))
    outcome = traymorph("compare", folder, "--json")
    content = json.loads(outcome.stdout)
    assert content["replicate"] == "tray"
    assert {row["metric"] for row in content["differences"]} >= {*METRICS, "fresh_weight"}
    assert content["outcomes"]["foretold"]["n"] == 12
    assert "How metrics go with outcomes" in content["outcomes"]["sections"]


def test_margins(tmp_path):
    folder = _folder(tmp_path)
    outcome = traymorph("compare", folder, "--within", "canopy_height_mm=50%")
    assert "within 50 % either way (p" in outcome.stdout
    for wrong in ("canopy_height_mm", "canopy_height_mm=0", "canopy_height_mm=tall"):
        assert traymorph("compare", folder, "--within", wrong).code == ExitCode.USAGE
    unknown = traymorph("compare", folder, "--within", "height=2")
    assert unknown.code == ExitCode.DESIGN
    assert "height is not a metric or outcome" in unknown.stderr


# --- outcomes


def test_outcomes_of_trays_are_compared_like_metrics(tmp_path):
    outcome = traymorph("compare", _folder(tmp_path, outcomes=_weights(_trays())))
    assert outcome.code == ExitCode.DONE, outcome.stderr
    rows = {row["metric"]: row for row in table(tmp_path / "results" / "comparison.csv")}
    names = {"fresh_weight", "yield_g_per_m2", "packs", "g_per_tray_day", "margin_per_tray"}
    assert names <= set(rows)
    weight, area = rows["fresh_weight"], rows["yield_g_per_m2"]
    assert float(area["difference"]) == pytest.approx(8 * float(weight["difference"]), rel=1e-4)
    assert area["difference_pct"] == weight["difference_pct"] != ""
    assert rows["margin_per_tray"]["unit"] == "EUR"
    assert rows["margin_per_tray"]["difference_pct"] == ""
    assert "Fresh weight of a tray is" in outcome.stdout
    assert "fresh_weight with canopy_height_mm: r = 1.00" in outcome.stdout
    assert "one in twenty" in outcome.stdout
    assert "a tray left out is missed by" in outcome.stdout


def test_an_outcome_may_be_the_declared_one(tmp_path):
    settings = SETTINGS.replace("canopy_height_mm", "fresh_weight")
    folder = _folder(tmp_path, outcomes=_weights(_trays()), settings=settings)
    outcome = traymorph("compare", folder)
    assert "Primary family: fresh_weight" in outcome.stdout
    assert outcome.stdout.splitlines()[1].startswith("  Fresh weight of a tray is")


def test_weight_is_not_foretold_from_few_trays(tmp_path):
    rows = _trays(5)
    outcome = traymorph("compare", _folder(tmp_path, rows, _weights(rows)))
    assert "No fresh weight is foretold from the photos: 10 trays" in outcome.stdout


def test_trays_that_were_weighed_but_not_photographed_count(tmp_path):
    rows = _trays()
    folder = _folder(tmp_path, rows[:-2], _weights(rows))
    listed = [{name: cell for name, cell in row.items() if name not in METRICS and
               name != "canopy_height_mm_u"} for row in rows]  # fmt: skip
    _write(folder / "trays.csv", listed)
    assert traymorph("compare", folder).code == ExitCode.DONE
    told = {row["metric"]: row for row in table(folder / "results" / "comparison.csv")}
    assert told["fresh_weight"]["n_control"] == "6"
    assert told["canopy_height_mm"]["n_control"] == "5"


def test_weights_alone_can_be_compared(tmp_path):
    rows = _trays()
    settings = SETTINGS.replace("canopy_height_mm", "fresh_weight")
    folder = _folder(tmp_path, rows, _weights(rows), settings)
    _write(folder / "trays.csv", [{name: row[name] for name in ("tray_id", "crop", "treatment",
                                   "block", "batch")} for row in rows])  # fmt: skip
    (folder / "results" / "tray_metrics.csv").unlink()
    outcome = traymorph("compare", folder)
    assert outcome.code == ExitCode.DONE, outcome.stderr
    assert "Fresh weight of a tray is" in outcome.stdout


def test_lots_are_replicates_of_their_own(tmp_path):
    rows = _changed(lambda k, row: {"lot": f"{row['treatment']} {k % 4 // 2}", "block": ""}, 8)
    lots = sorted({row["lot"] for row in rows})
    outcomes = [{"lot": lot, "what": "fresh_weight", "value": str(1600 + 100 * k), "unit": "g"}
                for k, lot in enumerate(lots)]  # fmt: skip
    outcome = traymorph("compare", _folder(tmp_path, rows, outcomes))
    assert outcome.code == ExitCode.DONE, outcome.stderr
    assert "Lots weighed together" in outcome.stdout
    assert "2 lots a side" in outcome.stdout
    told = {row["metric"]: row for row in table(tmp_path / "results" / "outcomes_lots.csv")}
    assert told["fresh_weight_per_tray"]["n_treatment"] == "2"
    assert told["fresh_weight_per_tray"]["replicate"] == "lot"
    metrics = {row["metric"] for row in table(tmp_path / "results" / "comparison.csv")}
    assert "fresh_weight" not in metrics


def test_one_lot_a_side_is_said_to_show_nothing(tmp_path):
    rows = _changed(lambda _, row: {"lot": row["treatment"]})
    outcomes = [{"lot": lot, "what": "fresh_weight", "value": "2400", "unit": "g"}
                for lot in ("15 g", "30 g")]  # fmt: skip
    outcome = traymorph("compare", _folder(tmp_path, rows, outcomes))
    assert outcome.code == ExitCode.DONE
    assert "Not compared: 15 g, 30 g: one lot only." in outcome.stdout


SENT = {"what": "vitamin_c", "unit": "mg/100 g", "basis": "fresh"}
PANEL = [
    {**SENT, "treatment": "15 g", "value": "60"},
    {**SENT, "treatment": "30 g", "value": "75"},
    {"treatment": "15 g", "what": "moisture", "value": "93", "unit": "%"},
    {"treatment": "30 g", "what": "moisture", "value": "92", "unit": "%"},
]


def test_a_composite_a_side_gets_no_interval_and_no_claim(tmp_path):
    outcome = traymorph("compare", _folder(tmp_path, outcomes=PANEL))
    assert outcome.code == ExitCode.DONE, outcome.stderr
    # +25 % gives the same in 0.8 of a portion: common practice, no source
    assert "(+25 %; 0.8 portions at 30 g give as much as one at 15 g)" in outcome.stdout
    assert "single composite sample" in outcome.stdout
    assert "on dry basis (dry = fresh x 100 / (100 - moisture))" in outcome.stdout
    assert "no claim on vitamin C" in outcome.stdout
    for word in ("accredited laboratory", "local law", "21 CFR 101.54", "1924/2006"):
        assert word in outcome.stdout
    rows = table(tmp_path / "results" / "outcomes_laboratory.csv")
    assert [row["ci_low"] for row in rows] == [""] * len(rows)


def test_keeping_says_the_temperature_and_never_that_it_is_safe(tmp_path):
    rows = _trays()
    outcomes = [
        {"tray_id": row["tray_id"], "what": "days_kept", "value": str(8 + k % 2 * 4 + k // 4),
         "unit": "days", "storage_c": "4", "event": "still_good" if k > 9 else "spoiled"}
        for k, row in enumerate(rows)
    ]  # fmt: skip
    outcome = traymorph("compare", _folder(tmp_path, rows, outcomes))
    assert "Packs at 30 g at 4 °C kept" in outcome.stdout
    assert "Packs at 30 g spoiled later than at 15 g (log-rank p" in outcome.stdout
    assert "Salmonella" in outcome.stdout
    assert table(tmp_path / "results" / "outcomes_keeping.csv")[0]["storage_c"] == "4"


def test_different_temperatures_are_not_compared(tmp_path):
    outcomes = [
        {"tray_id": row["tray_id"], "what": "days_kept", "value": "9", "unit": "days",
         "storage_c": "4" if row["treatment"] == "15 g" else "8", "event": "spoiled"}
        for row in _trays()
    ]  # fmt: skip
    outcome = traymorph("compare", _folder(tmp_path, outcomes=outcomes))
    assert "stored at different temperatures (15 g: 4 °C; 30 g: 8 °C)" in outcome.stdout
    assert "log-rank" not in outcome.stdout


def test_tasting(tmp_path):
    outcomes = [
        {"treatment": "15 g", "what": "triangle_correct", "value": "9", "unit": "1", "n": "12",
         "against": "30 g"},
        {"treatment": "15 g", "what": "triangle_correct", "value": "6", "unit": "1", "n": "12",
         "against": "30 g"},
        {"treatment": "15 g", "what": "paired_preferred", "value": "3", "unit": "1", "n": "20",
         "against": "30 g"},
        *({"treatment": treatment, "what": "crispness", "unit": "points", "taster": f"P{k}",
           "value": str(4 + k % 3 + 2 * (treatment == "30 g") + 0.3 * (k * 7 % 4))
           if treatment == "30 g" else str(4 + k % 3)}
          for k in range(8) for treatment in ("15 g", "30 g")),
    ]  # fmt: skip
    outcome = traymorph("compare", _folder(tmp_path, outcomes=outcomes))
    assert outcome.code == ExitCode.DONE, outcome.stderr
    assert "9 of 12 people picked the odd one" in outcome.stdout
    assert "8 are needed (p = 0.004): they can be told apart." in outcome.stdout
    assert "is not shown, nor that they taste alike" in outcome.stdout
    assert "30 g is preferred" in outcome.stdout
    assert "Crispness is" in outcome.stdout
    assert "8 tasters)" in outcome.stdout
    assert "infection" in outcome.stdout
    assert "Local rules" in outcome.stdout


def test_tables_of_an_earlier_run_do_not_outlive_their_outcomes(tmp_path):
    folder = _folder(tmp_path, outcomes=PANEL)
    traymorph("compare", folder)
    (folder / "outcomes.csv").unlink()
    traymorph("compare", folder)
    assert not (folder / "results" / "outcomes_laboratory.csv").exists()


def test_metrics_not_measured_in_the_same_tray_are_said_once(tmp_path):
    rows = _trays()
    rows[0].update(canopy_height_mm="", stem_length_mm="", bare_stem_mm="")
    outcome = traymorph("compare", _folder(tmp_path, rows))
    assert outcome.stderr.count("not measured in tray T01") == 1
    assert "canopy_height_mm" in outcome.stderr


# --- what it refuses


def _refused(folder, code, *words, arguments=()):
    before = sorted(path.name for path in (folder / "results").glob("*"))
    outcome = traymorph("compare", folder, *arguments)
    assert outcome.code == code, outcome.stderr
    assert outcome.stdout == ""
    for word in words:
        assert word in outcome.stderr
    assert sorted(path.name for path in (folder / "results").glob("*")) == before


def test_of_many_metrics_not_measured_in_the_same_tray_the_number_is_said(tmp_path):
    more = dict.fromkeys(("leaf_l", "leaf_a", "leaf_b", "leaf_chroma", "leaf_hue_deg"), "1")
    rows = _changed(lambda k, _: {**more, "stem_length_mm": "50"} if k else {
        "stem_length_mm": "", **dict.fromkeys(more, "")})  # fmt: skip
    outcome = traymorph("compare", _folder(tmp_path, rows))
    wanted = "6 metrics (leaf_l to stem_length_mm) were not measured in tray T01."
    assert wanted in outcome.stderr


def test_nothing_measured_yet(tmp_path):
    (tmp_path / "results").mkdir()
    _refused(tmp_path, ExitCode.LISTS, "nothing has been measured yet", "traymorph measure")


def test_a_treatment_of_one_tray(tmp_path):
    _refused(_folder(tmp_path, _trays(1)), ExitCode.DESIGN, "one tray only", "at least two")


ALIASED = [
    (lambda _, row: {"block": "A" if row["treatment"] == "15 g" else "B"}, "do not meet in any"),
    (
        lambda _, row: {"photographed_on": "2026-03-10" if row["treatment"] == "15 g" else
                        "2026-03-12", "harvested_on": "", "sown_on": ""},
        "day of the photo differs with the treatment",
    ),
    (
        lambda _, row: {"harvested_on": "2026-03-10" if row["treatment"] == "15 g" else
                        "2026-03-12"},
        "age at harvest or photo differs with the treatment (15 g: 8 days; 30 g: 10 days)",
    ),
    (lambda _, row: {"seed_lot": f"S{row['treatment']}"}, "seed lot differs with the treatment"),
    (lambda k, _: {"crop": "radish" if k < 6 else "pea"}, "mixes crops (pea, radish)"),
    (lambda k, _: {"block": "" if k == 3 else "1"}, "T04: no block is stated"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "words"), ALIASED)
def test_what_cannot_be_told_from_the_treatment(tmp_path, change, words):
    _refused(_folder(tmp_path, _changed(change)), ExitCode.DESIGN, words)


def _eight_or_ten_days(_, row):
    return {"harvested_on": f"2026-03-{10 if row['treatment'] == '15 g' else 12}"}


def test_two_more_days_are_compared_where_days_are_counted(tmp_path):
    rows = _changed(_eight_or_ten_days)
    outcome = traymorph("compare", _folder(tmp_path, rows, _weights(rows)))
    assert outcome.code == ExitCode.DONE, outcome.stderr
    assert "age at harvest or photo differs with the treatment" in outcome.stderr
    assert "Compared is only what counts the days: g_per_tray_day" in outcome.stderr
    told = {row["metric"]: row for row in table(tmp_path / "results" / "comparison.csv")}
    assert set(told) == {"g_per_tray_day", "margin_per_tray"}
    assert float(told["g_per_tray_day"]["difference"]) < 0, "heavier, but not for each day"


@pytest.mark.parametrize(
    ("settings", "change", "words"),
    [
        (SETTINGS.replace("canopy_height_mm", "canopy_hight_mm"), {}, "is not a metric"),
        (SETTINGS, {"seed_lot": None}, "seed lot differs"),
        (SETTINGS, {"sown_on": None}, "age at harvest"),
    ],
)
def test_days_that_count_do_not_excuse_anything_else(tmp_path, settings, change, words):
    rows = _changed(_eight_or_ten_days)
    for row in rows:
        dense = row["treatment"] == "30 g"
        if "seed_lot" in change:
            row["seed_lot"] = f"S{dense}"
        if "sown_on" in change:
            row["sown_on"] = f"2026-03-0{1 + dense}"
    folder = _folder(tmp_path, rows, _weights(rows), settings)
    _refused(folder, ExitCode.DESIGN, words)


def test_one_crop_of_several(tmp_path):
    rows = [*_trays(), *({**row, "tray_id": f"P{k}", "crop": "pea"}
                         for k, row in enumerate(_trays()))]  # fmt: skip
    folder = _folder(tmp_path, rows, _weights(_trays()))
    outcome = traymorph("compare", folder, "--crop", "Radish")
    assert outcome.stdout.startswith("15 g (6 trays), 30 g (6 trays)")
    assert "P1" not in outcome.stderr
    _refused(folder, ExitCode.DESIGN, "'cress'", "pea, radish", arguments=("--crop", "cress"))


@pytest.mark.parametrize(
    ("column", "cells", "metric", "flag"),
    [
        ("rim_above_medium_mm", ("8", "14"), "bare_stem_mm", "fill_differs"),
        ("cut_above_medium_mm", ("5", "9"), "stem_length_mm", "cut_differs"),
        ("cut_above_medium_mm", ("5", ""), "stem_length_mm", "cut_differs"),
    ],
)
def test_fill_and_cut_empty_what_hangs_on_them(tmp_path, column, cells, metric, flag):
    rows = _changed(lambda _, row: {column: cells[row["treatment"] == "30 g"]})
    outcome = traymorph("compare", _folder(tmp_path, rows))
    assert outcome.code == ExitCode.DONE
    told = {row["metric"]: row for row in table(tmp_path / "results" / "comparison.csv")}
    assert (told[metric]["difference"], told[metric]["flags"]) == ("", flag)
    assert told["canopy_height_mm"]["difference"]
    assert metric in outcome.stderr


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"canopy_height_mm"', '"canopy_hight_mm"', "canopy_hight_mm is not a metric or outcome"),
        ('"canopy_height_mm"', '"cover"', "Perhaps canopy_cover_pct was meant"),
        ('"15 g"', '"10 g"', "'10 g' is not among the treatments (15 g, 30 g)"),
        ('control = "15 g"', 'control = "15G"', 'Write control = "15 g" in trial.toml'),
        ('control = "15 g"', 'treatment_column = "light"', "no column light"),
    ],
)
def test_a_question_that_the_table_cannot_answer(tmp_path, old, new, words):
    settings = SETTINGS.replace(old, new)
    _refused(_folder(tmp_path, settings=settings), ExitCode.DESIGN, words)


def test_a_treatment_spelled_two_ways_is_asked_about(tmp_path):
    rows = _changed(lambda k, row: {"treatment": "15g" if k == 2 else row["treatment"]})
    _refused(_folder(tmp_path, rows), ExitCode.LISTS, '"15 g" and "15g" one treatment?')


def test_dates_and_sizes_of_a_table_made_by_hand(tmp_path):
    rows = _trays()
    rows[1]["sown_on"], rows[2]["rim_above_medium_mm"] = "2.3.2026", "deep"
    _refused(
        _folder(tmp_path, rows), ExitCode.LISTS,
        "line 3, sown_on = ", "is not written as year-month-day",
        "line 4, ", "is not a plain number",
    )  # fmt: skip


def test_numbers_of_a_table_made_by_hand(tmp_path):
    rows = _trays()
    rows[1]["canopy_height_mm"], rows[2]["canopy_cover_pct"] = "tall", "140"
    _refused(
        _folder(tmp_path, rows), ExitCode.LISTS,
        'line 3, canopy_height_mm = "tall"', 'line 4, canopy_cover_pct = "140"',
    )  # fmt: skip


def test_every_bad_outcome_is_named_at_once(tmp_path):
    outcomes = _weights(_trays())
    outcomes[0]["value"], outcomes[3]["unit"], outcomes[5]["tray_id"] = "-4", "cups", "T99"
    folder = _folder(tmp_path, outcomes=outcomes)
    _refused(folder, ExitCode.LISTS, "3 problems", "line 2, value", "line 5, unit", "line 7, tray")
