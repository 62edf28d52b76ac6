"""Outlines put where they truly lie, shade told from plant, and faint outlines said."""

import cv2
import numpy as np
import pytest
from PIL import Image

from tests.segment.board_pictures import BOARDS, MM_PER_PX, Picture
from tests.segment.board_rim_fit import true_share
from traymorph.segment.board import segment_board
from traymorph.segment.board_rim import faint_share, settle_rims, signed_depth
from traymorph.segment.board_shade import settle
from traymorph.segment.board_surface import depart


def found_on(picture, **look):
    rgb, plant, stem = picture.shoot(**look)
    return segment_board(rgb, mm_per_px=MM_PER_PX, ignore=None), plant, stem


def disc_share(radius_px, side=200):
    y, x = np.mgrid[:side, :side]
    away = np.hypot(x - side / 2, y - side / 2)
    return np.clip(radius_px - away + 0.5, 0, 1).astype(np.float32)


def test_depth_is_the_distance_to_a_circle():
    """Against the closed form: radius less the distance to the middle."""
    depth = signed_depth(disc_share(40.0))
    y, x = np.mgrid[:200, :200]
    true = 40.0 - np.hypot(x - 100, y - 100)
    near = np.abs(true) < 1.5
    assert (depth - true)[near].mean() == pytest.approx(0.0, abs=0.1)
    assert np.abs(depth - true)[near].max() < 0.6


@pytest.mark.parametrize("off_px", [-0.6, 0.6])
def test_an_outline_half_a_pixel_off_is_moved_towards_the_true_one(off_px):
    """Area of a drawn leaf against pi/4 a b of an ellipse."""
    picture = Picture(40.0, 40.0, board=BOARDS["white"], seed=5, shadow=0.0)
    picture.leaf(20, 20, 22, 14, 30, (70, 132, 44))
    rgb, plant, _ = picture.shoot()
    wrong = np.clip(signed_depth(plant) + np.float32(off_px + 0.5), 0, 1)
    settled, _ = settle_rims(wrong, rgb)
    area = np.pi / 4 * 22 * 14
    before = abs(wrong.sum() * MM_PER_PX**2 / area - 1)
    after = abs(settled.sum() * MM_PER_PX**2 / area - 1)
    assert after < 0.85 * before
    assert after < 0.02


def test_true_outlines_of_rendered_boards_halve_pixels_that_are_half_plant(tmp_path):
    """Two of four points of a pixel are stored as 127 of 255, and are no whole pixel of plant."""
    leaf, stem = np.zeros((2, 20, 20), np.uint8)
    leaf[:, :8], leaf[:, 8], stem[:, 9] = 255, 127, 63
    for part, share in (("leaf", leaf), ("stem", stem)):
        Image.fromarray(share).save(tmp_path / f"board.{part}.png")
    assert true_share(tmp_path).sum() == pytest.approx(20 * (8 + 0.5 + 0.25), rel=3e-3)


@pytest.mark.parametrize("board", sorted(BOARDS))
def test_drawn_stems_keep_their_width(board):
    """Settled from the true outlines, against the stem's drawn width of 1.2 mm."""
    picture = Picture(60.0, 30.0, board=BOARDS[board], seed=8)
    picture.thread([(5, 15), (30, 13), (55, 16)], 1.2, [(190, 214, 160), (160, 196, 120)])
    rgb, plant, _ = picture.shoot()
    settled, _ = settle_rims(plant, rgb)
    wider_mm = (settled.sum() / plant.sum() - 1) * 1.2
    assert wider_mm == pytest.approx(0.0, abs=0.3 * MM_PER_PX)


def test_an_empty_board_has_no_rims():
    share = np.zeros((50, 60), np.float32)
    settled, rims = settle_rims(share, np.full((50, 60, 3), 200, np.uint8))
    assert settled.max() == 0
    assert np.isnan(faint_share(rims, (1.0, 1.0)))


def test_faint_outlines_are_counted():
    share = disc_share(40.0)
    rgb = np.full((200, 200, 3), 200, np.uint8)
    rgb[share > 0.5] = 100
    assert faint_share(settle_rims(share, rgb)[1], (2.0, 1.0)) == 0
    rgb[:, 100:][share[:, 100:] > 0.5] = 203
    assert faint_share(settle_rims(share, rgb)[1], (2.0, 1.0)) == pytest.approx(0.5, abs=0.1)


def test_coloured_shade_that_fades_into_the_board_is_no_plant():
    """A lit disc, and beside it shade of the disc's own hue with a soft outer edge."""
    light = np.full((160, 200), 1.0, np.float32)
    light[40:120, 100:140] = 0.35
    light = cv2.GaussianBlur(light, (0, 0), 3.0)
    rgb = (light[..., None] * np.float32([205, 205, 205])).astype(np.float32)
    shade = light < 0.9
    rgb[shade] *= np.float32([0.90, 1.04, 0.80])
    plant = np.zeros(light.shape, bool)
    plant[30:130, 40:104] = True
    rgb[plant] = (90, 150, 50)
    rgb = cv2.GaussianBlur(rgb, (0, 0), 0.7)
    rgb += np.random.default_rng(1).normal(0, 1.5, rgb.shape).astype(np.float32)
    away = depart(np.clip(rgb, 0, 255).astype(np.uint8), 0.25, np.zeros(light.shape, bool))
    ratio = away.light / away.board + 1
    doubtful = (ratio < 0.88) & ~plant
    found = plant | (ratio < 0.7)
    kept = settle(found, doubtful, away, 0.25)
    core = np.s_[50:110, 110:130]
    assert found[core].all()
    assert not kept[core].any()
    assert kept[plant].all()


def test_a_dull_blade_keeps_its_middle():
    """Brownish grey on white: hardly more colour than shade, but far darker and sharp-edged."""
    picture = Picture(62.0, 46.0, board=BOARDS["white"], seed=2)
    picture.seedling(8, 23, "purple", length=18)
    picture.leaf(46, 23, 22, 12, 10, (100, 92, 84))
    result, plant, _ = found_on(picture)
    inside = cv2.erode((plant > 0.5).astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    assert np.mean(result.plant[inside] > 0.5) > 0.9


def test_noise_of_a_dark_photo_is_no_pattern():
    picture = Picture(62.0, 46.0, board=BOARDS["black"], seed=3).seedling(8, 23, "green", length=24)
    rgb, plant, _ = picture.shoot()
    grain = np.random.default_rng(3).normal(0, 1, rgb.shape)
    grain = cv2.GaussianBlur(grain, (0, 0), 2.0)
    noisy = np.clip(rgb + 4.5 * grain / grain.std(), 0, 255).astype(np.uint8)
    result = segment_board(noisy, mm_per_px=MM_PER_PX, ignore=None)
    both = np.count_nonzero((result.plant > 0.5) & (plant > 0.5))
    assert 2 * both / ((result.plant > 0.5).sum() + (plant > 0.5).sum()) > 0.93
