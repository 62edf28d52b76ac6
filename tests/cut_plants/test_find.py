"""Drawn boards whose plants are known: count, stems, leaves, blades and flags."""

import numpy as np
import pytest
from skimage.measure import label, regionprops

from tests.cut_plants.conftest import (
    STEP_MM,
    Board,
    band,
    blade,
    drawn_plant,
    found_on,
    shoelace,
    soft_polygons,
    turned,
)
from traymorph.cut_plants.centre_line import polyline_length
from traymorph.cut_plants.find import find_cut_plants
from traymorph.cut_plants.forms import PlantForm, form_of_crop

APART = [
    drawn_plant((60.0, 110.0), 0.0, bend=0.4),
    drawn_plant((760.0, 60.0), 20.0, bend=1.5),
    drawn_plant((60.0, 520.0), -20.0, bend=0.5),
    drawn_plant((620.0, 560.0), -10.0, bend=0.2, stalks=((60.0, 30.0), (-20.0, 45.0))),
    drawn_plant((560.0, 850.0), 185.0, bend=-0.3),
    drawn_plant((1150.0, 800.0), 170.0, bend=0.2),
]


@pytest.fixture(scope="module")
def apart():
    return found_on(Board(APART))


def test_every_plant_is_found_once_in_reading_order(apart):
    assert len(apart) == len(APART)
    feet = np.array([plant.stem[0] for plant in APART])
    order = [int(np.argmin(np.hypot(*(feet - p.centre_line[0]).T))) for p in apart]
    assert order == [0, 1, 2, 3, 4, 5]


@pytest.mark.parametrize("index", range(len(APART)))
def test_stems_are_measured_from_cut_to_node(apart, index):
    true, found = APART[index], apart[index]
    assert not found.flags
    assert polyline_length(found.centre_line) == pytest.approx(true.stem_length, rel=0.01)
    assert np.hypot(*(found.centre_line[-1] - true.stem[-1])) < 4.0
    assert found.stem_width_cells == pytest.approx(10.0, rel=0.02)


@pytest.mark.parametrize("index", range(len(APART)))
def test_leaf_and_stem_share_the_plant_and_blades_are_measured(apart, index):
    true, found = APART[index], apart[index]
    assert found.leaf.sum() == pytest.approx(true.leaf_area, rel=0.02)
    assert len(found.blades) == 2
    for one in found.blades:
        assert one.length_cells == pytest.approx(90.0, rel=0.05)
        assert one.width_cells == pytest.approx(50.0, rel=0.05)
        assert not one.true_leaf
        assert not one.flags


def test_area_and_box_agree_with_region_measures_of_scikit_image(apart):
    share = Board(APART).share
    regions = regionprops(label(share >= 0.5, connectivity=2))
    for found in apart:
        solid = np.zeros(share.shape, bool)
        solid[found.box] = found.leaf + found.stem >= 0.5
        mine = regionprops(solid.astype(int))[0]
        theirs = next(r for r in regions if r.bbox == mine.bbox)
        assert mine.area == pytest.approx(theirs.area, abs=2)


def test_shares_of_all_plants_sum_to_the_picture(apart):
    total = sum(float(p.leaf.sum() + p.stem.sum()) for p in apart)
    assert total == pytest.approx(float(Board(APART).share.sum()), rel=1e-4)


@pytest.mark.parametrize(
    ("form", "hole"),
    [({}, 0.0), ({"lobes": 0.08}, 0.0), ({"notch": 0.2}, 0.0), ({}, 9.0)],
    ids=["plain", "lobed", "notched", "holed"],
)
@pytest.mark.parametrize("angle", [0.0, 33.0, 78.0])
def test_flat_leaves_read_their_drawn_area(form, hole, angle):
    outline = turned(blade(220.0, 120.0, **form), angle) + np.array([200.0, 60.0])
    at = np.linspace(0.0, 2.0 * np.pi, 60)
    ring = outline.mean(axis=0) + hole * np.column_stack([np.cos(at), np.sin(at)])
    share = soft_polygons([outline], (400, 460), holes=[ring] if hole else None)
    rgb = np.full((400, 460, 3), 90, np.uint8)
    (found,) = find_cut_plants(share, rgb, STEP_MM)
    true = shoelace(outline) - (shoelace(ring) if hole else 0.0)
    assert float(found.leaf.sum() + found.stem.sum()) == pytest.approx(true, rel=0.01)


def test_crumbs_and_roots_are_no_plants():
    at = np.linspace(0.0, 2.0 * np.pi, 40)
    crumb = [1150.0, 980.0] + 14.0 * np.column_stack([np.cos(at), np.sin(at)])
    x = np.linspace(0.0, 120.0, 50)
    root = band(np.column_stack([100.0 + x, 960.0 + 6.0 * np.sin(x / 20.0)]), 3.0)
    found = found_on(Board(APART, specks=[crumb, root]))
    assert len(found) == len(APART)


def test_one_plant_alone_is_found():
    (found,) = found_on(Board(APART[:1]))
    assert polyline_length(found.centre_line) == pytest.approx(300.0, rel=0.01)


def test_a_torn_edge_beside_the_cut_does_not_hide_it():
    torn = drawn_plant((60.0, 110.0), 0.0, bend=0.0)
    start = torn.stem[0]
    slits = [
        np.array([[x, 1.5], [x + 20.0, 1.5], [x + 20.0, 3.0], [x, 3.0]]) + start
        for x in (-3.0, 32.0)
    ]
    board = Board([torn, *APART[1:]])
    share = np.minimum(board.share, 1.0 - soft_polygons(slits, board.shape))
    found = find_cut_plants(share, board.rgb, STEP_MM)
    told = [plant for plant in found if len(plant.centre_line)]
    near = min(told, key=lambda p: np.hypot(*(p.centre_line[0] - start)))
    assert polyline_length(near.centre_line) == pytest.approx(torn.stem_length, rel=0.015)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_ragged_outlines_do_not_end_a_stem_early(seed):
    rng = np.random.default_rng(seed)
    ragged = drawn_plant((60.0, 110.0), 0.0, bend=0.0)
    teeth = []
    for x in np.arange(20.0, 270.0, 6.0):
        for side in (-1.0, 1.0):
            depth = 5.0 - rng.uniform(0.0, 1.6)
            tooth = np.array([[x, 0.0], [x + 4.0, 0.0], [x + 4.0, 3.0], [x, 3.0]])
            teeth.append(tooth * [1.0, side] + [0.0, side * depth] + ragged.stem[0])
    board = Board([ragged, *APART[1:]])
    share = np.minimum(board.share, 1.0 - soft_polygons(teeth, board.shape))
    found = find_cut_plants(share, board.rgb, STEP_MM)
    near = min(found, key=lambda p: np.hypot(*(p.centre_line[0] - ragged.stem[0])))
    assert polyline_length(near.centre_line) == pytest.approx(ragged.stem_length, rel=0.05)


def test_stems_that_cross_are_followed_straight_on():
    crossing = [
        drawn_plant((150.0, 420.0), 20.0, bend=0.0, length=340.0),
        drawn_plant((150.0, 620.0), -30.0, bend=0.0, length=360.0),
    ]
    others = [
        drawn_plant((760.0, 60.0), 20.0, bend=1.0),
        drawn_plant((700.0, 860.0), -10.0, bend=-0.3),
        drawn_plant((60.0, 60.0), 0.0, bend=0.3),
    ]
    found = found_on(Board([*others, *crossing]))
    assert len(found) == 5
    for true in crossing:
        near = min(found, key=lambda p: np.hypot(*(p.centre_line[0] - true.stem[0])))
        assert near.stands_alone
        assert polyline_length(near.centre_line) == pytest.approx(true.stem_length, rel=0.015)
        assert near.leaf.sum() == pytest.approx(true.leaf_area, rel=0.03)


def test_blades_that_touch_are_cut_between_them():
    left = drawn_plant((100.0, 100.0), 0.0, bend=0.0)
    gap = left.outlines["leaf"][0][:, 1].max() - left.stem[0, 1]
    right = drawn_plant((100.0, 100.0 + 2.0 * gap - 2.0), 0.0, bend=0.0)
    found = found_on(Board([left, right, *APART[3:]]))
    assert len(found) == 5
    assert all(plant.stands_alone for plant in found)
    for plant in found[:2]:
        assert plant.leaf.sum() == pytest.approx(left.leaf_area, rel=0.03)


def test_plants_side_by_side_along_their_stems_stay_one_flagged_group():
    pair = [
        drawn_plant((100.0, 300.0), 0.0, bend=0.0),
        drawn_plant((130.0, 309.0), 0.0, bend=0.0, length=330.0),
    ]
    found = found_on(Board([*pair, *APART[1:2], *APART[3:]]))
    (group,) = [plant for plant in found if not plant.stands_alone]
    assert group.flags == ("plants_touch",)
    assert len(group.centre_line) == 0


def test_a_plant_under_the_card_or_over_the_photos_edge_is_cut_off():
    at_edge = np.zeros((1100, 1300), bool)
    at_edge[:, 1100:] = True
    found = found_on(Board(APART), at_edge=at_edge)
    cut = {i for i, plant in enumerate(found) if "plant_cut_off" in plant.flags}
    assert cut == {5}


def test_true_leaves_are_told_from_seed_leaves():
    plants = [
        drawn_plant(
            (80.0, 60.0 + 210.0 * i), 0.0, bend=0.1,
            stalks=((55.0, 40.0), (-55.0, 40.0), (0.0, 45.0)),
            blades=((80.0, 46.0), (80.0, 46.0), (30.0, 16.0)),
        )
        for i in range(4)
    ]  # fmt: skip
    for found in found_on(Board(plants)):
        assert [blade.true_leaf for blade in found.blades] == [False, False, True]


def test_grasses_have_no_stem():
    leaf = [band(np.column_stack([np.linspace(80, 500, 90), np.full(90, y)]), 22.0) for y in
            (100.0, 300.0, 500.0)]  # fmt: skip
    share = soft_polygons(leaf, (700, 700))
    found = find_cut_plants(share, np.full((700, 700, 3), 120, np.uint8), STEP_MM,
                            form=PlantForm.NO_NODE)  # fmt: skip
    assert len(found) == 3
    for plant in found:
        assert plant.flags == ("no_node",)
        assert len(plant.centre_line) == 0
        assert plant.stem.sum() == 0.0


def test_an_empty_board_holds_no_plants():
    nothing = np.zeros((300, 400), np.float32)
    assert find_cut_plants(nothing, np.zeros((300, 400, 3), np.uint8), STEP_MM) == ()


@pytest.mark.parametrize(
    ("crop", "form"),
    [
        ("radish", PlantForm.PAIR),
        ("Sunflower, black oil", PlantForm.PAIR),
        ("Pea", PlantForm.HYPOGEAL),
        ("afila peas", PlantForm.HYPOGEAL),
        ("broad bean", PlantForm.HYPOGEAL),
        ("corn salad", PlantForm.PAIR),
        ("popcorn", PlantForm.NO_NODE),
        ("garlic-chives", PlantForm.NO_NODE),
        ("unheard of", PlantForm.PAIR),
    ],
)
def test_the_crops_name_tells_the_form(crop, form):
    assert form_of_crop(crop) is form
