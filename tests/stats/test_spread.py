"""Spread between trays, from past ones or as commonly seen."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from traymorph.errors import DesignError
from traymorph.model.comparison import TrayTable
from traymorph.stats.spread import (
    past_spread,
    spread_between,
    spread_factors,
    unit_of_spread,
    usual_spread,
)


def test_spread_of_a_block_trial_is_its_residual():
    # Two treatments in three blocks; by hand: differences 2, 4, 3 have variance 1, so that the
    # residual variance is half of it, with 2 degrees of freedom.
    values = np.array([10.0, 12.0, 20.0, 24.0, 30.0, 33.0])
    sd, mean, df = spread_between(values, np.array([0, 1] * 3), np.repeat([0, 1, 2], 2))
    assert (sd, mean, df) == pytest.approx((math.sqrt(0.5), 21.5, 2.0))


def test_spread_of_one_tray_a_treatment_is_unknown():
    sd, _, df = spread_between(np.array([1.0, 2.0]), np.array([0, 1]), np.array([0, 0]))
    assert math.isnan(sd)
    assert df == 0


def test_spread_factors_are_those_of_chi_squared():
    low, high = spread_factors(10)
    assert low == pytest.approx(math.sqrt(10 / stats.chi2.ppf(0.95, 10)))
    assert high == pytest.approx(math.sqrt(10 / stats.chi2.ppf(0.05, 10)))


def past(metric="stem_length_mm", crops=("radish",) * 12):
    """Two treatments, three batches of two trays each: 12 trays, made from known deviations."""
    deviation = np.array([1.0, -1.0] * 6)
    treatment = np.repeat([0, 1], 6)
    batch = np.tile(np.repeat([0, 1, 2], 2), 2)
    values = 50.0 + 10.0 * treatment + 3.0 * batch + deviation
    columns = {
        "tray_id": tuple(f"T{number}" for number in range(12)),
        "crop": crops,
        "treatment": tuple(f"{15 * (code + 1)} g" for code in treatment),
        "batch": tuple(f"B{code}" for code in batch),
        "block": ("1",) * 12,
    }
    doubts = {metric: np.full(12, 0.2)}
    return TrayTable(columns, {metric: values}, doubts, (frozenset(),) * 12, {metric: "mm"})


def test_past_trays_give_their_residual_spread():
    # 12 trays, 2 treatments, 3 batches: 8 degrees of freedom; each deviates by 1 mm: sd sqrt(12/8).
    spread = past_spread(past(), "treatment", "stem_length_mm", "radish")
    assert spread.df == 8
    assert spread.mean == pytest.approx(58.0)
    assert spread.unit == "%"
    assert spread.sd == pytest.approx(100 * math.sqrt(12 / 8) / 58.0)
    assert "12 trays" in spread.source


def test_trays_of_other_crops_do_not_count_and_mixed_ones_are_asked_about():
    mixed = past(crops=("radish",) * 6 + ("pea",) * 6)
    assert past_spread(mixed, "treatment", "stem_length_mm", "sunflower") is None
    with pytest.raises(DesignError, match="several crops"):
        past_spread(mixed, "treatment", "stem_length_mm", "")


def test_few_past_trays_tell_nothing():
    table = past()
    few = replace(
        table,
        columns={name: cells[:5] for name, cells in table.columns.items()},
        values={name: cells[:5] for name, cells in table.values.items()},
        doubts={name: cells[:5] for name, cells in table.doubts.items()},
        flags=table.flags[:5],
    )
    assert past_spread(few, "treatment", "stem_length_mm", "") is None
    assert past_spread(table, "treatment", "leaf_l", "") is None


def test_units_of_spreads():
    assert unit_of_spread("stem_length_mm") == "%"
    assert unit_of_spread("canopy_cover_pct") == "points"
    assert unit_of_spread("leaf_hue_deg") == "deg"
    for metric in ("stem_length_mm", "canopy_cover_pct", "leaf_hue_deg", "canopy_height_mm"):
        assert usual_spread(metric).unit == unit_of_spread(metric)
    assert usual_spread("leaf_a") is None
