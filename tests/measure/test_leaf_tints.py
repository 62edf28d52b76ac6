"""Green, purple and yellowed shares on colours whose CIELAB is known."""

import numpy as np
import pytest

from traymorph.measure.leaf_tints import tint_shares


def leaf(*parts):
    """CIELAB pixels: (share, lightness, chroma, hue in degrees) each."""
    pixels = []
    for share, lightness, chroma, hue_deg in parts:
        hue = np.radians(hue_deg)
        colour = [lightness, chroma * np.cos(hue), chroma * np.sin(hue)]
        pixels.append(np.tile(colour, (round(1000 * share), 1)))
    return np.concatenate(pixels)


def shares(*parts, chroma_u=0.5, hue_u_deg=1.0):
    return tint_shares(leaf(*parts), chroma_u, hue_u_deg)


def test_a_quarter_of_yellow_leaf():
    found = shares((0.75, 55, 50, 135), (0.25, 70, 55, 98))
    assert found["yellowed_pct"].value == pytest.approx(25.0)
    assert found["green_leaf_pct"].value == pytest.approx(75.0)
    assert found["purple_leaf_pct"].value == 0.0


def test_red_and_purple_leaf_round_the_end_of_the_hue_circle():
    found = shares((0.2, 30, 20, 300), (0.2, 30, 20, 359), (0.2, 30, 20, 1), (0.4, 45, 30, 130))
    assert found["purple_leaf_pct"].value == pytest.approx(60.0)
    assert found["green_leaf_pct"].value == pytest.approx(40.0)


def test_grey_brown_and_bluish_leaf_is_none_of_the_three():
    found = shares((0.3, 30, 2, 130), (0.3, 30, 15, 75), (0.4, 40, 20, 240))
    assert {got.value for got in found.values()} == {0.0}


def test_fresh_yellow_green_crops_are_not_yellowed():
    """Pea shoots are yellow-green, hue 108 to 115 (common practice, no source)."""
    found = shares((0.5, 60, 45, 113), (0.5, 62, 45, 109))
    assert found["yellowed_pct"].value == 0.0
    assert found["green_leaf_pct"].value == 100.0


def test_yellowed_leaf_of_a_red_crop_has_no_green_to_be_compared_with():
    found = shares((0.9, 30, 30, 20), (0.1, 70, 55, 100))
    assert found["yellowed_pct"].value == pytest.approx(10.0)
    assert found["purple_leaf_pct"].value == pytest.approx(90.0)


def test_a_hue_that_errs_alike_over_the_tray_does_not_yellow_a_green_crop():
    """All hues 6 degrees too yellow: the limit moves along, and so does no leaf."""
    parts = ((0.9, 50, 45, 133), (0.1, 68, 55, 100))
    warm = [(share, light, chroma, hue - 6) for share, light, chroma, hue in parts]
    assert shares(*warm)["yellowed_pct"].value == shares(*parts)["yellowed_pct"].value


def test_what_is_yellow_throughout_is_not_called_yellowed_or_not():
    """Pure yellow of sRGB has a CIELAB hue of 102.9 (computed through the IEC matrix)."""
    throughout = shares((0.9, 75, 60, 103), (0.1, 60, 50, 112))
    assert np.isnan(throughout["yellowed_pct"].value)
    assert np.isnan(throughout["yellowed_pct"].u)
    some_left = shares((0.7, 75, 60, 100), (0.3, 50, 40, 130))
    assert some_left["yellowed_pct"].value == pytest.approx(70.0)
    purple_left = shares((0.7, 75, 60, 100), (0.3, 30, 20, 350))
    assert purple_left["yellowed_pct"].value == pytest.approx(70.0)


def test_in_a_yellowish_crop_the_limit_itself_is_in_doubt():
    """Half of the blades lie near the limit of a yellow crop, beyond that of a green one."""
    yellow = shares((0.5, 60, 50, 108), (0.5, 60, 50, 99))
    green = shares((0.5, 60, 50, 137), (0.5, 60, 50, 113))
    assert yellow["yellowed_pct"].u == pytest.approx(50.0, abs=1.5)
    assert green["yellowed_pct"].u < 0.3 * 50.0


def test_leaf_near_a_limit_adds_doubt():
    clear, near = shares((1.0, 35, 15, 20)), shares((1.0, 35, 4.2, 20))
    assert near["purple_leaf_pct"].value == clear["purple_leaf_pct"].value == 100.0
    assert clear["purple_leaf_pct"].u < 2.0
    assert near["purple_leaf_pct"].u > 50.0
