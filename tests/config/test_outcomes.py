"""outcomes.csv: weights of cut plants, and the rows that cannot be used."""

from datetime import date

import pytest

from traymorph.config.lists import read_trial
from traymorph.config.settings import Settings
from traymorph.errors import ListError
from traymorph.model.trial import Sample, SampleWeight, TraySize

HEADER = "tray_id,what,value,unit,on_date,note"


def _read(folder, outcomes, *, separator=","):
    for tray in ("A", "B"):
        (folder / "photos" / tray).mkdir(parents=True)
        (folder / "photos" / tray / "board.jpg").write_bytes(b"not looked at here")
    (folder / "trays.csv").write_text(
        "tray_id,crop,treatment,block,batch\nA,pea,dense,1,1\nB,radish,thin,1,1\n"
    )
    (folder / "outcomes.csv").write_text(outcomes.replace(",", separator), encoding="utf-8")
    return {one.tray_id: one for one in read_trial(folder, Settings()).samples}


def test_weights_are_grams_by_tray_and_day(tmp_path):
    samples = _read(
        tmp_path,
        f"{HEADER}\nA,sample_fresh_weight,1.25,g,2026-11-13,\n"
        "A,sample_fresh_weight,900,mg,2026-11-14,second cut\nB,sample_fresh_weight,3,g,,\n",
    )
    assert samples["A"].weights == (
        SampleWeight(1.25, date(2026, 11, 13)),
        SampleWeight(0.9, date(2026, 11, 14)),
    )
    assert samples["B"].weights == (SampleWeight(3.0),)


def test_the_number_weighed_may_be_told(tmp_path):
    text = "tray_id,what,value,unit,n_plants\nA,sample_fresh_weight,1.25,g,14\n"
    assert _read(tmp_path, text)["A"].weights == (SampleWeight(1.25, None, 14),)


def test_a_decimal_comma_is_understood_where_semicolons_separate(tmp_path):
    text = "tray_id,what,value,unit\nA,sample_fresh_weight,1#25,g\n"
    folder_text = text.replace(",", ";").replace("#", ",")
    assert _read(tmp_path, folder_text)["A"].weights == (SampleWeight(1.25),)


def test_rows_on_anything_else_are_left_alone(tmp_path):
    samples = _read(
        tmp_path,
        "tray_id,lot,treatment,batch,what,value,unit,basis,on_date,storage_c,note\n"
        "A,,,,yield,much,punnets,fresh,soon,4,\n,,dense,,taste,7,1,,,,\n"
        "B,,,,sample_fresh_weight,2.5,g,fresh,,,whole sample\n",
    )
    assert samples["A"].weights == ()
    assert samples["B"].weights == (SampleWeight(2.5),)


BAD = [
    ("Z,sample_fresh_weight,1,g,,", ["tray_id", '"Z"', "no tray of this trial"]),
    (",sample_fresh_weight,1,g,,", ["tray_id", "is empty"]),
    ("A,,1,g,,", ["what", "is empty", "sample_fresh_weight"]),
    ("A,Sample fresh weight,1,g,,", ["what", "spelt otherwise", "Write sample_fresh_weight"]),
    ("A,sample_fresh_weight,0,g,,", ["value", '"0"', "more than zero"]),
    ("A,sample_fresh_weight,-2,g,,", ["value", '"-2"', "more than zero"]),
    ("A,sample_fresh_weight,9e999,g,,", ["value", "more than zero"]),
    ("A,sample_fresh_weight,nan,g,,", ["value", "plain number"]),
    ("A,sample_fresh_weight,1.2 g,g,,", ["value", "plain number", "unit in its column"]),
    ('A,sample_fresh_weight,"1,2",g,,', ["value", "decimal comma", "Write 1.2"]),
    ("A,sample_fresh_weight,,g,,", ["value", "is empty"]),
    ("A,sample_fresh_weight,9000,g,,", ["value", "5000 g", "check the unit"]),
    ("A,sample_fresh_weight,1,oz,,", ["unit", '"oz"', "Write g or mg"]),
    ("A,sample_fresh_weight,1,,,", ["unit", "is empty", "Write g or mg"]),
    ("A,sample_fresh_weight,1,g,13.11.2026,", ["on_date", "Write 2026-11-13"]),
]


@pytest.mark.parametrize(("row", "words"), BAD)
def test_a_weight_that_cannot_be_used_is_named(tmp_path, row, words):
    with pytest.raises(ListError) as caught:
        _read(tmp_path, f"{HEADER}\n{row}\n")
    told = str(caught.value)
    assert "outcomes.csv line 2" in told
    for word in words:
        assert word in told


def test_every_bad_row_is_named_at_once(tmp_path):
    rows = "\n".join(row for row, _ in BAD if "1,2" not in row)
    with pytest.raises(ListError) as caught:
        _read(tmp_path, f"{HEADER}\n{rows}\n")
    for line in range(2, 2 + len(BAD) - 1):
        assert f"outcomes.csv line {line}," in str(caught.value)


@pytest.mark.parametrize("count", ["0", "-3", "many", "1.5", "99999999"])
def test_a_number_of_plants_that_cannot_be_meant(tmp_path, count):
    text = f"tray_id,what,value,unit,n_plants\nA,sample_fresh_weight,1,g,{count}\n"
    with pytest.raises(ListError, match="n_plants"):
        _read(tmp_path, text)


def test_two_weights_of_one_tray_and_day_contradict(tmp_path):
    rows = "A,sample_fresh_weight,1,g,2026-11-13,\n" * 2
    with pytest.raises(ListError, match="line 2 already"):
        _read(tmp_path, f"{HEADER}\n{rows}")


def test_a_list_that_says_of_nothing_what_it_is_about(tmp_path):
    with pytest.raises(ListError, match=r"none of the columns tray_id, lot"):
        _read(tmp_path, "what,value,unit\nyield,2,kg\n")


DAY, NEXT = date(2026, 11, 13), date(2026, 11, 14)


@pytest.mark.parametrize(
    ("weights", "day", "grams"),
    [
        ([SampleWeight(1.0, DAY)], DAY, 1.0),
        ([SampleWeight(1.0, DAY)], NEXT, None),
        ([SampleWeight(1.0, DAY)], None, 1.0),
        ([SampleWeight(1.0)], DAY, 1.0),
        ([SampleWeight(1.0, DAY), SampleWeight(2.0, NEXT)], NEXT, 2.0),
        ([SampleWeight(1.0, DAY), SampleWeight(2.0)], NEXT, None),
        ([], DAY, None),
    ],
)
def test_which_weight_is_that_of_a_day(weights, day, grams):
    sample = Sample("A", "tray", TraySize(), None, weights=tuple(weights))
    found = sample.weight_on(day)
    assert (found.grams if found else None) == grams


def test_an_undated_weight_is_not_that_of_two_days():
    sample = Sample("A", "tray", TraySize(), None, weights=(SampleWeight(1.0),))
    assert sample.weight_on(DAY, only_day=False) is None
    dated = Sample("A", "tray", TraySize(), None, weights=(SampleWeight(1.0, DAY),))
    assert dated.weight_on(DAY, only_day=False).grams == 1.0
