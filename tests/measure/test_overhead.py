"""Overhead metrics against closed forms."""

import numpy as np
import pytest

from traymorph.measure.grid import plan_view
from traymorph.measure.influence import measure_plan
from traymorph.measure.mistaken import TRAY_SAME_WAY
from traymorph.measure.obliqueness import REMAINING_U
from traymorph.measure.overhead import (
    OVERHANG_FACTOR,
    canopy_cover_pct,
    cell_cover,
    evenness_cv_pct,
    largest_gap_cm2,
    overhang_area_cm2,
    projected_leaf_area_cm2,
)
from traymorph.model.tray import LeafPlane, TrayOverhead
from traymorph.model.trial import TraySize

SIZE = TraySize(300.0, 200.0, 20.0, 60.0)


def disc(radius, x0=0.0, y0=0.0):
    return lambda x, y: (x - x0) ** 2 + (y - y0) ** 2 < radius**2


@pytest.mark.parametrize(
    ("eye", "height", "magnified"),
    # (H / (H - h))^2: relief displacement of surveying, worked for H 500 mm and h 30, 50, 80 mm
    [(500.0, 30.0, 1.131733), (500.0, 50.0, 1.234568), (500.0, 80.0, 1.417234)],
)
def test_a_raised_disc_reads_magnified_in_the_cards_plane_and_true_in_its_own(
    make, eye, height, magnified
):
    camera, opening = make.above(eye), make.opening(300.0, 200.0)
    masks = make.masks(camera, height, disc(40.0))
    true = np.pi * 4.0**2
    low = projected_leaf_area_cm2(plan_view(masks, camera, opening, 0.0, 0.5))
    assert low / true == pytest.approx(magnified, rel=2e-3)
    own = projected_leaf_area_cm2(plan_view(masks, camera, opening, height, 0.5))
    assert own == pytest.approx(true, rel=1e-3)


@pytest.mark.parametrize("area_mm2", [100.0, 314.16, 900.0])
@pytest.mark.parametrize("tilt_deg", [0.0, 12.0, 30.0])
def test_cut_shapes_under_tilt_are_true_to_1_pct(make, area_mm2, tilt_deg):
    """Published phone methods reach 1 % on cut paper shapes; so must the geometry alone."""
    camera = make.above(500.0, tilt_deg=tilt_deg, focal=2000.0)
    side = np.sqrt(area_mm2)
    square = lambda x, y: (abs(x) < side / 2) & (abs(y) < side / 2)  # noqa: E731
    masks = make.masks(camera, 0.0, square)
    view = plan_view(masks, camera, make.opening(300.0, 200.0), 0.0, 0.5)
    assert projected_leaf_area_cm2(view) * 100 == pytest.approx(area_mm2, rel=0.01)


def test_cover_and_overhang_share_a_strip_across_the_edge(make):
    camera = make.above(600.0)
    strip = lambda x, y: (x > 100) & (x < 180) & (abs(y) < 50)  # noqa: E731
    view = plan_view(make.masks(camera, 40.0, strip), camera, make.opening(300.0, 200.0), 40.0, 0.5)
    # 50 x 100 mm within the opening of 300 x 200 mm, 30 x 100 mm beyond it
    assert canopy_cover_pct(view) == pytest.approx(100 * 5000 / 60000, rel=5e-3)
    assert overhang_area_cm2(view) == pytest.approx(30.0 * OVERHANG_FACTOR, rel=5e-3)
    assert projected_leaf_area_cm2(view) == pytest.approx(50.0, rel=5e-3)


def test_stems_count_as_cover_but_not_as_leaf(make):
    camera = make.above(600.0)
    masks = make.masks(camera, 0.0, disc(20.0, x0=60.0), disc(10.0))
    view = plan_view(masks, camera, make.opening(300.0, 200.0), 0.0, 0.5)
    both = np.pi * (20.0**2 + 10.0**2)
    assert canopy_cover_pct(view) == pytest.approx(100 * both / 60000, rel=0.01)
    assert projected_leaf_area_cm2(view) == pytest.approx(np.pi * 4.0, rel=0.01)


def test_half_covered_tray_has_the_evenness_of_a_coin(make):
    """Half the cells full and half bare: mean 0.5, standard deviation 0.5, so 100 %."""
    camera = make.above(600.0)
    view = plan_view(
        make.masks(camera, 0.0, lambda x, _: x < 0), camera, make.opening(300.0, 200.0), 0.0, 0.5
    )
    assert cell_cover(view).shape == (8, 12)
    assert evenness_cv_pct(view) == pytest.approx(100.0, abs=0.5)


def test_only_whole_cells_count_for_evenness(make):
    camera = make.above(600.0)
    view = plan_view(
        make.masks(camera, 0.0, lambda x, _: x < 0), camera, make.opening(310.0, 190.0), 0.0, 0.5
    )
    assert cell_cover(view).shape == (7, 12)


def test_largest_gap_is_the_larger_of_two(make):
    camera = make.above(600.0)
    bare = lambda x, y: ~(disc(30.0, -70.0)(x, y) | disc(20.0, 70.0)(x, y))  # noqa: E731
    view = plan_view(make.masks(camera, 0.0, bare), camera, make.opening(300.0, 200.0), 0.0, 0.5)
    assert largest_gap_cm2(view) == pytest.approx(np.pi * 3.0**2, rel=5e-3)


def test_a_slit_narrower_than_5_mm_joins_no_gaps(make):
    camera = make.above(600.0)

    def covered(width):
        slit = lambda x, y: (abs(x) < 70) & (abs(y) < width / 2)  # noqa: E731
        return lambda x, y: ~(disc(30.0, -70.0)(x, y) | disc(30.0, 70.0)(x, y) | slit(x, y))

    gaps = [
        largest_gap_cm2(
            plan_view(
                make.masks(camera, 0.0, covered(w)), camera, make.opening(300.0, 200.0), 0.0, 0.5
            )
        )
        for w in (3.0, 8.0)
    ]
    assert gaps[0] == pytest.approx(np.pi * 3.0**2, rel=0.02)
    assert gaps[1] > 1.9 * gaps[0]


def test_a_full_tray_has_no_gap(make):
    camera = make.above(600.0)
    view = plan_view(
        make.masks(camera, 0.0, lambda x, _: x > -1e9), camera, make.opening(300.0, 200.0), 0.0, 0.5
    )
    assert largest_gap_cm2(view) == 0.0
    assert canopy_cover_pct(view) == pytest.approx(100.0, abs=1e-4)


def test_without_an_opening_only_leaf_area_is_given(make):
    camera = make.above(600.0)
    view = plan_view(make.masks(camera, 30.0, disc(40.0, 20.0)), camera, None, 30.0, 0.5)
    assert projected_leaf_area_cm2(view) == pytest.approx(np.pi * 16.0, rel=2e-3)
    for metric in (canopy_cover_pct, overhang_area_cm2, evenness_cv_pct, largest_gap_cm2):
        assert np.isnan(metric(view))


def tray_of(make, camera, masks, opening):
    rgb = np.zeros((*masks.leaf.shape, 3), np.uint8)
    return TrayOverhead(rgb, masks, camera, SIZE, opening, make.colour())


def test_doubt_of_the_planes_height_becomes_that_of_a_free_standing_area(make):
    """An area well within the tray goes with (H - h)^2: its relative doubt is 2 u / (H - h)."""
    camera = make.above(600.0)
    masks = make.masks(camera, 50.0, disc(40.0))
    exact = camera.__class__(**{**fields(camera), "distance_u_rel": 0.0, "tilt_u_deg": 0.0})
    tray = tray_of(make, exact, masks, make.opening(300.0, 200.0))
    by_plane = measure_plan(tray, LeafPlane(50.0, 11.0))["projected_leaf_area_cm2"]
    without = measure_plan(tray, LeafPlane(50.0, 0.0))["projected_leaf_area_cm2"]
    own = np.sqrt(by_plane.u**2 - without.u**2)
    assert own / by_plane.value == pytest.approx(2 * 11.0 / 550.0, rel=0.05)


def fields(viewpoint):
    return {name: getattr(viewpoint, name) for name in viewpoint.__dataclass_fields__}


def test_doubtful_pixels_and_an_uncertain_edge_add_doubt(make):
    camera = make.above(600.0)
    strip = lambda x, y: (x < 100) & (abs(y) < 80)  # noqa: E731
    masks = make.masks(camera, 0.0, strip)
    plane = LeafPlane(0.0, 0.5)
    sure = measure_plan(tray_of(make, camera, masks, make.opening(300.0, 200.0)), plane)
    shaky = measure_plan(tray_of(make, camera, masks, make.opening(300.0, 200.0, u=3.0)), plane)
    doubtful = type(masks)(masks.leaf, masks.stem, 1.0, "exact", np.full_like(masks.leaf, 0.1))
    vague = measure_plan(tray_of(make, camera, doubtful, make.opening(300.0, 200.0)), plane)
    assert shaky["canopy_cover_pct"].u > 1.5 * sure["canopy_cover_pct"].u
    assert vague["canopy_cover_pct"].u > 1.5 * sure["canopy_cover_pct"].u
    u_edge, u_masks = (
        np.sqrt(one["projected_leaf_area_cm2"].u ** 2 - sure["projected_leaf_area_cm2"].u ** 2)
        for one in (shaky, vague)
    )
    # the edge across a strip 160 mm wide moves by 3 mm; all 250 mm x 160 mm of it lose a share
    assert u_edge == pytest.approx(1.6 * 3.0, rel=0.05)
    assert u_masks == pytest.approx(25.0 * 16.0 * 0.1 * TRAY_SAME_WAY, rel=0.05)


def test_what_a_vertical_view_shows_of_stems_is_a_doubt_of_cover(make):
    """The same shape as stem and as leaf: stem adds its own doubt to that of cover."""
    camera, opening, plane = make.above(600.0), make.opening(300.0, 200.0), LeafPlane(0.0, 0.0)
    bare, shape = lambda x, _: x > 1e9, disc(80.0)
    u_pct = [
        measure_plan(tray_of(make, camera, masks, opening), plane)["canopy_cover_pct"].u
        for masks in (make.masks(camera, 0.0, bare, shape), make.masks(camera, 0.0, shape))
    ]
    covered_pct = 100.0 * np.pi * 80.0**2 / (300.0 * 200.0)
    own_pct = np.sqrt(u_pct[0] ** 2 - u_pct[1] ** 2)
    assert own_pct == pytest.approx(REMAINING_U * covered_pct, rel=0.05)


def test_stems_between_leaves_keep_leaf_area_doubtful(make):
    """Masks that are sure of every pixel leave more than 3 % of leaf area open."""
    camera = make.above(600.0)
    masks = make.masks(camera, 0.0, disc(60.0))
    tray = tray_of(make, camera, masks, make.opening(300.0, 200.0))
    area = measure_plan(tray, LeafPlane(0.0, 0.0))["projected_leaf_area_cm2"]
    assert 0.03 * area.value < area.u < 0.05 * area.value
