"""Control charts against printed examples and tables. Sources of the data: ``data/README.md``."""

import numpy as np
import pytest
from scipy import stats

from tests.stats.published import numbers, read
from traymorph.model.drift import ABOVE, BELOW
from traymorph.stats.drift.baseline import Level, batches_to_false_alarm, lag_one, level_of, trend
from traymorph.stats.drift.capability import capability
from traymorph.stats.drift.charts import (
    cusums,
    ewma,
    individuals,
    moving_ranges,
    self_starting,
    within,
)
from traymorph.stats.drift.control_constants import control_constants
from traymorph.stats.drift.cusum import self_starting_scores, tabular_cusum
from traymorph.stats.drift.ewma import half_width, moving_average
from traymorph.stats.drift.moves import find_moves
from traymorph.stats.drift.run_rules import run_signals


def draws(n, seed=1):
    return np.random.default_rng(seed).standard_normal(n)


# --- constants


@pytest.mark.parametrize("n", range(2, 11))
def test_constants_are_those_of_the_printed_table(n):
    # ASTM's manual on presentation of data and control chart analysis; Montgomery, appendix VI
    printed = {name: float(cells[n - 2]) for name, cells in read("control_chart_constants").items()}
    got = control_constants(n)
    assert got.c4 == pytest.approx(printed["c4"], abs=5.1e-5)
    for name, value in (("A2", got.a2), ("d2", got.d2), ("d3", got.d3), ("D3", got.lower_range),
                        ("B3", got.lower_sd), ("B4", got.upper_sd)):  # fmt: skip
        assert value == pytest.approx(printed[name], abs=5.1e-4), name
    # D4 of three is printed 2.574 and is 2.5746
    assert got.upper_range == pytest.approx(printed["D4"], abs=6.1e-4)


# --- NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2


def test_individuals_of_the_nist_handbook():
    # 6.3.2.2: mean 50.81, mean moving range 1.8778, limits 45.8159 and 55.8041, in control.
    values = numbers(read("nist_individuals_6322")["x"])
    level = level_of(values)
    assert level.centre == pytest.approx(50.81, abs=5e-5)
    assert level.mean_range == pytest.approx(1.8778, abs=5e-5)
    chart = individuals(values, level)
    assert chart.upper[0] == pytest.approx(55.8041, abs=1e-4)
    assert chart.lower[0] == pytest.approx(45.8159, abs=1e-4)
    assert not any(chart.signals)


def test_ewma_of_the_nist_handbook():
    # 6.3.2.4: target 50, s = 2.0539, lambda 0.3: limits 52.5884 and 47.4115 (printed cut off)
    data = read("nist_ewma_6324")
    got = moving_average(numbers(data["x"]), 50.0, 0.3)
    np.testing.assert_allclose(got, numbers(data["ewma_printed"]), atol=5.1e-3)
    away = half_width(2.0539, 0.3, 3.0)
    assert 50.0 + away == pytest.approx(52.5884, abs=1e-4)
    assert 50.0 - away == pytest.approx(47.4115, abs=1e-4)


def test_cusum_of_the_nist_handbook():
    # 6.3.2.3: target 325, k = 0.3175, h = 4.1959: above it from group 14 to the end
    data = read("nist_cusum_6323")
    above, below = tabular_cusum(numbers(data["x"]), 325.0, 0.3175)
    # printed with two decimals, some of them cut off
    np.testing.assert_allclose(above, numbers(data["S_hi_printed"]), atol=5.2e-3)
    np.testing.assert_allclose(below, numbers(data["S_lo_printed"]), atol=5.2e-3)
    assert np.flatnonzero(above > 4.1959).tolist() == list(range(13, 20))
    assert above[-1] == pytest.approx(19.04, abs=5.1e-3)


def test_capability_of_the_nist_handbook():
    # 6.1.6 (from memory): limits 8 and 20, mean 16, s = 2 give Cpk = 0.6667
    values = draws(40)
    values = 16.0 + 2.0 * (values - values.mean()) / values.std(ddof=1)
    got = capability(values, 8.0, 20.0)
    assert got.cpk == pytest.approx(2.0 / 3.0)
    assert got.low < got.cpk < got.high
    assert capability(values, np.nan, 20.0).cpk == pytest.approx(2.0 / 3.0)
    assert capability(values[:9], 8.0, 20.0) is None
    assert capability(np.full(12, 3.0), 1.0, 4.0) is None


def test_the_interval_of_a_capability_holds_as_often_as_it_says():
    # true Cpk of N(0, 1) between -4 and 4 is 4 / 3; 2000 samples of 30: standard error 0.5 points
    draw = np.random.default_rng(3)
    held = [capability(draw.standard_normal(30), -4.0, 4.0) for _ in range(2000)]
    assert np.mean([one.low < 4 / 3 < one.high for one in held]) == pytest.approx(0.95, abs=0.03)


# --- self-starting


def test_self_starting_scores_follow_from_the_prediction_interval():
    # Hawkins 1987: chance of a further value below this one is that of Student's t
    values = np.array([10.0, 11.0, 9.0, 10.5, 14.0])
    got = self_starting_scores(values)
    assert np.isnan(got[:2]).all()
    before = values[:4]
    t = (14.0 - before.mean()) / (before.std(ddof=1) * np.sqrt(1.0 + 1.0 / 4.0))
    assert stats.norm.cdf(got[4]) == pytest.approx(stats.t.cdf(t, 3))
    assert stats.norm.sf(got[4]) == pytest.approx(stats.t.sf(t, 3))


def test_self_starting_scores_are_standard_normal_and_independent_from_the_third_on():
    draw = np.random.default_rng(8)
    scores = np.array([self_starting_scores(50 + 3 * draw.standard_normal(8)) for _ in range(3000)])
    for place in range(2, 8):
        assert stats.kstest(scores[:, place], "norm").pvalue > 1e-3
    between = np.corrcoef(scores[:, 2:].T)[~np.eye(6, dtype=bool)]
    assert np.abs(between).max() < 4.0 / np.sqrt(3000)


def test_self_starting_finds_a_slide_and_is_not_listened_to_before_the_fifth():
    values = np.concatenate([60 + 2 * draws(8, 5), 52 + 2 * draws(4, 6)])
    up, down = self_starting(values, 5.0)
    assert BELOW in down.signals
    assert not any(up.signals)
    early = np.array([10.0, 10.01, 9.99, 80.0, 90.0])
    signals = self_starting(early, 0.5)[0].signals
    assert signals[3] == ""
    assert signals[4] == ABOVE


def test_equal_values_have_no_score_and_a_far_one_a_finite_one():
    assert np.isnan(self_starting_scores(np.full(4, 7.0))).all()
    far = self_starting_scores(np.append(draws(60), 1e9))
    assert np.isfinite(far[-1])
    assert far[-1] > 8


# --- charts of batches


def test_moving_ranges_have_the_printed_upper_limit():
    # D4 of two is printed 3.267
    values = numbers(read("nist_individuals_6322")["x"])
    chart = moving_ranges(values, level_of(values))
    assert chart.upper[0] == pytest.approx(3.267 * 1.8778, abs=1e-3)
    assert np.isnan(chart.values[0])


def test_spread_within_batches_has_the_printed_limits():
    # B3 and B4 of six are printed 0.030 and 1.970, of five 0 and 2.089, in mean standard deviations
    sds = np.array([1.0, 1.0, 1.0, 3.0, np.nan])
    chart = within(sds, np.array([6, 6, 5, 6, 1]), np.array([True, True, True, False, False]))
    assert chart.centre[0] == pytest.approx(0.9515, abs=1e-4)
    assert chart.upper[0] / chart.centre[0] == pytest.approx(1.970, abs=6e-4)
    assert chart.lower[0] / chart.centre[0] == pytest.approx(0.030, abs=6e-4)
    assert chart.upper[2] / chart.centre[2] == pytest.approx(2.089, abs=6e-4)
    assert chart.signals == ("", "", "", ABOVE, "")
    assert within(sds, np.array([6, 6, 5, 6, 1]), np.zeros(5, dtype=bool)) is None


def test_a_sum_stops_signalling_when_batches_came_back():
    level = Level(0.0, 1.0, 1.128, 20)
    values = np.concatenate([np.zeros(5), np.full(6, 4.0), np.full(14, -0.2)])
    up, _ = cusums(values, level, 5.0)
    assert up.values[-1] > up.upper[-1], "the sum itself forgets slowly"
    assert up.signals[8] == ABOVE
    assert up.signals[-1] == ""


def test_a_move_is_told_from_its_first_batch_and_a_single_batch_stands_alone():
    level = Level(0.0, 1.0, 1.128, 20)
    values = np.array([0.3, -0.3] * 5 + [5.0] + [0.3, -0.3] * 5 + [-2.0] * 8)
    charts = [individuals(values, level), ewma(values, level, 2.859), *cusums(values, level, 5.0)]
    single, move = find_moves(values, charts)[0], find_moves(values, charts)[-1]
    assert (single.direction, single.start, single.end) == (1, 10, 10)
    assert (move.direction, move.end) == (-1, len(values) - 1)
    assert move.start in {20, 21}
    assert move.start < move.signalled <= move.start + 5


def test_signals_that_share_their_begin_are_one_move():
    # the sum stays above zero from batch 5 on; the average crosses the centre in between
    level = Level(0.0, 1.0, 1.128, 20)
    values = np.array([-0.2] * 5 + [3.0] * 4 + [-1.2] * 3 + [2.0] * 4 + [-0.2] * 3)
    up, down = cusums(values, level, 5.0)
    heard = [k for k, signal in enumerate(up.signals) if signal]
    assert heard != list(range(heard[0], heard[-1] + 1)), "there is a pause"
    (move,) = find_moves(values, [individuals(values, level), up, down])
    assert (move.start, move.signalled, move.end) == (5, heard[0], heard[-1])


# --- run rules


def test_run_rules_are_those_of_their_set():
    one_side = np.full(9, 0.5)
    # Western Electric counts eight on one side, Nelson nine
    assert [bool(s) for s in run_signals(one_side, "western-electric")].index(True) == 7
    assert [bool(s) for s in run_signals(one_side, "nelson")].index(True) == 8
    rising = np.linspace(-0.9, 0.9, 6)
    assert run_signals(rising, "nelson")[-1] == "nelson:6_trending"
    assert not any(run_signals(rising, "western-electric"))
    alternating = np.array([0.5, -0.5] * 7)
    assert run_signals(alternating, "nelson")[12:] == ("", "nelson:14_alternating")
    assert run_signals(np.array([2.1, 0.0, 2.1]), "nelson")[2] == "nelson:2_of_3_beyond_2_sigma"
    assert not any(run_signals(np.array([2.1, 0.0, -2.1]), "nelson"))
    assert "4_of_5" in run_signals(np.array([1.1, 1.1, 0.0, 1.1, 1.1]), "nelson")[4]
    hugging = np.array([0.9, -0.9, 0.5] * 5)
    assert "15_within" in run_signals(hugging, "nelson")[14]
    avoiding = np.array([1.5, 1.5, -1.5, -1.5] * 2)
    assert "8_beyond_1_sigma" in run_signals(avoiding, "nelson")[7]


@pytest.mark.slow
def test_all_rules_of_western_electric_cry_wolf_once_in_92_batches():
    # 91.75 points (Champ & Woodall 1987); 600 simulated runs
    draw = np.random.default_rng(11)
    lengths = []
    for _ in range(600):
        values = draw.standard_normal(900)
        runs = np.array([bool(one) for one in run_signals(values, "western-electric")])
        lengths.append(1 + int(np.argmax(runs | (np.abs(values) > 3.0))))
    error = np.std(lengths) / np.sqrt(len(lengths))
    assert abs(np.mean(lengths) - 91.75) < 3.5 * error


# --- baseline


def test_false_alarms_of_short_baselines_are_those_of_simulated_charts():
    # another way: draw baseline and a further batch, count how often it lies beyond
    draw = np.random.default_rng(21)
    values = draw.standard_normal((60_000, 9))
    sigma = np.abs(np.diff(values[:, :8], axis=1)).mean(axis=1) / 1.128
    beyond = np.abs(values[:, 8] - values[:, :8].mean(axis=1)) > 3.0 * sigma
    rate = beyond.mean()
    error = np.sqrt(rate / len(values))
    assert 1.0 / batches_to_false_alarm(8) == pytest.approx(rate, abs=4.0 * error)
    assert batches_to_false_alarm(8) < batches_to_false_alarm(20) < 370.4


def test_baselines_that_move_by_themselves_are_told():
    noise = draws(20, 4)
    assert trend(np.arange(20) * 0.5 + noise)[1]
    slope, _ = trend(np.arange(20) * 0.5)
    assert slope == pytest.approx(0.5)
    walk = np.cumsum(draws(40, 2))
    assert lag_one(walk)[1]
    # white noise: a false warning in about one of twenty
    warned = [lag_one(draws(20, seed))[1] for seed in range(400)]
    assert np.mean(warned) < 0.08
    warned = [trend(draws(20, seed))[1] for seed in range(400)]
    assert np.mean(warned) == pytest.approx(0.05, abs=0.035)
