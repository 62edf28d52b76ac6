"""Sentences of a comparison: what they say, and that they never say more than the interval."""

import dataclasses
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traymorph.model.comparison import Comparison, Difference, Question
from traymorph.model.metrics import METRICS
from traymorph.report.sentences import probability, sentence, sentences, words_of

STEMS = Difference(
    "stem_length_mm", "mm", "60 g", "120 g", 6, 6, -9.0, -12.0, -6.0, -18.0, -24.0, -11.0,
    p=0.001, p_adjusted=0.001, family="primary",
)  # fmt: skip


def _comparison(*rows, unit="tray", level=0.95):
    return Comparison(Question(level=level), {}, unit, 0, rows)


def _said(row, **more):
    return sentence(row, _comparison(row, **more), 1)


def test_a_size_in_per_cent():
    assert _said(STEMS) == (
        "Stems are 18 % shorter at 60 g than at 120 g (95 % interval 11 to 24 %, 6 trays a side)."
    )


def test_a_share_in_points():
    row = Difference("canopy_cover_pct", "%", "net", "120 g", 6, 5, 7.0, 1.2, 12.8)
    assert _said(row) == (
        "Cover is 7 points higher with net than at 120 g (95 % interval 1 to 13 points, 6 and 5 "
        "trays)."
    )


def test_trays_that_differ_less_than_they_can_be_measured():
    flags = ("spread_under_doubt",)
    row = Difference("canopy_cover_pct", "%", "net", "120 g", 3, 3, 8.2, 8.0, 8.3,
                     measuring_u=1.95, flags=flags)  # fmt: skip
    assert "(95 % interval 8.00 to 8.30 points, 3 trays a side; measuring alone ± 3 points)" in (
        _said(row)
    )
    relative = dataclasses.replace(
        STEMS, n_treatment=3, n_control=3, mean_control=50.0, measuring_u=4.0, flags=flags
    )
    assert "3 trays a side; measuring alone ± 13 %)" in _said(relative)


def test_one_point_is_a_point():
    row = Difference("canopy_cover_pct", "%", "a", "b", 6, 6, 1.0, -3.0, 7.0)
    assert "anything from 3 points lower" in _said(row)
    low = dataclasses.replace(row, ci_low=-1.0, ci_high=7.0)
    assert "anything from 1 point lower" in _said(low)


def test_an_interval_over_nought_says_that_nothing_is_told():
    row = Difference("canopy_cover_pct", "%", "a", "b", 6, 6, 2.0, -3.0, 7.0)
    said = _said(row)
    assert said.startswith("Whether cover is higher or lower with a than with b, these trays do")
    assert "from 3 points lower to 7 points higher" in said


def test_one_of_many_is_a_hint():
    row = dataclasses.replace(STEMS, family="exploratory", p_adjusted=0.31)
    said = sentence(row, _comparison(row), 12)
    assert said.endswith(
        "It is one of 12 differences looked at, and among so many chance alone shows one now and "
        "then (adjusted p = 0.31): take it as a hint."
    )


@pytest.mark.parametrize(
    ("p_within", "words"),
    [(0.01, "is within 5 % either way (p = 0.010)"), (0.2, "is not shown")],
)
def test_within_a_margin(p_within, words):
    row = dataclasses.replace(STEMS, margin=5.0, margin_in_percent=True, p_within=p_within)
    assert words in _said(row)


def test_the_declared_metric_comes_first_and_what_has_no_interval_not_at_all():
    other = dataclasses.replace(STEMS, metric="bare_stem_mm", family="exploratory")
    empty = Difference("leaf_layer_mm", "mm", "a", "b", 6, 1)
    told = sentences(_comparison(other, empty, STEMS))
    assert [one.split(" is ")[0].split(" are ")[0] for one in told] == ["Stems", "Bare stem"]


@pytest.mark.parametrize(("p", "text"), [(0.0, "p < 0.001"), (0.0004, "p < 0.001"),
                                         (0.0234, "p = 0.023"), (0.31, "p = 0.31")])  # fmt: skip
def test_probabilities(p, text):
    assert probability(p) == text


@pytest.mark.parametrize("name", METRICS)
def test_every_metric_has_words_of_its_own(name):
    spec = METRICS[name]
    words = words_of(name, spec.unit)
    assert words.subject.endswith((" is", " are"))
    assert words.more != words.less
    assert name not in words.subject


@pytest.mark.parametrize(
    ("name", "said"), [("vitamin_c", "Vitamin C is"), ("carotene_b", "Carotene b is")]
)
def test_names_as_one_says_them(name, said):
    assert words_of(name, "mg/kg").subject == said


def test_an_outcome_of_one_s_own():
    words = words_of("germination", "%")
    assert (words.subject, words.unit) == ("Germination is", "points")


finite = st.floats(-500, 500).filter(lambda x: x == 0 or abs(x) > 1e-4)


@given(finite, finite, finite)
def test_never_more_than_the_interval(one, two, three):
    low, middle, high = sorted((one, two, three))
    row = Difference("stem_width_mm", "mm", "a", "b", 6, 6, middle, low, high)
    said = _said(row)
    tells = low > 0 or high < 0
    assert tells == (not said.startswith("Whether"))
    if tells:
        assert ("thicker" in said) == (low > 0)
        assert ("thinner" in said) == (high < 0)
        near, far = (float(x) for x in re.search(r"interval ([\d.]+) to ([\d.]+)", said).groups())
        assert near > 0, "a bound that is not nought is not written as nought"
        assert near <= far
        assert near == pytest.approx(min(abs(low), abs(high)), rel=0.5, abs=0.5 * (high - low))
        assert far == pytest.approx(max(abs(low), abs(high)), rel=0.5, abs=0.5 * (high - low))


def test_rounding_noise_is_not_written_out():
    row = dataclasses.replace(
        STEMS, difference_pct=100.00000000000003, ci_low_pct=99.99999999999993,
        ci_high_pct=100.00000000000011,
    )  # fmt: skip
    assert "100.0 %" in _said(row)
    assert "0000" not in _said(row)
