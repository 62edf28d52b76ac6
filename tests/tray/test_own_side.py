"""Which plants of a side photo are kept: not those beside the tray, nor those behind it."""

import numpy as np
import pytest

from traymorph.model.tray import FrontWall
from traymorph.tray.own_side import own_side

WALL = FrontWall(40.0, 0.0, 140.0, 640.0, 0.7, 1.0)


def test_side_view_leaves_out_the_tray_beside_it(draw):
    view = draw.camera((600.0, -50.0, 600.0), (450.0, 30.0, 0.0), focal=1200.0)
    both, alone = draw.Drawing(view), draw.Drawing(view)
    draw.SideTray(left=670.0, length=200.0, seed=5).draw(both)
    for drawing in (both, alone):
        draw.SideTray().draw(drawing)
    own = own_side(both.masks, view, WALL).masks
    expected = own_side(alone.masks, view, WALL).masks
    assert own.plant.sum() == pytest.approx(expected.plant.sum(), rel=0.02)
    assert own.plant.sum() == pytest.approx(alone.masks.plant.sum(), rel=0.02)


def test_a_neighbour_that_the_photos_edge_cuts_off_is_told_by_what_is_shown(draw):
    # the photo ends 58 mm beyond the wall: a third of the width in which neighbours are sought
    view = draw.camera((400.0, -50.0, 600.0), (400.0, -10.0, 0.0), focal=1000.0, size=(991, 1500))
    edge = view.on_plane(np.array([[990.0, 750.0]]), 0.0)[0, 0] - WALL.right_x_mm
    assert 55.0 < edge < 60.0
    both, alone = draw.Drawing(view), draw.Drawing(view)
    draw.SideTray(left=670.0, length=200.0, mean_height=45.0, seed=5).draw(both)
    for drawing in (both, alone):
        draw.SideTray().draw(drawing)
    kept, own = (own_side(d.masks, view, WALL).masks.plant.sum() for d in (both, alone))
    assert kept < 1.06 * own  # 4 % are the neighbour's, seen between the own stems
    assert kept < 0.95 * both.masks.plant.sum()


def test_a_shaded_stand_behind_goes_with_its_stems_and_is_reported(draw):
    both, alone, view = taller_behind(draw, colour=(30, 52, 22))
    own = own_side(both.masks, view, WALL, both.rgb)
    expected = own_side(alone.masks, view, WALL, alone.rgb)
    assert own.behind
    assert not expected.behind
    assert own.masks.plant.sum() == pytest.approx(expected.masks.plant.sum(), rel=0.05)
    assert own.masks.stem.sum() == pytest.approx(expected.masks.stem.sum(), rel=0.05)


def test_a_stand_alone_keeps_everything(draw):
    _, alone, view = taller_behind(draw, colour=(30, 52, 22))
    own = own_side(alone.masks, view, WALL, alone.rgb)
    assert own.at_least is None
    assert own.masks.plant.sum() == pytest.approx(alone.masks.plant.sum(), rel=0.01)


def taller_behind(draw, colour):
    """A closed stand 60 mm high, and one of twice the height and another colour behind it."""
    view = draw.camera((390.0, -50.0, 700.0), (390.0, 0.0, 0.0), focal=1300.0)
    both, alone = draw.Drawing(view), draw.Drawing(view)
    rng = np.random.default_rng(3)
    turn = np.linspace(0, 2 * np.pi, 17)[:-1]
    for x in rng.uniform(200, 600, 260):
        top = -rng.uniform(30, 60)
        stem = [[x - 1, 60], [x + 1, 60], [x + 1, top], [x - 1, top]]
        both.polygon(draw.raised(np.array(stem), -330), (150, 160, 120), stem=255)
        ring = np.stack([x + 9 * np.cos(turn), top + 14 * np.sin(turn)], 1)
        both.polygon(draw.raised(ring, -330), colour, leaf=255)
    for drawing in (both, alone):
        draw.SideTray(density=0.03, radius=5.0).draw(drawing)
    return both, alone, view


def test_a_stretch_that_stands_out_stays_but_is_in_doubt(draw):
    view = draw.camera((390.0, -50.0, 700.0), (390.0, 0.0, 0.0), focal=1300.0)
    drawing = draw.Drawing(view)
    for left, right, top in ((150, 630, -20), (150, 400, -55)):
        corners = [[left, 38], [right, 38], [right, top], [left, top]]
        drawing.polygon(draw.raised(np.array(corners), 0), (78, 130, 52), leaf=255)
    own = own_side(drawing.masks, view, WALL, drawing.rgb)
    assert not own.behind
    assert own.masks.plant.sum() == pytest.approx(drawing.masks.plant.sum(), rel=0.001)
    cut = 1.0 - own.at_least.plant.sum() / own.masks.plant.sum()
    assert cut == pytest.approx(250 * 35 / (250 * 93 + 230 * 58), rel=0.05)


def test_a_stretch_that_stands_out_over_bare_stems_goes(draw):
    view = draw.camera((390.0, -50.0, 700.0), (390.0, 0.0, 0.0), focal=1300.0)
    both, alone = draw.Drawing(view), draw.Drawing(view)
    for drawing, shapes in ((both, ((150, 400, -55),)), (alone, ())):
        for left, right, top in shapes:
            for x in range(left + 5, right, 12):
                stem = [[x, 38], [x + 2, 38], [x + 2, top + 20], [x, top + 20]]
                drawing.polygon(draw.raised(np.array(stem), 0), (150, 160, 120), stem=255)
            leaf = [[left, top + 20], [right, top + 20], [right, top], [left, top]]
            drawing.polygon(draw.raised(np.array(leaf), 0), (78, 130, 52), leaf=255)
        own = [[150, 38], [630, 38], [630, -15], [150, -15]]
        drawing.polygon(draw.raised(np.array(own), 0), (78, 130, 52), leaf=255)
    kept = own_side(both.masks, view, WALL, both.rgb)
    assert kept.behind
    assert kept.at_least is None
    assert kept.masks.plant.sum() == pytest.approx(alone.masks.plant.sum(), rel=0.05)
