"""Power against published figures, and against simulated trials."""

import math

import numpy as np
import pytest

from traymorph.stats.planning.power import (
    power,
    replicates_needed,
    residual_freedom,
    simulated_power,
    smallest_effect,
)


@pytest.mark.parametrize(
    # Cohen 1992, Psychological Bulletin 112:155-159, table 2, two-sided 5 %, power .80: 393, 64
    # and 26 (from memory; decimals recomputed); power .90 recomputed with R's power.t.test.
    ("effect", "wanted", "n"),
    [
        (0.2, 0.8, 393.41),
        (0.5, 0.8, 63.77),
        (0.8, 0.8, 25.52),
        (0.2, 0.9, 526.3),
        (0.5, 0.9, 85.03),
        (0.8, 0.9, 33.83),
        (1.0, 0.9, 22.0211),  # R documentation, power.t.test(power = .90, delta = 1)
    ],
)
def test_replicates_needed_as_published(effect, wanted, n):
    digits = len(str(n).split(".")[1])
    assert replicates_needed(effect, wanted) == pytest.approx(n, abs=0.51 * 10.0**-digits)


def test_cohen_1992_rounded_up():
    found = [math.ceil(replicates_needed(effect, 0.8)) for effect in (0.2, 0.5, 0.8)]
    assert found == [394, 64, 26]


def test_power_as_the_r_documentation_prints_it():
    # R, ?power.t.test: power.t.test(n = 20, delta = 1, sd = 1) gives power = 0.8689528
    assert power(1.0, 20) == pytest.approx(0.868953, abs=1e-6)


def test_smallest_effect_undoes_power():
    for n in (3, 6, 12):
        for wanted in (0.8, 0.9):
            assert power(smallest_effect(n, wanted), n) == pytest.approx(wanted, abs=1e-9)


def test_no_difference_is_found_as_often_as_the_level_says():
    assert power(0.0, 7) == pytest.approx(0.05)
    assert power(0.0, 7, level=0.01) == pytest.approx(0.01)


def test_far_differences_are_always_found_and_none_never_ends():
    assert power(900.0, 5) == 1.0
    assert replicates_needed(50.0, 0.9) == 2.0
    assert replicates_needed(1e-5, 0.9) == math.inf


@pytest.mark.parametrize(("n", "effect"), [(5, 2.0), (6, 1.5), (10, 1.2), (20, 1.0)])
def test_simulation_agrees_without_blocks(n, effect):
    treatment = np.repeat([0, 1], n)
    found = simulated_power(treatment, None, effect, trials=4000)
    # Welch's test loses a little where trays are few; 3 standard errors of the simulation besides.
    expected = power(effect, n)
    noise = 3 * math.sqrt(expected * (1 - expected) / 4000)
    assert -noise - 0.025 < found - expected < noise


@pytest.mark.parametrize(
    ("n", "blocks", "treatments"), [(3, 3, 2), (6, 3, 2), (6, 6, 3), (4, 2, 4)]
)
def test_simulation_agrees_with_blocks(n, blocks, treatments):
    treatment = np.tile(np.arange(treatments), n)
    block = np.repeat(np.arange(n) % blocks, treatments)
    df = residual_freedom(treatments, n, blocks)
    effect = smallest_effect(n, 0.8, df=df)
    found = simulated_power(treatment, block, effect, trials=4000)
    assert found == pytest.approx(0.8, abs=3 * math.sqrt(0.16 / 4000))


def test_simulation_of_uneven_blocks_has_no_false_alarms_beyond_the_level():
    treatment = np.array([0, 1, 0, 1, 0, 1, 0, 1, 0, 1])
    block = np.array([0, 0, 0, 0, 1, 1, 1, 1, 2, 2])
    assert simulated_power(treatment, block, 0.0, trials=4000) == pytest.approx(0.05, abs=0.0105)
