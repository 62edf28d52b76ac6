"""The opening found in drawn trays whose corners are known."""

import numpy as np
import pytest

from traymorph.errors import TrayNotFoundError
from traymorph.model.trial import TraySize
from traymorph.tray.evidence import view_of_rim
from traymorph.tray.opening import find_opening
from traymorph.tray.scan import coarse_places

CARD = [[0, 0, 0], [100, 0, 0], [100, 140, 0], [0, 140, 0]]


def worst_corner_mm(found, corners):
    """Greatest distance of corners, whichever end the first edge starts from."""
    return min(np.hypot(*(np.roll(found, k, axis=0) - corners).T).max() for k in range(4))


def photo(draw, corners, *, eye=(-150, 100, 650), neighbours=(), **tray):
    drawing = draw.Drawing(draw.camera(eye, (-140, 110, 0), radial=(0.03, -0.01)))
    drawing.polygon(CARD, draw.card_colour)
    own = draw.Tray(corners, **tray)
    own.draw(drawing)
    for k, other in enumerate(neighbours):
        beside = draw.Tray(other, seed=50 + k)
        beside.draw(drawing)
        beside.draw_leaves(drawing)
    own.draw_leaves(drawing)
    return drawing


def find(drawing, length, width, plane="bench", canopy=35.0):
    size = TraySize(length, width, 20.0, 60.0)
    return find_opening(drawing.rgb, drawing.masks, drawing.sighting(CARD), size, plane, canopy)


@pytest.mark.parametrize(
    ("turn", "length", "density"),
    [(3.0, 500.0, 0.012), (90.0, 500.0, 0.02), (45.0, 250.0, 0.012), (-20.0, 300.0, 0.006)],
)
def test_places_the_opening_within_3_mm(draw, turn, length, density):
    corners = draw.rectangle((-190, 120), turn, length, 250.0 if length > 280 else 200.0)
    width = np.hypot(*(corners[3] - corners[0]))
    found = find(photo(draw, corners, density=density), length, width)
    assert worst_corner_mm(found.corners_mm, corners) < 3.0
    assert found.rim_height_mm == 60.0
    assert found.in_photo_share == 1.0


def test_first_edge_runs_along_the_length_and_corners_run_clockwise(draw):
    corners = draw.rectangle((-190, 120), 10.0, 400.0, 200.0)
    found = find(photo(draw, corners), 400.0, 200.0).corners_mm
    assert np.hypot(*(found[1] - found[0])) == pytest.approx(400.0)
    edge, following = found[1] - found[0], found[2] - found[1]
    # x right and y down seen from above: clockwise turns have a positive cross product
    assert edge[0] * following[1] - edge[1] * following[0] > 0


def test_keeps_to_the_tray_beside_a_close_neighbour(draw):
    corners = draw.rectangle((-150, 120), 0.0, 300.0, 200.0)
    beside = [draw.rectangle((-150, 120 + sign * 238.0), 0.0, 300.0, 200.0) for sign in (1,)]
    found = find(photo(draw, corners, neighbours=beside), 300.0, 200.0)
    assert worst_corner_mm(found.corners_mm, corners) < 3.0


def test_a_sparse_stand_is_found_beside_dense_ones(draw):
    """Narrow trays that are full stand at two sides of one whose leaves cover a fifth."""
    corners = draw.rectangle((-200, 150), 0.0, 400.0, 200.0)
    beside = [draw.rectangle((80, 150), 0.0, 120.0, 200.0)]
    beside += [draw.rectangle((-200, -20), 0.0, 400.0, 100.0)]
    drawing = draw.Drawing(draw.camera((-150, 100, 650), (-140, 110, 0)))
    for k, place in enumerate(beside):
        full = draw.Tray(place, density=0.05, overhang=14.0, seed=20 + k)
        full.draw(drawing)
        full.draw_leaves(drawing)
    own = draw.Tray(corners, density=0.002)
    own.draw(drawing)
    own.draw_leaves(drawing)
    found = find(drawing, 400.0, 200.0)
    assert worst_corner_mm(found.corners_mm, corners) < 12.0


def test_a_card_on_a_black_stand_is_no_rim(draw):
    """White paper on black, 8 mm wider to all sides, has the edges of a rim, and sharper ones."""
    corners = draw.rectangle((-190, 120), 90.0, 300.0, 200.0)
    drawing = draw.Drawing(draw.camera((-150, 100, 650), (-140, 110, 0)))
    own = draw.Tray(corners, density=0.05, overhang=10.0)
    own.draw(drawing)
    own.draw_leaves(drawing)
    card = np.add(CARD, (-70.0, 40.0, 60.0))
    stand = card + 8.0 * np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]])
    drawing.polygon(stand, (20, 20, 20))
    drawing.polygon(card, draw.card_colour)
    size = TraySize(300.0, 200.0, 20.0, 60.0)
    found = find_opening(drawing.rgb, drawing.masks, drawing.sighting(card), size, "bench")
    assert worst_corner_mm(found.corners_mm, corners) < 2.5


def test_of_two_trays_grown_together_the_one_along_the_photo_is_found(draw):
    """Two trays of 300 by 200 mm side by side are deeper than one is long."""
    corners = draw.rectangle((-150, 190), 0.0, 300.0, 200.0)
    beside = draw.rectangle((-210, -25), 0.0, 300.0, 200.0)
    drawing = draw.Drawing(draw.camera((-150, 100, 700), (-140, 110, 0)))
    for k, place in enumerate((beside, corners)):
        tray = draw.Tray(place, density=0.05, overhang=14.0, canopy=80.0, seed=k)
        tray.draw_leaves(drawing)
    found = find(drawing, 300.0, 200.0).corners_mm
    assert worst_corner_mm(found, corners) < 12.0


def test_a_gap_parts_the_canopy_from_its_neighbours(draw):
    """The tray's rim is hidden; on both long sides a neighbour's canopy begins 12 mm farther."""
    corners = draw.rectangle((-150, 120), 0.0, 300.0, 150.0)
    beside = [draw.rectangle((-150, 120 + sign * 205.0), 0.0, 300.0, 150.0) for sign in (1, -1)]
    drawing = draw.Drawing(draw.camera((-150, 100, 700), (-140, 110, 0)))
    for k, place in enumerate((*beside, corners)):
        draw.Tray(place, density=0.05, overhang=16.0, seed=k).draw_leaves(drawing)
    found = find(drawing, 300.0, 150.0).corners_mm
    assert worst_corner_mm(found, corners) < 8.0


def test_a_canopy_of_unknown_height_is_taken_at_the_height_that_fits(draw):
    """Leaves 100 mm above a hidden rim are seen far beside it: read low, they are another tray."""
    corners = draw.rectangle((-70, 60), 0.0, 300.0, 200.0)
    drawing = draw.Drawing(draw.camera((-150, 100, 650), (-140, 110, 0)))
    draw.Tray(corners, density=0.05, overhang=16.0, canopy=100.0).draw_leaves(drawing)
    tried = [find(drawing, 300.0, 200.0, canopy=h) for h in (15.0, 60.0, 90.0, 125.0)]
    low, unknown = tried[0], find(drawing, 300.0, 200.0, canopy=None)
    assert unknown.canopy_above_rim_mm == pytest.approx(100.0, abs=15.0)
    assert unknown.fit == max(one.fit for one in tried) > low.fit
    assert worst_corner_mm(unknown.corners_mm, corners) < 12.0
    assert worst_corner_mm(low.corners_mm, corners) > 12.0


def test_places_that_fit_as_well_under_another_height_are_part_of_the_doubt(draw, monkeypatch):
    """One or the other with equal chance: half of the distance between them."""
    monkeypatch.setattr("traymorph.tray.opening._AS_GOOD", 9.0)  # every height fits as well
    corners = draw.rectangle((-70, 60), 0.0, 300.0, 200.0)
    drawing = draw.Drawing(draw.camera((-150, 100, 650), (-140, 110, 0)))
    draw.Tray(corners, density=0.05, overhang=16.0, canopy=100.0).draw_leaves(drawing)
    each = [
        find(drawing, 300.0, 200.0, canopy=height) for height in (15.0, 35.0, 60.0, 90.0, 125.0)
    ]
    best = max(each, key=lambda one: one.fit)
    middles = np.array([one.corners_mm.mean(axis=0) for one in each])
    apart = np.hypot(*(middles - best.corners_mm.mean(axis=0)).T).max()
    assert apart > 5.0
    unknown = find(drawing, 300.0, 200.0, canopy=None)
    assert unknown.position_u_mm == pytest.approx(np.hypot(best.position_u_mm, apart / 2))


def test_heights_of_the_canopy_scanned_together_give_what_each_gives_alone(draw):
    corners = draw.rectangle((-190, 120), 12.0, 400.0, 200.0)
    drawing = photo(draw, corners)
    sighting = drawing.sighting(CARD)
    view = view_of_rim(drawing.rgb, drawing.masks, sighting.viewpoint, 60.0, sighting.outline_px)
    evidences = [view.under_canopy(height) for height in (10.0, 50.0, 100.0)]
    together = coarse_places(evidences, 400.0, 200.0)
    assert together == [coarse_places([one], 400.0, 200.0)[0] for one in evidences]
    assert len({max(places, key=lambda one: one.score) for places in together}) > 1


def test_scale_ratio_tells_a_card_that_lies_lower_than_stated(draw):
    """The rim is nearer the camera than the card's plane: seen 60 mm up from 650 mm it is
    650 / 590 as large as the settings, which put the card at rim height, let one expect."""
    corners = draw.rectangle((-190, 120), 0.0, 500.0, 250.0)
    drawing = photo(draw, corners, density=0.004)
    right = find(drawing, 500.0, 250.0)
    assert right.scale_ratio == pytest.approx(1.0, abs=0.01)


def test_says_more_doubt_when_leaves_hide_the_rim(draw):
    corners = draw.rectangle((-190, 120), 0.0, 400.0, 250.0)
    bare = find(photo(draw, corners, density=0.006), 400.0, 250.0)
    hidden = find(photo(draw, corners, density=0.05, overhang=25.0), 400.0, 250.0)
    assert hidden.seen_share < bare.seen_share
    assert hidden.position_u_mm > bare.position_u_mm


def test_says_more_doubt_where_canopies_have_grown_together(draw):
    corners = draw.rectangle((-150, 190), 0.0, 300.0, 200.0)
    alone, both = (draw.Drawing(draw.camera((-150, 100, 700), (-140, 110, 0))) for _ in range(2))
    draw.Tray(draw.rectangle((-210, -25), 0.0, 300.0, 200.0), density=0.05, overhang=14.0,
              canopy=80.0, seed=0).draw_leaves(both)  # fmt: skip
    for drawing in (alone, both):
        draw.Tray(corners, density=0.05, overhang=14.0, canopy=80.0).draw_leaves(drawing)
    free, grown = (find(drawing, 300.0, 200.0).position_u_mm for drawing in (alone, both))
    assert grown > 1.2 * free


def test_no_tray_is_an_error_with_advice(draw):
    drawing = draw.Drawing(draw.camera((-150, 100, 650), (-140, 110, 0)))
    with pytest.raises(TrayNotFoundError, match="inside size"):
        find(drawing, 500.0, 250.0)


def test_a_photo_smaller_than_the_tray_is_an_error(draw):
    drawing = draw.Drawing(draw.camera((-150, 100, 200), (-150, 100.1, 0)))
    with pytest.raises(TrayNotFoundError, match="less ground"):
        find(drawing, 500.0, 250.0)


def test_needs_the_inside_size(draw):
    drawing = draw.Drawing(draw.camera((-150, 100, 650), (-140, 110, 0)))
    with pytest.raises(ValueError, match="inside length"):
        find(drawing, None, 250.0)
