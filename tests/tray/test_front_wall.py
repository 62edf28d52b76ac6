"""The front wall found in drawn side views."""

import numpy as np
import pytest

from traymorph.errors import TrayNotFoundError
from traymorph.model.trial import TraySize
from traymorph.tray.front_wall import find_front_wall

CARD = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]])


def photo(draw, tray, eye, **style):
    view = draw.camera(eye, (eye[0], tray.rim_y - 10.0, 0.0), focal=1250.0)
    drawing = draw.Drawing(view, **style)
    drawing.polygon(draw.raised(CARD, 0.0), draw.card_colour)
    tray.draw(drawing)
    return drawing


def find(draw, drawing, size, plane="bench"):
    outline = drawing.viewpoint.project(draw.raised(CARD, 0.0))
    return find_front_wall(drawing.rgb, drawing.masks, drawing.viewpoint, size, plane, outline)


@pytest.mark.parametrize(("above", "away"), [(30.0, 500.0), (100.0, 600.0), (160.0, 800.0)])
def test_finds_edge_and_ends(draw, above, away):
    tray = draw.SideTray()
    drawing = photo(draw, tray, (380.0, tray.rim_y - above, away))
    wall = find(draw, drawing, TraySize(500.0, 250.0, 20.0, 60.0))
    assert wall.rim_y_mm == pytest.approx(tray.rim_y, abs=1.5)
    assert wall.left_x_mm == pytest.approx(tray.left, abs=5.0)
    assert wall.right_x_mm - wall.left_x_mm == pytest.approx(500.0)
    assert wall.seen_share > 0.8


def test_takes_the_short_side_when_that_is_the_front(draw):
    tray = draw.SideTray(length=250.0, depth=500.0)
    drawing = photo(draw, tray, (250.0, tray.rim_y - 60.0, 600.0))
    wall = find(draw, drawing, TraySize(500.0, 250.0, 20.0, 60.0))
    assert wall.right_x_mm - wall.left_x_mm == pytest.approx(250.0)
    assert wall.left_x_mm == pytest.approx(tray.left, abs=5.0)


def test_rim_height_stated_a_centimetre_wrong_is_set_right_by_the_edge(draw):
    tray = draw.SideTray()
    drawing = photo(draw, tray, (380.0, tray.rim_y - 60.0, 600.0))
    wall = find(draw, drawing, TraySize(500.0, 250.0, 20.0, 50.0))
    assert wall.rim_y_mm == pytest.approx(tray.rim_y, abs=1.5)


@pytest.mark.parametrize("plane", ["bench", "rim"])
def test_side_card_need_not_stand_as_the_overhead_card_lies(draw, plane):
    tray = draw.SideTray()
    drawing = photo(draw, tray, (380.0, tray.rim_y - 60.0, 600.0))
    wall = find(draw, drawing, TraySize(500.0, 250.0, 20.0, 60.0), plane)
    assert wall.rim_y_mm == pytest.approx(tray.rim_y, abs=1.5)


@pytest.mark.parametrize("rim_y", [28.0, 40.0, 70.0])
def test_unknown_rim_height_is_searched(draw, rim_y):
    tray = draw.SideTray(rim_y=rim_y)
    drawing = photo(draw, tray, (380.0, tray.rim_y - 60.0, 600.0))
    wall = find(draw, drawing, TraySize(500.0, 250.0))
    assert wall.rim_y_mm == pytest.approx(tray.rim_y, abs=3 * wall.position_u_mm)
    assert wall.position_u_mm < 2.0
    assert wall.left_x_mm == pytest.approx(tray.left, abs=5.0)


def test_cut_off_neighbour_on_a_dark_bench_is_not_the_tray(draw):
    tray = draw.SideTray(length=250.0)
    drawing = photo(draw, tray, (200.0, tray.rim_y - 60.0, 400.0), background=(32, 32, 34))
    neighbour = draw.SideTray(length=250.0, left=tray.left + 275.0)
    neighbour.draw(drawing)
    wall = find(draw, drawing, TraySize(250.0, 250.0, 20.0, 60.0))
    assert wall.left_x_mm == pytest.approx(tray.left, abs=20.0)


def test_no_wall_is_an_error_with_advice(draw):
    view = draw.camera((380.0, -20.0, 600.0), (380.0, 30.0, 0.0), focal=1250.0)
    drawing = draw.Drawing(view)
    drawing.polygon(draw.raised(CARD, 0.0), draw.card_colour)
    with pytest.raises(TrayNotFoundError, match="front wall"):
        find(draw, drawing, TraySize(500.0, 250.0, 20.0, 60.0))


def test_needs_a_size(draw):
    view = draw.camera((380.0, -20.0, 600.0), (380.0, 30.0, 0.0))
    with pytest.raises(ValueError, match="inside length or width"):
        find(draw, draw.Drawing(view), TraySize())
