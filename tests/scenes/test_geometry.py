"""Checks of the scene maker's geometry that need no renderer, against closed forms."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps

from tests.scenes import colour, five_ways, meshes, phone, plants, sets
from tests.scenes.blades import CORNERS, Blades, Outline
from tests.scenes.camera import Camera, focal_pixels, looking
from tests.scenes.crops import NAMED
from tests.scenes.regions import largest_region, opened

CALM = {"gaps": 0, "gap_mm": 20, "uneven": 0.0, "lodged": 0, "lodged_mm": 40,
        "edge_lean_deg": 10, "yellowed": 0.1}  # fmt: skip


def one_blade(length: float, width: float, **bent: float) -> Blades:
    def every(value: float) -> np.ndarray:
        return np.array([value])

    return Blades(
        np.array([[-length / 2, 0.0, 40.0]]), np.array([[1.0, 0, 0]]), np.array([[0, 0, 1.0]]),
        every(length), every(width), Outline().points()[None], every(bent.get("fold", 0.0)),
        every(bent.get("cup", 0.0)), every(bent.get("bend", 0.0)), every(0.0),
        np.array([0]), np.array([0]), np.array([False]),
    )  # fmt: skip


def test_round_outline_has_the_area_of_its_polygon() -> None:
    # Area of a regular polygon of n corners on a circle of radius r: n r^2 sin(2 pi / n) / 2.
    expected = 0.5 * CORNERS * np.sin(2 * np.pi / CORNERS) * 0.25
    assert Outline().area() == pytest.approx(expected, rel=1e-6)


def test_flat_blade_mesh_has_its_closed_form_area() -> None:
    blades = one_blade(20.0, 10.0)
    expected = 0.5 * CORNERS * np.sin(2 * np.pi / CORNERS) * 10.0 * 5.0
    assert blades.flat_areas()[0] == pytest.approx(expected, rel=1e-6)
    assert blades.mesh(10).areas().sum() == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("bent", [{"fold": 0.5}, {"bend": 0.03}, {"cup": 0.1}])
def test_bending_hardly_changes_the_area(bent: dict[str, float]) -> None:
    blades = one_blade(20.0, 10.0, **bent)
    assert blades.mesh(10).areas().sum() == pytest.approx(blades.flat_areas()[0], rel=0.02)


def test_folded_blade_is_narrower_from_above_by_the_cosine() -> None:
    mesh = one_blade(20.0, 10.0, fold=0.6).mesh(10)
    assert np.ptp(mesh.vertices[:, 1]) == pytest.approx(10.0 * np.cos(0.6), rel=1e-4)


def test_straight_tube_has_the_surface_of_a_prism() -> None:
    centre = np.stack([np.zeros(5), np.zeros(5), np.linspace(0, 50, 5)], -1)[None]
    mesh = meshes.tubes(centre, np.full((1, 5), 2.0), np.zeros((1, 5, 3)), part=2, sides=8)
    # Eight faces, each a chord of 2 r sin(pi / 8) wide.
    assert mesh.areas().sum() == pytest.approx(8 * 4.0 * np.sin(np.pi / 8) * 50, rel=1e-5)


def test_box_is_closed_and_faces_outwards() -> None:
    mesh = meshes.box((0, 0, 0), (2, 3, 4), part=5)
    a, b, c = (mesh.vertices[mesh.faces[:, k]].astype(float) for k in range(3))
    # Volume by the divergence theorem is positive only if all faces look outwards.
    assert np.sum(np.einsum("ij,ij->i", a, np.cross(b, c))) / 6 == pytest.approx(24.0)


@pytest.mark.parametrize("name", ["radish_green", "pea", "fennel_like"])
def test_stem_length_is_the_length_of_the_centre_line(name: str) -> None:
    plot = plants.Plot(-30, 30, -30, 30, 40.0)
    crop = NAMED[name]
    rng = np.random.default_rng(3)
    xy = rng.uniform(-30, 30, (40, 2))
    length = rng.uniform(20, 80, 40)
    spine = plants.spines(crop, plot, CALM, xy, length, rng)
    measured = np.linalg.norm(np.diff(spine, axis=1), axis=2).sum(1)
    assert measured == pytest.approx(length, rel=1e-6)


def test_same_seed_gives_the_same_plants_and_another_does_not() -> None:
    plot = plants.Plot(-40, 40, -40, 40, 40.0)
    first, again, other = (
        plants.grow(NAMED["sunflower"], plot, 1.0, CALM, seed) for seed in (5, 5, 6)
    )
    assert np.array_equal(first.leaves.vertices, again.leaves.vertices)
    assert np.array_equal(first.tubes.vertices, again.tubes.vertices)
    assert len(first.stem_length) != len(other.stem_length) or not np.allclose(
        first.stem_length, other.stem_length
    )


def test_density_is_what_was_asked_for() -> None:
    plot = plants.Plot(-125, 125, -125, 125, 40.0)
    stand = plants.grow(NAMED["radish_green"], plot, 2.0, CALM, 1)
    assert len(stand.stem_length) == pytest.approx(2.0 * 625, rel=0.08)
    assert stand.blades.yellowed.mean() == pytest.approx(0.1, abs=0.02)


def test_camera_undoes_its_own_distortion() -> None:
    turn = looking(np.array([0.1, 0.05, -1.0]), np.array([0, 1.0, 0]), 7.0)
    camera = Camera(4032, 3024, focal_pixels(26, 4032, 3024), -0.03, 0.006, turn,
                    np.array([10.0, -20, 550]))  # fmt: skip
    points = np.random.default_rng(1).uniform([-250, -150, 0], [250, 150, 120], (200, 3))
    u, v = camera.project(points).T
    x, y = camera.undistort(u, v)
    local = (points - camera.position) @ camera.rotation.T
    assert np.abs(np.stack([x, y], 1) - local[:, :2] / local[:, 2:]).max() * camera.focal_px < 0.02


def test_focal_length_compares_diagonals() -> None:
    # A 36 x 24 mm frame has a diagonal of 43.2666 mm, and 3:2 pixels follow it exactly.
    assert focal_pixels(36.0, 3600, 2400) == pytest.approx(3600.0, rel=1e-5)


def test_camera_axes_show_an_upright_picture() -> None:
    turn = looking(np.array([0, 1.0, 0]), np.array([0, 0, 1.0]), 0.0)
    camera = Camera(400, 300, 300.0, 0.0, 0.0, turn, np.array([0.0, -500, 50]))
    left, right, top = camera.project(np.array([[-50.0, 0, 50], [50, 0, 50], [0, 0, 90]]))
    assert left[0] < right[0]
    assert top[1] < left[1]


def test_white_and_primaries_in_lab() -> None:
    # CIELAB of sRGB white and red under D65, from memory of common tables.
    assert colour.linear_to_lab([1.0, 1, 1]) == pytest.approx([100, 0, 0], abs=1e-6)
    assert colour.linear_to_lab([1.0, 0, 0]) == pytest.approx([53.24, 80.09, 67.20], abs=0.05)


def test_srgb_coding_is_undone() -> None:
    values = np.linspace(0, 1, 257)
    assert colour.decode_srgb(colour.encode_srgb(values)) == pytest.approx(values, abs=1e-6)


def test_lamp_colours_run_from_warm_to_cold() -> None:
    warm, cold = colour.kelvin_to_linear(3000), colour.kelvin_to_linear(6500)
    assert warm[0] > 2.5 * warm[2]
    # 6500 K on the Planckian locus lies close to D65, which is white here.
    assert cold == pytest.approx([1, 1, 1], abs=0.08)


def test_largest_region_joins_by_edges_only() -> None:
    mask = np.array([[1, 1, 0, 0, 1], [0, 1, 0, 1, 1], [0, 0, 1, 0, 1], [1, 0, 0, 0, 1]], bool)
    assert largest_region(mask) == 5
    spiral = np.ones((9, 9), bool)
    spiral[1:8:2, 1:] = False
    assert largest_region(spiral) == spiral.sum()
    assert largest_region(np.zeros((3, 3), bool)) == 0


def test_opening_drops_what_a_disc_cannot_reach() -> None:
    mask = np.zeros((30, 30), bool)
    mask[5:20, 5:20] = True
    mask[10, 20:29] = True
    kept = opened(mask, 3.0)
    assert kept[12, 12]
    assert not kept[10, 25]


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_stored_photo_stands_upright_by_its_tag(tmp_path: Path, orientation: int) -> None:
    upright = np.zeros((48, 64, 3), np.uint8)
    upright[:16, :16] = 250
    look = {**sets.scenes("sample")[0]["views"]["side"]["look"], "orientation": orientation}
    facts = phone.write_jpeg(tmp_path / "a.jpg", upright, 25.9, look)
    with Image.open(tmp_path / "a.jpg") as photo:
        assert photo.getexif().get_ifd(0x8769)[0xA405] == 26 == facts["focal_length_in_35mm_film"]
        shown = np.asarray(ImageOps.exif_transpose(photo))
    assert shown.shape == upright.shape
    assert shown[4, 4, 0] > 200
    assert shown[-4, 4, 0] < 50
    assert shown[4, -4, 0] < 50


def test_grey_stays_grey_and_white_meets_the_exposure() -> None:
    look = {**sets.scenes("sample")[0]["views"]["side"]["look"], "adapt": 1.0, "contrast": 0.0,
            "wb_error": [1.0, 1.0, 1.0], "exposure": 0.5, "shoulder": 0.9}  # fmt: skip
    white = np.array([2.0, 1.0, 0.5])
    coded = phone.tone(white[None] * phone.white_gains(white, look), look)[0]
    # sRGB code of linear 0.5 by IEC 61966-2-1.
    assert coded == pytest.approx([0.7354] * 3, abs=2e-4)


@pytest.mark.parametrize("name", list(sets.SETS))
def test_sets_are_the_same_every_time(name: str) -> None:
    first, again = sets.scenes(name), sets.scenes(name)
    assert first == again
    assert len({s["id"] for s in first}) == sets.SETS[name].count
    photographed = len(five_ways.WAYS) if name == "five_ways" else 1
    assert len({s["seed"] for s in first}) == sets.SETS[name].count // photographed


def test_unseen_holds_crops_that_no_other_set_has() -> None:
    crops_of = {name: {s["crop"] for s in sets.scenes(name)} for name in sets.SETS}
    neighbours = {n["plants"]["crop"] for s in sets.scenes("dev") for n in s["neighbours"]}
    only = crops_of["unseen"] - crops_of["dev"] - crops_of["learn"] - neighbours
    assert len(only) >= 2


def test_factors_are_spread_in_strata() -> None:
    table = sets.spread(24, 1)
    for factor in ("light", "bench", "fill"):
        strata = sorted(int(row[factor] * 24) for row in table)
        assert strata == list(range(24))
