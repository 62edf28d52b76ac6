"""Pictures of the worst scenes: what is drawn where, and that former ones go."""

from __future__ import annotations

import json

import numpy as np
import pytest
from PIL import Image

from tests.accuracy import pictures
from tests.accuracy.test_tables import overlap_row, reading, scene
from tests.scenes.camera import Camera, looking

SIZE = (120, 90)
CAMERA = Camera(
    *SIZE, 100.0, -0.02, 0.0, looking(np.array([0.0, 0, -1]), np.array([0.0, 1, 0]), 0.0),
    np.array([0.0, 0, 300]),
)  # fmt: skip


@pytest.fixture
def rendered(tmp_path):
    """One scene of a square tray of leaf, half of which the mask misses."""
    folder, out = tmp_path / "set" / "s0", tmp_path / "out"
    for place in (folder, out / "masks", out / "overlays"):
        place.mkdir(parents=True)
    seen = {"width": SIZE[0], "height": SIZE[1], "camera": CAMERA.record()}
    record = {
        "id": "s0",
        "tray": {"inside_length_mm": 150.0, "inside_width_mm": 150.0,
                 "rim_above_bench_mm": 40.0, "rim_above_medium_mm": 20.0},
        "truth": {"canopy_height_mm": 50.0},
        "photos": {view: {"photo": f"{view}.jpg", **seen} for view in ("overhead", "side")},
    }  # fmt: skip
    (folder / "truth.json").write_text(json.dumps(record), "utf-8")
    truth, mask = np.zeros((2, SIZE[1], SIZE[0]), np.uint8)
    truth[20:70, 40:80], mask[20:70, 60:80] = 1, 1
    for view in ("overhead", "side"):
        Image.new("RGB", SIZE, (90, 120, 60)).save(folder / f"{view}.jpg")
        Image.fromarray(truth).save(folder / f"{view}.mask.png")
        Image.fromarray(mask).save(out / "masks" / f"s0_{view}.png")
        Image.new("RGB", (60, 40), "grey").save(out / "overlays" / f"s0_{view}.jpg")
    return folder.parent, out, record


def test_worst_scenes_are_drawn_by_metric_and_former_ones_go(rendered) -> None:
    folder, out, _ = rendered
    scenes = [
        scene("s0", "pea-like", [reading("canopy_cover_pct", 88, 90, u=2),
                                 reading("canopy_height_mm", np.nan, 50)],
              [overlap_row("side")]),
    ]  # fmt: skip
    pictures.draw_worst(scenes, folder, out)
    found = sorted(str(path.relative_to(out / "worst")) for path in out.glob("worst/*/*"))
    assert found == [
        "canopy_cover_pct/1_s0.jpg",
        "side_leaf/1_s0.jpg",
        "side_plant/1_s0.jpg",
        "side_stem/1_s0.jpg",
    ]
    with Image.open(out / "worst" / found[0]) as drawn:
        assert drawn.width == 2 * 900
    pictures.draw_worst([], folder, out)
    assert not list(out.glob("worst/*/*"))


def test_caption_says_value_truth_and_doubt() -> None:
    row = reading("projected_leaf_area_cm2", 110, 100, u=5)
    assert pictures.in_words(row["metric"], row, 10.0) == (
        "projected_leaf_area_cm2 110, truth 100, off by +10 %; u 5, so +2.0 u"
    )
    row = reading("canopy_height_mm", 48, 50, u=4)
    assert pictures.in_words(row["metric"], row, -2.0) == (
        "canopy_height_mm 48, truth 50, off by -2; u 4, so -0.5 u"
    )
    assert pictures.in_words("side_stem", overlap_row("side"), 0.9) == (
        "side_stem overlap (Dice) 0.900"
    )


def test_differences_are_tinted_by_kind() -> None:
    photo = np.zeros((1, 6, 3), np.uint8)
    truth = np.array([[0, 1, 0, 2, 1, 7]], np.uint8)
    mask = np.array([[0, 0, 1, 1, 2, 1]], np.uint8)
    found = pictures.differing(photo, truth, mask)[0]
    plain = tuple(found[0])
    tints = {tuple(found[k]) for k in (1, 2, 3, 4)}
    assert len(tints) == 4
    assert plain not in tints
    assert tuple(found[5]) == plain  # a hull on a leaf is neither plant nor not


def test_true_opening_is_drawn_at_the_height_of_the_rim(rendered) -> None:
    _, _, record = rendered
    (opening,) = pictures.true_lines(record, "overhead")
    # 75 mm off the axis, 260 mm below the camera, f = 100 px, a little barrel distortion
    away = 75 / 260
    expected = 59.5 + 100 * away * (1 - 0.02 * 2 * away**2)
    assert opening[:, 0].max() == pytest.approx(59.5 + 100 * away * (1 - 0.02 * away**2), abs=0.02)
    assert np.abs(opening - [expected, 44.5 - (expected - 59.5)]).sum(axis=1).min() < 0.01
    rim, height = pictures.true_lines(record, "side")
    assert height[:, 1].mean() == pytest.approx(44.5)
    assert rim[:, 1].mean() > 60
