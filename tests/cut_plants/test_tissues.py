"""Leaf told from stem by colour, cell by cell."""

import numpy as np
import pytest

from traymorph.cut_plants.tissues import beside_stems

HALF_WIDTH = 4.0


@pytest.fixture
def plant():
    """Parts and log-odds: a stem along x, a blade at its end that reaches back beside it."""
    parts = np.full((60, 120), -1, np.intp)
    parts[26:34, :90] = 0
    parts[15:45, 90:] = 1
    parts[15:26, 60:90] = 0  # the lobe, taken for stem
    odds = np.where(parts == 1, 5.0, -5.0).astype(np.float32)
    odds[15:26, 60:90] = 5.0
    return parts, odds


def test_a_blade_that_reaches_back_beside_the_stem_stays_blade(plant):
    parts, odds = plant
    found = beside_stems(parts, odds, HALF_WIDTH)
    assert (found[16:24, 61:90] == 1).all()
    assert (found[27:34, :90] == 0).all()
    assert (found[parts == 1] == 1).all()
    assert (found[parts == -1] == -1).all()


def test_green_on_a_stem_away_from_blades_stays_stem(plant):
    parts, odds = plant
    odds[26:34, 10:30] = 5.0
    assert (beside_stems(parts, odds, HALF_WIDTH)[26:34, 8:32] == 0).all()


def test_where_leaf_and_stem_are_alike_colour_tells_nothing(plant):
    """Log-odds of such photos are held within two."""
    parts, odds = plant
    assert (beside_stems(parts, np.clip(odds, -2, 2), HALF_WIDTH) == parts).all()
