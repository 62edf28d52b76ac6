"""Findings sorted by how sure they are; nothing that could be compared is left out."""

import dataclasses
from math import nan

from hypothesis import given
from hypothesis import strategies as st

from traymorph.model.comparison import Comparison, Difference, Question
from traymorph.report.findings import findings, missing_metrics, treatments_in_words

_SHOWN = Difference(
    "bare_stem_mm", "mm", "60 g", "120 g", 6, 6, -9.0, -12.0, -6.0, -18.0, -24.0, -11.0,
    p=0.001, p_adjusted=0.004, family="exploratory",
)  # fmt: skip
_ASKED = dataclasses.replace(_SHOWN, metric="stem_length_mm", family="primary")
_HINT = dataclasses.replace(_SHOWN, metric="leaf_layer_mm", p=0.03, p_adjusted=0.31)
_UNTOLD = dataclasses.replace(
    _SHOWN, metric="stem_to_leaf_ratio", unit="1", difference=0.1, ci_low=-0.3, ci_high=0.5,
    difference_pct=nan, ci_low_pct=nan, ci_high_pct=nan, p=0.5, p_adjusted=1.0,
)  # fmt: skip
_EMPTY = Difference("blade_count", "1", "60 g", "120 g", 1, 1, flags=("too_few_replicates",))


def _comparison(*rows):
    return Comparison(Question(), {"120 g": 6, "60 g": 1}, "tray", 3, rows)


def test_each_difference_stands_in_its_group():
    found = findings(_comparison(_UNTOLD, _HINT, _SHOWN, _ASKED, _EMPTY))
    assert [one.split(" are")[0] for one in found.asked] == ["Stems"]
    assert [one.split(" is")[0] for one in found.shown] == ["Bare stem"]
    hint, caution = found.hints
    assert hint.endswith("6 trays a side); adjusted p = 0.31.")
    assert caution.startswith("It is among 3 differences looked at")
    assert found.untold == ("stem for each leaf area, seen from the side: 0.3 less to 0.5 more",)


def test_what_was_declared_is_told_whatever_came_out():
    declared = dataclasses.replace(_UNTOLD, family="primary")
    (said,) = findings(_comparison(declared)).asked
    assert said.startswith("Whether stem for each leaf area")


def test_several_pairs_are_named():
    other = dataclasses.replace(_UNTOLD, treatment="30 g")
    found = findings(_comparison(_UNTOLD, other))
    assert "(60 g against 120 g)" in found.untold[0]
    assert "(30 g against 120 g)" in found.untold[1]


@given(
    st.lists(
        st.tuples(st.sampled_from([_SHOWN, _HINT, _UNTOLD, _ASKED]), st.floats(0.0, 1.0)),
        max_size=8,
    )
)
def test_nothing_that_could_be_compared_is_left_out(kinds):
    rows = [dataclasses.replace(row, p_adjusted=p) for row, p in kinds]
    found = findings(_comparison(*rows))
    told = len(found.asked) + len(found.shown) + len(found.untold) + max(len(found.hints) - 1, 0)
    assert told == len(rows)


def test_metrics_of_no_pair_by_reason():
    half = dataclasses.replace(_EMPTY, metric="bare_stem_mm")
    assert missing_metrics(_comparison(_SHOWN, half, _EMPTY)) == {
        "too_few_replicates": ["blade_count"]
    }


def test_treatments_with_their_replicates():
    assert treatments_in_words(_comparison()) == "120 g (6 trays), 60 g (1 tray) in 3 blocks"
