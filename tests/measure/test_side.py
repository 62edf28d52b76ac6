"""Side metrics: heights, layer and ratio in the plane of the front wall, and through its depth."""

import math
from dataclasses import replace

import numpy as np
import pytest

from traymorph.measure.depth import Sight, level_heights
from traymorph.measure.side import (
    column_tops_mm,
    front_view,
    height_metrics,
    leaf_layer_edges_mm,
    stem_to_leaf_ratio,
)
from traymorph.measure.tray import columns_that_count, measure_side
from traymorph.model.metrics import METRICS
from traymorph.model.photo import View
from traymorph.model.tray import FrontWall, TraySide
from traymorph.model.trial import TraySize

SIZE = TraySize(300.0, 200.0, 20.0, 60.0)
WALL = FrontWall(0.0, 0.0, -150.0, 150.0, 0.7, 1.0)


def tray(make, leaf, stem=None, wall=WALL):
    """Shapes in the plane of the front wall; y points down, the rim is at 0."""
    camera = make.above(600.0)
    return TraySide(make.masks(camera, 0.0, leaf, stem), camera, SIZE, wall)


def test_column_tops_follow_a_slope(make):
    view = front_view(tray(make, lambda x, y: (y > -(40.0 + 0.1 * x)) & (y < 0)))
    tops = column_tops_mm(view)
    assert len(tops) == 60
    # the highest point of a 5 mm column on a slope of 0.1 lies at its upper end
    expected = 40.0 + 0.1 * (np.arange(60) * 5.0 - 150.0 + 5.0)
    np.testing.assert_allclose(tops, expected, atol=0.8)


def test_a_leaning_rim_is_the_base_of_heights(make):
    wall = FrontWall(-3.0, 0.02, -150.0, 150.0, 0.7, 1.0)
    rim = lambda x: -3.0 + 0.02 * (x + 150.0)  # noqa: E731
    view = front_view(tray(make, lambda x, y: (y > rim(x) - 40.0) & (y < rim(x)), wall=wall))
    np.testing.assert_allclose(column_tops_mm(view), 40.0, atol=0.8)


def test_columns_without_plants_are_missing_not_zero(make):
    view = front_view(tray(make, lambda x, y: (x < 0) & (y > -30.0) & (y < 0)))
    tops = column_tops_mm(view)
    assert np.isfinite(tops[:30]).all()
    assert np.isnan(tops[30:]).all()


def test_a_tenth_at_either_end_does_not_count_unless_plants_stand_there_alone():
    tops = np.full(20, 50.0)
    tops[[0, 7]] = np.nan
    assert np.flatnonzero(columns_that_count(tops)).tolist() == [*range(2, 7), *range(8, 18)]
    tops[2:18] = np.nan
    assert np.flatnonzero(columns_that_count(tops)).tolist() == [1, 18, 19]


def test_ratio_counts_what_is_above_the_rim(make):
    leaf = lambda x, y: (abs(x) < 100) & (y > -60) & (y < -30)  # noqa: E731
    stem = lambda x, y: (abs(x) < 50) & (y > -30) & (y < 15)  # noqa: E731
    view = front_view(tray(make, leaf, stem))
    assert stem_to_leaf_ratio(view) == pytest.approx(100 * 30 / (200 * 30), rel=5e-3)


def test_the_doubt_of_the_ratio_is_that_of_a_share_taken_for_the_other(make):
    """Of leaf and stem in equal parts 5 % are mistaken: 0.55 / 0.45 is 1.222, 0.45 / 0.55 0.818."""
    leaf = lambda x, y: (abs(x) < 100) & (y > -60) & (y < -30)  # noqa: E731
    stem = lambda x, y: (abs(x) < 100) & (y > -30) & (y < 0)  # noqa: E731
    ratio = measure_side(tray(make, leaf, stem))[0]["stem_to_leaf_ratio"]
    assert ratio.value == pytest.approx(1.0, rel=0.02)
    assert ratio.u == pytest.approx((0.55 / 0.45 - 0.45 / 0.55) / 2, rel=0.1)


def test_clear_tops_leave_a_height_to_the_ruler_and_the_depth(make):
    """Sharp tops at eye level and a known fill: what is left is about 2 mm."""
    leaf = lambda x, y: (abs(x) < 150) & (y > 0) & (y < 60)  # noqa: E731
    wall = FrontWall(60.0, 0.0, -150.0, 150.0, 0.7, 1.0)
    height = measure_side(tray(make, leaf, wall=wall))[0]["canopy_height_mm"]
    assert 1.0 < height.u < 2.5


def test_layer_of_a_solid_band(make):
    """A solid band from 30 to 60 mm holds 5 % of its leaf below 31.5 and 95 % below 58.5 mm."""
    view = front_view(tray(make, lambda x, y: (abs(x) < 150) & (y > -60) & (y < -30)))
    low, high = leaf_layer_edges_mm(view)
    assert low == pytest.approx(31.5, abs=0.5)
    assert high == pytest.approx(58.5, abs=0.5)


def test_height_metrics_of_known_columns():
    found = height_metrics(np.array([40.0, 50.0, 60.0]), 1.0)
    assert found["canopy_height_mm"].value == 50.0
    assert found["canopy_height_cv_pct"].value == pytest.approx(100 * math.sqrt(200 / 3) / 50)
    assert found["canopy_height_p95_mm"].value == pytest.approx(59.0)


def stand(sight, *, mean=60.0, spread=6.0, per_mm2=0.04, seed=0):
    """Point tips all over a tray: true and apparent greatest heights of 5 mm columns.

    At the ends they lean out by 10 mm; the outermost rows in front and behind are lower.
    """
    rng = np.random.default_rng(seed)
    count = int(per_mm2 * sight.length_mm * sight.depth_mm)
    x = rng.uniform(-10, sight.length_mm + 10, count)
    behind = rng.uniform(15, sight.depth_mm - 15, count)
    height = rng.normal(mean, spread, count)
    near = sight.distance_mm / (sight.distance_mm + behind)
    seen_x = sight.eye_along_mm + (x - sight.eye_along_mm) * near
    seen = near * height + (1 - near) * sight.eye_mm
    columns = round(sight.length_mm / 5)

    def greatest(along, values):
        top = np.full(columns, -np.inf)
        within = (along > 0) & (along < sight.length_mm)
        np.maximum.at(top, (along[within] / 5).astype(int), values[within])
        return top

    truth, apparent = greatest(x, height), greatest(seen_x, seen)
    shown = np.isfinite(apparent)
    return truth, apparent[shown], (np.flatnonzero(shown) + 0.5) * 5.0


@pytest.mark.parametrize("eye", [30.0, 70.0, 120.0, 200.0])
@pytest.mark.parametrize("distance", [450.0, 900.0])
def test_level_heights_undo_perspective(eye, distance):
    sight = Sight(eye, 250.0, distance, 500.0, 250.0)
    truth, apparent, along = stand(sight)
    heights, u = level_heights(apparent, along, sight)
    assert heights.mean() == pytest.approx(truth.mean(), abs=max(1.0, 2 * u))
    assert abs(heights.mean() - truth.mean()) < 0.35 * abs(apparent.mean() - truth.mean()) + 0.5
    assert heights.std() == pytest.approx(truth.std(), rel=0.35)


def test_from_far_away_nothing_is_left_to_correct():
    sight = Sight(60.0, 250.0, 1e6, 500.0, 250.0)
    truth, apparent, along = stand(sight)
    np.testing.assert_allclose(apparent.mean(), truth.mean(), atol=0.05)
    heights, _ = level_heights(apparent, along, sight)
    assert heights.mean() == pytest.approx(truth.mean(), abs=0.3)


def test_what_hangs_out_over_the_ends_is_no_height_of_the_tray(make):
    """Leaves 90 mm up in the last 20 mm at either end of a stand of 60 mm; or as far from them."""
    left_out, counted = (
        measure_side(tray(make, _tall_between(*place)))[0]["canopy_height_p95_mm"].value
        for place in ((130, 150), (90, 110))
    )
    assert counted > left_out + 25.0


def _tall_between(near, far):
    """A stand of 60 mm that is 90 mm tall between two distances from the tray's middle."""
    return lambda x, y: (
        (abs(x) < 150)
        & (y < 0)
        & (y > np.where((abs(x) > near) & (abs(x) < far), -90, -60))
    )  # fmt: skip


def test_every_side_metric_is_present(make):
    leaf = lambda x, y: (abs(x) < 150) & (y > -60) & (y < -30)  # noqa: E731
    stem = lambda x, y: (np.abs(x % 10) < 2) & (abs(x) < 150) & (y > -30) & (y < 0)  # noqa: E731
    metrics, flags = measure_side(tray(make, leaf, stem))
    expected = {name for name, spec in METRICS.items() if spec.view is View.SIDE}
    assert set(metrics) == expected
    assert all(np.isfinite([m.value, m.u]).all() for m in metrics.values())
    assert "edge_plants" in flags


def test_bare_tray_gives_empty_metrics_and_a_flag(make):
    metrics, flags = measure_side(tray(make, lambda x, _: x > 1e9))
    assert all(math.isnan(m.value) for m in metrics.values())
    assert "no_plants" in flags


@pytest.mark.parametrize(("rim_y", "low"), [(0.0, True), (35.0, False)])
def test_a_camera_well_below_the_canopys_top_is_flagged(make, rim_y, low):
    # the lens is at y = 0, the tops 60 mm above the rim
    leaf = lambda x, y: (abs(x) < 150) & (y > rim_y - 60) & (y < rim_y)  # noqa: E731
    wall = FrontWall(rim_y, 0.0, -150.0, 150.0, 0.7, 1.0)
    assert ("camera_low" in measure_side(tray(make, leaf, wall=wall))[1]) == low


def test_plants_hardly_above_the_rim_have_no_layer(make):
    metrics, flags = measure_side(tray(make, lambda x, y: (abs(x) < 150) & (y > -2) & (y < 0)))
    assert "canopy_below_rim" in flags
    assert math.isnan(metrics["bare_stem_mm"].value)
    assert math.isfinite(metrics["canopy_height_mm"].value)


def test_plants_that_run_out_of_the_photo_have_no_height(make):
    metrics, flags = measure_side(tray(make, lambda _, y: y < 0))
    assert "tray_cut_off" in flags
    assert all(math.isnan(measured.value) for measured in metrics.values())


def test_plants_that_may_stand_behind_widen_the_doubt_and_are_flagged(make):
    whole = tray(make, lambda x, y: (abs(x) < 140) & (y > -60) & (y < 0))
    less = tray(make, lambda x, y: (abs(x) < 140) & (y > -60 + 24 * (x > 0)) & (y < 0))
    alone, flags_alone = measure_side(whole)
    unsure, flags = measure_side(replace(whole, at_least=less.masks))
    assert "plants_behind" in flags
    assert "plants_behind" not in flags_alone
    for name in (
        "canopy_height_mm", "canopy_height_p95_mm", "canopy_height_cv_pct", "leaf_layer_mm"
    ):  # fmt: skip
        # off by what they change, or by nothing, with equal chance: both lie within the interval
        assert unsure[name].value == alone[name].value
        changed = abs(alone[name].value - measure_side(less)[0][name].value)
        added = math.sqrt(unsure[name].u ** 2 - alone[name].u ** 2)
        assert added == pytest.approx(changed / math.sqrt(2), rel=1e-6)
        assert changed < 1.96 * unsure[name].u
    assert unsure["canopy_height_mm"].u > math.hypot(alone["canopy_height_mm"].u, 3.0)


def test_plants_told_behind_are_flagged_and_doubted(make):
    whole = tray(make, lambda x, y: (abs(x) < 140) & (y > -60) & (y < 0))
    metrics, flags = measure_side(replace(whole, behind=True))
    assert "plants_behind" in flags
    alone = measure_side(whole)[0]
    # the line between them cuts off tips, which the variation lacks
    for name in ("canopy_height_mm", "canopy_height_p95_mm", "canopy_height_cv_pct"):
        assert math.sqrt(metrics[name].u ** 2 - alone[name].u ** 2) > 2.0
