"""How much of the spread is the measuring: published figures, designs, words of judgement."""

import math

import numpy as np
import pytest

from tests.stats.published import codes, numbers, read
from traymorph.errors import DesignError
from traymorph.stats.measuring.ranges import by_ranges, steps_told
from traymorph.stats.measuring.repeat_designs import Cells, find_design
from traymorph.stats.measuring.repeatability import study_metric

METRIC = ("canopy_height_mm", "mm")


def crossed(trays, operators, repeats):
    tray, operator, _ = np.indices((trays, operators, repeats)).reshape(3, -1)
    return Cells(tray, operator)


def study(values, cells, doubts=np.nan):
    doubts = np.broadcast_to(np.asarray(doubts, dtype=float), values.shape)
    return study_metric(METRIC, values, doubts, cells, find_design(cells))


@pytest.fixture(scope="module")
def gauge():
    held = read("gauge_study_10x3x3")
    cells = Cells(codes(held["part"]), codes(held["appraiser"]))
    return study(numbers(held["value"]), cells, 0.3)


def test_the_published_study_by_analysis_of_variance(gauge):
    # AIAG, Measurement Systems Analysis, 4th ed., analysis of variance. Verified and recomputed.
    sds = {part.source: part.sd for part in (*gauge.parts, *gauge.sums)}
    assert sds["repeat"] == pytest.approx(0.19993, abs=5e-6)
    assert sds["operator"] == pytest.approx(0.22684, abs=5e-6)
    assert sds["measuring"] == pytest.approx(0.30237, abs=5e-6)
    assert sds["trays"] == pytest.approx(1.04233, abs=5e-6)
    assert sds["all"] == pytest.approx(1.085, abs=5e-4)
    shares = {part.source: part.share_pct for part in (*gauge.parts, *gauge.sums)}
    assert shares["repeat"] == pytest.approx(3.4, abs=0.05)
    assert shares["operator"] == pytest.approx(4.4, abs=0.05)
    assert shares["measuring"] == pytest.approx(7.76, abs=0.005)
    assert shares["trays"] == pytest.approx(92.24, abs=0.005)
    spread = {part.source: part.spread_pct for part in (*gauge.parts, *gauge.sums)}
    assert spread["repeat"] == pytest.approx(18.42, abs=0.005)
    assert spread["operator"] == pytest.approx(20.90, abs=0.005)
    assert spread["measuring"] == pytest.approx(27.86, abs=0.005)
    assert spread["trays"] == pytest.approx(96.04, abs=0.005)
    assert gauge.steps == 4  # 4.861 rounded down
    assert (gauge.design, gauge.balanced, gauge.interaction) == ("crossed", True, "pooled")


def test_the_published_study_by_averages_and_ranges(gauge):
    # The same example by the range method; printed values from memory, recomputed.
    held = gauge.ranges
    found = (held.repeat, held.operator, held.measuring, held.trays, held.total)
    assert found == pytest.approx((0.2019, 0.2297, 0.3058, 1.1046, 1.1461), abs=2e-4)
    assert held.steps == 5
    assert 100 * held.measuring / held.total == pytest.approx(26.7, abs=0.05)


def test_smallest_differences_are_the_limits_of_iso_5725(gauge):
    # ISO 5725-6, 4.1: 2.8 (1.96 sqrt 2) standard deviations of repeatability, of reproducibility
    once = gauge.smallest[0]
    assert once.same_operator == pytest.approx(2.8 * 0.19993, rel=0.011)
    assert once.same_operator == pytest.approx(1.96 * math.sqrt(2) * 0.199933, rel=1e-4)
    assert once.other_operator == pytest.approx(1.96 * math.sqrt(2) * 0.302373, rel=1e-4)
    fourfold = next(one for one in gauge.smallest if one.photos == 4)
    assert fourfold.same_operator == pytest.approx(once.same_operator / 2)
    # what people add does not average out over the photos of one person
    between = math.sqrt(2) * 1.96 * 0.226838
    assert fourfold.other_operator > between


def test_the_smallest_difference_is_exceeded_once_in_twenty():
    """Simulated pairs of equal trays, photographed by one and by two people."""
    draw = np.random.default_rng(3)
    cells = crossed(120, 3, 2)
    values = (
        draw.normal(0, 3, 120)[cells.tray]
        + np.array([-1.2, 0.0, 1.2])[cells.operator]
        + draw.normal(0, 0.8, len(cells.tray))
    )
    held = study(values, cells)
    pairs = draw.normal(0, 0.8, (2, 40_000))
    share = np.mean(np.abs(pairs[0] - pairs[1]) > held.smallest[0].same_operator)
    assert share == pytest.approx(0.05, abs=0.012)
    means = draw.normal(0, 0.8, (2, 3, 40_000)).mean(axis=1)
    share = np.mean(np.abs(means[0] - means[1]) > held.smallest[2].same_operator)
    assert share == pytest.approx(0.05, abs=0.012)


def test_steps():
    assert steps_told(1.0423, 0.30237) == 4
    assert steps_told(1.0, 2.0) == 0
    assert steps_told(1.0, 0.0) is None


def test_ranges_of_one_operator_by_hand():
    # Ranges 1, 2, 3 of pairs: mean 2 over d2* = sqrt(1.128^2 + 0.853^2 / 3) = 1.2307; means 0.5,
    # 6, 11.5: range 11 over d2* = sqrt(1.693^2 + 0.888^2) = 1.9118.
    cells = np.array([[[0.0, 1.0]], [[5.0, 7.0]], [[10.0, 13.0]]])
    held = by_ranges(cells)
    assert held.repeat == pytest.approx(2 / math.sqrt(1.128**2 + 0.853**2 / 3), rel=1e-3)
    assert held.trays == pytest.approx(11 / math.sqrt(1.693**2 + 0.888**2), rel=1e-3)
    assert held.operator == 0.0


# --- designs


def test_a_kept_interaction_stays_in_what_averaging_cannot_take_off():
    draw = np.random.default_rng(6)
    cells = crossed(10, 3, 3)
    values = draw.normal(0, 2, 30)[cells.cell] + draw.normal(0, 0.2, 90)
    held = study(values, cells)
    assert held.interaction == "kept"
    assert held.interaction_p < 0.001
    assert held.smallest[3].same_operator > 0.95 * held.smallest[0].same_operator


def test_operators_who_repeat_nothing_leave_the_interaction_in_the_repeats():
    draw = np.random.default_rng(2)
    cells = crossed(6, 2, 1)
    held = study(draw.normal(0, 1, 12) + draw.normal(0, 3, 6)[cells.tray], cells)
    assert held.interaction == "inseparable"
    assert [part.source for part in held.parts] == ["tray", "operator", "repeat"]
    assert [part.df for part in held.parts] == [5, 1, 5]
    assert held.ranges is None


def test_operators_with_trays_of_their_own_are_nested():
    tray = np.repeat(np.arange(6), 3)
    cells = Cells(tray, tray // 2)
    held = study(np.random.default_rng(1).normal(size=18), cells)
    assert held.design == "nested"
    assert [part.source for part in held.parts] == ["operator", "tray", "repeat"]
    assert [part.df for part in held.parts] == [2, 3, 12]


def test_batches_and_operators_are_told_apart_in_one_study():
    draw = np.random.default_rng(8)
    cells = crossed(12, 2, 2)
    cells = Cells(cells.tray, cells.operator, cells.tray // 3)
    held = study(draw.normal(size=48), cells)
    assert [part.source for part in held.parts][:3] == ["batch", "tray", "operator"]
    assert [part.df for part in held.parts][:3] == [3, 8, 1]


def test_one_batch_or_a_tray_in_each_is_no_level():
    tray = np.repeat(np.arange(4), 2)
    for batch in (np.zeros_like(tray), tray):
        held = study(np.random.default_rng(1).normal(size=8), Cells(tray, 0 * tray, batch))
        assert [part.source for part in held.parts] == ["tray", "repeat"]
        assert held.balanced


def test_unequal_numbers_are_said_to_be_unequal():
    cells = crossed(5, 2, 2)
    draw = np.random.default_rng(2)
    held = study(draw.normal(size=19), cells.only(np.arange(1, 20)))
    assert not held.balanced
    assert held.ranges is None


def test_what_lies_below_nought_is_set_to_nought_and_said():
    # Trays alike, repeats mirrored: the tray component is -MSE / 2.
    cells = crossed(4, 1, 2)
    held = study(np.array([1.0, -1.0] * 4), cells)
    tray = held.parts[0]
    assert (tray.sd, tray.share_pct, tray.below_zero) == (0.0, 0.0, True)
    assert held.sum_of("measuring").share_pct == 100.0
    assert held.steps == 0


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        (crossed(1, 2, 5), "one tray only"),
        (crossed(5, 1, 1), "no tray was measured twice"),
        (Cells(np.array([0, 0, 1]), np.array([0, 1, 0])), "too few trays"),
    ],
)
def test_what_tells_nothing_is_refused(cells, said):
    with pytest.raises(DesignError, match=said):
        find_design(cells)


def test_hues_beside_zero_degrees_scatter_as_others_do():
    draw = np.random.default_rng(7)
    cells = crossed(6, 1, 3)
    hue = draw.normal(0, 4, 6)[cells.tray] + draw.normal(0, 1, 18)
    doubts = np.full(18, np.nan)
    design = find_design(cells)
    beside, away = (
        study_metric(("leaf_hue_deg", "deg"), (hue + about) % 360, doubts, cells, design)
        for about in (0.0, 110.0)
    )
    assert beside.sum_of("measuring").sd == pytest.approx(away.sum_of("measuring").sd)
    assert beside.mean == pytest.approx((away.mean - 110.0) % 360.0)


# --- stated doubts


@pytest.mark.parametrize(
    ("stated", "verdict"), [(3.0, "covers"), (0.3, "too_small"), (1.0, "undecided"), (np.nan, "")]
)
def test_stated_doubts_are_judged_by_the_interval(stated, verdict):
    draw = np.random.default_rng(5)
    cells = crossed(15, 1, 3)
    values = draw.normal(0, 5, 15)[cells.tray] + draw.normal(0, 1, 45)
    held = study(values, cells, stated)
    assert held.doubt.verdict == verdict
    if verdict:
        assert held.doubt.u == pytest.approx(stated)
        assert held.doubt.measuring.value == pytest.approx(held.sum_of("measuring").sd / stated)


def test_two_people_leave_open_what_others_would_scatter(gauge):
    assert gauge.doubt.verdict == "covers_one_operator"
    assert gauge.doubt.measuring.low < 1.0 < gauge.doubt.measuring.high


def test_a_clear_excess_of_one_person_is_too_small_whatever_others_do():
    draw = np.random.default_rng(5)
    cells = crossed(10, 2, 3)
    values = draw.normal(0, 5, 10)[cells.tray] + draw.normal(0, 1, 60)
    assert study(values, cells, 0.5).doubt.verdict == "too_small"
