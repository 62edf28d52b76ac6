"""Checks of the renderer and of the truth it gives, against closed forms; skipped without it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

pytest.importorskip("mitsuba", reason="the scene maker needs the extra [scenes]")
try:
    from tests.scenes import render, shoot, truth
except RuntimeError as missing:  # no LLVM here
    pytest.skip(str(missing), allow_module_level=True)

from tests.scenes import meshes, phone, plants, sets, tray
from tests.scenes.camera import Camera, focal_pixels, looking
from tests.scenes.test_geometry import one_blade

SKY = {"kind": "overcast", "kelvin": 6500.0, "fill": 1.0, "seed": 1}
DOWN = looking(np.array([0.08, 0.05, -1.0]), np.array([0, 1.0, 0]), 11.0)
MARGIN = 60
pytestmark = pytest.mark.slow


def flat(name: str, z: float, half: float, value: float, part: int = meshes.OTHER) -> tray.Item:
    corners = np.array([[-half, -half, z], [half, -half, z], [half, half, z], [-half, half, z]])
    texture = np.full((4, 4, 3), value, np.float32)
    return tray.Item(name, meshes.sheet(corners, part=part), "textured", texture, 0.0)


def stage_of(blades: object) -> tray.Stage:
    leaves = blades.mesh(10)
    tube = meshes.tubes(np.array([[[0, 0, 40.0], [0, 0, 41.0]]]), np.full((1, 2), 0.1),
                        np.full((1, 2, 3), 0.5), part=meshes.STEM, plant=np.array([0]))  # fmt: skip
    stand = plants.Stand(leaves, tube, plants.no_mesh(), blades, np.array([1.0]),
                         np.array([0.2]), np.array([1.0]))  # fmt: skip
    items = [
        tray.Item("plants_leaves", leaves, "leaf", np.full((8, 8, 3), 0.2, np.float32)),
        tray.Item("plants_stems", tube, "coloured"),
        flat("bench", 0.0, 400.0, 0.3),
    ]
    opening = {"inside_length_mm": 100.0, "inside_width_mm": 50.0, "rim_above_bench_mm": 30.0,
               "rim_above_medium_mm": 10.0, "lip_mm": 8.0, "wall_mm": 1.5, "medium_z": 20.0,
               "front_y": -26.5}  # fmt: skip
    card = tray.Card("overhead", np.zeros((4, 3)), np.ones((2, 2, 3), np.float32), "none")
    return tray.Stage(items, stand, card, opening)


def card_scene(tmp_path: Path, value: int) -> tuple[render.Scene, tray.Card]:
    path = tmp_path / "overhead.png"
    picture = Image.new("RGB", (900, 600), "white")
    picture.paste((value,) * 3, (MARGIN, MARGIN, 900 - MARGIN, 600 - MARGIN))
    picture.save(path, dpi=(254, 254))
    place = {"plane": "bench", "side": "-y", "gap_mm": 10.0, "along": 0.0, "rotation_deg": 17.0}
    opening = {"inside_length_mm": 60.0, "inside_width_mm": 30.0, "lip_mm": 5.0,
               "rim_above_bench_mm": 30.0}  # fmt: skip
    card, extra = tray.place_card(place, "overhead", opening, tmp_path)
    items = [flat("bench", 0.0, 900.0, 0.75), *extra]
    return render.Scene(items, SKY), card


def test_disc_seen_from_above_has_its_closed_form_area() -> None:
    stage = stage_of(one_blade(40.0, 40.0))
    facts = truth.tray_truth(render.Scene(stage.items, SKY), stage)
    expected = 0.5 * 16 * np.sin(2 * np.pi / 16) * 20.0**2
    assert facts["projected_leaf_area_cm2"] * 100 == pytest.approx(expected, rel=0.01)
    assert facts["canopy_cover_pct"] == pytest.approx(100 * expected / 5000, abs=0.3)
    assert facts["overhang_area_cm2"] == 0.0
    assert facts["visible_leaf_height_mm"] == pytest.approx(20.0, abs=0.05)
    assert facts["largest_gap_cm2"] * 100 == pytest.approx(5000 - expected, rel=0.01)


def test_blade_beyond_the_rim_counts_as_overhang() -> None:
    blades = one_blade(20.0, 10.0)
    stage = stage_of(replace(blades, origin=blades.origin + np.array([50.0, 0, 0])))
    facts = truth.tray_truth(render.Scene(stage.items, SKY), stage)
    half = blades.flat_areas()[0] / 2
    assert facts["overhang_area_cm2"] * 100 == pytest.approx(half, rel=0.02)


def test_area_in_the_front_plane_does_not_depend_on_the_camera() -> None:
    upright = one_blade(40.0, 40.0)
    upright = replace(upright, origin=np.array([[-20.0, -26.5, 80.0]]),
                      normal=np.array([[0, -1.0, 0]]))  # fmt: skip
    stage = stage_of(upright)
    scene = render.Scene(stage.items, SKY)
    expected = upright.flat_areas()[0]
    for position in ([0.0, -500, 90], [120.0, -420, 160]):
        camera = Camera(400, 300, 300.0, 0, 0, DOWN, np.array(position))
        facts = truth.front_plane_areas(scene, stage, camera)
        assert facts["leaf_area_mm2"] == pytest.approx(expected, rel=0.01)


def test_grey_patch_reads_its_reflectance_against_white(tmp_path: Path) -> None:
    scene, card = card_scene(tmp_path, 255)
    white = scene.white(card)
    grey = flat("grey", 0.5, 15.0, 0.18)
    grey.mesh = grey.mesh.moved(card.corners.mean(0) * [1, 1, 0])
    patch = render.Scene([flat("bench", 0.0, 900.0, 0.75), grey], SKY)
    camera = Camera(64, 48, 600.0, 0, 0, DOWN, card.corners.mean(0) + np.array([-20.0, 0, 250]))
    aimed = replace(
        camera, rotation=looking(np.array([20.0, 0, -250.0]), np.array([0, 1.0, 0]), 0.0)
    )
    light, _ = patch.picture(aimed, 64, 3)
    assert light[20:28, 28:36].mean((0, 1)) / white == pytest.approx([0.18] * 3, rel=0.03)


def test_card_corners_are_where_truth_says(tmp_path: Path) -> None:
    scene, card = card_scene(tmp_path, 20)
    size = (800, 600)
    camera = Camera(*size, focal_pixels(26, *size) * 2.2, -0.02, 0.004, DOWN,
                    card.corners.mean(0) - 400 * DOWN[2])  # fmt: skip
    light, _ = scene.picture(camera, 12, 4)
    right, down = card.corners[1] - card.corners[0], card.corners[3] - card.corners[0]
    inset = np.array([[MARGIN, MARGIN], [900 - MARGIN, MARGIN], [900 - MARGIN, 600 - MARGIN],
                      [MARGIN, 600 - MARGIN]]) / [900, 600]  # fmt: skip
    expected = camera.project(card.corners[0] + inset[:, :1] * right + inset[:, 1:] * down)
    # The printed field, not the paper's edge, which throws a narrow shadow on the bench.
    # In linear light blur does not move the half-way line of a straight edge; a tone curve does.
    found = outline_corners(phone.blur(light, 0.8).mean(2), expected)
    assert np.abs(found - expected).max() < 0.25
    classes, _ = scene.masks(camera)
    mask, _, _ = truth.shares(classes)
    area = polygon_area(camera.project(edge_points(card.corners)))
    assert (mask == meshes.CARD).sum() == pytest.approx(area, rel=0.005)


def edge_points(corners: np.ndarray, steps: int = 40) -> np.ndarray:
    share = np.linspace(0, 1, steps, endpoint=False)[:, None]
    return np.concatenate(
        [corners[k] + share * (corners[(k + 1) % 4] - corners[k]) for k in range(4)]
    )


def polygon_area(points: np.ndarray) -> float:
    x, y = points.T
    return 0.5 * abs(float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))))


def outline_corners(grey: np.ndarray, guess: np.ndarray) -> np.ndarray:
    """Corners of a dark card by straight lines through half-way crossings near each corner."""
    lines = []
    for k in range(4):
        a, b = guess[k], guess[(k + 1) % 4]
        along = (b - a) / np.linalg.norm(b - a)
        normal = np.array([-along[1], along[0]])
        points = []
        for share in np.linspace(0.05, 0.95, 60):
            base = a + share * (b - a)
            reach = np.arange(-6, 6.01, 0.25)
            x, y = (base + reach[:, None] * normal).T
            profile = grey[np.round(y).astype(int), np.round(x).astype(int)]
            ends = profile[:6].mean(), profile[-6:].mean()
            share_high = (profile - min(ends)) / abs(ends[1] - ends[0])
            # The area under the step gives the crossing with no bias by rounding.
            width_high = (share_high.sum() - 0.5) * 0.25
            offset = 6 - width_high if ends[1] > ends[0] else width_high - 6
            points.append(base + offset * normal)
        lines.append(
            np.polynomial.polynomial.polyfit((points - a) @ along, (points - a) @ normal, 2)
        )
        lines[-1] = (a, along, normal, lines[-1])
    return np.array([_crossing(lines[k - 1], lines[k]) for k in range(4)])


def _crossing(first: tuple, second: tuple) -> np.ndarray:
    """Where two slightly bent lines meet, by a few alternating steps."""
    point = second[0]
    for _ in range(20):
        for origin, along, normal, curve in (first, second):
            s = (point - origin) @ along
            point = origin + s * along + np.polynomial.polynomial.polyval(s, curve) * normal
    return point


def test_same_tray_in_both_views_and_resumable_files(tmp_path: Path) -> None:
    for role in ("overhead", "side"):
        Image.new("RGB", (950, 650), "white").save(tmp_path / f"{role}.png", dpi=(254, 254))
    spec = sets.scenes("dev")[0]
    spec["density"] = 0.3
    options = {"megapixels": 0.05, "samples": 1, "denoise": False}
    target = shoot.shoot_tray(spec, tmp_path / "out", tmp_path, options)
    record = json.loads(target.read_text(encoding="utf-8"))
    assert set(record["photos"]) == {"overhead", "side"}
    for view, facts in record["photos"].items():
        mask = np.asarray(Image.open(tmp_path / "out" / f"{view}.mask.png"))
        assert mask.shape == (facts["height"], facts["width"])
        assert {1, 2, 3} <= set(np.unique(mask))
        assert facts["card"]["whole_in_frame"]
        assert facts["card"]["visible_share"] > 0.99
    assert 20 < record["truth"]["canopy_height_mm"] < 200
