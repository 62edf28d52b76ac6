"""Masks that are expected to be wrong over much of the plants' area are flagged, others are not."""

import math
from dataclasses import replace

import numpy as np
import pytest

from traymorph.flags import FLAGS
from traymorph.measure.mask_doubt import expected_error_share
from traymorph.measure.tray import measure_overhead, measure_side
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
