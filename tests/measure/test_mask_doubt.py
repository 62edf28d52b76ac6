"""Masks that are expected to be wrong over much of the plants' area are flagged, others are not."""

import math
from dataclasses import replace

import numpy as np
import pytest

from traymorph.flags import FLAGS
from traymorph.measure.mask_doubt import expected_error_share, tints_with_missed_leaf
from traymorph.measure.mistaken import TRAY_SAME_WAY
from traymorph.measure.tray import measure_overhead, measure_side
from traymorph.model.results import Measured
from traymorph.model.tray import FrontWall, LeafPlane, TrayOverhead, TraySide
from traymorph.model.trial import TraySize

SIZE = TraySize(300.0, 200.0, 20.0, 60.0)
WALL = FrontWall(0.0, 0.0, -150.0, 150.0, 0.7, 1.0)


def doubted(masks, share):
    """Every pixel of plant, and as many beside it, told wrongly with half of the chance each."""
    beside = np.roll(masks.plant, masks.plant.shape[1] // 2, axis=1)
    return replace(masks, doubt=(0.5 * share * (masks.plant + beside)).astype(np.float32))


def half_covered(make, camera):
    return make.masks(camera, 0.0, lambda x, y: (x < 0) & (y > -60.0) & (y < 0.0), parts=1)


def overhead_flags(make, masks, camera):
    opening, colour = make.opening(300.0, 200.0, u=0.8), make.colour(shows=False)
    rgb = np.full((*masks.leaf.shape, 3), 120, np.uint8)
    tray = TrayOverhead(rgb, masks, camera, SIZE, opening, colour)
    return measure_overhead(tray, LeafPlane(0.0, 2.0))[1]


def side_flags(_, masks, camera):
    return measure_side(TraySide(masks, camera, SIZE, WALL))[1]


def test_the_expected_error_is_the_doubtful_area_over_the_plants(make):
    masks = half_covered(make, make.above(600.0))
    assert expected_error_share(doubted(masks, 0.3)) == pytest.approx(0.3, rel=1e-3)
    assert expected_error_share(masks) == 0.0


def test_without_plants_no_share_is_expected(make):
    masks = half_covered(make, make.above(600.0))
    empty = replace(masks, leaf=np.zeros_like(masks.leaf), doubt=np.full_like(masks.leaf, 0.4))
    assert math.isnan(expected_error_share(empty))


@pytest.mark.parametrize("flags_of", [overhead_flags, side_flags])
@pytest.mark.parametrize(("share", "raised"), [(0.0, False), (0.05, False), (0.3, True)])
def test_doubtful_masks_are_flagged_in_both_views(make, flags_of, share, raised):
    camera = make.above(600.0)
    flags = flags_of(make, doubted(half_covered(make, camera), share), camera)
    assert ("masks_uncertain" in flags) == raised
    assert set(flags) <= set(FLAGS)


def test_what_masks_miss_may_all_be_yellow(make):
    """Two doubts that are independent: the root of the summed squares, GUM 5.1.2."""
    masks = doubted(half_covered(make, make.above(600.0)), 0.2)
    read = Measured(10.0, 3.0)
    tints = dict.fromkeys(("green_leaf_pct", "purple_leaf_pct", "yellowed_pct"), read)
    wider = tints_with_missed_leaf({**tints, "leaf_l": Measured(50.0, 1.0)}, masks)
    assert set(wider) == set(tints)
    for got in wider.values():
        assert got.value == 10.0
        assert got.u == pytest.approx(math.hypot(3.0, 100 * TRAY_SAME_WAY * 0.2), rel=1e-3)


def test_the_yellowed_share_of_a_tray_is_as_doubtful_as_its_masks(make):
    camera = make.above(600.0)
    sure = half_covered(make, camera)
    rgb = np.full((*sure.leaf.shape, 3), 120, np.uint8)
    rgb[sure.leaf > 0] = (70, 148, 73)
    opening = make.opening(300.0, 200.0, u=0.8)
    u_sure, u_doubted = (
        measure_overhead(
            TrayOverhead(rgb, masks, camera, SIZE, opening, make.colour()), LeafPlane(0.0, 2.0)
        )[0]["yellowed_pct"].u
        for masks in (sure, doubted(sure, 0.3))
    )
    assert u_doubted > u_sure + 5.0
