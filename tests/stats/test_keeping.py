"""Keeping: medians and tests with packs that were still good, and how fast things change."""

import math

import numpy as np
import pytest
import scipy.stats

from tests.stats.findings import kept, looked
from tests.stats.published import numbers, read
from traymorph.model.comparison import TrayTable
from traymorph.stats.outcomes.keeping import (
    compare_fading,
    compare_keeping,
    logrank_scores,
    looks_of_packs,
    looks_of_scores,
    median_days,
    unequal_temperatures,
)


def _gehan():
    data = read("gehan_leukaemia")
    return data["treatment"], numbers(data["weeks"]), numbers(data["event"]) == 0


def test_medians_of_gehan():
    # textbooks print 23 and 8 weeks; from memory
    group, weeks, going_on = _gehan()
    for name, median in (("6-MP", 23), ("control", 8)):
        own = np.array([one == name for one in group])
        assert median_days(weeks[own], going_on[own]) == median


def test_log_rank_of_gehan():
    # R: survdiff(Surv(time, cens) ~ treat, MASS::gehan) prints chi-square 16.8; from memory
    group, weeks, going_on = _gehan()
    packs = [
        kept(days, name, f"{name}{k}", still_good=bool(good))
        for k, (name, days, good) in enumerate(zip(group, weeks, going_on, strict=True))
    ]
    _, (pair,) = compare_keeping(packs, "control")
    assert scipy.stats.chi2.isf(pair.p_logrank, 1) == pytest.approx(16.79, abs=0.005)
    assert pair.sooner < 0
    assert math.isnan(pair.p_permutation), "21 a side need no permutation beside them"


def test_scores_add_up_to_observed_less_expected():
    # the same data: 9 seen and 19.25 expected with 6-MP (survdiff's table, from memory)
    group, weeks, going_on = _gehan()
    scores = logrank_scores(weeks, ~going_on)
    assert scores.sum() == pytest.approx(0.0, abs=1e-9)
    own = np.array([one == "6-MP" for one in group])
    assert scores[own].sum() == pytest.approx(9 - 19.25, abs=0.005)


def test_a_median_that_is_not_reached_is_empty():
    assert math.isnan(median_days([5, 9, 9], [False, True, True]))
    assert median_days([5, 9], [False, True]) == 5


def test_three_a_side_cannot_go_below_one_in_ten():
    packs = [kept(4 + k, "a", f"a{k}") for k in range(3)]
    packs += [kept(14 + k, "b", f"b{k}") for k in range(3)]
    _, (pair,) = compare_keeping(packs, None)
    assert pair.p_logrank < 0.05, "the approximation alone would call it"
    assert pair.smallest_p_permutation == pytest.approx(0.1)
    assert pair.p_adjusted == pytest.approx(0.1)


@pytest.mark.slow
def test_false_alarms_stay_at_their_level():
    # Five packs a side of one spread of lives, whole days, watching ends after nine of them
    draw, alarms, runs = np.random.default_rng(5), 0, 400
    for _ in range(runs):
        days = np.ceil(draw.weibull(3.0, 10) * 8.0)
        packs = [
            kept(min(life, 9.0), "ab"[k % 2], f"lot {k}", still_good=bool(life > 9.0))
            for k, life in enumerate(days)
        ]
        _, (pair,) = compare_keeping(packs, None)
        alarms += pair.p_adjusted <= 0.05
    assert 0 < alarms / runs <= 0.05 + 2 * np.sqrt(0.05 * 0.95 / runs)


def test_packs_of_one_lot_are_one_replicate():
    packs = [kept(9 + k, side, f"lot {side}") for side in "ab" for k in range(6)]
    told, (pair,) = compare_keeping(packs, None)
    assert [(one.replicates, one.packs) for one in told] == [(1, 6), (1, 6)]
    assert math.isnan(pair.p)


def test_nothing_spoiled_gives_no_p():
    packs = [kept(9, side, f"{side}{k}", still_good=True) for side in "ab" for k in range(3)]
    told, (pair,) = compare_keeping(packs, None)
    assert math.isnan(pair.p)
    assert all(math.isnan(one.median_days) for one in told)


def test_each_temperature_stands_by_itself():
    packs = [
        kept(9 + k - degrees, side, f"{side}{k}", storage_c=degrees)
        for side in "ab"
        for k in range(3)
        for degrees in (1.0, 4.0)
    ]
    told, pairs = compare_keeping(packs, None)
    assert [one.storage_c for one in told] == [1.0, 1.0, 4.0, 4.0]
    assert [pair.storage_c for pair in pairs] == [1.0, 4.0]
    assert unequal_temperatures(packs) == ""


def test_treatments_stored_at_different_temperatures_are_refused():
    packs = [kept(9, "a", "a1", storage_c=4.0), kept(9, "b", "b1", storage_c=8.0)]
    assert "a: 4 °C; b: 8 °C" in unequal_temperatures(packs)
    packs = [kept(9, "a", "a1"), kept(9, "b", "b1", storage_c=math.nan)]
    assert "not stated" in unequal_temperatures(packs)


def test_change_per_day_is_the_slope_of_each_replicate():
    looks = looks_of_scores(
        [
            looked(9 - rate * day, 1 + day, side, f"{side}{k}")
            for side, rates in (("a", (1.0, 1.2, 1.1)), ("b", (0.5, 0.6, 0.7)))
            for k, rate in enumerate(rates)
            for day in (0, 2, 4)
        ]
    )
    (row,) = compare_fading(looks, "a")
    told = scipy.stats.ttest_ind([-0.5, -0.6, -0.7], [-1.0, -1.2, -1.1], equal_var=False)
    assert row.per_day_control == pytest.approx(-1.1)
    assert row.difference == pytest.approx(0.5)
    assert row.p == pytest.approx(told.pvalue, rel=1e-6)


def test_one_look_a_replicate_gives_no_change():
    looks = looks_of_scores([looked(9, 1, side, f"{side}{k}") for side in "ab" for k in range(3)])
    assert compare_fading(looks, None) == ()


def test_packs_photographed_day_by_day_are_looks():
    rows = [(side, f"{side}{k}", day) for side in "ab" for k in range(2) for day in (1, 5)]
    table = TrayTable(
        {
            "tray_id": tuple(name for _, name, _ in rows),
            "treatment": tuple(side for side, _, _ in rows),
            "kind": ("pack",) * len(rows),
            "lot": tuple(name for _, name, _ in rows),
            "photographed_on": tuple(f"2026-01-0{day}" for _, _, day in rows),
        },
        {"pack_yellowed_pct": np.arange(len(rows), dtype=np.float64)},
        {"pack_yellowed_pct": np.full(len(rows), np.nan)},
        (frozenset(),) * len(rows),
        {"pack_yellowed_pct": "%"},
    )
    looks = looks_of_packs(table, "treatment")
    assert len(looks) == len(rows)
    (row,) = compare_fading(looks, None)
    assert (row.what, row.unit, row.n_treatment) == ("pack_yellowed_pct", "%", 2)
    assert row.per_day_treatment == pytest.approx(0.25)
