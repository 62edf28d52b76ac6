"""Whether the card lies on the bench or at the rim's height, told from drawn trays."""

import numpy as np
import pytest

from traymorph.model.trial import TraySize
from traymorph.tray.card_plane import ground_under_card, other_plane_fits_better
from traymorph.tray.opening import find_opening

SIZE = TraySize(400.0, 250.0, 20.0, 60.0)
BLACK = (26, 26, 28)


def photo(draw, *, stand=None, bench=(168, 160, 150)):
    """A tray and a card on the bench; what it lies on is wider by so many mm."""
    drawing = draw.Drawing(draw.camera((-150, 100, 700), (-140, 110, 0)), background=bench)
    tray = draw.Tray(draw.rectangle((-220, 120), 90.0, 400.0, 250.0), density=0.02)
    tray.draw(drawing)
    card = np.array([[0, 0, 0], [100, 0, 0], [100, 140, 0], [0, 140, 0]], float)
    if stand is not None:
        wider = stand * np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]])
        drawing.polygon(card + wider, BLACK)
    drawing.polygon(card, draw.card_colour)
    tray.draw_leaves(drawing)
    return drawing, card


@pytest.mark.parametrize("stated", ["bench", "rim"])
def test_a_card_on_the_bench_is_told_from_one_at_the_rim(draw, stated):
    drawing, card = photo(draw)
    sighting = drawing.sighting(card)
    found = find_opening(drawing.rgb, drawing.masks, sighting, SIZE, stated)
    doubtful = other_plane_fits_better(drawing.rgb, drawing.masks, sighting, SIZE, found)
    assert doubtful == (stated == "rim")


def test_says_nothing_where_the_rim_height_is_not_known(draw):
    drawing, card = photo(draw)
    size = TraySize(400.0, 250.0, 20.0, None)
    sighting = drawing.sighting(card)
    found = find_opening(drawing.rgb, drawing.masks, sighting, size, "rim")
    assert not other_plane_fits_better(drawing.rgb, drawing.masks, sighting, size, found)


@pytest.mark.parametrize(
    ("stand", "bench", "expected"),
    [
        (None, (168, 160, 150), -1),  # on the bench
        (13.0, (168, 160, 150), 1),  # on a black stand little larger than the card
        (90.0, (168, 160, 150), 1),  # on an upturned tray
        (None, BLACK, 0),  # on a black bench, or on a tray that fills the view
        (13.0, BLACK, 0),
    ],
)
def test_tells_what_the_card_lies_on(draw, stand, bench, expected):
    drawing, card = photo(draw, stand=stand, bench=bench)
    assert ground_under_card(drawing.rgb, drawing.masks, drawing.sighting(card)) == expected
