"""The joined measuring of an overhead photo."""

import math
from dataclasses import replace

import numpy as np
import pytest

from traymorph.flags import FLAGS
from traymorph.measure.tray import measure_overhead
from traymorph.model.metrics import METRICS
from traymorph.model.photo import View
from traymorph.model.tray import LeafPlane, TrayOverhead
from traymorph.model.trial import TraySize

SIZE = TraySize(300.0, 200.0, 20.0, 60.0)
PLANE = LeafPlane(40.0, 2.0)


def tray(make, shape, *, opening=True, colour=None, green=(70, 148, 73)):
    camera = make.above(600.0)
    masks = make.masks(camera, PLANE.height_mm, shape, parts=2)
    rgb = np.full((*masks.leaf.shape, 3), 120, np.uint8)
    rgb[masks.leaf > 0] = green
    found = make.opening(300.0, 200.0, rim=60.0, u=0.8) if opening else None
    return TrayOverhead(rgb, masks, camera, SIZE, found, colour or make.colour())


def rings(x, y):
    return np.hypot((x + 1000) % 50 - 25, (y + 1000) % 50 - 25) < 20


def test_every_overhead_metric_is_present_and_within_its_limits(make):
    metrics, flags = measure_overhead(tray(make, rings), PLANE)
    assert set(metrics) == {name for name, spec in METRICS.items() if spec.view is View.OVERHEAD}
    for name, measured in metrics.items():
        if math.isfinite(measured.value):
            assert METRICS[name].low <= measured.value <= METRICS[name].high
            assert measured.u >= 0
    assert metrics["canopy_cover_pct"].value == pytest.approx(
        100 * math.pi * 20**2 / 50**2, rel=0.01
    )
    assert set(flags) <= set(FLAGS)


def test_closed_canopy_is_flagged(make):
    _, flags = measure_overhead(tray(make, lambda x, _: x > -1e9), PLANE)
    assert "closed_canopy" in flags


def test_bare_tray_covers_nothing_and_says_so(make):
    metrics, flags = measure_overhead(tray(make, lambda x, _: x > 1e9), PLANE)
    assert "no_plants" in flags
    assert metrics["canopy_cover_pct"].value == 0.0
    assert math.isnan(metrics["leaf_l"].value)


def test_coloured_light_leaves_colour_empty(make):
    metrics, flags = measure_overhead(tray(make, rings, colour=make.colour(shows=False)), PLANE)
    assert "light_unfit_for_colour" in flags
    assert all(math.isnan(metrics[n].value) for n in ("leaf_l", "green_share", "yellowed_pct"))
    assert math.isfinite(metrics["canopy_cover_pct"].value)


def test_purple_leaves_flag_the_index(make):
    metrics, flags = measure_overhead(tray(make, rings, green=(120, 40, 70)), PLANE)
    assert "hue_outside_index" in flags
    assert math.isnan(metrics["greenness_index"].value)


@pytest.mark.parametrize(("u_mm", "flagged"), [(3.5, False), (6.0, True)])
def test_only_an_opening_that_is_in_doubt_is_flagged(make, u_mm, flagged):
    one = tray(make, rings)
    one = replace(one, opening=replace(one.opening, position_u_mm=u_mm))
    assert ("tray_uncertain" in measure_overhead(one, PLANE)[1]) == flagged


def test_unknown_size_leaves_what_needs_it_empty(make):
    metrics, flags = measure_overhead(tray(make, rings, opening=False), PLANE)
    assert "tray_size_missing" in flags
    assert math.isnan(metrics["canopy_cover_pct"].value)
    assert metrics["projected_leaf_area_cm2"].value > 0
