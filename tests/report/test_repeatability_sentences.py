"""What is said of the measuring never says more than the figures do."""

import numpy as np
import pytest

from traymorph.model.repeatability import Repeats
from traymorph.report.repeatability_sentences import (
    amount,
    cautions,
    per_cent,
    repeatability_sentences,
)
from traymorph.stats.measuring.repeat_designs import Cells, find_design
from traymorph.stats.measuring.repeatability import study_metric


def crossed(trays, operators, repeats, batches=0):
    tray, operator, _ = np.indices((trays, operators, repeats)).reshape(3, -1)
    return Cells(tray, operator, tray * batches // trays if batches else None)


def study(values, cells, u=np.nan):
    doubts = np.full(len(values), u)
    return study_metric(("canopy_height_mm", "mm"), values, doubts, cells, find_design(cells))


def who(names, operators):
    none = np.zeros(0, np.intp)
    return Repeats(none, none, (), none, names, np.array(operators), (), none)


def test_amounts_and_shares_keep_what_they_say():
    assert amount(0.01234, "cm2") == "0.012 cm²"
    assert amount(1234.5, "mm2") == "1234 mm²"
    assert amount(2.345, "deg") == "2.3°"
    assert amount(3.0, "%") == "3.0 points"
    assert amount(0.05, "1") == "0.050"
    assert (per_cent(0.2), per_cent(99.8), per_cent(0.0), per_cent(100.0)) == (
        "less than 1 %", "over 99 %", "0 %", "100 %",
    )  # fmt: skip


def test_batches_and_trays_are_told_apart():
    draw = np.random.default_rng(3)
    cells = crossed(12, 1, 2, batches=4)
    values = draw.normal(0, 3, 4)[cells.batch] + draw.normal(0, 2, 12)[cells.tray]
    said = repeatability_sentences(study(values + draw.normal(0, 1, 24), cells))[0]
    assert "from how batches differ" in said
    assert "from how trays differ" in said
    assert "who photographs" not in said


def test_what_was_reckoned_below_nought_is_said_to_be():
    said = repeatability_sentences(study(np.array([1.0, -1.0] * 4), crossed(4, 1, 2)))
    assert "0 % from how trays differ (reckoned below 0, taken as 0)" in said[0]
    assert "100 % comes from measuring" in said[0]
    assert "it tells no sizes apart" in said[2]
    assert len(said) == 3, "no doubt is stated, so none is judged"


def test_what_averaging_cannot_take_off_is_named():
    draw = np.random.default_rng(6)
    cells = crossed(10, 2, 2)
    values = draw.normal(0, 2, 20)[cells.cell] + draw.normal(0, 0.2, 40)
    said = repeatability_sentences(study(values, cells))
    assert "from how people and single trays go together" in said[0]


def test_few_repeats_leave_the_doubt_open():
    draw = np.random.default_rng(5)
    cells = crossed(4, 1, 2)
    said = repeatability_sentences(study(draw.normal(0, 5, 4)[cells.tray] + draw.normal(size=8),
                                         cells, 0.9))  # fmt: skip
    assert "so few repeats leave open whether the stated doubt covers that" in said[-1]


@pytest.mark.parametrize(
    ("cells", "repeats", "said"),
    [
        (crossed(8, 1, 3), who(("Ana", "Ben"), [1]), "Only Ben took part"),
        (crossed(8, 1, 3), who((), [0]), "No row has an operator"),
        (Cells(np.repeat(np.arange(8), 3), np.repeat(np.arange(8) // 4, 3)),
         who(("Ana", "Ben"), [0, 1]), "No tray was photographed by two people"),
        (crossed(8, 3, 2), who(("a", "b", "c"), [0, 1, 2]), "3 people or phones tell little"),
        (crossed(8, 4, 1), who(tuple("abcd"), [0]), "Nobody photographed a tray twice"),
        (crossed(3, 1, 3), who((), [0]), "9 measurements of 3 trays are few"),
        (crossed(8, 2, 2).only(np.arange(1, 32)), who(("a", "b"), [0]), "Not every tray"),
    ],
)  # fmt: skip
def test_what_weakens_a_study_is_said(cells, repeats, said):
    held = study(np.random.default_rng(2).normal(size=len(cells.tray)), cells)
    assert any(said in one for one in cautions([held], repeats, ()))


def test_a_sound_study_needs_no_caution():
    cells = crossed(10, 4, 3)
    held = study(np.random.default_rng(2).normal(size=120), cells)
    assert cautions([held], who(tuple("abcd"), [0]), ("15 g",)) == ()
