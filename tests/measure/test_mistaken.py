"""What doubtful masks add to the uncertainties."""

from dataclasses import replace

import numpy as np
import pytest

from traymorph.measure.mistaken import TRAY_SAME_WAY, mistaken_class, mistaken_plant
from traymorph.measure.side import front_view, top_doubt_mm
from traymorph.measure.tray import measure_overhead, measure_side
from traymorph.model.masks import PlantMasks
from traymorph.model.tray import FrontWall, LeafPlane, TrayOverhead, TraySide
from traymorph.model.trial import TraySize

SIZE = TraySize(300.0, 200.0, 20.0, 60.0)
WALL = FrontWall(0.0, 0.0, -150.0, 150.0, 0.7, 1.0)


@pytest.fixture
def masks():
    rng = np.random.default_rng(3)
    leaf = rng.uniform(0, 1, (40, 50)).astype(np.float32)
    stem = ((1 - leaf) * rng.uniform(0, 1, leaf.shape)).astype(np.float32)
    plant = leaf + stem
    return PlantMasks(leaf, stem, 1.0, "drawn", np.minimum(plant, 1 - plant))


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_plants_change_by_a_share_of_the_doubt(masks, sign):
    other = mistaken_plant(masks, sign)
    change = float((other.plant - masks.plant).sum())
    assert change == pytest.approx(sign * TRAY_SAME_WAY * float(masks.doubt.sum()), rel=1e-3)
    assert other.plant.min() >= 0
    assert other.plant.max() <= 1


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_mistaken_class_leaves_the_plant_as_it_is(masks, sign):
    other = mistaken_class(masks, sign)
    np.testing.assert_allclose(other.plant, masks.plant, atol=1e-6)
    assert sign * float((other.leaf - masks.leaf).sum()) > 0
    assert min(other.leaf.min(), other.stem.min()) >= 0


def test_a_mask_that_knows_nothing_leaves_the_cover_open(make):
    """Every pixel as likely plant as not: the 95 % interval is tens of per cent wide."""
    camera = make.above(600.0)
    exact = make.masks(camera, 40.0, lambda x, _: x > -1e9, parts=1)
    unsure = replace(exact, leaf=exact.leaf / 2, doubt=exact.leaf / 2)
    metrics, _ = measure_overhead(
        TrayOverhead(
            np.full((*exact.leaf.shape, 3), 120, np.uint8),
            unsure,
            camera,
            SIZE,
            make.opening(300.0, 200.0, rim=60.0, u=0.8),
            make.colour(shows=False),
        ),
        LeafPlane(40.0, 2.0),
    )
    assert metrics["canopy_cover_pct"].u > 15.0


def test_a_soft_upper_edge_makes_the_height_doubtful(make):
    """A share that falls evenly from 1 to 0 over 40 mm: the levels lie 20 mm apart."""
    camera = make.above(600.0)
    sharp = make.masks(camera, 0.0, lambda _, y: (y > -60.0) & (y < 0.0), parts=1)
    ys = (np.arange(camera.size_px[1]) - (camera.size_px[1] - 1) / 2) * 600.0 / 700.0
    fall = np.clip((ys + 80.0) / 40.0, 0.0, 1.0) * (ys < 0)
    soft = replace(sharp, leaf=np.repeat(fall[:, None], camera.size_px[0], 1).astype(np.float32))
    u_sharp, u_soft = (
        top_doubt_mm(front_view(TraySide(m, camera, SIZE, WALL))) for m in (sharp, soft)
    )
    assert u_sharp < 0.3
    assert u_soft == pytest.approx(20.0 / np.sqrt(12.0), rel=0.05)


def test_unknown_rim_height_is_flagged_in_a_side_view(make):
    camera = make.above(600.0)
    own = make.masks(camera, 0.0, lambda _, y: (y > -60.0) & (y < 0.0))
    flags = [
        measure_side(TraySide(own, camera, replace(SIZE, rim_above_bench_mm=rim), WALL))[1]
        for rim in (60.0, None)
    ]
    assert "rim_height_missing" not in flags[0]
    assert "rim_height_missing" in flags[1]
