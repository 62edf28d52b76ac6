"""Colour over the tray: cells against the mean, edge against middle."""

import numpy as np
import pytest
from skimage.color import rgb2lab

from traymorph.measure.colour_difference import ciede2000
from traymorph.measure.colour_layout import colour_over_tray
from traymorph.measure.leaf_light import leaf_pixels
from traymorph.model.tray import LeafPlane, TrayOverhead
from traymorph.model.trial import TraySize

PALE, DEEP = (110, 150, 70), (60, 110, 50)
HEIGHT = 60.0
PLANE = LeafPlane(HEIGHT, 2.0)
LENGTH, WIDTH = 240.0, 160.0


def difference(one, other):
    """CIEDE2000 of two encoded colours (checked against published pairs elsewhere)."""
    lab = [rgb2lab(np.array(c, np.uint8)[None, None])[0, 0] for c in (one, other)]
    return float(ciede2000(*lab))


def tray(make, deep, *, opening=True, shows=True, leaf=None):
    """A tray all of leaf in the plane of the leaves; `deep` takes x and y in mm."""
    view = make.above(500.0)
    full = leaf or (lambda x, y: (abs(x) < LENGTH / 2) & (abs(y) < WIDTH / 2))
    masks = make.masks(view, HEIGHT, full)
    where = make.masks(view, HEIGHT, deep).leaf >= 0.5
    rgb = np.where(where[..., None], DEEP, PALE).astype(np.uint8)
    found = make.opening(LENGTH, WIDTH, u=1.0) if opening else None
    size = TraySize(LENGTH, WIDTH)
    return TrayOverhead(rgb, masks, view, size, found, make.colour(shows=shows))


def read(*args, **more):
    seen = tray(*args, **more)
    pixels = leaf_pixels(seen.rgb, seen.masks.leaf) if seen.colour.shows_colour else None
    return colour_over_tray(seen, PLANE, pixels)


def test_one_colour_does_not_spread(make):
    found = read(make, lambda x, _y: x > 1e9)
    assert found["leaf_colour_spread_de00"].value == pytest.approx(0.0, abs=1e-6)
    assert found["edge_to_middle_de00"].value == pytest.approx(0.0, abs=1e-6)
    assert found["leaf_colour_spread_de00"].u > 0


def test_two_halves_spread_by_half_their_difference(make):
    """Every cell lies about half of the whole difference from the mean; edge and middle are
    alike."""
    found = read(make, lambda x, _y: x > 0)
    half = 0.5 * difference(PALE, DEEP)
    assert found["leaf_colour_spread_de00"].value == pytest.approx(half, rel=0.12)
    assert found["edge_to_middle_de00"].value < 0.1 * half


def test_texture_finer_than_the_cells_is_no_spread(make):
    found = read(make, lambda x, _y: np.floor(x / 2.5) % 2 == 0)
    assert found["leaf_colour_spread_de00"].value < 0.2 * difference(PALE, DEEP)


def test_a_deep_band_of_twenty_millimetres_is_the_edge(make):
    def deep(x, y):
        return (abs(x) > LENGTH / 2 - 20) | (abs(y) > WIDTH / 2 - 20)

    found = read(make, deep)["edge_to_middle_de00"]
    assert found.value == pytest.approx(difference(PALE, DEEP), rel=0.05)
    assert found.u < 0.3 * found.value


def test_what_hangs_over_the_rim_is_neither_edge_nor_middle(make):
    def leaf(x, y):
        return (abs(x) < LENGTH / 2 + 15) & (abs(y) < WIDTH / 2 + 15)

    def deep(x, y):
        return (abs(x) > LENGTH / 2) | (abs(y) > WIDTH / 2)

    found = read(make, deep, leaf=leaf)
    assert found["edge_to_middle_de00"].value < 0.1 * difference(PALE, DEEP)


def test_without_an_opening_there_is_spread_but_no_edge(make):
    found = read(make, lambda x, _y: x > 0, opening=False)
    assert np.isnan(found["edge_to_middle_de00"].value)
    assert found["leaf_colour_spread_de00"].value > 1.0


def test_a_few_leaves_do_not_tell_how_colour_spreads(make):
    found = read(make, lambda x, _y: x > 0, leaf=lambda x, y: np.hypot(x, y) < 8)
    assert all(np.isnan(got.value) and np.isnan(got.u) for got in found.values())


def test_light_unfit_for_colour(make):
    found = read(make, lambda x, _y: x > 0, shows=False)
    assert set(found) == {"leaf_colour_spread_de00", "edge_to_middle_de00"}
    assert all(np.isnan(got.value) for got in found.values())
