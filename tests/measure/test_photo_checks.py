"""Photo checks on drawn cards."""

import cv2
import numpy as np
import pytest

from traymorph.flags import FLAGS
from traymorph.measure.photo_checks import check_photo
from traymorph.model.card import CardRole, CardSighting, ColourFit
from traymorph.model.plane_grid import PlaneGrid


def sighting(make, camera, *, residual=0.1, shaded=False, seen=6, colour=None):
    outline = camera.project(np.array([[0, 0, 0], [120, 0, 0], [120, 90, 0], [0, 90, 0.0]]))
    return CardSighting(
        CardRole.OVERHEAD, 1, camera, outline, residual, seen, 6,
        colour or make.colour(), shaded,
    )  # fmt: skip


def fit(error, *, shows=True, card_id="print"):
    return ColourFit(np.eye(3), error, shows, card_id=card_id)


def picture(camera, blur_mm=0.3, bench=150):
    """A checkerboard of 6 mm on the card, blurred by a normal curve of the given 10-90 % rise."""
    width, height = camera.size_px
    grid = PlaneGrid(np.zeros(2), np.array([1.0, 0.0]), 1.0, (1, 1), 0.0)
    x, y = grid.cells_of_pixels(camera, 1.0, (height, width))
    grey = np.full((height, width), bench, np.float32)
    on_card = (x > 0) & (x < 120) & (y > 0) & (y < 90)
    dark = (np.floor(x / 6) + np.floor(y / 6)) % 2 == 0
    grey[on_card] = np.where(dark, 25.0, 225.0)[on_card]
    sigma_px = blur_mm / 2.563 / camera.mm_per_px(np.zeros(3))
    grey = cv2.GaussianBlur(grey, (0, 0), sigma_px)
    return np.repeat(grey[..., None], 3, axis=2).round().astype(np.uint8)


@pytest.mark.parametrize("rise_mm", [0.6, 1.0, 1.6])
def test_sharpness_is_one_over_the_rise_of_edges(make, rise_mm):
    """The 10 to 90 % rise of a normal edge is 2.563 standard deviations: tables of the normal."""
    camera = make.above(500.0, focal=2000.0, size=(1200, 900))
    quality = check_photo(picture(camera, rise_mm), sighting(make, camera))
    assert quality.sharpness == pytest.approx(1.0 / rise_mm, rel=0.15)
    assert ("blurred" in quality.flags) == (rise_mm > 0.9)


def test_a_good_photo_raises_nothing(make):
    camera = make.above(500.0, focal=2000.0, size=(1200, 900))
    quality = check_photo(picture(camera), sighting(make, camera))
    assert quality.flags == ()
    assert quality.mm_per_px == pytest.approx(0.25)


@pytest.mark.parametrize(
    ("flag", "change"),
    [
        ("card_residual", {"residual": 3.0}),
        ("card_shaded", {"shaded": True}),
        ("card_partly_hidden", {"seen": 4}),
        ("light_unfit_for_colour", {"colour": fit(1.0, shows=False)}),
        ("colour_doubtful", {"colour": fit(6.0)}),
        ("card_nominal", {"colour": fit(1.0, card_id=None)}),
    ],
)
def test_each_trouble_raises_its_flag_alone(make, flag, change):
    camera = make.above(500.0, focal=2000.0, size=(1200, 900))
    quality = check_photo(picture(camera), sighting(make, camera, **change))
    assert quality.flags == (flag,)
    assert flag in FLAGS


def test_burnt_out_and_dark_photos(make):
    camera = make.above(500.0, focal=2000.0, size=(1200, 900))
    bright = check_photo(picture(camera, bench=255), sighting(make, camera))
    assert "clipped" in bright.flags
    assert bright.clipped_pct > 50.0
    night = check_photo(picture(camera) // 6, sighting(make, camera))
    assert "dark" in night.flags


def test_far_and_tilted_photos(make):
    far = make.above(500.0, focal=600.0)
    assert "low_resolution" in check_photo(picture(far), sighting(make, far)).flags
    tilted = make.above(500.0, focal=2000.0, size=(1200, 900), tilt_deg=20.0)
    assert "tilted" in check_photo(picture(tilted), sighting(make, tilted)).flags


def test_a_card_without_pattern_has_no_sharpness(make):
    camera = make.above(500.0, focal=2000.0, size=(1200, 900))
    flat = np.full((1500, 2000, 3), 150, np.uint8)
    assert np.isnan(check_photo(flat, sighting(make, camera)).sharpness)
