"""Checks of the sets for developing, for learning and for final figures, and of their new parts."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from tests.scenes import crops, ground, intruders, meshes, sets, textures, tray
from tests.scenes.board import STEM_TINTS

LOCKED = ("trays_locked", "trays_final", "trays_closing", "board_locked", "board_final")
OTHERS = tuple(name for name in sets.SETS if name not in LOCKED)
OPENING = {"inside_length_mm": 300.0, "inside_width_mm": 200.0, "rim_above_bench_mm": 45.0}


@pytest.fixture(scope="module")
def scenes() -> dict[str, list[dict]]:
    return {name: sets.scenes(name) for name in sets.SETS}


def crops_in(specs: list[dict]) -> set[str]:
    shown = {s["crop"] for s in specs}
    return shown | {n["plants"]["crop"] for s in specs for n in s.get("neighbours", [])}


def test_locked_forms_and_stems_are_in_no_other_set(scenes: dict[str, list[dict]]) -> None:
    for name in OTHERS:
        assert not crops_in(scenes[name]) & set(crops.ONLY_LOCKED)
        assert not {s.get("stem_tint") for s in scenes[name]} & {"gold", "violet", "orange"}
    for name in LOCKED:
        assert set(crops.ONLY_LOCKED) <= crops_in(scenes[name])
    for name in ("board_locked", "board_final"):
        assert {"gold", "violet", "orange"} <= {s["stem_tint"] for s in scenes[name]}


def test_nothing_kept_for_judging_is_learned_from(scenes: dict[str, list[dict]]) -> None:
    kept = {*crops.ONLY_UNSEEN, *crops.ONLY_LOCKED, "onion_like"}
    assert not crops_in(scenes["learn"]) & kept
    assert {s["seed"] for s in scenes["learn"]}.isdisjoint(
        s["seed"] for name in sets.SETS if name != "learn" for s in scenes[name]
    )


def test_any_first_part_of_the_learning_set_is_mixed(scenes: dict[str, list[dict]]) -> None:
    for count in (84, 200, 360, 600, 900):
        views = Counter(view_of(s) for s in scenes["learn"][:count])
        assert views["board"] / count == pytest.approx(0.105, abs=0.02)
        assert views["overhead"] / count == pytest.approx(0.47, abs=0.04)
        assert views["side"] / count == pytest.approx(0.42, abs=0.04)


def view_of(spec: dict) -> str:
    ((name, view),) = spec["views"].items()
    return view.get("kind", name)


@pytest.mark.parametrize("name", ["trays_dev", "trays_locked", "trays_final", "trays_closing"])
def test_trays_are_spread_by_design(scenes: dict[str, list[dict]], name: str) -> None:
    specs = scenes[name]
    for view, (low, high) in {"overhead": (330, 720), "side": (400, 800)}.items():
        distances = [s["views"][view]["nearest_mm"] for s in specs]
        assert low <= min(distances) < low + 25
        assert high - 25 < max(distances) <= high
        tilts = [s["views"][view]["tilt_deg"] for s in specs]
        assert max(tilts) <= 12
        qualities = [s["views"][view]["look"]["jpeg_quality"] for s in specs]
        assert min(qualities) < 66
        assert max(qualities) > 90
    stems = [s["growth"]["height_mm"] for s in specs]
    assert min(stems) < 35
    assert max(stems) > 85
    assert {s["medium"] for s in specs} >= {"coir", "mat", "paper", "soil"}
    assert len({s["bench"] for s in specs}) == len({s["backdrop"] for s in specs}) == 10
    kinds = {
        s["views"]["side"]["intruder"]["kind"] for s in specs if s["views"]["side"]["intruder"]
    }
    assert kinds == {"hand", "hose"}
    sides = {s["views"]["overhead"]["card"]["side"][1] for s in specs}
    assert sides == {"x", "y"}
    assert len({s["tray"]["inside_length_mm"] for s in specs}) == 4
    assert sum(s["light"]["kind"] == "grow" for s in specs) == 2


@pytest.mark.parametrize("name", ["trays_dev", "trays_locked", "trays_final", "trays_closing"])
def test_card_hand_and_neighbours_keep_apart(scenes: dict[str, list[dict]], name: str) -> None:
    for spec in scenes[name]:
        beside = {{"behind": "+y", "left": "-x", "right": "+x"}[n["where"]]
                  for n in spec["neighbours"]}  # fmt: skip
        for view in spec["views"].values():
            other = view["intruder"]["side"] if view["intruder"] else None
            assert view["card"]["side"] not in {*beside, other}
            assert other not in beside


def test_half_of_the_locked_boards_hold_touching_or_crossing_plants(
    scenes: dict[str, list[dict]],
) -> None:
    plants = [s["plants"] for s in scenes["board_locked"]]
    paired = sum(bool(p["touching"] + p["crossing"]) for p in plants)
    assert len(plants) == 24
    assert 10 <= paired <= 14
    assert all(s["stem_tint"] in {None, *STEM_TINTS} for s in scenes["board_locked"])


def test_grown_changes_only_what_is_asked_for() -> None:
    crop = crops.NAMED["radish_green"]
    grown = crops.grown(crop, {"height_mm": 80.0, "true_leaf": [0.5, 0.6]})
    assert grown.height == 80.0
    assert grown.true_leaf == (0.5, 0.6)
    assert (grown.spread, grown.blade, grown.gloss) == (crop.spread, crop.blade, crop.gloss)


def test_five_ways_change_the_photo_and_not_the_tray(scenes: dict[str, list[dict]]) -> None:
    for first in range(0, 20, 5):
        as_it_stands, *others = scenes["five_ways"][first : first + 5]
        for other in others:
            for kept in ("seed", "crop", "growth", "density", "patches", "tray", "medium"):
                assert other[kept] == as_it_stands[kept]
            assert (
                other["views"] != as_it_stands["views"] or other["light"] != as_it_stands["light"]
            )
        lights = [s["light"]["kind"] for s in (as_it_stands, *others)]
        assert lights == ["lamp_5000"] * 4 + ["overcast"]
        assert others[1]["views"]["side"]["tilt_deg"] > 10


@pytest.mark.parametrize("kind", ["hand", "hose"])
@pytest.mark.parametrize("side", ["-x", "+x", "-y", "+y"])
def test_what_gets_in_comes_from_its_side(kind: str, side: str) -> None:
    intruder = {"kind": kind, "side": side, "along": 0.2, "turn_deg": 10.0, "over_mm": 15.0,
                "look": 0 if kind == "hand" else "green"}  # fmt: skip
    mesh = intruders.at_edge(intruder, OPENING).mesh
    axis, sign = (0 if side[1] == "x" else 1), (-1 if side[0] == "-" else 1)
    edge = (150.0, 100.0)[axis]
    depth = edge - sign * mesh.vertices[:, axis]
    assert 5.0 < depth.max() < 35.0
    assert (depth < 0).mean() > 0.7
    assert set(np.unique(mesh.part)) == {meshes.OTHER}
    assert mesh.vertices[:, 2].min() > 0


def test_lumps_stay_on_their_ground_and_are_closed() -> None:
    rng = np.random.default_rng(1)
    mesh = ground.lumps(rng, (-40, 40, -30, 30), 10.0, np.full((2, 3), 0.2), largest_mm=5.0,
                        part=meshes.MEDIUM)  # fmt: skip
    assert np.abs(mesh.vertices[:, :2]).max() < 40 + 15
    assert mesh.vertices[:, 2].max() < 10 + 20
    a, b, c = (mesh.vertices[mesh.faces[:, k]].astype(float) for k in range(3))
    # Volume by the divergence theorem: far above nothing if all faces look outwards.
    assert np.sum(np.einsum("ij,ij->i", a, np.cross(b, c))) / 6 > 1000


@pytest.mark.parametrize("name", sorted(set(textures.BENCHES) | set(textures.MEDIA)))
def test_textures_are_reflectances(name: str) -> None:
    make = textures.bench if name in textures.BENCHES else textures.medium
    image = make(name, np.random.default_rng(3), 160, 220)
    assert image.shape == (160, 220, 3)
    assert image.dtype == np.float32
    assert image.min() >= 0.004
    assert image.max() <= 0.9201
    assert np.array_equal(image, make(name, np.random.default_rng(3), 160, 220))


def test_every_medium_of_the_sets_can_be_laid(scenes: dict[str, list[dict]]) -> None:
    used = {s["medium"] for name in ("learn", "trays_dev", "trays_locked") for s in scenes[name]}
    assert used - {"none"} <= set(textures.MEDIA)
    assert set(tray.LUMPY) <= set(textures.MEDIA)
