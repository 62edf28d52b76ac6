"""Colour and greenness against published values."""

import csv
from pathlib import Path

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab, xyz2lab

from traymorph.measure.colour import (
    colour_metrics,
    excess_green,
    green_share,
    greenness_index,
    index_metrics,
    lab_metrics,
    leaf_colours,
    yellowed_pct,
)
from traymorph.model.card import ColourFit

REFERENCE = Path(__file__).parents[1] / "reference"


def table(name):
    lines = [
        line for line in (REFERENCE / name).read_text().splitlines() if not line.startswith("#")
    ]
    return list(csv.DictReader(lines))


def leafy(*colours, side=20):
    """A picture of squares of colours, all of it leaf."""
    rgb = np.concatenate([np.full((side, side, 3), c, np.uint8) for c in colours], axis=1)
    return rgb, np.ones(rgb.shape[:2], np.float32)


def fit(error_de00=0.7, *, shows=True):
    return ColourFit(np.eye(3), np.array([0.0, 0.0, 1.0]), error_de00, shows)


@pytest.mark.parametrize("pair", table("ciede2000_sharma_34.csv"), ids=lambda p: p["pair"])
def test_the_librarys_ciede2000_gives_the_published_pairs(pair):
    """Sharma, Wu & Dalal 2005, Color Res. Appl. 30(1):21-30, table 1: four decimals."""
    one, other = (np.array([float(pair[k + i]) for k in "Lab"]) for i in "12")
    expected = float(pair["dE00"])
    assert deltaE_ciede2000(one, other) == pytest.approx(expected, abs=1e-4)
    assert deltaE_ciede2000(other, one) == pytest.approx(expected, abs=1e-4)


def test_the_librarys_cielab_gives_the_published_value():
    """XYZ to CIELAB under D65, check value of the colour-science library's tests; its white is
    that of xy (0.3127, 0.3290), the same to the fourth digit."""
    lab = xyz2lab(np.array([[[0.20654008, 0.12197225, 0.05136952]]]))[0, 0]
    np.testing.assert_allclose(lab, [41.52787529, 52.63858304, 26.92317922], atol=0.01)


@pytest.mark.parametrize(
    ("rgb", "lab"),
    # sRGB primaries through the four-digit matrix of IEC 61966-2-1, computed by hand
    [
        ((255, 0, 0), (53.233, 80.111, 67.224)),
        ((0, 255, 0), (87.737, -86.183, 83.188)),
        ((0, 0, 255), (32.303, 79.198, -107.850)),
        ((119, 119, 119), (50.034, 0.0, 0.0)),
        ((87, 108, 67), (42.998, -15.874, 20.454)),
    ],
)
def test_srgb_to_cielab(rgb, lab):
    given = rgb2lab(np.array(rgb, np.uint8)[None, None])[0, 0]
    np.testing.assert_allclose(given, lab, atol=0.03)


@pytest.mark.parametrize("row", table("greenness_worked.csv"), ids=lambda r: f"{r['R']}-{r['G']}")
def test_indices_of_worked_colours(row):
    encoded = np.array([float(row[k]) for k in "RGB"]) / 255.0
    assert excess_green(encoded) == pytest.approx(float(row["ExG_2g-r-b"]), abs=1e-5)
    assert green_share(encoded) == pytest.approx(float(row["GCC"]), abs=1e-5)
    in_range = 60.0 <= float(row["H_deg"]) <= 120.0 and float(row["S"]) > 0
    if in_range:
        assert greenness_index(encoded) == pytest.approx(float(row["DGCI"]), abs=1e-5)
    else:
        # the formula would give 1.83 for purple and 0.17 for grey: neither means anything
        assert np.isnan(greenness_index(encoded))


def test_leaf_colour_of_one_flat_green():
    colours = leaf_colours(*leafy((70, 148, 73)))
    found = lab_metrics(colours, 1.0)
    # (70, 148, 73) is CIELAB 55.034, -40.136, 32.301, computed through the IEC matrix
    assert found["leaf_l"].value == pytest.approx(55.034, abs=0.03)
    assert found["leaf_a"].value == pytest.approx(-40.136, abs=0.03)
    assert found["leaf_b"].value == pytest.approx(32.301, abs=0.03)
    assert found["leaf_chroma"].value == pytest.approx(np.hypot(40.136, 32.301), abs=0.03)
    hue = np.degrees(np.arctan2(32.301, -40.136))
    assert found["leaf_hue_deg"].value == pytest.approx(hue, abs=0.05)


def test_colours_of_edges_burnt_and_foreign_pixels_do_not_count():
    rgb, leaf = leafy((70, 148, 73), (255, 255, 250))
    rgb[:, :20][::7] = (70, 148, 73)
    leaf[:5] = 0.4
    rgb[:5] = (160, 150, 140)
    colours = leaf_colours(rgb, leaf)
    np.testing.assert_allclose(
        colours.encoded, np.tile(np.array([70, 148, 73]) / 255, (len(colours.encoded), 1))
    )


def test_too_little_leaf_gives_no_colour():
    assert leaf_colours(*leafy((70, 148, 73), side=6)) is None


def test_purple_leaves_have_no_greenness_index():
    found = index_metrics(leaf_colours(*leafy((120, 40, 70))), 1.0)
    assert np.isnan(found["greenness_index"].value)
    assert np.isnan(found["greenness_index"].u)
    assert found["green_share"].value == pytest.approx(40 / 230, abs=1e-6)


def test_doubt_grows_with_the_error_of_the_correction():
    colours = leaf_colours(*leafy((60, 120, 40)))
    for metrics in (lab_metrics, index_metrics):
        small, large = metrics(colours, 1.0), metrics(colours, 3.0)
        assert all(large[name].u > small[name].u for name in small)


def test_a_quarter_of_yellow_leaf():
    green, yellow = (70, 148, 73), (190, 170, 60)
    found = yellowed_pct(leaf_colours(*leafy(green, green, green, yellow)), 1.0)
    # one pixel at the picture's border is lost to the neighbour's colour nowhere: all is leaf
    assert found.value == pytest.approx(25.0, abs=0.5)


def test_dark_leaf_that_is_less_sure_counts_and_adds_its_doubt():
    """Half of the leaf light and sure, half dark and less sure: the mean is that of both."""
    rgb, sure = leafy((120, 170, 60), (70, 40, 60))
    leaf = sure.copy()
    leaf[:, 20:] = 0.6
    got, all_sure = (colour_metrics(rgb, share, fit())[0] for share in (leaf, sure))
    light, dark = rgb2lab(np.array([[[120, 170, 60], [70, 40, 60]]], np.uint8))[0]
    for name, k in (("leaf_l", 0), ("leaf_a", 1), ("leaf_b", 2)):
        assert got[name].value == pytest.approx((light[k] + dark[k]) / 2, abs=0.1)
        assert all_sure[name].value == pytest.approx(got[name].value)
        assert got[name].u > abs(light[k] - dark[k]) / 2 - 0.1
        assert all_sure[name].u < got[name].u


def test_too_little_sure_leaf_gives_no_colour():
    rgb, sure = leafy((120, 170, 60))
    found, flags = colour_metrics(rgb, sure * 0.6, fit())
    assert all(np.isnan(got.value) for got in found.values())
    assert flags == ()


def test_in_a_yellowish_crop_the_limit_itself_is_in_doubt():
    """Half of the blades lie five degrees beyond the limit, in a yellow and in a green crop."""
    yellow = leaf_colours(*leafy((150, 150, 40), (156, 148, 40)))  # hues 104 and 100, limit 95
    green = leaf_colours(*leafy((80, 160, 60), (125, 155, 40)))  # hues 135 and 117, limit 112
    assert yellow is not None
    assert green is not None
    assert yellowed_pct(yellow, 0.7).u == pytest.approx(50.0, abs=1.0)
    assert yellowed_pct(green, 0.7).u < 1.0
