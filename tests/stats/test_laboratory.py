"""Laboratory panels: bases, portions, values below a limit, and when a claim is not borne."""

import math

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from tests.stats.findings import found
from traymorph.model.outcome_results import Content
from traymorph.stats.outcomes.laboratory import (
    CLAIM_RULES,
    compare_panel,
    dry_from_fresh,
    fresh_from_dry,
    judge_claim,
    mirrored,
    portions_for_same,
)

EU, CHINA = CLAIM_RULES


@pytest.mark.parametrize(("more", "portions"), [(25, 0.8), (60, 0.625), (-20, 1.25)])
def test_portions_that_give_the_same(more, portions):
    # common practice, no source: one over one plus the difference
    assert portions_for_same(more) == pytest.approx(portions, abs=1e-12)


@pytest.mark.parametrize(("moisture", "fresh"), [(95.25, 4.75), (92.35, 7.65)])
def test_dry_content_of_radish_as_fresh(moisture, fresh):
    # Dry matter of radish microgreens is published as 4.75 to 7.65 %: 100 mg/100 g of dry weight
    # are 4.75 to 7.65 mg/100 g of fresh weight.
    assert fresh_from_dry(100.0, moisture) == pytest.approx(fresh, abs=1e-9)
    assert dry_from_fresh(fresh, moisture) == pytest.approx(100.0, abs=1e-9)


def test_equal_dry_content_looks_61_per_cent_higher_through_dryness_alone():
    panel = [
        found("vitamin_c", 100.0, "moist", basis="dry"),
        found("vitamin_c", 100.0, "firm", basis="dry"),
        found("moisture", 95.25, "moist", unit="%", basis=""),
        found("moisture", 92.35, "firm", unit="%", basis=""),
    ]
    dry, fresh = (row for row in compare_panel(panel, "moist") if row.analyte == "vitamin_c")
    assert (dry.basis, dry.converted, dry.difference_pct) == ("dry", False, pytest.approx(0.0))
    assert (fresh.basis, fresh.converted) == ("fresh", True)
    assert fresh.difference_pct == pytest.approx(61.1, abs=0.05)


def test_no_conversion_where_moisture_is_unknown_for_one_side():
    panel = [
        found("vitamin_c", 60.0, "a"),
        found("vitamin_c", 70.0, "b"),
        found("moisture", 93.0, "a", unit="%", basis=""),
    ]
    assert not any(row.converted for row in compare_panel(panel, None))


def test_a_composite_analysed_three_times_is_one_sample():
    panel = [found("iron", value, side) for side in "ab" for value in (1.0, 1.1, 1.2)]
    (row,) = compare_panel(panel, None)
    assert (row.n_treatment, row.n_control, row.composite, row.single) == (1, 1, True, True)
    assert row.mean_treatment == pytest.approx(1.1)
    assert math.isnan(row.ci_low)
    assert math.isnan(row.p)


def test_analyses_of_one_lot_are_averaged_before_lots_are_compared():
    panel = [
        found("iron", value, side, f"{side}{lot}")
        for side, base in (("a", 1.0), ("b", 1.5))
        for lot in range(3)
        for value in (base + 0.1 * lot - 0.02, base + 0.1 * lot + 0.02)
    ]
    (row,) = compare_panel(panel, "a")
    assert (row.n_treatment, row.n_control, row.composite) == (3, 3, False)
    # SciPy as reference library
    told = scipy.stats.ttest_ind([1.5, 1.6, 1.7], [1.0, 1.1, 1.2], equal_var=False)
    interval = told.confidence_interval()
    assert row.p == pytest.approx(told.pvalue, rel=1e-6)
    assert (row.ci_low, row.ci_high) == pytest.approx((interval.low, interval.high), rel=1e-6)
    ratio = scipy.stats.gmean([1.5, 1.6, 1.7]) / scipy.stats.gmean([1.0, 1.1, 1.2])
    assert row.difference_pct == pytest.approx(100 * (ratio - 1), rel=1e-9)
    assert row.portions == pytest.approx(1 / ratio, rel=1e-9)


def test_below_the_limit_the_difference_lies_between_bounds():
    panel = [
        found("lead", 0.5, "a", below_limit=True),
        found("lead", 2.0, "b"),
    ]
    (row,) = compare_panel(panel, "a")
    assert (row.difference_low, row.difference_high) == (1.5, 2.0)
    assert math.isnan(row.difference)
    assert math.isnan(row.difference_pct)


def test_rows_without_a_treatment_are_left_out():
    assert compare_panel([found("iron", 1.0, ""), found("iron", 2.0, "a")], None) == ()


def test_p_values_are_adjusted_over_the_panel():
    panel = [
        found(analyte, base + step + 0.3 * lot, side, f"{side}{lot}")
        for analyte, base in (("iron", 1.0), ("zinc", 3.0))
        for side, step in (("a", 0.0), ("b", 1.0))
        for lot in range(3)
    ]
    rows = compare_panel(panel, None)
    assert [row.p_adjusted for row in rows] == pytest.approx(2 * np.array([row.p for row in rows]))


def _content(**more):
    held = {
        "analyte": "polyphenols", "unit": "mg/100 g", "basis": "fresh", "converted": False,
        "treatment": "a", "control": "b", "n_treatment": 4, "n_control": 4,
        "difference_pct": 40.0, "p_adjusted": 0.01,
    }  # fmt: skip
    return Content(**{**held, **more})


def test_a_claim_needs_a_difference_a_threshold_and_one_basis():
    # Regulation (EC) No 1924/2006, Annex: "increased", at least 30 %; GB 28050-2011: 25 %
    assert (EU.more_pct, CHINA.more_pct) == (30.0, 25.0)
    assert judge_claim(_content(), EU).missing == ""
    assert "chance" in judge_claim(_content(p_adjusted=0.06), EU).missing
    assert "chance" in judge_claim(_content(p_adjusted=math.nan), EU).missing
    assert "basis" in judge_claim(_content(basis=""), EU).missing
    assert "single" in judge_claim(_content(n_control=1), EU).missing
    assert "vitamins" in judge_claim(_content(analyte="vitamin_c"), EU).missing
    assert judge_claim(_content(analyte="vitamin_c"), CHINA).missing == ""


def test_twelve_per_cent_more_is_data_but_no_claim():
    for rule in CLAIM_RULES:
        assert judge_claim(_content(difference_pct=12.0), rule).missing


@given(st.floats(-90, 900), st.floats(0.01, 20))
def test_the_other_way_round_twice_is_the_same(pct, portions):
    row = _content(difference_pct=pct, ci_low_pct=pct - 5, ci_high_pct=pct + 5, portions=portions,
                   difference=1.0, ci_low=0.5, ci_high=1.5)  # fmt: skip
    twice = mirrored(mirrored(row))
    assert twice.difference_pct == pytest.approx(pct, abs=1e-6)
    assert (twice.ci_low, twice.ci_high, twice.treatment) == (0.5, 1.5, "a")
    assert portions_for_same(pct) * portions_for_same(mirrored(row).difference_pct) == (
        pytest.approx(1.0)
    )
