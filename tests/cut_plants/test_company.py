"""Drawn boards on which a plant differs from its company: touching, large, thin-bladed, rooted."""

import numpy as np
import pytest

from tests.cut_plants.conftest import STEP_MM, Board, band, drawn_plant, found_on, soft_polygons
from traymorph.cut_plants.centre_line import polyline_length
from traymorph.cut_plants.find import find_cut_plants
from traymorph.cut_plants.forms import PlantForm


def row_of(number=5, apart=200.0, **form):
    return [
        drawn_plant((80.0, 80.0 + (0.5 + i) * apart - 100.0), 0.0, bend=0.1, **form)
        for i in range(number)
    ]


def test_blades_no_wider_than_the_stem_are_told_by_their_colour():
    plants = row_of(stem_width=16.0, blades=((90.0, 14.0), (90.0, 14.0)))
    for found, true in zip(found_on(Board(plants)), plants, strict=True):
        assert found.leaf.sum() == pytest.approx(true.leaf_area, rel=0.06)
        assert polyline_length(found.centre_line) == pytest.approx(true.stem_length, rel=0.02)


def test_thin_curls_at_the_leaves_are_no_further_cuts():
    curled = row_of(3, apart=340.0, stalks=((70.0, 40.0), (-70.0, 40.0)))
    for plant in curled:
        at = np.linspace(0.0, 1.7, 60)
        curl = plant.stem[-1] + 90.0 * np.column_stack([np.sin(at), np.cos(at) - 1.0])
        plant.outlines["stem"].append(band(curl, np.linspace(7.5, 5.0, 60)))
    found = found_on(Board(curled))
    assert len(found) == len(curled)
    assert all(plant.stands_alone for plant in found)


def test_a_plant_twice_as_large_is_one_plant():
    plants = row_of(4)
    plants.append(
        drawn_plant(
            (80.0, 930.0), 0.0, bend=0.0, length=500.0, stem_width=13.0,
            stalks=((38.0, 60.0), (-38.0, 60.0)), blades=((130.0, 75.0), (130.0, 75.0)),
        )
    )  # fmt: skip
    found = found_on(Board(plants))
    assert len(found) == 5
    assert all(plant.stands_alone for plant in found)


def test_a_plant_whose_cut_lies_under_anothers_blade_makes_a_group():
    plants = row_of()
    blade = plants[0].outlines["leaf"][0]
    plants.append(drawn_plant(blade.mean(axis=0), 20.0, bend=0.0))
    found = found_on(Board(plants))
    (group,) = [plant for plant in found if not plant.stands_alone]
    assert "plants_touch" in group.flags
    assert len(group.centre_line) == 0


def test_a_root_against_the_stem_is_no_blade():
    rooted = row_of()
    at = np.linspace(0.0, 45.0, 30)
    root = rooted[2].stem[150] + np.column_stack([at, at])
    share_and_picture = Board(rooted, specks=[band(root, 5.0)])
    found = found_on(share_and_picture)
    for plant, true in zip(found, rooted, strict=True):
        assert len(plant.blades) == 2
        assert polyline_length(plant.centre_line) == pytest.approx(true.stem_length, rel=0.02)


def test_leaves_of_grasses_that_cross_are_a_group():
    x = np.linspace(80.0, 500.0, 90)
    leaves = [band(np.column_stack([x, np.full(90, y)]), 16.0) for y in (60.0, 120.0, 180.0)]
    leaves += [
        band(np.column_stack([x, 400.0 + slope * (x - 290.0)]), 16.0) for slope in (0.3, -0.3)
    ]
    share = soft_polygons(leaves, (700, 700))
    rgb = np.full((700, 700, 3), 120, np.uint8)
    found = find_cut_plants(share, rgb, STEP_MM, form=PlantForm.NO_NODE)
    assert [plant.stands_alone for plant in found] == [True, True, True, False]


def test_a_stem_that_leads_on_from_a_node_is_another_plants():
    """Its cut lies under the node; the two together have no more leaf than one large plant."""
    first = drawn_plant(
        (80.0, 560.0), 0.0, bend=0.2,
        stalks=((70.0, 30.0), (-70.0, 30.0)), blades=((60.0, 30.0), (60.0, 30.0)),
    )  # fmt: skip
    second = drawn_plant(first.stem[-1], 20.0, bend=-0.3, length=260.0, stem_width=8.5)
    corners = ((80.0, 120.0), (760.0, 120.0), (80.0, 940.0), (760.0, 940.0))
    others = [drawn_plant(corner, 0.0, bend=0.1) for corner in corners]
    found = found_on(Board([first, second, *others]))
    (group,) = [plant for plant in found if not plant.stands_alone]
    assert "plants_touch" in group.flags
    assert len(group.centre_line) == 0
    assert len(found) == 5
