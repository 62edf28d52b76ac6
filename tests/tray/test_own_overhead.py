"""Which plants are kept from above: the tray's own with their overhang, not the neighbours'."""

import numpy as np
import pytest

from traymorph.model.tray import TrayOpening
from traymorph.tray.own_overhead import own_overhead

LEAVES = 70.0


def opening(corners):
    return TrayOpening(corners, 60.0, 0.8, 1.0, 0.5, 1.0)


def scene(draw, corners, *, gap, closed, colour=None, overhang=8.0):
    """Picture and shares of all plants, and the shares of those of the tray in the middle."""
    view = draw.camera((-150, 120, 650), (-150, 120.1, 0))
    both, alone = draw.Drawing(view), draw.Drawing(view)
    length = np.hypot(*(corners[1] - corners[0]))
    beside = corners + np.array([length + 18.0 + gap, 0.0])
    other = draw.Tray(beside, seed=9, density=closed, canopy=30.0)
    other.colour = colour or other.colour
    other.draw_leaves(both)
    own = draw.Tray(corners, density=closed, canopy=30.0, overhang=overhang)
    own.draw_leaves(both)
    own.draw_leaves(alone)
    return view, both.rgb, both.masks, alone.masks


@pytest.mark.parametrize(("gap", "worst"), [(60.0, 0.001), (15.0, 0.01), (0.0, 0.02)])
def test_parts_neighbouring_trays(draw, gap, worst):
    corners = draw.rectangle((-280, 120), 0.0, 250.0, 200.0)
    view, rgb, masks, alone = scene(draw, corners, gap=gap, closed=0.02)
    own = own_overhead(rgb, masks, view, opening(corners), LEAVES)
    assert own.plant.sum() == pytest.approx(alone.plant.sum(), rel=worst)


def test_leaves_over_a_neighbour_of_another_colour_are_told_by_it(draw):
    """Own leaves reach 30 mm over the rim and lie on those of a purple neighbour."""
    corners = draw.rectangle((-280, 120), 0.0, 250.0, 200.0)
    view, rgb, masks, alone = scene(
        draw, corners, gap=0.0, closed=0.03, colour=(110, 50, 96), overhang=30.0
    )
    own = own_overhead(rgb, masks, view, opening(corners), LEAVES)
    assert own.plant.sum() == pytest.approx(alone.plant.sum(), rel=0.02)
    differs = np.abs(own.plant - alone.plant).sum()
    assert differs < 0.04 * alone.plant.sum()


def test_colour_says_where_own_leaves_end_even_where_it_does_not_tell_each_leaf(draw):
    """Own leaves reach 30 mm over those of a neighbour of nearly the same green, all mottled."""
    corners = draw.rectangle((-280, 120), 0.0, 250.0, 200.0)
    view, rgb, masks, alone = scene(
        draw, corners, gap=0.0, closed=0.05, colour=(84, 134, 58), overhang=30.0
    )
    rng = np.random.default_rng(3)
    mottled = np.clip(rgb + rng.normal(0.0, 40.0, rgb.shape), 0, 255).astype(np.uint8)
    own = own_overhead(mottled, masks, view, opening(corners), LEAVES)
    differs = np.abs(own.plant - alone.plant).sum()
    assert differs < 0.05 * alone.plant.sum()


def test_single_leaves_that_reach_far_are_the_trays_own(draw):
    corners = draw.rectangle((-280, 120), 0.0, 250.0, 200.0)
    view = draw.camera((-150, 120, 650), (-150, 120.1, 0))
    drawing = draw.Drawing(view)
    draw.Tray(corners, density=0.02).draw_leaves(drawing)
    # A branch of leaves, 20 mm wide, as far as leaves reach over a rim.
    for out in range(5, 56, 5):
        drawing.disc((corners[1, 0] + out, 120, LEAVES), 10.0, leaf=255)
    own = own_overhead(drawing.rgb, drawing.masks, view, opening(corners), LEAVES)
    assert own.plant.sum() == pytest.approx(drawing.masks.plant.sum(), rel=0.005)


@pytest.mark.parametrize("x", [60, 75])
def test_parts_a_neighbour_that_the_photos_edge_cuts_off(draw, x):
    """The photo ends 51 and 36 mm beyond the opening: the neighbour fills what is seen there."""
    corners = draw.rectangle((x, 120), 0.0, 250.0, 200.0)
    view, rgb, masks, alone = scene(draw, corners, gap=0.0, closed=0.05)
    edge = view.on_plane(np.array([[1999.0, 750.0]]), LEAVES)[0, 0]
    assert edge - corners[1, 0] == pytest.approx(51.0 - (x - 60), abs=2.0)
    own = own_overhead(rgb, masks, view, opening(corners), LEAVES)
    assert own.plant.sum() == pytest.approx(alone.plant.sum(), rel=0.02)


def test_stray_plants_on_the_bench_do_not_count(draw):
    corners = draw.rectangle((-280, 120), 0.0, 250.0, 200.0)
    view = draw.camera((-150, 120, 650), (-150, 120.1, 0))
    drawing = draw.Drawing(view)
    draw.Tray(corners, density=0.02).draw_leaves(drawing)
    before = own_overhead(drawing.rgb, drawing.masks, view, opening(corners), LEAVES)
    drawing.disc((-120, 120, 0), 6.0, leaf=255)
    after = own_overhead(drawing.rgb, drawing.masks, view, opening(corners), LEAVES)
    assert after.plant.sum() == before.plant.sum()


@pytest.mark.parametrize("x", [-150.0, -500.0, 2500.0])
def test_a_tray_at_or_beyond_the_photos_edge_keeps_only_what_the_photo_shows(draw, x):
    corners = draw.rectangle((x, 120), 0.0, 250.0, 200.0)
    view = draw.camera((-150, 120, 650), (-150, 120.1, 0))
    drawing = draw.Drawing(view)
    for place in (-150, -500, 2500):
        drawing.disc((place, 120, LEAVES), 30.0, leaf=255)
    own = own_overhead(drawing.rgb, drawing.masks, view, opening(corners), LEAVES)
    assert own.leaf.shape == own.stem.shape == own.doubt.shape == drawing.masks.leaf.shape
    centre = view.project(np.array([[x, 120.0, LEAVES]]))
    column, row = np.round(drawing.masks.to_mask(centre))[0].astype(int)
    height, width = own.leaf.shape
    if 0 <= row < height and 0 <= column < width:
        assert own.leaf[row, column] == drawing.masks.leaf[row, column] > 0.9
    else:
        assert x == 2500.0
        assert not own.leaf.any()


def test_leaf_and_stem_keep_their_shares(draw):
    corners = draw.rectangle((-280, 120), 0.0, 250.0, 200.0)
    view = draw.camera((-150, 120, 650), (-150, 120.1, 0))
    drawing = draw.Drawing(view)
    drawing.disc((-280, 120, LEAVES), 30.0, leaf=255)
    drawing.disc((-280, 160, LEAVES), 5.0, stem=255)
    own = own_overhead(drawing.rgb, drawing.masks, view, opening(corners), LEAVES)
    np.testing.assert_array_equal(own.leaf, drawing.masks.leaf)
    np.testing.assert_array_equal(own.stem, drawing.masks.stem)
