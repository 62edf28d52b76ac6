"""Tasting: exact tests against printed tables, scores with the taster as block."""

import math

import numpy as np
import pytest
import scipy.stats

from tests.stats.findings import asked, tasted
from tests.stats.published import codes, numbers, read
from traymorph.model.outcomes import Kind
from traymorph.stats.outcomes.tasting import (
    at_least,
    compare_scores,
    count_tests,
    smallest_that_counts,
    two_sided_half,
)

COLUMNS = [
    ("triangle_a05", 1 / 3, 0.05),
    ("triangle_a01", 1 / 3, 0.01),
    ("triangle_a001", 1 / 3, 0.001),
    ("paired_1sided_a05", 0.5, 0.05),
    ("paired_1sided_a01", 0.5, 0.01),
    ("paired_1sided_a001", 0.5, 0.001),
    ("paired_2sided_a05", 0.5, 0.025),
    ("paired_2sided_a01", 0.5, 0.005),
]


@pytest.mark.parametrize(("column", "chance", "level"), COLUMNS)
def test_smallest_numbers_of_the_tables(column, chance, level):
    # ISO 4120 (triangle) and the exact binomial rule; data/README.md
    data = read("triangle_paired_min_correct")
    for n, needed in zip(data["n"], data[column], strict=True):
        found = smallest_that_counts(int(n), chance, level)
        # Where not even all of n are enough, the table prints one more than n.
        assert (found or int(n) + 1) == int(needed), f"n = {n}"


@pytest.mark.parametrize(("found", "n"), [(0, 12), (5, 12), (9, 12), (12, 12)])
def test_probabilities_agree_with_scipy(found, n):
    greater = scipy.stats.binomtest(found, n, 1 / 3, alternative="greater")
    assert at_least(found, n, 1 / 3) == pytest.approx(greater.pvalue, rel=1e-9)
    assert two_sided_half(found, n) == pytest.approx(
        scipy.stats.binomtest(found, n, 0.5).pvalue, rel=1e-9
    )


def test_intervals_agree_with_scipy():
    triangle, paired = count_tests([asked(Kind.TRIANGLE, 9, 12), asked(Kind.PAIRED, 0, 20)])
    for one in (triangle, paired):
        exact = scipy.stats.binomtest(one.found, one.n).proportion_ci(0.95, "exact")
        assert (one.share_low, one.share_high) == pytest.approx((exact.low, exact.high), rel=1e-6)
    assert (triangle.needed, paired.needed) == (8, 15)


def test_scores_take_the_taster_as_block():
    # Student's sleep data: R's paired t.test gives t = -4.0621, p = 0.002833,
    # interval -2.45989 to -0.70011
    data = read("sleep")
    rows = [
        tasted(extra, f"drug {group}", f"person {person}")
        for extra, group, person in zip(
            numbers(data["extra"]), codes(data["group"]), codes(data["id"]), strict=True
        )
    ]
    (row,) = compare_scores(rows, "drug 1")
    assert (row.treatment, row.control, row.tasters) == ("drug 0", "drug 1", 10)
    assert row.p == pytest.approx(0.002833, abs=5e-7)
    assert (row.ci_low, row.ci_high) == pytest.approx((-2.45989, -0.70011), abs=6e-6)


def test_several_scores_of_one_taster_are_averaged_and_single_ones_left_out():
    rows = [tasted(5 + k, "a", f"p{k}") for k in range(4)]
    rows += [tasted(6 + k + 0.1 * k, "b", f"p{k}") for k in range(4)]
    doubled = [*rows, *rows, tasted(9, "a", "only a")]
    assert compare_scores(doubled, None) == compare_scores(rows, None)


def test_scores_that_all_differ_alike_have_no_interval():
    rows = [tasted(5 + k / 7 + (side == "b"), side, f"p{k}") for side in "ab" for k in range(5)]
    (row,) = compare_scores(rows, None)
    assert math.isnan(row.ci_low)


def test_nobody_scored_both():
    assert compare_scores([tasted(5, "a", "x"), tasted(6, "b", "y")], None) == ()


def test_treatments_that_no_taster_joins_are_not_compared():
    score = np.random.default_rng(4).normal(5, 1, 12)
    pairs = [("a", "b"), ("c", "d")]
    rows = [
        tasted(score[6 * k + 2 * person + place], name, f"{k}{person}")
        for k, pair in enumerate(pairs)
        for person in range(3)
        for place, name in enumerate(pair)
    ]
    assert all(math.isnan(row.ci_low) for row in compare_scores(rows, "a"))
