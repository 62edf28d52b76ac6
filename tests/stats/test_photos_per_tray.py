"""What several photos of each tray make of the spread, reckoned by hand and by simulation."""

import math
from dataclasses import replace

import numpy as np
import pytest

from traymorph.model.plan import Scatter, Spread
from traymorph.stats.planning.photos_per_tray import in_unit_of, measuring_within, with_scatter
from traymorph.stats.planning.planned import trays_needed

SPREAD = Spread("canopy_height_mm", 10.0, "%", "stated", mean=50.0)
SCATTER = Scatter("canopy_height_mm", 3.0, 60.0, "study")


def test_by_hand():
    # 3 mm of 50 mm are 6 %: 36 of 100 of the variance; two photos leave 100 - 18, four 100 - 27.
    held = measuring_within(SPREAD, SCATTER, None)
    assert held.sd == pytest.approx(6.0)
    assert held.share_pct == pytest.approx(36.0)
    assert [row.photos for row in held.rows] == [2, 3, 4]
    assert [row.sd for row in held.rows] == pytest.approx(
        [math.sqrt(82.0), math.sqrt(76.0), math.sqrt(73.0)]
    )
    assert not held.beyond
    assert {row.n_80 for row in held.rows} == {None}


def test_the_mean_of_the_trial_comes_before_that_of_the_study():
    assert in_unit_of(SPREAD, SCATTER) == pytest.approx(6.0)
    assert in_unit_of(replace(SPREAD, mean=math.nan), SCATTER) == pytest.approx(5.0)
    assert in_unit_of(Spread("leaf_hue_deg", 2.0, "deg", "stated"), SCATTER) == 3.0
    assert math.isnan(in_unit_of(replace(SPREAD, mean=math.nan), replace(SCATTER, mean=0.0)))


def test_the_average_of_simulated_photos_scatters_so():
    draw = np.random.default_rng(2)
    trays = draw.normal(0, 8, 40_000)
    photos = trays[:, None] + draw.normal(0, 6, (40_000, 3))
    held = measuring_within(SPREAD, SCATTER, None)
    assert photos[:, 0].std() == pytest.approx(SPREAD.sd, rel=0.02)
    assert photos.mean(axis=1).std() == pytest.approx(held.rows[1].sd, rel=0.02)


def test_fewer_trays_are_needed_with_more_photos():
    needed = measuring_within(SPREAD, SCATTER, lambda left: trays_needed(8.0, left, 1).n_80)
    once = trays_needed(8.0, SPREAD, 1).n_80
    counts = [once, *(row.n_80 for row in needed.rows)]
    assert counts == sorted(counts, reverse=True)
    assert counts[-1] < once


def test_repeats_that_scatter_more_than_trays_are_said_not_to_fit():
    held = measuring_within(SPREAD, replace(SCATTER, sd=6.0), None)
    assert held.beyond
    assert held.share_pct == 100.0
    assert held.rows[0].sd == pytest.approx(10.0 / math.sqrt(2))


def test_an_assumed_spread_gets_the_scatter_in_squares():
    spread = with_scatter(replace(SPREAD, sd=8.0), SCATTER)
    assert spread.sd == pytest.approx(10.0)
    assert "added in squares" in spread.source
    assert with_scatter(SPREAD, replace(SCATTER, sd=0.0)) == SPREAD
