"""Published answers to the printed digit. Data and their sources: ``data/README.md``."""

from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from tests.stats.published import codes, numbers, read
from traymorph.stats.treatments.contrasts import (
    all_pairs,
    blocked_contrasts,
    many_to_one,
    welch_contrasts,
)
from traymorph.stats.treatments.equivalence import two_one_sided
from traymorph.stats.treatments.overall import analyse_variance
from traymorph.stats.treatments.simultaneous import against_control, between_all, by_itself

_NIST_FILES = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_anova"
_CERTIFIED_F = {"SmLs01": 21, "SmLs02": 201, "SmLs03": 2001, "SmLs04": 21, "SmLs05": 201,
                "SmLs06": 2001, "SmLs07": 21, "SmLs08": 201, "SmLs09": 2001}  # fmt: skip


def _one_block(values: np.ndarray) -> np.ndarray:
    return np.zeros(len(values), dtype=np.intp)


def test_two_processes_of_the_nist_handbook() -> None:
    # e-Handbook 7.3.1: t = 2.269, 15.5 degrees of freedom; p recomputed
    data = read("nist_welch_731")
    got = welch_contrasts(numbers(data["y"]), codes(data["process"]), ((0, 1),))
    assert got.t[0] == pytest.approx(2.2694, abs=5e-5)
    assert got.df[0] == pytest.approx(15.5325, abs=5e-5)
    assert by_itself(got, 0.95).p[0] == pytest.approx(0.03788, abs=5e-6)


def test_student_sleep() -> None:
    # R's t.test(extra ~ group, data = sleep)
    data = read("sleep")
    got = welch_contrasts(numbers(data["extra"]), codes(data["group"]), ((0, 1),))
    told = by_itself(got, 0.95)
    assert got.t[0] == pytest.approx(-1.8608, abs=5e-5)
    assert got.df[0] == pytest.approx(17.776, abs=5e-4)
    assert told.p[0] == pytest.approx(0.07939, abs=5e-6)
    low, high = got.estimate[0] - told.half_width[0], got.estimate[0] + told.half_width[0]
    assert (low, high) == pytest.approx((-3.36548, 0.20548), abs=5e-6)


def test_paired_sleep_is_a_block_design() -> None:
    # R's paired t.test: t = -4.0621, 9 degrees of freedom, p = 0.002833
    data = read("sleep")
    got = blocked_contrasts(
        numbers(data["extra"]), codes(data["group"]), codes(data["id"]), ((0, 1),)
    )
    assert got.t[0] == pytest.approx(-4.0621, abs=5e-5)
    assert got.df[0] == 9
    assert by_itself(got, 0.95).p[0] == pytest.approx(0.002833, abs=5e-7)


def test_plant_growth_against_its_control() -> None:
    # Dunnett on PlantGrowth; recomputed p .323 and .153
    data = read("plantgrowth")
    values = numbers(data["weight"])
    got = blocked_contrasts(values, codes(data["group"]), _one_block(values), many_to_one(3, 0))
    assert against_control(got, 0.95).p_together == pytest.approx([0.323, 0.153], abs=5e-4)


def test_many_to_one_agrees_with_scipy() -> None:
    data = read("plantgrowth")
    values, group = numbers(data["weight"]), codes(data["group"])
    got = blocked_contrasts(values, group, _one_block(values), many_to_one(3, 0))
    told = against_control(got, 0.95)
    other = scipy.stats.dunnett(
        values[group == 1], values[group == 2], control=values[group == 0], random_state=1
    )
    limits = other.confidence_interval()
    assert told.p_together == pytest.approx(other.pvalue, abs=2e-4)
    assert got.estimate - told.half_width == pytest.approx(limits.low, abs=1e-3)


def test_plant_growth_all_pairs() -> None:
    # R's TukeyHSD(aov(weight ~ group, PlantGrowth))
    data = read("plantgrowth")
    values = numbers(data["weight"])
    got = blocked_contrasts(values, codes(data["group"]), _one_block(values), all_pairs(3))
    told = between_all(got, 3, 0.95)
    assert got.estimate == pytest.approx([-0.371, 0.494, 0.865], abs=5e-4)
    assert told.p_together == pytest.approx([0.3909, 0.1980, 0.0120], abs=5e-5)
    assert (got.estimate - told.half_width)[2] == pytest.approx(0.174, abs=5e-4)
    assert (got.estimate + told.half_width)[2] == pytest.approx(1.556, abs=5e-4)


def test_tukey_of_the_nist_handbook() -> None:
    # e-Handbook 7.4.7.1: the intervals as printed
    data = read("nist_anova_743_tukey_7471")
    values = numbers(data["y"])
    got = blocked_contrasts(values, codes(data["group"]), _one_block(values), all_pairs(4))
    told = between_all(got, 4, 0.95)
    printed = {
        (1, 0): (0.29, 4.47),
        (2, 0): (1.13, 5.31),
        (3, 0): (-1.93, 2.25),
        (2, 1): (-1.25, 2.93),
        (3, 1): (-4.31, -0.13),
        (3, 2): (-5.15, -0.97),
    }
    for k, pair in enumerate(got.pairs):
        limits = (got.estimate[k] - told.half_width[k], got.estimate[k] + told.half_width[k])
        assert limits == pytest.approx(printed[pair], abs=0.006)


def test_games_howell_agrees_with_scipy() -> None:
    data = read("plantgrowth")
    values, group = numbers(data["weight"]), codes(data["group"])
    told = between_all(welch_contrasts(values, group, all_pairs(3)), 3, 0.95)
    other = scipy.stats.tukey_hsd(*(values[group == k] for k in range(3)), equal_var=False)
    expected = [other.pvalue[1, 0], other.pvalue[2, 0], other.pvalue[2, 1]]
    assert told.p_together == pytest.approx(expected, rel=1e-4)


def test_one_way_sets_of_nist() -> None:
    # certified values
    data = read("nist_SiRstv")
    got = analyse_variance(numbers(data["y"]), codes(data["instrument"]))
    assert got.f == pytest.approx(1.18046237440255, rel=1e-9)
    assert got.within == pytest.approx(1.08318280000000e-02, rel=1e-9)
    data = read("nist_AtmWtAg")
    first, second = data
    got = analyse_variance(numbers(data[second]), codes(data[first]))
    assert got.f == pytest.approx(15.9467335677930, rel=1e-9)


@pytest.mark.skipif(not _NIST_FILES.is_dir(), reason="this SciPy ships no NIST files")
@pytest.mark.parametrize("name", sorted(_CERTIFIED_F))
def test_simulated_sets_of_nist(name: str) -> None:
    # NIST StRD SmLs01 to 09 as SciPy ships them; 07 to 09 agree in 12 leading digits
    lines = (_NIST_FILES / f"{name}.dat").read_text("utf-8").splitlines()
    rows = [line.split() for line in lines[60:] if len(line.split()) == 2]
    treatment = np.array([int(row[0]) - 1 for row in rows], dtype=np.intp)
    got = analyse_variance(np.array([float(row[1]) for row in rows]), treatment)
    tolerance = 1e-4 if name >= "SmLs07" else 1e-7
    assert got.f == pytest.approx(_CERTIFIED_F[name], rel=tolerance)


def test_randomised_blocks_of_the_vascular_graft() -> None:
    # Montgomery: F = 8.11, p = 0.0019, mean squares 59.39 and 7.33
    data = read("rcbd_vascular_graft")
    values, pressure, block = numbers(data["y"]), codes(data["pressure"]), codes(data["block"])
    got = analyse_variance(values, pressure, block)
    assert (got.between, got.within) == pytest.approx((59.39, 7.33), abs=5e-3)
    assert got.f == pytest.approx(8.107, abs=5e-4)
    assert got.p == pytest.approx(0.00192, abs=5e-6)
    contrasts = blocked_contrasts(values, pressure, block, many_to_one(4, 0))
    assert contrasts.estimate == pytest.approx(
        [91.68 - 92.82, 88.92 - 92.82, 85.77 - 92.82], abs=0.01
    )
    assert contrasts.df[0] == 15


def test_a_term_left_out_changes_the_answer() -> None:
    # npk (Venables & Ripley): blocks and nitrogen alone give F 9.360, p .0071, mean square 20.22
    data = read("npk")
    got = analyse_variance(numbers(data["yield"]), codes(data["N"]), codes(data["block"]))
    assert got.f == pytest.approx(9.360, abs=5e-4)
    assert got.p == pytest.approx(0.0071, abs=5e-5)
    assert got.within == pytest.approx(20.22, abs=5e-3)


def test_turnip_leaves_are_the_replicates_of_plants() -> None:
    # Snedecor & Cochran: F 7.665 on the leaves' means; single determinations would give 18.60
    data = read("turnip_calcium_nested")
    values = numbers(data["Ca_pct"])
    leaf = codes([f"{p} {one}" for p, one in zip(data["plant"], data["leaf"], strict=True)])
    means = np.bincount(leaf, values) / np.bincount(leaf)
    of_leaf = np.array([codes(data["plant"])[leaf == k][0] for k in range(leaf.max() + 1)])
    assert analyse_variance(means, of_leaf).f == pytest.approx(7.665, abs=5e-4)
    assert analyse_variance(values, codes(data["plant"])).f == pytest.approx(18.60, abs=5e-3)


def test_equivalence_of_the_clinic_data() -> None:
    # statsmodels' tests, from R's equivalence::tost, margin 0.6, unequal variances
    data = read("tost_clinic")
    for column, difference, p in (("var1", 0.164667, 0.048531), ("var2", 0.562667, 0.431794)):
        got = welch_contrasts(numbers(data[column]), codes(data["group"]), ((0, 1),))
        tested = two_one_sided(got.estimate[0], got.se[0], got.df[0], (-0.6, 0.6))
        assert got.estimate[0] == pytest.approx(difference, abs=1e-6)
        assert tested.p == pytest.approx(p, abs=1e-5)
        if column == "var1":
            assert (tested.ci_low, tested.ci_high) == pytest.approx((-0.266686, 0.596020), abs=1e-6)
