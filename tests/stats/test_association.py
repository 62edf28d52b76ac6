"""How metrics go with outcomes: against SciPy, and against published intervals."""

import numpy as np
import pytest
import scipy.stats

from traymorph.model.comparison import TrayTable
from traymorph.stats.outcomes.association import metrics_with_outcomes, pearson, ranks
from traymorph.stats.outcomes.foretell import FEWEST_TRAYS, foretell
from traymorph.stats.replicates import find_replicates


def _table(**values):
    n = len(next(iter(values.values())))
    numbers = {name: np.asarray(column, dtype=np.float64) for name, column in values.items()}
    return TrayTable(
        {"tray_id": tuple(f"T{k}" for k in range(n)), "treatment": ("a", "b") * (n // 2)},
        numbers,
        {name: np.full(n, np.nan) for name in numbers},
        (frozenset(),) * n,
        {"fresh_weight": "g"},
    )


def _going(table):
    replicates = find_replicates(table, "treatment", None)
    return metrics_with_outcomes(table, replicates, ["canopy_height_mm"], ["fresh_weight"])


def test_both_coefficients_agree_with_scipy():
    draw = np.random.default_rng(1)
    x = draw.normal(60, 5, 20).round(0)
    y = 3 * x + draw.normal(0, 10, 20)
    (one,) = _going(_table(canopy_height_mm=x, fresh_weight=y))
    told = scipy.stats.pearsonr(x, y)
    interval = told.confidence_interval(0.95)
    assert one.pearson == pytest.approx(told.statistic, rel=1e-12)
    assert (one.pearson_low, one.pearson_high) == pytest.approx(
        (interval.low, interval.high), rel=1e-9
    )
    assert one.spearman == pytest.approx(scipy.stats.spearmanr(x, y).statistic, rel=1e-12)
    assert one.spearman_low < one.spearman < one.spearman_high


def test_ties_share_their_rank():
    values = np.array([3.0, 1.0, 3.0, 2.0, 3.0, 1.0])
    assert ranks(values) == pytest.approx(scipy.stats.rankdata(values))


def test_intervals_by_ranks_hold_their_level():
    # Bonett & Wright 2000: close to 95 % for normal data with coefficients up to 0.95
    draw, true, inside, runs = np.random.default_rng(7), 0.6, 0, 600
    expected = 6 / np.pi * np.arcsin(true / 2)
    for _ in range(runs):
        x = draw.normal(size=30)
        y = true * x + np.sqrt(1 - true**2) * draw.normal(size=30)
        (one,) = _going(_table(canopy_height_mm=x, fresh_weight=y))
        inside += one.spearman_low <= expected <= one.spearman_high
    assert inside / runs == pytest.approx(0.95, abs=0.03)


def test_too_few_trays_or_no_spread_say_nothing():
    assert _going(_table(canopy_height_mm=range(4), fresh_weight=range(4))) == ()
    assert _going(_table(canopy_height_mm=[1] * 8, fresh_weight=range(8))) == ()
    assert np.isnan(pearson(np.ones(5), np.arange(5.0)))


def test_trays_that_lack_one_of_both_are_left_out():
    x = np.arange(10.0)
    y = np.array([2.0, 1, 4, 3, 6, 5, 8, 7, np.nan, np.nan])
    (one,) = _going(_table(canopy_height_mm=x, fresh_weight=y))
    assert one.n == 8


def _weighed(n, seed=2, noise=10.0):
    draw = np.random.default_rng(seed)
    area, height = draw.normal(700, 60, n), draw.normal(60, 5, n)
    weight = 0.3 * area + 1.5 * height + draw.normal(0, noise, n)
    return area, height, weight


def _foretold(area, height, weight):
    table = _table(projected_leaf_area_cm2=area, canopy_height_mm=height, fresh_weight=weight)
    return foretell(table, find_replicates(table, "treatment", None), "fresh_weight")


def test_error_is_that_of_trays_left_out_in_turn():
    area, height, weight = _weighed(16)
    model = _foretold(area, height, weight)
    missed, of_mean = [], []
    for k in range(16):
        others = np.arange(16) != k
        x = np.column_stack([np.ones(16), area, height])
        factors = np.linalg.lstsq(x[others], weight[others], rcond=None)[0]
        missed.append(weight[k] - x[k] @ factors)
        of_mean.append(weight[k] - weight[others].mean())
    assert model.error == pytest.approx(np.sqrt(np.mean(np.square(missed))), rel=1e-9)
    assert model.error_of_mean == pytest.approx(np.sqrt(np.mean(np.square(of_mean))), rel=1e-9)
    assert model.useful


def test_eleven_trays_are_not_enough():
    area, height, weight = _weighed(12)
    weight[0] = np.nan
    model = _foretold(area, height, weight)
    assert "11 trays" in model.missing
    assert str(FEWEST_TRAYS) in model.missing


def test_what_the_photos_do_not_tell_is_said_to_be_no_better_than_the_mean():
    area, height, weight = _weighed(16)
    model = _foretold(area, height, np.random.default_rng(11).permutation(weight))
    assert not model.useful


def test_a_tray_unlike_those_weighed_is_not_foretold():
    area, height, weight = _weighed(16)
    weight[:2] = np.nan
    area[0], area[1], height[1] = 5000.0, 700.0, 60.0
    model = _foretold(area, height, weight)
    assert model.trays == ("T0", "T1")
    assert np.isnan(model.values[0])
    assert model.values[1] == pytest.approx(0.3 * 700 + 1.5 * 60, abs=15)


def test_one_metric_is_enough_where_the_other_was_not_measured():
    area, _, weight = _weighed(16)
    model = _foretold(area, np.full(16, np.nan), weight)
    assert model.predictors == ("projected_leaf_area_cm2",)
