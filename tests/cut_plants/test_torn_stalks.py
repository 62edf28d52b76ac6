"""Blades whose stalk is not seen for a stretch."""

import numpy as np
import pytest

from tests.cut_plants.conftest import STEP_MM, Board, drawn_plant
from traymorph.cut_plants.centre_line import polyline_length
from traymorph.cut_plants.find import find_cut_plants
from traymorph.cut_plants.forms import PlantForm

PLANTS = [
    drawn_plant((60.0, 110.0), 0.0, bend=0.4),
    drawn_plant((760.0, 60.0), 20.0, bend=1.5),
    drawn_plant((60.0, 520.0), -20.0, bend=0.5),
    drawn_plant((620.0, 560.0), -10.0, bend=0.2),
]


def torn(stalks, gap=(14.0, 34.0)):
    """The board with stretches of the first plant's stalks missing, cells from its node."""
    board = Board(PLANTS)
    plant = PLANTS[0]
    share = board.share.copy()
    rows, columns = np.mgrid[: share.shape[0], : share.shape[1]]
    for leaf in stalks:
        outline = plant.outlines["leaf"][leaf]
        base = outline[np.argmin(np.hypot(*(outline - plant.stem[-1]).T))]
        along = (base - plant.stem[-1]) / np.hypot(*(base - plant.stem[-1]))
        x, y = columns - plant.stem[-1][0], rows - plant.stem[-1][1]
        on, off = x * along[0] + y * along[1], np.abs(x * along[1] - y * along[0])
        share[(on > gap[0]) & (on < gap[1]) & (off < 8.0)] = 0.0
    return board, share


@pytest.mark.parametrize("stalks", [(0,), (0, 1)])
def test_a_blade_beyond_an_unseen_stretch_of_stalk_is_its_plants(stalks):
    board, share = torn(stalks)
    found = find_cut_plants(share, board.rgb, STEP_MM)
    assert len(found) == len(PLANTS)
    plant = PLANTS[0]
    near = min(found, key=lambda p: np.hypot(*(p.centre_line[0] - plant.stem[0])))
    assert near.leaf.sum() == pytest.approx(plant.leaf_area, rel=0.04)
    assert len(near.blades) == 2
    assert polyline_length(near.centre_line) == pytest.approx(plant.stem_length, rel=0.04)


@pytest.mark.parametrize(
    ("form", "gap"), [(PlantForm.PAIR, (8.0, 41.0)), (PlantForm.HYPOGEAL, (14.0, 34.0))]
)
def test_a_blade_farther_off_and_leaflets_of_peas_are_not_joined(form, gap):
    board, share = torn((0,), gap)
    found = find_cut_plants(share, board.rgb, STEP_MM, form=form)
    plant = PLANTS[0]
    near = min(
        (one for one in found if len(one.centre_line)),
        key=lambda p: np.hypot(*(p.centre_line[0] - plant.stem[0])),
    )
    assert near.leaf.sum() < 0.6 * plant.leaf_area
