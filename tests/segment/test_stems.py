"""Leaf against stem in side views drawn with known places."""

import cv2
import numpy as np

from traymorph.model.photo import View
from traymorph.segment.plants import segment_plants
from traymorph.segment.stems import depth_below_top, part, uprightness


def side_view(stem_colour):
    """A row of upright stems with leaves on top; truth of leaf and stem."""
    rng = np.random.default_rng(3)
    h, w = 300, 480
    rgb = np.full((h, w, 3), 150, np.float32)
    leaf, stem = np.zeros((h, w), np.uint8), np.zeros((h, w), np.uint8)
    for x in range(60, 420, 9):
        cv2.line(stem, (x, 110), (x + int(rng.integers(-4, 5)), 230), 1, 3)
    rgb[stem > 0] = stem_colour
    for x in range(55, 430, 11):
        for _ in range(2):
            one = np.zeros((h, w), np.uint8)
            centre = (x + int(rng.integers(-5, 6)), 105 + int(rng.integers(-18, 12)))
            cv2.ellipse(one, centre, (12, 6), float(rng.uniform(-25, 25)), 0, 360, 1, -1)
            rgb[one > 0] = np.float32((72, 128, 48)) * rng.uniform(0.75, 1.2)
            leaf |= one
    stem &= 1 - leaf
    rgb[230:, 40:440] = 30
    rgb = cv2.GaussianBlur(rgb, (0, 0), 0.7) + rng.normal(0, 2, rgb.shape)
    return np.clip(rgb, 0, 255).astype(np.uint8), leaf > 0, stem > 0


def dice(found, truth):
    return 2 * np.count_nonzero(found & truth) / (found.sum() + truth.sum())


def test_stems_and_leaves_are_told_apart_whatever_the_stems_colour():
    for colour in ((176, 205, 120), (226, 200, 150), (170, 60, 100)):
        rgb, leaf, stem = side_view(colour)
        plant = (leaf | stem).astype(np.float32)
        found_leaf, found_stem = part(rgb, plant, View.SIDE, 0.5)
        assert dice(found_leaf > 0.5, leaf) > 0.9
        assert dice(found_stem > 0.5, stem) > 0.8


def test_the_whole_way_from_the_picture():
    rgb, leaf, stem = side_view((176, 205, 120))
    masks = segment_plants(rgb, View.SIDE, scale=1.0, mm_per_px=0.5, calibrated=True)
    assert dice(masks.plant > 0.5, leaf | stem) > 0.9
    assert dice((masks.leaf > masks.stem) & (masks.plant > 0.5), leaf) > 0.85


def test_leaf_and_stem_share_out_the_plant():
    rgb, leaf, stem = side_view((176, 205, 120))
    plant = 0.7 * (leaf | stem).astype(np.float32)
    found_leaf, found_stem = part(rgb, plant, View.SIDE, 0.5)
    np.testing.assert_allclose(found_leaf + found_stem, plant, atol=1e-6)
    assert found_stem.min() >= 0.0


def test_uprightness_of_stripes():
    stripes = np.tile(np.float32(20 * np.sin(np.arange(120) * 0.8)), (120, 1)) + 50
    assert uprightness(stripes, 0.5)[40:80, 40:80].min() > 0.9
    assert uprightness(np.ascontiguousarray(stripes.T), 0.5)[40:80, 40:80].max() < -0.9
    assert abs(uprightness(np.full((50, 50), 40, np.float32), 0.5)).max() < 0.01


def test_depth_runs_from_the_top_to_the_foot_of_the_plants():
    plant = np.zeros((200, 100), np.float32)
    plant[50:150] = 1.0
    place = depth_below_top(plant, 0.5)
    assert place[50].max() < 0.05
    assert place[148].min() > 0.95
    assert abs(place[100] - 0.5).max() < 0.05
