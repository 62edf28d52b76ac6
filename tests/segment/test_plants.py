"""Plant or not: pictures of known content, and what must not change the answer."""

import cv2
import numpy as np
import pytest

from traymorph.segment.edges import unmix
from traymorph.segment.plants import plant_share
from traymorph.segment.tissue import segment_tissue

# sRGB colours of common leaves and grounds, 8-bit; common practice, no source.
GREEN, PURPLE, RED, YELLOW_GREEN = (72, 128, 48), (84, 40, 72), (150, 34, 62), (150, 175, 66)
COIR, MAT, PAPER, BLACK, SOIL = (
    (70, 50, 36),
    (150, 130, 105),
    (238, 238, 234),
    (22, 22, 24),
    (110, 98, 80),
)
GREY_BENCH, WOOD = (120, 122, 124), (176, 138, 92)


def scene(leaf, ground, around=GREY_BENCH, seed=0):
    """Leaves on a ground in a tray on a bench, with light and shade; truth: 1 = plant."""
    rng = np.random.default_rng(seed)
    h, w = 240, 320
    picture = np.tile(np.float32(around), (h, w, 1))
    picture[40:200, 50:270] = ground
    picture[40:200, 50:270] *= rng.normal(1.0, 0.10, (160, 220, 1))
    truth = np.zeros((h, w), dtype=np.uint8)
    for _ in range(75):
        x, y = int(rng.integers(65, 255)), int(rng.integers(55, 185))
        axes = (int(rng.integers(9, 15)), int(rng.integers(6, 9)))
        angle = float(rng.uniform(0, 360))
        shape = np.zeros((h, w), dtype=np.uint8)
        cv2.ellipse(shape, (x, y), axes, angle, 0, 360, 1, -1)
        picture[shape > 0] = np.float32(leaf) * rng.uniform(0.6, 1.25)
        truth |= shape
    picture = cv2.GaussianBlur(picture, (0, 0), 0.8) + rng.normal(0, 2.0, picture.shape)
    return np.clip(picture, 0, 255).astype(np.uint8), truth > 0


def dice(found, truth):
    return 2 * np.count_nonzero(found & truth) / (found.sum() + truth.sum())


def plant(rgb, **kw):
    return plant_share(rgb, **kw)


@pytest.mark.parametrize(
    "leaf", [GREEN, PURPLE, RED, YELLOW_GREEN], ids=["green", "purple", "red", "yellow-green"]
)
@pytest.mark.parametrize("ground", [COIR, MAT, PAPER, BLACK], ids=["coir", "mat", "paper", "black"])
def test_leaves_of_any_colour_are_found_on_any_ground(leaf, ground):
    rgb, truth = scene(leaf, ground)
    assert dice(plant(rgb) > 0.5, truth) > 0.93


@pytest.mark.parametrize(
    "bench", [WOOD, PAPER, BLACK, (40, 60, 120)], ids=["wood", "white", "black", "blue"]
)
def test_the_bench_is_no_plant(bench):
    rgb, truth = scene(GREEN, COIR, bench)
    found = plant(rgb) > 0.5
    assert dice(found, truth) > 0.93
    assert np.mean(found[:30]) < 0.01


def test_a_photo_without_card_on_soil():
    rgb, truth = scene(GREEN, SOIL, SOIL)
    found = plant(rgb) > 0.5
    assert dice(found, truth) > 0.93


@pytest.mark.parametrize(
    "colour", [COIR, PAPER, BLACK, GREY_BENCH, WOOD], ids=["coir", "paper", "black", "grey", "wood"]
)
def test_an_empty_picture_gives_an_empty_mask(colour):
    rng = np.random.default_rng(1)
    rgb = np.clip(np.float32(colour) + rng.normal(0, 4, (240, 320, 3)), 0, 255).astype(np.uint8)
    assert np.mean(plant(rgb)) < 0.01


def test_a_picture_full_of_leaf_is_all_plant():
    rng = np.random.default_rng(2)
    shade = cv2.GaussianBlur(rng.normal(0, 1, (240, 320, 1)).astype(np.float32), (0, 0), 4)
    rgb = np.clip(np.float32(GREEN) * (1 + 1.5 * shade[..., None]), 0, 255).astype(np.uint8)
    assert np.mean(plant(rgb) > 0.5) > 0.97


def test_turning_the_picture_over_turns_the_mask_over():
    rgb, _ = scene(GREEN, COIR)
    turned = plant(np.ascontiguousarray(rgb[:, ::-1]))[:, ::-1]
    assert np.mean((plant(rgb) > 0.5) != (turned > 0.5)) < 0.01


@pytest.mark.parametrize("stops", [-0.5, 0.5])
def test_half_a_stop_of_exposure_changes_little(stops):
    rgb, truth = scene(GREEN, COIR)
    # In sRGB coding a factor in light is close to a factor to the power 1/2.2 in the values.
    changed = np.clip(rgb * 2.0 ** (stops / 2.2), 0, 255).astype(np.uint8)
    assert dice(plant(changed) > 0.5, truth) > 0.93


def test_a_veil_of_stray_light_changes_little():
    rgb, truth = scene(GREEN, COIR)
    assert dice(plant(np.minimum(rgb, 243) + 12) > 0.5, truth) > 0.93


def test_the_card_is_never_plant():
    rgb, _ = scene(GREEN, COIR)
    card = np.zeros(rgb.shape[:2], dtype=bool)
    card[100:200, 100:200] = True
    assert plant(rgb, ignore=card)[card].max() == 0.0


def test_soft_outlines_keep_the_area():
    # Discs drawn at eight times the size and averaged: the true share of every pixel is known.
    big = np.zeros((1920, 2560), dtype=np.uint8)
    for x in range(300, 2400, 300):
        for y in range(300, 1700, 300):
            cv2.circle(big, (x, y), 82, 1, -1)
    share = cv2.resize(big.astype(np.float32), (320, 240), interpolation=cv2.INTER_AREA)
    light = share[..., None] * _decode(GREEN) + (1 - share[..., None]) * _decode(COIR)
    rgb = np.round(
        255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    )
    # Outlines are set as they are where a card is in view.
    rgb = rgb.astype(np.uint8)
    found = unmix(plant(rgb), rgb)
    assert found.sum() == pytest.approx(share.sum(), rel=0.03)


def _decode(colour):
    v = np.array(colour) / 255.0
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def test_the_masks_say_where_they_are_unsure():
    rgb, truth = scene(GREEN, COIR)
    masks = segment_tissue(rgb, scale=2.5, mm_per_px=None, ignore=None)
    wrong = (masks.plant > 0.5) != truth
    assert masks.scale == 2.5
    assert masks.leaf.dtype == masks.stem.dtype == masks.doubt.dtype == np.float32
    assert masks.doubt.min() >= 0.0
    assert masks.doubt.max() <= 0.5
    assert masks.doubt[wrong].mean() > 3 * masks.doubt[~wrong].mean()


def test_bad_pictures_are_refused():
    with pytest.raises(ValueError, match="uint8"):
        plant_share(np.zeros((4, 4)))
    with pytest.raises(ValueError, match="size"):
        plant_share(np.zeros((4, 4, 3), np.uint8), ignore=np.zeros((3, 4), bool))


@pytest.mark.parametrize("shape", [(1, 1), (1, 40), (7, 3)])
def test_tiny_pictures_do_not_break(shape):
    assert plant(np.full((*shape, 3), 128, np.uint8)).shape == shape
