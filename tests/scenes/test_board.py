"""Checks of the boards' geometry and truth that need no renderer, against closed forms."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.scenes import board, board_sets, board_truth, crops, meshes, sets, strewn
from tests.scenes.camera import Camera
from tests.scenes.plan import Grid, top_faces
from tests.scenes.test_geometry import one_blade

LAYING = {"shapes": [0.25] * 4, "odd": 0.1, "cut_mm": 10.0, "longer": 1.0, "leafier": 1.0}
FORMS = {**crops.NAMED, **crops.NODELESS}


@pytest.fixture(scope="module")
def cards(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("cards")
    # 120 mm x 90 mm at 2 px per mm.
    Image.new("RGB", (240, 180), "white").save(folder / "board.png", dpi=(50.8, 50.8))
    return folder


def small_scene(**changes: object) -> dict:
    spec = sets.scenes("board_dev")[0]
    spec["plants"].update(count=3, touching=0, crossing=0)
    spec["plants"] |= changes
    return spec


def above() -> Camera:
    turn = np.diag([1.0, -1.0, -1.0])
    return Camera(900, 700, 700.0, 0.0, 0.0, turn, np.array([0.0, 0.0, 400.0]))


def test_circle_seen_from_above_has_its_closed_form_area() -> None:
    blade = one_blade(30.0, 30.0)
    blade = replace(blade, outline=np.array([_circle(200)]))
    mesh = blade.mesh(10)
    grid = Grid.around(mesh.vertices)
    assert (top_faces(mesh, grid) >= 0).sum() * grid.cell == pytest.approx(
        np.pi * 15.0**2, rel=0.001
    )


def _circle(corners: int) -> np.ndarray:
    t = np.arange(corners) * 2 * np.pi / corners
    return np.stack([0.5 + 0.5 * np.cos(t), 0.5 * np.sin(t)], 1)


def test_tilted_blade_is_smaller_from_above_by_the_cosine() -> None:
    tilt = 0.7
    blade = replace(one_blade(30.0, 20.0), normal=np.array([[0.0, np.sin(tilt), np.cos(tilt)]]))
    mesh = blade.mesh(10)
    grid = Grid.around(mesh.vertices)
    expected = blade.flat_areas()[0] * np.cos(tilt)
    assert (top_faces(mesh, grid) >= 0).sum() * grid.cell == pytest.approx(expected, rel=0.002)


def test_the_higher_of_two_sheets_is_seen() -> None:
    low, high = one_blade(30.0, 20.0).mesh(10), one_blade(10.0, 8.0).mesh(10, 1)
    both = meshes.join([high.moved([0, 0, 5.0]), low])
    grid = Grid.around(both.vertices)
    top = top_faces(both, grid)
    seen = both.blade[top[top >= 0]]
    assert (seen == 1).sum() * grid.cell == pytest.approx(high.areas().sum(), rel=0.01)
    assert ((top >= 0).sum()) * grid.cell == pytest.approx(low.areas().sum(), rel=0.003)


@pytest.mark.parametrize("shape", strewn.SHAPES)
def test_centre_line_has_the_length_asked_for(shape: str) -> None:
    rng = np.random.default_rng(4)
    radius = np.full(strewn.STATIONS, 0.8)
    for _ in range(5):
        line = strewn.centre_line(50.0, shape, 1.5, radius, rng)
        assert strewn.length_along(line)[-1] == pytest.approx(50.0, rel=1e-6)
        assert line[:, 2].min() >= 0.8


def test_arc_length_of_a_circle() -> None:
    t = np.linspace(0, np.pi / 2, 200)
    line = np.stack([30 * np.cos(t), 30 * np.sin(t), 0 * t], 1)
    # A quarter of a circle: pi r / 2.
    assert strewn.length_along(line)[-1] == pytest.approx(15 * np.pi, rel=1e-4)


def test_straight_stem_covers_width_times_length_from_above() -> None:
    line = np.stack([np.linspace(0, 40, 30), np.zeros(30), np.full(30, 1.0)], 1)
    tube = strewn.closed_tube(line, np.full(30, 0.9), np.full((30, 3), 0.5))
    grid = Grid.around(tube.vertices, step=0.05)
    # The cut is flat, the other end a half circle.
    expected = 40 * 1.8 + np.pi * 0.9**2 / 2
    assert (top_faces(tube, grid) >= 0).sum() * grid.cell == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("name", sorted(FORMS))
def test_plants_lie_on_the_board(name: str) -> None:
    maker = strewn.Maker(FORMS[name], LAYING, np.random.default_rng(2))
    for plant in (maker.plant() for _ in range(4)):
        points = plant.points()
        assert points[:, 2].min() > -0.35
        assert np.median(points[:, 2]) < 6.0
        assert (np.isnan(plant.node)) == (name in crops.NODELESS)
        if name in crops.NODELESS:
            assert not (plant.stems.part == meshes.STEM).any()


def test_moving_a_plant_keeps_its_length_and_areas() -> None:
    plant = strewn.Maker(FORMS["radish_green"], LAYING, np.random.default_rng(1)).plant()
    moved = plant.placed(1.1, np.array([40.0, -25.0]))
    assert strewn.length_along(moved.spine)[-1] == pytest.approx(
        strewn.length_along(plant.spine)[-1], rel=1e-9
    )
    assert moved.leaves.areas().sum() == pytest.approx(plant.leaves.areas().sum(), rel=1e-4)


def test_truth_of_plants_apart_adds_up(cards: Path) -> None:
    laid = board.build(small_scene(), cards)
    facts = board_truth.board_truth(laid, above())
    assert facts["pooled"]["n_plants"] == 3
    assert facts["pooled"]["n_groups"] == 0
    for known, plant in zip(facts["plants"], laid.plants, strict=True):
        assert known["group"] is None
        assert known["stem_length_mm"] == pytest.approx(strewn.length_along(plant.spine)[-1])
        blades = sum(b["area_mm2"] for b in known["blades"])
        assert 0.5 * blades < known["leaf_area_mm2"] <= blades + 1e-6
        stem = known["stem_length_mm"] * known["stem_width_mm"]
        assert 0.8 * stem < known["stem_area_mm2"] < 1.6 * stem
        flat = np.array(known["centre_line_card_mm"])
        length = np.hypot(*np.diff(flat, axis=0).T).sum()
        # The card lies flat, so its frame shows the line's plan: hardly shorter than the line.
        assert length == pytest.approx(known["stem_length_mm"], rel=0.02)
    good = facts["plants"]
    ratio = sum(p["stem_area_mm2"] for p in good) / sum(p["leaf_area_mm2"] for p in good)
    assert facts["pooled"]["board_stem_to_leaf_ratio"] == pytest.approx(ratio)


@pytest.mark.parametrize("kind", ["touching", "crossing"])
def test_pairs_form_groups(cards: Path, kind: str) -> None:
    laid = board.build(small_scene(count=4, **{kind: 1}), cards)
    facts = board_truth.board_truth(laid, above())
    groups = [p["group"] for p in facts["plants"]]
    assert groups.count(1) == 2
    assert groups.count(None) == 2
    hidden = sum(p["leaf_hidden_by_others_mm2"] + p["stem_hidden_by_others_mm2"]
                 for p in facts["plants"] if p["group"])  # fmt: skip
    assert (hidden > 2.0) == (kind == "crossing")


def test_plant_out_of_the_picture_is_told(cards: Path) -> None:
    laid = board.build(small_scene(), cards)
    camera = above()
    aside = replace(camera, position=np.array([600.0, 0, 400.0]))
    facts = board_truth.board_truth(laid, aside)
    assert not any(p["whole_in_frame"] for p in facts["plants"])
    assert facts["pooled"]["stem_length_mm"] is None


def test_an_empty_board_has_no_plants(cards: Path) -> None:
    laid = board.build(sets.scenes("board_bad")[0], cards)
    facts = board_truth.board_truth(laid, above())
    assert facts["plants"] == []
    assert facts["pooled"]["n_plants"] == 0


def test_some_crops_and_stem_colours_are_kept_for_judging() -> None:
    dev, unseen = (sets.scenes(name) for name in ("board_dev", "board_unseen"))
    assert {*crops.ONLY_UNSEEN, "onion_like"} <= {s["crop"] for s in unseen}
    assert not {*crops.ONLY_UNSEEN, "onion_like"} & {s["crop"] for s in dev}
    assert len({s["stem_tint"] for s in unseen} - {s["stem_tint"] for s in dev}) >= 2
    for scenes in (dev, unseen):
        assert {s["board"]["colour"] for s in scenes} == set(board_sets.COLOURS)
        assert {s["light"]["kind"] for s in scenes} == set(board_sets.KINDS)
        assert {s["views"]["board"]["megapixels"] for s in scenes} == {5.0, 8.0, 12.0}
