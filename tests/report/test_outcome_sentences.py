"""Sentences on outcomes: laboratory, keeping, tasting, and how metrics go with them."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from traymorph.model.outcome_results import (
    Claim,
    ClaimRule,
    Content,
    Counted,
    Fading,
    Foretold,
    Going,
    Kept,
    KeptPair,
    Scored,
)
from traymorph.model.outcomes import Kind
from traymorph.report.outcome_sentences import (
    CLAIMS_CAUTION,
    KEEPING_CAUTION,
    TASTING_CAUTION,
    foretold_sentences,
    going_sentences,
    keeping_sentences,
    laboratory_sentences,
    tasting_sentences,
)

IRON = Content(
    "iron", "mg/100 g", "fresh", converted=False, treatment="30 g", control="15 g",
    n_treatment=4, n_control=4, mean_treatment=1.5, mean_control=1.2, difference=0.3, ci_low=0.1,
    ci_high=0.5, difference_pct=25.0, ci_low_pct=8.0, ci_high_pct=45.0, portions=0.8, p=0.01,
    p_adjusted=0.01,
)  # fmt: skip
COMPOSITE = dataclasses.replace(
    IRON, n_treatment=1, n_control=1, composite=True, ci_low=math.nan, ci_high=math.nan,
    ci_low_pct=math.nan, ci_high_pct=math.nan, p=math.nan, p_adjusted=math.nan,
)  # fmt: skip


def _analysed(*contents, claims=()):
    return laboratory_sentences(contents, claims, 0.95)


def test_a_content_with_its_interval_and_portions():
    said, caution = _analysed(IRON)
    assert said == (
        "Iron is 25 % higher at 30 g than at 15 g (95 % interval 8 to 45 %, 4 samples a side). "
        "Means, fresh basis: 1.5 and 1.2 mg/100 g; 0.8 portions (0.69 to 0.93) at 30 g give as "
        "much as one at 15 g."
    )
    assert caution == CLAIMS_CAUTION


def test_no_portions_where_nothing_is_told():
    row = dataclasses.replace(IRON, ci_low_pct=-8.0, ci_low=-0.1)
    said = _analysed(row)[0]
    assert said.startswith("Whether iron is higher or lower")
    assert "portions" not in said


def test_a_sample_that_held_nothing_leaves_the_unit():
    row = dataclasses.replace(IRON, ci_low_pct=math.nan, ci_high_pct=math.nan)
    assert _analysed(row)[0].startswith("Iron is 0.30 mg/100 g higher at 30 g than at 15 g")


def test_a_composite_is_called_that():
    said = _analysed(COMPOSITE)[0]
    assert "a single composite sample" in said
    assert "no interval" in said
    assert "95 %" not in said
    single = dataclasses.replace(COMPOSITE, composite=False)
    assert "is a single sample" in _analysed(single)[0]


def test_below_the_limit():
    row = dataclasses.replace(COMPOSITE, difference_low=-0.5, difference_high=1.5)
    assert "from -0.5 to 1.5 mg/100 g" in _analysed(row)[0]


def test_the_other_basis_shows_its_formula():
    other = dataclasses.replace(IRON, basis="dry", converted=True)
    said = _analysed(IRON, other)
    assert said[1].startswith("The same on dry basis (dry = fresh x 100 / (100 - moisture))")


def test_large_contents_have_no_exponent():
    row = dataclasses.replace(COMPOSITE, mean_treatment=1959.0, mean_control=940.0)
    assert "1959 mg/100 g at 30 g, 940 mg/100 g at 15 g" in _analysed(row)[0]


RULE = ClaimRule("somewhere", "a rule", 25.0, "only on Mondays")


def test_no_claim_says_why_and_a_claim_defers_to_local_law():
    refused = _analysed(IRON, claims=[Claim(IRON, RULE, "it is not 25 % more")])[1]
    assert refused == (
        "somewhere (a rule: at least 25 % more): no claim on iron with 30 g, for it is not 25 % "
        "more."
    )
    reached = _analysed(IRON, claims=[Claim(IRON, RULE, "")])[1]
    assert "25 % more; the interval begins at 8 %" in reached
    assert "only on Mondays" in reached
    assert "local law" in reached


PAIR = KeptPair("30 g", "15 g", 4.0, 5, 5, -4.0, 0.003, 0.008, 0.008, 0.016)


def _keeping(kept=(), pairs=(), fading=(), refused=""):
    return keeping_sentences(kept, pairs, fading, refused, 0.95)


def test_days_kept():
    said = _keeping([Kept("30 g", 4.0, 5, 6, 1, 13.0, 14.0)])
    assert said[0] == (
        "Packs at 30 g at 4 °C kept 13 days in the median (6 packs of 5 trays or lots, 1 still "
        "good when watching ended)."
    )
    assert said[-1] == KEEPING_CAUTION
    unknown = _keeping([Kept("30 g", math.nan, 5, 5, 4, math.nan, 14.0)])
    assert "fewer than half were found spoiled within 14 days" in unknown[0]
    assert "storage_c" in unknown[1]


@pytest.mark.parametrize(
    ("sooner", "p", "words"),
    [
        (-4.0, 0.016, "Packs at 30 g spoiled later than at 15 g"),
        (4.0, 0.016, "Packs at 30 g spoiled sooner than at 15 g"),
        (4.0, 0.06, "Whether 30 g and 15 g keep alike, these packs do not tell"),
    ],
)
def test_keeping_of_two_treatments(sooner, p, words):
    pair = dataclasses.replace(PAIR, sooner=sooner, p_adjusted=p)
    assert _keeping(pairs=[pair])[0].startswith(words)


def test_few_packs_say_what_they_could_have_shown():
    pair = dataclasses.replace(PAIR, p_permutation=0.1, smallest_p_permutation=0.1, p_adjusted=0.1)
    assert "So few cannot give less than p = 0.10." in _keeping(pairs=[pair])[0]
    nothing = KeptPair("30 g", "15 g", 4.0, 1, 1)
    assert "is not compared" in _keeping(pairs=[nothing])[0]


def test_families_are_named_where_several_p_values_stand():
    assert "Laboratory family: 2 differences, adjusted together (Holm)." in _analysed(IRON, IRON)
    assert not any("family" in one for one in _analysed(IRON))
    assert "Keeping family: 2 differences, adjusted together (Holm)." in _keeping(pairs=[PAIR] * 2)


def test_change_per_day():
    row = Fading("keeping_score", "points", "30 g", "15 g", 5, 5, -0.45, -0.65, 0.2, 0.1, 0.3,
                 0.001, 0.001)  # fmt: skip
    assert _keeping(fading=[row])[0] == (
        "Change per day of keeping score is 0.20 points higher at 30 g than at 15 g (95 % interval "
        "0.10 to 0.30 points, 5 packs a side). Means: -0.45 and -0.65 points a day."
    )


def _count(kind, found, n, p):
    return Counted(kind, "a", "b", found, n, 8, p, 0.2, 0.6)


def test_tests_of_tasting():
    apart, alike, liked, undecided, *_, caution = tasting_sentences(
        [
            _count(Kind.TRIANGLE, 9, 12, 0.004),
            _count(Kind.TRIANGLE, 6, 12, 0.18),
            _count(Kind.PAIRED, 3, 20, 0.003),
            _count(Kind.PAIRED, 9, 20, 0.82),
        ],
        [],
        0.95,
    )
    assert apart.endswith("they can be told apart.")
    assert alike.endswith("is not shown, nor that they taste alike.")
    assert liked.endswith("b is preferred.")
    assert undecided.endswith("no preference is shown.")
    assert caution == TASTING_CAUTION


def test_scores():
    row = Scored("crispness", "a", "b", 8, 1.5, 0.5, 2.5, 0.01, 0.01)
    said = tasting_sentences([], [row], 0.95)
    assert said[0].startswith("Crispness is 1.5 points higher with a than with b")
    assert "8 tasters)" in said[0]
    empty = Scored("crispness", "a", "b", 8)
    assert "not compared" in tasting_sentences([], [empty], 0.95)[0]


def test_going_together_is_not_bringing_about():
    one = Going("canopy_height_mm", "fresh_weight", 14, 0.9, 0.7, 0.97, 0.88, 0.6, 0.96)
    unclear = dataclasses.replace(one, spearman_low=-0.1)
    told = " ".join(going_sentences([one, unclear]))
    assert told.count("r = ") == 1
    assert "2 pairs were looked at" in told
    for word in ("cause", "because", "effect", "leads to", "due to"):
        assert word not in told
    assert "No metric clearly goes" in going_sentences([unclear])[0]


def test_a_model_is_told_with_the_error_of_trays_left_out():
    model = Foretold("fresh_weight", "g", ("canopy_height_mm",), 14, 12.0, 33.0, "", (),
                     np.array([]))  # fmt: skip
    assert "a tray left out is missed by 12 g" in foretold_sentences(model)[0]
    poor = dataclasses.replace(model, error=40.0)
    assert "do not foretell fresh weight better than its mean" in foretold_sentences(poor)[0]
    none = Foretold("fresh_weight", "g", n=5, missing="5 trays have both")
    assert foretold_sentences(none)[0].startswith("No fresh weight is foretold from the photos: 5")


numbers = st.floats(-80, 300).filter(lambda x: x == 0 or abs(x) > 0.01)


@given(numbers, numbers, numbers)
def test_a_direction_only_where_the_interval_has_one(one, two, three):
    low, middle, high = sorted((one, two, three))
    row = dataclasses.replace(
        IRON, difference=middle, ci_low=low, ci_high=high, difference_pct=middle,
        ci_low_pct=low, ci_high_pct=high,
    )  # fmt: skip
    said = _analysed(row)[0]
    assert said.startswith("Whether") == (low <= 0 <= high)
    assert ("portions" in said) == (low > 0 or high < 0)


def test_nothing_here_calls_food_safe():
    told = " ".join((CLAIMS_CAUTION, KEEPING_CAUTION, TASTING_CAUTION)).casefold()
    assert "is safe" not in told
    assert "not about safety" in KEEPING_CAUTION
    assert all("local " in one.casefold() for one in (CLAIMS_CAUTION, KEEPING_CAUTION))
