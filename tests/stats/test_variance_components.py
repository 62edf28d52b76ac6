"""Variance components against published analyses, exact intervals and simulation."""

import numpy as np
import pytest
from scipy import stats

from tests.stats.published import codes, numbers, read
from traymorph.stats.measuring.repeat_designs import Cells, find_design
from traymorph.stats.measuring.variance_components import Effect, Layout


def one_way(levels):
    around = np.zeros_like(levels)
    return Layout(
        [Effect("level", levels, (levels,), (around,)), Effect("left", None, (), (levels,))]
    )


def crossed(trays, operators, repeats):
    tray, operator, _ = np.indices((trays, operators, repeats)).reshape(3, -1)
    return Cells(tray, operator)


def test_the_published_gauge_study():
    # AIAG, Measurement Systems Analysis, 4th ed.: 10 parts, 3 appraisers, 3 trials. Verified: the
    # table of variance agrees with the one published beside these readings.
    held = read("gauge_study_10x3x3")
    values = numbers(held["value"])
    cells = Cells(codes(held["part"]), codes(held["appraiser"]))
    design = find_design(cells)
    squares = design.layout.mean_squares(values)
    assert design.layout.names == ("tray", "operator", "tray_by_operator", "repeat")
    assert design.layout.df.tolist() == [9, 2, 18, 60]
    assert squares == pytest.approx([9.81799, 1.58363, 0.01994, 0.04598], abs=5e-6)
    assert squares * design.layout.df == pytest.approx([88.3619, 3.1673, 0.3590, 2.7589], abs=1e-4)
    layout, done, p = design.choose(values)
    assert (done, round(p, 3)) == ("pooled", 0.974)
    found = layout.estimate(values)
    assert found.variances == pytest.approx([1.08645, 0.05146, 0.03997], abs=5e-6)
    assert np.sqrt(found.variances) == pytest.approx([1.042327, 0.226838, 0.199933], abs=5e-7)
    # unpooled, what is left has the standard deviation 0.214435
    assert np.sqrt(squares[3]) == pytest.approx(0.214435, abs=5e-7)


def test_dyestuff():
    # Davies & Goldsmith; mean squares and the batch variance as widely printed (from memory),
    # recomputed from the data.
    held = read("dyestuff")
    found = one_way(codes(held["batch"])).estimate(numbers(held["yield"]))
    assert found.mean_squares == pytest.approx([11271.5, 2451.25])
    assert found.variances == pytest.approx([1764.05, 2451.25])


def test_turnip_calcium():
    # Snedecor & Cochran, Statistical Methods: plants, leaves in plants, determinations. Verified.
    held = read("turnip_calcium_nested")
    plant = codes(held["plant"])
    leaf = codes([f"{p} {q}" for p, q in zip(held["plant"], held["leaf"], strict=True)])
    design = find_design(Cells(leaf, np.zeros_like(leaf), plant))
    found = design.layout.estimate(numbers(held["Ca_pct"]))
    assert found.names == ("batch", "tray", "repeat")
    assert found.mean_squares == pytest.approx([2.520115, 0.328775, 0.006654], abs=5e-7)
    assert found.variances == pytest.approx([0.36522, 0.16106, 0.00665], abs=5e-6)
    assert found.mean_squares[0] / found.mean_squares[1] == pytest.approx(7.665, abs=5e-4)


def test_unequal_groups_have_the_coefficient_of_the_handbooks():
    # One way with unequal numbers: n0 = (N - sum n^2 / N) / (k - 1) (Searle, Casella & McCulloch
    # 1992, section 3.6; Snedecor & Cochran): the tray component is (MSA - MSE) / n0.
    groups = [[3.1, 2.9], [4.0, 4.4, 4.3, 4.1], [2.0, 2.2, 2.5]]
    values = np.concatenate(groups)
    levels = np.repeat([0, 1, 2], [2, 4, 3])
    n0 = (9 - (4 + 16 + 9) / 9) / 2
    between = sum(len(g) * (np.mean(g) - values.mean()) ** 2 for g in groups) / 2
    within = sum((np.array(g) - np.mean(g)) @ (np.array(g) - np.mean(g)) for g in groups) / 6
    found = one_way(levels).estimate(values)
    assert found.mean_squares == pytest.approx([between, within])
    assert found.variances == pytest.approx([(between - within) / n0, within])


def test_the_interval_of_what_is_left_is_the_chi_squared_one():
    held = read("dyestuff")
    found = one_way(codes(held["batch"])).estimate(numbers(held["yield"]))
    low, high = np.quantile(found.draws[:, 1], [0.025, 0.975])
    exact = 2451.25 * 24 / stats.chi2.ppf([0.975, 0.025], 24)
    assert (low, high) == pytest.approx(exact, rel=1e-3)


def test_the_interval_of_a_share_is_the_exact_f_interval():
    # Interval of an intraclass correlation (Searle, Casella & McCulloch 1992, section 3.6d, from
    # memory): (F / Fu - 1) / (n + F / Fu - 1).
    held = read("dyestuff")
    found = one_way(codes(held["batch"])).estimate(numbers(held["yield"]))
    shares = np.maximum(found.draws, 0.0)
    shares = shares[:, 0] / shares.sum(axis=1)
    ratio = found.mean_squares[0] / found.mean_squares[1] / stats.f.ppf([0.975, 0.025], 5, 24)
    exact = (ratio - 1) / (5 + ratio - 1)
    assert np.quantile(shares, [0.025, 0.975]) == pytest.approx(exact, abs=0.003)


def test_order_of_rows_and_level_of_values_change_nothing():
    cells = crossed(6, 2, 3)
    draw = np.random.default_rng(4)
    values = draw.normal(size=36) + draw.normal(size=6)[cells.tray]
    found = find_design(cells).layout.estimate(values)
    order = draw.permutation(36)
    again = find_design(cells.only(order)).layout.estimate(1e6 + values[order])
    assert again.variances == pytest.approx(found.variances, rel=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("missing", [0.0, 0.3])
def test_components_are_right_on_average_and_intervals_hold(missing):
    """Simulated studies: 8 trays, 3 people, 3 photos, whole and with a third of the photos lost."""
    cells = crossed(8, 3, 3)
    kept = np.flatnonzero(np.random.default_rng(9).random(72) >= missing)
    cells = cells.only(kept)
    layout = find_design(cells).layout
    truth = np.array([1.0, 0.09, 0.04, 0.16])
    draw = np.random.default_rng(1)
    n = 400
    found, inside = np.empty((n, 4)), np.zeros(4)
    for k in range(n):
        levels = [(cells.tray, 8), (cells.operator, 3), (cells.cell, 24)]
        values = draw.normal(0, 0.4, len(kept))
        for variance, (code, size) in zip(truth, levels, strict=False):
            values += draw.normal(0, np.sqrt(variance), size)[code]
        study = layout.estimate(values)
        found[k] = study.variances
        low, high = np.quantile(np.maximum(study.draws, 0.0), [0.025, 0.975], axis=0)
        inside += (low <= truth) & (truth <= high)
    error = found.std(axis=0, ddof=1) / np.sqrt(n)
    assert (np.abs(found.mean(axis=0) - truth) < 3.5 * error).all()
    # 95 % within three standard errors of a share of 400, and not much above it
    assert (np.abs(inside / n - 0.95) < 0.033).all(), inside / n
