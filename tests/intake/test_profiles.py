"""Colour profiles against the arithmetic of the standards."""

import numpy as np
import pytest
from PIL import ImageCms

from tests.intake.icc import (
    P3_PRIMARIES,
    SRGB_PRIMARIES,
    matrix_profile,
    p3_as_srgb,
    to_xyz,
)
from traymorph.intake.profiles import to_srgb


def _codes(count=4000):
    return np.random.default_rng(7).integers(0, 256, (1, count, 3), dtype=np.uint8)


def test_the_arithmetic_itself_gives_the_published_matrix():
    # IEC 61966-2-1, the matrix from linear sRGB to XYZ, printed to four digits.
    published = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    assert np.abs(to_xyz(SRGB_PRIMARIES) - published).max() < 3e-4


def test_display_p3_becomes_srgb():
    codes = _codes()
    expected = p3_as_srgb(codes)
    found = to_srgb(codes, matrix_profile(P3_PRIMARIES))
    difference = np.abs(found - expected)
    assert difference.max() < 2.5  # 8-bit rounding, steepest in the darks
    assert difference.mean() < 0.5


def test_the_red_of_srgb_lies_within_display_p3():
    # CSS Color Module Level 4: red is about color(display-p3 0.9175 0.2003 0.1386); from memory.
    codes = np.array([[[234, 51, 35]]], np.uint8)
    found = to_srgb(codes, matrix_profile(P3_PRIMARIES)).astype(int)
    assert np.abs(found - [255, 0, 0]).max() <= 4


@pytest.mark.parametrize(
    "profile",
    [
        None,
        b"",
        b"no profile at all",
        matrix_profile(P3_PRIMARIES)[:200],
        ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(),
        ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes(),
        matrix_profile(SRGB_PRIMARIES),
    ],
    ids=["none", "empty", "text", "cut short", "sRGB", "Lab", "sRGB by another name"],
)
def test_srgb_and_what_cannot_be_used_leave_the_pixels_alone(profile):
    codes = _codes(10)
    assert to_srgb(codes, profile) is codes
