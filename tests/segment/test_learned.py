"""The learned tissue model: OpenCV against PyTorch, tiles, and the facts of its making."""

import hashlib
import json
from concurrent.futures import ThreadPoolExecutor
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from traymorph.segment import learned

PACKAGE = files("traymorph.segment")
PARITY = Path(__file__).parent / "tissue.parity.npz"


@pytest.fixture(scope="module")
def example() -> dict[str, np.ndarray]:
    """A rendered picture and what PyTorch made of it when the network was exported."""
    with np.load(PARITY) as stored:
        return {"rgb": stored["rgb"], "scores": stored["scores"].astype(np.float32)}


def test_opencv_computes_what_pytorch_computed(example):
    scores = learned.shipped_model().scores(example["rgb"])
    # Stored with 16 bits: 11 bits of mantissa, relative step 2**-11 (IEEE 754-2019 binary16).
    np.testing.assert_allclose(scores, example["scores"], rtol=2**-10, atol=2e-3)


def test_shares_follow_from_scores_by_the_softmax(example):
    leaf, stem = learned.tissue_shares(example["rgb"])
    scores = example["scores"].astype(float)
    for dy in (0, 1):
        for dx in (0, 1):
            part = np.exp(scores[[2 * dy + dx, 4 + 2 * dy + dx, 8 + 2 * dy + dx]])
            part /= part.sum(0)
            np.testing.assert_allclose(leaf[dy::2, dx::2], part[1], atol=4e-3)
            np.testing.assert_allclose(stem[dy::2, dx::2], part[2], atol=4e-3)


def test_picture_of_any_size_gives_shares_of_its_size(example):
    rgb = example["rgb"][:101, :83]
    leaf, stem = learned.tissue_shares(rgb)
    assert leaf.shape == stem.shape == (101, 83)
    assert leaf.dtype == stem.dtype == np.float32
    assert leaf.min() >= 0
    assert stem.min() >= 0
    assert (leaf + stem).max() <= 1 + 1e-6


def test_example_shows_plant_and_the_model_finds_it(example):
    leaf, stem = learned.tissue_shares(example["rgb"])
    assert 0.05 < (leaf + stem > 0.5).mean() < 1


def test_grey_card_holds_no_plant():
    grey = np.full((256, 256, 3), 128, np.uint8)
    leaf, stem = learned.tissue_shares(grey)
    assert (leaf + stem).max() < 0.5


def test_same_answer_every_time_and_from_several_threads(example):
    first = learned.tissue_shares(example["rgb"])
    with ThreadPoolExecutor(3) as pool:
        others = list(pool.map(learned.tissue_shares, [example["rgb"]] * 6))
    for leaf, stem in others:
        np.testing.assert_array_equal(leaf, first[0])
        np.testing.assert_array_equal(stem, first[1])


@pytest.mark.parametrize(("height", "width"), [(800, 600), (3000, 4000), (1500, 6000), (90, 40000)])
def test_tiles_keep_every_pixel_once(height, width):
    kept = np.zeros((height, width), np.uint8)
    for tile in learned.tiles((height, width)):
        kept[tile] += 1
        seen = learned.seen_around(tile, (height, width))
        assert kept[seen].size <= learned.LARGEST_PX
        for inner, outer, length in zip(tile, seen, (height, width), strict=True):
            assert 0 <= outer.start <= inner.start
            assert inner.stop <= outer.stop <= length
    assert (kept == 1).all()


def test_tiles_hold_what_is_wanted_once_and_little_else():
    height, width = 1603, 2411
    wanted = np.zeros((101, 151), bool)
    wanted[20:40, 10:140] = True
    wanted[90:101, 149:151] = True
    kept = np.zeros((height, width), np.uint8)
    for tile in learned.tiles((height, width), wanted):
        kept[tile] += 1
    asked = np.kron(wanted, np.ones((16, 16), bool))[:height, :width]
    assert (kept[asked] == 1).all()
    assert kept.max() == 1
    assert kept.sum() < 1.5 * asked.sum()
    assert learned.tiles((height, width), np.zeros_like(wanted)) == []


def test_where_shares_are_not_wanted_nothing_is_computed(example):
    rgb = np.tile(example["rgb"], (1, 3, 1))
    wanted = np.zeros((-(-rgb.shape[0] // 16), -(-rgb.shape[1] // 16)), bool)
    wanted[:, : wanted.shape[1] // 2] = True
    leaf, stem = learned.tissue_shares(rgb, wanted)
    border = 16 * (wanted.shape[1] // 2)
    assert (leaf + stem)[:, :border].max() > 0.5
    assert not (leaf + stem)[:, border:].any()


def test_first_look_finds_the_plants_and_leaves_bare_ground_out(example):
    rgb = np.full((1200, 1600, 3), 200, np.uint8)
    height, width = example["rgb"].shape[:2]
    rgb[:height, :width] = example["rgb"]
    leaf, stem = learned.tissue_shares(example["rgb"])
    wanted = learned.may_hold_plants(rgb, 0.3)
    assert wanted.shape == (75, 100)
    asked = np.kron(wanted, np.ones((16, 16), bool))[:height, :width]
    assert asked[leaf + stem > 0.5].mean() > 0.99
    assert not wanted[height // 16 + 8 :].any()
    assert not wanted[:, width // 16 + 8 :].any()


def test_tiles_agree_with_the_whole_picture(example, monkeypatch):
    rgb = np.tile(example["rgb"], (3, 7, 1))
    whole = learned.tissue_shares(rgb)
    monkeypatch.setattr(learned, "LARGEST_PX", 384 * 640)
    assert len(learned.tiles(rgb.shape[:2])) > 1
    tiled = learned.tissue_shares(rgb)
    for one, other in zip(whole, tiled, strict=True):
        assert np.abs(one - other).mean() < 0.01


def test_facts_belong_to_the_weights():
    facts = json.loads((PACKAGE / "tissue.json").read_text("utf-8"))
    onnx = (PACKAGE / "tissue.onnx").read_bytes()
    assert hashlib.sha256(onnx).hexdigest() == facts["onnx_sha256"]
    assert len(onnx) <= 2_000_000
    assert facts["recipe_sha256"].startswith(facts["version"].rsplit(".", 1)[1])
    assert learned.tissue_version().endswith(facts["version"])
