"""What a plan can show and cannot tell apart, judged before anything is sown."""

import math

import pytest

from traymorph.model.plan import Spread, Wanted
from traymorph.stats.planning.layout import lay_out
from traymorph.stats.planning.planned import (
    comparisons,
    judge,
    power_table,
    smallest_permutation_p,
    trays_needed,
)

TWO = ("15 g", "30 g")
STEM = Spread("stem_length_mm", 8.0, "%", "stated")


def judged(wanted):
    return judge(lay_out(wanted), wanted)


def test_one_tray_a_treatment_is_refused():
    refusing, _, _ = judged(Wanted(TWO, 1))
    assert "one tray only" in refusing[0]


def test_one_shelf_a_treatment_is_refused():
    refusing, _, replicates = judged(Wanted(TWO, 6, whole_shelves=True))
    assert replicates.kind == "shelf"
    assert "one shelf only" in refusing[0]


def test_whole_shelves_in_blocks_are_the_replicates():
    refusing, warnings, replicates = judged(
        Wanted(TWO, 12, blocks=4, block_name="side", whole_shelves=True)
    )
    assert not refusing
    assert len(replicates.treatment) == 8
    assert any("shelf is the replicate" in one for one in warnings)


def test_a_fair_plan_has_only_the_one_sowing_against_it():
    refusing, warnings, _ = judged(Wanted(TWO, 6, blocks=6))
    assert not refusing
    assert len([one for one in warnings if "edge" not in one]) == 1
    refusing, warnings, _ = judged(Wanted(TWO, 6, blocks=6, block_name="day"))
    assert not refusing
    assert not [one for one in warnings if "edge" not in one]


@pytest.mark.parametrize("seed", range(5))
def test_every_plan_in_blocks_stands_up_to_its_own_comparison(seed):
    for wanted in (
        Wanted(TWO, 6, blocks=3, seed=seed),
        Wanted(("a", "b", "c"), 5, blocks=2, seed=seed),
        Wanted(TWO, 4, across=2, seed=seed),
        Wanted(TWO, 6, blocks=3, block_name="side", whole_shelves=True, seed=seed),
    ):
        assert not judged(wanted)[0]


def test_few_trays_are_warned_about():
    _, warnings, replicates = judged(Wanted(TWO, 3))
    assert any("Fewer than four trays" in one for one in warnings)
    # 6 choose 3 = 20 arrangements, of which each has a mirror image: no p under 0.10
    assert smallest_permutation_p(replicates) == pytest.approx(0.10)
    assert any("3 trays against 3 cannot go below p = 0.10" in one for one in warnings)
    assert any("--blocks" in one for one in warnings)


def test_four_against_four_can_be_told_by_permutation():
    _, warnings, replicates = judged(Wanted(TWO, 4))
    assert smallest_permutation_p(replicates) == pytest.approx(2 / math.comb(8, 4))
    assert not any("permutation" in one for one in warnings)


def test_pairs_that_share_the_level():
    assert comparisons(2, with_control=False) == 1
    assert comparisons(4, with_control=False) == 6
    assert comparisons(4, with_control=True) == 3


def test_the_table_goes_down_with_trays_and_simulation_agrees():
    rows = power_table(Wanted(TWO, 7, blocks=7), STEM, 1, 7)
    assert 7 in [row.n for row in rows]
    found = [row.difference_80 for row in rows]
    assert found == sorted(found, reverse=True)
    assert all(row.difference_90 > row.difference_80 for row in rows)
    for row in rows:
        assert row.simulated_80 == pytest.approx(0.8, abs=3 * math.sqrt(0.16 / 4000))


def test_trays_needed_without_blocks_are_the_published_ones():
    # Cohen 1992, table 2 (from memory): d = 0.8 takes 26 a group for power .80; .90 recomputed.
    needed = trays_needed(6.4, STEM, 1)
    assert (needed.n_80, needed.n_90) == (26, 34)
    assert math.isnan(needed.planned_power)


def test_plan_and_table_agree():
    wanted = Wanted(TWO, 8, blocks=4, seed=2)
    _, _, replicates = judged(wanted)
    row = next(row for row in power_table(wanted, STEM, 1, 8) if row.n == 8)
    needed = trays_needed(row.difference_80 * 1.0001, STEM, 1, replicates)
    assert needed.n_80 == 8
    assert needed.planned_power == pytest.approx(0.8, abs=1e-3)
    assert needed.simulated_power == pytest.approx(0.8, abs=3 * math.sqrt(0.16 / 4000))


def test_more_pairs_take_more_trays():
    three = Wanted(("a", "b", "c"), 8)
    alone = power_table(three, STEM, 1, 8)
    shared = power_table(three, STEM, 3, 8)
    assert all(s.difference_80 > a.difference_80 for s, a in zip(shared, alone, strict=True))
