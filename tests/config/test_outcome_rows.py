"""outcomes.csv for a comparison: what is understood, and every cell that cannot be meant."""

import math
import re
from datetime import date
from pathlib import Path

import pytest

from traymorph.config.outcome_rows import read_outcomes
from traymorph.config.outcome_words import plain_unit
from traymorph.config.spellings import other_spelling, spelt_two_ways
from traymorph.errors import ExitCode, ListError
from traymorph.model.outcomes import Kind, Subject
from traymorph.model.trial import Sample, TraySize

COLUMNS = (
    "tray_id", "lot", "treatment", "batch", "what", "value", "unit", "basis", "on_date",
    "storage_c", "note", "taster", "n", "event", "against",
)  # fmt: skip


def _sample(tray, treatment, *, lot="", batch="1", kind="tray"):
    columns = {"tray_id": tray, "treatment": treatment, "lot": lot, "batch": batch}
    return Sample(tray, kind, TraySize(), None, columns)


SAMPLES = (
    _sample("A", "60 g", lot="L1"),
    _sample("B", "120 g", lot="L2", batch="2"),
    _sample("C", "60 g", lot="L1"),
    _sample("D", "60 g", lot="mixed"),
    _sample("E", "120 g", lot="mixed"),
    _sample("P1", "60 g", lot="L1", kind="pack"),
)


def _line(**cells):
    assert set(cells) <= set(COLUMNS)
    return ",".join(str(cells.get(name, "")) for name in COLUMNS)


def _text(*rows):
    return "\n".join([",".join(COLUMNS), *(_line(**row) for row in rows)]) + "\n"


def _read(folder, text, samples=SAMPLES):
    (folder / "outcomes.csv").write_text(text, encoding="utf-8")
    return read_outcomes(folder / "outcomes.csv", samples, "treatment").findings


WEIGHED = {"tray_id": "A", "what": "fresh_weight", "value": "412", "unit": "g"}
ANALYSED = {"treatment": "60 g", "what": "vitamin_c", "value": "61", "unit": "mg/100 g",
            "basis": "fresh"}  # fmt: skip
KEPT = {"tray_id": "P1", "what": "days_kept", "value": "9", "unit": "days", "storage_c": "4",
        "event": "spoiled"}  # fmt: skip
SCORED = {"tray_id": "A", "what": "keeping_score", "value": "7", "unit": "points",
          "on_date": "2026-11-20"}  # fmt: skip
TASTED = {"treatment": "60 g", "what": "triangle_correct", "value": "9", "unit": "1", "n": "12",
          "against": "120 g"}  # fmt: skip


def test_a_weight_of_a_tray(tmp_path):
    (one,) = _read(tmp_path, _text({**WEIGHED, "on_date": "2026-11-13", "basis": "fresh"}))
    assert (one.kind, one.subject) == (Kind.TRAY, Subject("tray_id", "A", "60 g", "A"))
    assert (one.value, one.unit, one.on_date) == (412.0, "g", date(2026, 11, 13))


def test_weights_are_grams(tmp_path):
    # international avoirdupois pound, 1959: 453.59237 g exactly
    rows = [{**WEIGHED, "tray_id": tray, "value": "1", "unit": unit}
            for tray, unit in (("A", "kg"), ("B", "lb"), ("C", "oz"))]  # fmt: skip
    assert [one.value for one in _read(tmp_path, _text(*rows))] == pytest.approx(
        [1000.0, 453.59237, 453.59237 / 16]
    )


def test_contents_are_in_the_unit_of_the_first_row(tmp_path):
    rows = [
        ANALYSED,
        {**ANALYSED, "treatment": "120 g", "value": "610", "unit": "mg/kg"},
        {**ANALYSED, "treatment": "120 g", "value": "0.061", "unit": "g/100 g"},
    ]
    found = _read(tmp_path, _text(*rows))
    assert [one.value for one in found] == pytest.approx([61.0, 61.0, 61.0])
    assert {one.unit for one in found} == {"mg/100 g"}


@pytest.mark.parametrize(
    ("written", "unit"),
    [("µg/100g", "ug/100 g"), ("μg/g", "ug/g"), ("mg per 100 g", "mg/100 g"), ("MG/KG", "mg/kg"),
     ("Percent", "%"), ("grams", "g"), ("d", "days"), ("cm²", "cm2")],
)  # fmt: skip
def test_units_as_people_write_them(written, unit):
    assert plain_unit(written) == unit


def test_below_the_limit(tmp_path):
    (one,) = _read(tmp_path, _text({**ANALYSED, "value": "< 0.5"}))
    assert (one.below_limit, one.value) == (True, 0.5)


def test_a_pack_stands_for_its_lot(tmp_path):
    (one,) = _read(tmp_path, _text({**KEPT, "event": "still_good"}))
    assert (one.kind, one.subject.replicate) == (Kind.KEEPING, "L1")
    assert (one.still_good, one.storage_c) == (True, 4.0)


def test_each_kind_is_told_from_name_unit_and_basis(tmp_path):
    rows = [
        WEIGHED,
        ANALYSED,
        {"lot": "L1", "what": "moisture", "value": "93", "unit": "%"},
        {"batch": "2", "what": "protein", "value": "3", "unit": "%", "basis": "fresh"},
        {"tray_id": "A", "what": "germination", "value": "91", "unit": "%"},
        KEPT,
        SCORED,
        TASTED,
        {**TASTED, "what": "paired_preferred"},
        {"treatment": "60 g", "what": "crispness", "value": "7", "unit": "points",
         "taster": "Ana"},
    ]  # fmt: skip
    assert [one.kind for one in _read(tmp_path, _text(*rows))] == [
        Kind.TRAY, Kind.LABORATORY, Kind.LABORATORY, Kind.LABORATORY, Kind.TRAY, Kind.KEEPING,
        Kind.KEEPING_SCORE, Kind.TRIANGLE, Kind.PAIRED, Kind.TASTE_SCORE,
    ]  # fmt: skip


def test_weights_of_cut_plants_are_left_to_measuring(tmp_path):
    row = {**WEIGHED, "what": "sample_fresh_weight", "unit": "furlong"}
    assert _read(tmp_path, _text(row)) == ()


def test_several_cuts_of_one_tray_need_their_days(tmp_path):
    cuts = [{**WEIGHED, "on_date": f"2026-11-{day}"} for day in (13, 20)]
    assert len(_read(tmp_path, _text(*cuts))) == 2


def test_a_decimal_comma_is_understood_where_semicolons_separate(tmp_path):
    (one,) = _read(tmp_path, "tray_id;what;value;unit\nA;fresh_weight;412,5;g\n")
    assert one.value == 412.5


BAD = [
    ({**WEIGHED, "tray_id": "Z"}, ["tray_id", '"Z"', "no tray of this trial", "A, B, C"]),
    ({**WEIGHED, "tray_id": "a"}, ["tray_id", '"a"', 'elsewhere spelt "A"', "not merged"]),
    ({**WEIGHED, "tray_id": ""}, ["tray_id", "is empty"]),
    ({**WEIGHED, "lot": "L1"}, ["names tray_id and lot", "what the row is about"]),
    ({**WEIGHED, "tray_id": "", "lot": "L9"}, ["lot", '"L9"', "no lot of this trial"]),
    ({**WEIGHED, "tray_id": "", "lot": "mixed"}, ["lot", "several treatments (60 g, 120 g)"]),
    ({**WEIGHED, "tray_id": "", "treatment": "60 g"}, ["whole treatment", "each tray"]),
    ({**ANALYSED, "treatment": "60g"}, ["treatment", '"60g"', 'elsewhere spelt "60 g"']),
    ({**ANALYSED, "treatment": "thin"}, ["treatment", '"thin"', "no treatment"]),
    ({**WEIGHED, "what": ""}, ["what", "is empty"]),
    ({**WEIGHED, "what": "Fresh weight"}, ["what", "spelt otherwise", "Write fresh_weight"]),
    ({**WEIGHED, "what": "fresh_wieght"}, ["what", "Write fresh_weight"]),
    ({**WEIGHED, "what": "canopy_cover_pct"}, ["what", "name of the results"]),
    ({**WEIGHED, "what": "yield_g_per_m2"}, ["what", "name of the results"]),
    ({**WEIGHED, "what": "2nd"}, ["what", "is no name"]),
    ({**WEIGHED, "unit": "punnets"}, ["unit", '"punnets"', "not a known unit", "kg"]),
    ({**WEIGHED, "unit": ""}, ["unit", "is empty"]),
    ({**WEIGHED, "unit": "days"}, ["unit", "no unit of fresh_weight", "Its unit is g"]),
    ({**WEIGHED, "value": ""}, ["value", "is empty"]),
    ({**WEIGHED, "value": "-3"}, ["value", '"-3"', "less than zero"]),
    ({**WEIGHED, "value": "9e999"}, ["value", "endless"]),
    ({**WEIGHED, "value": "nan"}, ["value", "plain number"]),
    ({**WEIGHED, "value": "412 g"}, ["value", "unit in its column"]),
    ({**WEIGHED, "value": '"412,5"'}, ["value", "decimal comma", "Write 412.5"]),
    ({**WEIGHED, "value": "80", "unit": "kg"}, ["value", "50 kg", "unit"]),
    ({**WEIGHED, "value": "<5"}, ["value", "Only a laboratory"]),
    ({**WEIGHED, "what": "seed_weight", "value": "0"}, ["value", "more than zero"]),
    ({**WEIGHED, "on_date": "13.11.2026"}, ["on_date", "Write 2026-11-13"]),
    ({**WEIGHED, "on_date": "46339"}, ["on_date", "Write 2026-11-13"]),
    ({**ANALYSED, "basis": "wet"}, ["basis", '"wet"', "fresh or dry"]),
    ({**ANALYSED, "basis": ""}, ["basis", "is empty", "fresh or dry"]),
    ({**ANALYSED, "value": "<"}, ["value", "is empty"]),
    ({**ANALYSED, "what": "moisture", "value": "930", "unit": "%"}, ["value", "100 %"]),
    ({**ANALYSED, "what": "moisture", "unit": "mg/kg"}, ["unit", "Its unit is %"]),
    ({**KEPT, "event": ""}, ["event", "is empty", "still_good"]),
    ({**KEPT, "event": "bad"}, ["event", '"bad"', "spoiled or still_good"]),
    ({**KEPT, "value": "400"}, ["value", "more than a year"]),
    ({**KEPT, "storage_c": "39"}, ["storage_c", "If degrees Fahrenheit were meant, write 3.9"]),
    ({**KEPT, "storage_c": "-20"}, ["storage_c", "Give degrees Celsius"]),
    ({**KEPT, "storage_c": "cold"}, ["storage_c", "plain number"]),
    ({**SCORED, "on_date": ""}, ["on_date", "is empty", "which day"]),
    ({**SCORED, "tray_id": "", "treatment": "60 g"}, ["whole treatment", "Name the tray"]),
    ({**TASTED, "n": ""}, ["n", "is empty", "how many people"]),
    ({**TASTED, "value": "13"}, ["value", "more than the 12 tests"]),
    ({**TASTED, "value": "8.5"}, ["value", "whole number"]),
    ({**TASTED, "against": ""}, ["against", "is empty"]),
    ({**TASTED, "against": "60 g"}, ["against", "treatment itself"]),
    ({**TASTED, "against": "120g"}, ["against", 'spelt "120 g"']),
    ({**TASTED, "treatment": "", "tray_id": "A"}, ["is not what was tasted"]),
]


@pytest.mark.parametrize(("row", "words"), BAD)
def test_a_row_that_cannot_be_used_is_named(tmp_path, row, words):
    with pytest.raises(ListError) as caught:
        _read(tmp_path, _text(row))
    assert caught.value.exit_code is ExitCode.LISTS
    told = str(caught.value)
    assert "outcomes.csv line 2" in told
    for word in words:
        assert word in told


def test_every_bad_row_is_named_at_once(tmp_path):
    rows = [row for row, _ in BAD]
    with pytest.raises(ListError) as caught:
        _read(tmp_path, _text(*rows))
    for line in range(2, 2 + len(rows)):
        assert f"outcomes.csv line {line}," in str(caught.value)


def test_two_bases_of_one_analyte_contradict(tmp_path):
    rows = [ANALYSED, {**ANALYSED, "treatment": "120 g", "basis": "dry"}]
    with pytest.raises(ListError, match=r"line 3, basis = \"dry\": differs from fresh in line 2"):
        _read(tmp_path, _text(*rows))


def test_a_mixture_and_its_parts_contradict(tmp_path):
    rows = [ANALYSED, {**ANALYSED, "treatment": "", "lot": "L1"}]
    with pytest.raises(ListError, match=r"line 3, lot = \"L1\": vitamin_c .* line 2.*overlap"):
        _read(tmp_path, _text(*rows))


def test_the_example_of_the_commands_page_is_a_list(tmp_path):
    page = (Path(__file__).parents[2] / "docs" / "commands.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"^```\n(tray_id,lot,treatment,what.*?)^```$", page, re.M | re.S)
    samples = [
        _sample("T01", "60 g"), _sample("T02", "120 g"), _sample("T03", "60 g", lot="L7"),
        _sample("P01", "60 g", kind="pack"), _sample("P02", "120 g", kind="pack"),
    ]  # fmt: skip
    assert {one.kind for one in _read(tmp_path, example, samples)} == set(Kind)


def test_units_of_one_outcome_that_cannot_be_converted_contradict(tmp_path):
    rows = [
        {"tray_id": tray, "what": "vigour", "value": "3", "unit": unit}
        for tray, unit in (("A", "points"), ("B", "mm"))
    ]
    with pytest.raises(ListError, match='line 3, unit = "mm": differs from points in line 2'):
        _read(tmp_path, _text(*rows))


def test_two_weights_of_one_tray_contradict(tmp_path):
    with pytest.raises(ListError, match=r"line 3, tray_id = \"A\": has fresh_weight in line 2"):
        _read(tmp_path, _text(WEIGHED, WEIGHED))


def test_a_list_that_says_of_nothing_what_it_is_about(tmp_path):
    with pytest.raises(ListError, match="none of the columns tray_id, lot"):
        _read(tmp_path, "what,value,unit\nfresh_weight,2,kg\n")


def test_spellings_are_asked_about():
    (question,) = spelt_two_ways(["60 g", "60g", "120 g", ""], "treatment")
    assert '"60 g" and "60g" one treatment?' in question
    assert "not merged" in question
    assert spelt_two_ways(["60 g", "160 g"], "treatment") == []
    assert other_spelling("1,5 G", ["1.5 g"]) == "1.5 g"
    assert other_spelling("60 g", ["60 g"]) is None


def test_no_temperature_is_no_number(tmp_path):
    (one,) = _read(tmp_path, _text({**KEPT, "storage_c": ""}))
    assert math.isnan(one.storage_c)
