"""Stems that bend back so that a blade of their own plant lies against them."""

import numpy as np
import pytest
from scipy.sparse import coo_matrix, csr_matrix

from tests.cut_plants.conftest import Board, Drawn, band, blade, drawn_plant, found_on, turned
from traymorph.cut_plants.centre_line import polyline_length
from traymorph.cut_plants.hooked_stems import past_blades
from traymorph.cut_plants.separate import Member
from traymorph.cut_plants.skeleton import Skeleton

OTHERS = [
    drawn_plant((60.0, 110.0), 0.0, bend=0.4),
    drawn_plant((760.0, 60.0), 20.0, bend=1.5),
    drawn_plant((620.0, 560.0), -10.0, bend=0.2),
]
WIDTH = 10.0


def hooked_plant(foot, *, lower_by: float) -> Drawn:
    """A stem that runs right and turns round upwards, its first blade back over it.

    ``lower_by`` moves that blade down on the stem; at 0 it ends 6 cells above the stem's edge.
    """
    radius = 32.0
    straight = np.column_stack([np.linspace(0.0, 260.0, 200), np.zeros(200)])
    at = np.linspace(np.pi / 2, -np.pi / 3, 150)[1:]
    bend = np.column_stack([260.0 + radius * np.cos(at), radius * np.sin(at) - radius])
    stem = np.asarray(foot, float) + np.vstack([straight, bend])
    node = stem[-1]
    back_at = np.column_stack([np.linspace(0.0, 60.0, 30), np.zeros(30)])
    back = turned(back_at, 170.0) + node
    ahead = turned(back_at, 250.0) + node
    wide = 2.0 * (foot[1] - WIDTH / 2 - 6.0 - back[-1, 1] + lower_by)
    leaves = [
        turned(blade(100.0, wide), 180.0) + back[-1],
        turned(blade(90.0, 50.0), 250.0) + ahead[-1],
    ]
    stalks = [band(stem, WIDTH), band(back, 0.6 * WIDTH), band(ahead, 0.6 * WIDTH)]
    return Drawn(stem, {"stem": stalks, "leaf": leaves})


@pytest.mark.parametrize("lower_by", [0.0, 8.0, 12.0, 15.0])
def test_a_blade_beside_or_over_a_hooked_stem_does_not_end_it(lower_by):
    plant = hooked_plant((120.0, 900.0), lower_by=lower_by)
    found = found_on(Board([*OTHERS, plant]))
    assert len(found) == 4
    near = min(
        (one for one in found if len(one.centre_line)),
        key=lambda p: np.hypot(*(p.centre_line[0] - plant.stem[0])),
    )
    assert polyline_length(near.centre_line) == pytest.approx(plant.stem_length, rel=0.03)
    assert np.hypot(*(near.centre_line[-1] - plant.stem[-1])) < 1.5 * WIDTH
    assert near.leaf.sum() == pytest.approx(plant.leaf_area, rel=0.03)
    assert len(near.blades) == 2


def test_blades_that_touch_each_other_end_a_stem_at_its_fork():
    pair = drawn_plant(
        (120.0, 880.0), 0.0, bend=0.1, stem_width=WIDTH,
        stalks=((18.0, 60.0), (-62.0, 30.0)), blades=((110.0, 90.0), (110.0, 90.0)),
    )  # fmt: skip
    found = found_on(Board([*OTHERS, pair]))
    near = min(found, key=lambda p: np.hypot(*(p.centre_line[0] - pair.stem[0])))
    assert polyline_length(near.centre_line) == pytest.approx(pair.stem_length, rel=0.03)


def test_a_stem_that_widens_steadily_is_left_as_it_is():
    cells = 60
    at = np.arange(cells - 1)
    links = coo_matrix((np.ones(cells - 1), (at, at + 1)), (cells, cells))
    points = np.column_stack([np.arange(cells, dtype=float), np.zeros(cells)])
    skeleton = Skeleton(points, np.linspace(5.0, 10.0, cells), csr_matrix(links + links.T))
    kept = past_blades(Member.seen(skeleton, 0), 5.0)
    assert len(kept.skeleton.points) == cells
    assert not kept.bridged.any()
