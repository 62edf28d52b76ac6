"""Leaf colour: which pixels count, what their mean is, how sure it is."""

import numpy as np
import pytest
from skimage.color import lab2rgb, rgb2lab, xyz2lab

from traymorph.measure.colour import colour_metrics
from traymorph.measure.leaf_light import leaf_pixels
from traymorph.model.card import ColourFit
from traymorph.model.metrics import METRICS, PREFIXES
from traymorph.model.photo import View

GREEN, PURPLE = (80, 140, 60), (95, 55, 80)


def leafy(*colours, side=20):
    """A picture of squares of colours, all of it leaf."""
    rgb = np.concatenate([np.full((side, side, 3), c, np.uint8) for c in colours], axis=1)
    return rgb, np.ones(rgb.shape[:2], np.float32)


def fit(error_de00=0.7, *, shows=True):
    return ColourFit(np.eye(3), error_de00, shows)


def read(rgb, leaf, error_de00=0.7):
    return colour_metrics(rgb, leaf, fit(error_de00))[0]


def lab_of(rgb):
    return rgb2lab(np.array(rgb, np.uint8)[None, None])[0, 0]


def darker(rgb, share):
    """A colour under less light: linear light by the curve of IEC 61966-2-1."""
    value = np.array(rgb) / 255.0
    linear = share * np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return tuple(np.round(255 * encoded).astype(int))


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
    np.testing.assert_allclose(lab_of(rgb), lab, atol=0.03)


def test_leaf_colour_of_one_flat_green():
    found = read(*leafy((70, 148, 73)))
    # (70, 148, 73) is CIELAB 55.034, -40.136, 32.301, computed through the IEC matrix
    assert found["leaf_l"].value == pytest.approx(55.034, abs=0.03)
    assert found["leaf_a"].value == pytest.approx(-40.136, abs=0.03)
    assert found["leaf_b"].value == pytest.approx(32.301, abs=0.03)
    assert found["leaf_chroma"].value == pytest.approx(np.hypot(40.136, 32.301), abs=0.03)
    hue = np.degrees(np.arctan2(32.301, -40.136))
    assert found["leaf_hue_deg"].value == pytest.approx(hue, abs=0.05)
    # what lies at the edge of the picture may lie at the edge of a leaf
    assert found["leaf_colour_share_pct"].value == pytest.approx(100.0 * 18**2 / 20**2)


class TestWhichPixelsCount:
    def test_edges_burnt_and_foreign_pixels_do_not(self):
        rgb, leaf = leafy(GREEN, (255, 255, 250))
        leaf[:5] = 0.4
        rgb[:5] = (160, 150, 140)
        pixels = leaf_pixels(rgb, leaf)
        assert len(pixels.encoded) == 13 * 18
        np.testing.assert_allclose(pixels.encoded - np.array(GREEN) / 255, 0.0, atol=1e-6)
        assert pixels.at[:, 0].min() == 6
        assert pixels.at[:, 1].max() == 18

    def test_leaf_brighter_than_white_paper_counts_and_adds_its_doubt(self):
        """As under a window, whose light falls straight on some leaves and aslant on the card."""
        bright = (190, 255, 110)
        found = read(*leafy(GREEN, bright))
        expected = (lab_of(GREEN) + lab_of(bright)) / 2
        for name, wanted in zip(("leaf_l", "leaf_a", "leaf_b"), expected, strict=True):
            assert found[name].value == pytest.approx(wanted, abs=2.0)
        apart = (lab_of(bright) - lab_of(GREEN))[0] / 2
        assert found["leaf_l"].u == pytest.approx(apart, rel=0.2)

    def test_deep_gaps_do_not_darken_the_crop(self):
        """A third of the leaf lies in a gap with a tenth of the light."""
        parts = (GREEN, GREEN, darker(GREEN, 0.1))
        lit, gappy = read(*leafy(GREEN)), read(*leafy(*parts, side=90))
        assert gappy["leaf_l"].value == pytest.approx(lit["leaf_l"].value, abs=0.3)
        assert gappy["greenness_index"].value == pytest.approx(
            lit["greenness_index"].value, abs=0.005
        )
        assert gappy["leaf_colour_share_pct"].value == pytest.approx(66.7, abs=2.0)

    def test_highlights_do_not_pale_it(self):
        """A quarter of the leaf mirrors a white lamp, which adds light without colour."""
        mirrored = tuple(min(245, channel + 130) for channel in darker(GREEN, 0.5))
        dull = darker(GREEN, 0.5)
        plain, glossy = read(*leafy(dull)), read(*leafy(dull, dull, dull, mirrored))
        for name in ("leaf_l", "leaf_chroma"):
            assert glossy[name].value == pytest.approx(plain[name].value, abs=0.6), name

    def test_purple_leaves_among_green_ones_are_no_shade(self):
        """The mean is that of both: a dark leaf is as good as a light one."""
        found = read(*leafy(GREEN, PURPLE))
        expected = (lab_of(GREEN) + lab_of(PURPLE)) / 2
        for name, wanted in zip(("leaf_l", "leaf_a", "leaf_b"), expected, strict=True):
            assert found[name].value == pytest.approx(wanted, abs=0.5)

    def test_too_little_leaf_gives_no_colour(self):
        found, flags = colour_metrics(*leafy(GREEN, side=6), fit())
        assert flags == ()
        assert all(np.isnan(got.value) and np.isnan(got.u) for got in found.values())

    def test_too_little_sure_leaf_gives_no_colour(self):
        rgb, sure = leafy(GREEN)
        found = read(rgb, 0.6 * sure)
        assert all(np.isnan(got.value) for got in found.values())

    def test_no_leaf_at_all(self):
        rgb, leaf = leafy(GREEN)
        assert leaf_pixels(rgb, 0 * leaf) is None

    def test_noise_does_not_colour_dark_leaves(self):
        """Noise of a dim photo, 4 of 255 in every channel, on a dark purple."""
        rgb, leaf = leafy(PURPLE, side=120)
        noise = np.random.default_rng(1).normal(0, 4, rgb.shape)
        noisy = np.clip(np.round(rgb + noise), 0, 255).astype(np.uint8)
        clean, got = read(rgb, leaf), read(noisy, leaf)
        for name in ("leaf_l", "leaf_a", "leaf_b", "purple_leaf_pct"):
            assert got[name].value == pytest.approx(clean[name].value, abs=0.3), name


def test_uneven_light_over_the_card_widens_the_doubt():
    rgb, leaf = leafy(GREEN)
    doubts = [
        colour_metrics(rgb, leaf, ColourFit(np.eye(3), 0.7, shows_colour=True, light_u=u))[0][
            "leaf_l"
        ].u
        for u in (0.0, 0.3)
    ]
    # L* + 16 goes with the cube root of the light
    assert doubts[1] == pytest.approx((lab_of(GREEN)[0] + 16.0) * 0.3 / 3.0, rel=0.05)
    assert doubts[0] < doubts[1] / 4.0


def test_dark_leaf_that_is_less_sure_counts_and_adds_its_doubt():
    """Half of the leaf light and sure, half dark and less sure: the mean is that of both."""
    rgb, sure = leafy((120, 170, 60), (70, 80, 60))
    leaf = sure.copy()
    leaf[:, 20:] = 0.6
    got, all_sure = read(rgb, leaf), read(rgb, sure)
    light, dark = lab_of((120, 170, 60)), lab_of((70, 80, 60))
    for name, k in (("leaf_l", 0), ("leaf_a", 1), ("leaf_b", 2)):
        assert got[name].value == pytest.approx((light[k] + dark[k]) / 2, abs=0.5)
        assert all_sure[name].value == pytest.approx(got[name].value)
        assert all_sure[name].u < got[name].u


def test_purple_leaves_have_no_greenness_index():
    found, flags = colour_metrics(*leafy((120, 40, 70)), fit())
    assert np.isnan(found["greenness_index"].value)
    assert np.isnan(found["greenness_index"].u)
    assert found["green_share"].value == pytest.approx(40 / 230, abs=1e-4)
    assert flags == ("hue_outside_index",)
    assert found["purple_leaf_pct"].value == 100.0


def test_doubt_grows_with_the_error_of_the_correction():
    small, large = (read(*leafy((60, 120, 40)), error_de00=error) for error in (1.0, 3.0))
    sized = [name for name in small if not name.endswith("_pct")]
    assert all(large[name].u > small[name].u for name in sized)


def test_an_unknown_error_is_a_large_one():
    known, unknown = (read(*leafy(GREEN), error_de00=error) for error in (3.0, float("nan")))
    assert unknown["leaf_a"].u > known["leaf_a"].u


@pytest.mark.parametrize("colour", [GREEN, PURPLE, (150, 160, 60)])
def test_intervals_hold_what_a_wrong_correction_hides(colour):
    """The correction errs by steps in CIELAB of one CIEDE2000 on average, drawn at random: the
    95 % intervals of every column that follows from the mean hold the truth in 90 to 99.5 %."""
    rng = np.random.default_rng(7)
    error = 2.0
    chroma = np.hypot(*lab_of(colour)[1:])
    away = np.array([0.0, *lab_of(colour)[1:]]) / chroma
    around = np.array([0.0, -away[2], away[1]])
    truth = read(*leafy(colour))
    held, asked = 0, 0
    for _ in range(150):
        weights = rng.normal(0, error / np.sqrt(3.0), 3) * [
            1,
            1 + 0.045 * chroma,
            1 + 0.015 * chroma,
        ]
        moved = (
            lab_of(colour)
            + weights[0] * np.array([1.0, 0, 0])
            + weights[1] * away
            + weights[2] * around
        )
        wrong = np.round(255 * lab2rgb(moved[None, None])[0, 0]).astype(np.uint8)
        got = read(*leafy(wrong), error_de00=error)
        for name in (
            "leaf_l",
            "leaf_a",
            "leaf_b",
            "leaf_chroma",
            "leaf_hue_deg",
            "green_share",
            "excess_green",
        ):
            away_by = abs(got[name].value - truth[name].value)
            away_by = min(away_by, 360 - away_by) if name == "leaf_hue_deg" else away_by
            held += away_by <= 1.96 * got[name].u
            asked += 1
    assert 0.90 <= held / asked <= 0.995


@pytest.mark.parametrize("view", list(PREFIXES))
def test_every_view_has_its_columns(view):
    found, flags = colour_metrics(*leafy(GREEN), fit(), view)
    assert flags == ()
    named = {n for n, spec in METRICS.items() if spec.view is view and "leaf_l" in n}
    assert named <= set(found)
    plain = read(*leafy(GREEN))
    assert {name.removeprefix(PREFIXES[view]) for name in found} == set(plain)
    assert found[PREFIXES[view] + "leaf_a"] == plain["leaf_a"]
    assert set(found) <= set(METRICS)


@pytest.mark.parametrize("view", list(PREFIXES))
def test_light_unfit_for_colour_empties_every_column(view):
    found, flags = colour_metrics(*leafy(GREEN), fit(shows=False), view)
    assert flags == ("light_unfit_for_colour",)
    assert set(found) == set(colour_metrics(*leafy(GREEN), fit(), view)[0])
    assert all(np.isnan(got.value) and np.isnan(got.u) for got in found.values())


def test_a_plant_of_few_pixels_is_read_where_it_lies():
    """One small plant in a large picture: only its own pixels count."""
    rgb = np.full((400, 500, 3), 230, np.uint8)
    leaf = np.zeros((400, 500), np.float32)
    rgb[200:212, 300:312], leaf[200:212, 300:312] = GREEN, 1.0
    found, _ = colour_metrics(rgb, leaf, fit(), View.BOARD)
    assert found["board_leaf_b"].value == pytest.approx(lab_of(GREEN)[2], abs=0.05)
    assert found["board_green_leaf_pct"].value == 100.0
    assert found["board_leaf_colour_share_pct"].value == pytest.approx(100 * 100 / 144, abs=0.1)


def test_a_sample_that_is_yellow_throughout_says_so():
    found, flags = colour_metrics(*leafy((200, 180, 60)), fit(), View.PACK)
    assert np.isnan(found["pack_yellowed_pct"].value)
    assert "yellow_throughout" in flags
    assert found["pack_leaf_hue_deg"].value < 105.0


def test_where_the_surest_leaf_is_yellow_throughout_the_yellowed_share_is_empty():
    rgb, leaf = leafy((200, 180, 60), GREEN)
    green = (rgb == GREEN).all(axis=2)
    leaf = np.where(green, np.float32(0.7) * leaf, leaf)
    found, flags = colour_metrics(rgb, leaf, fit(), View.PACK)
    assert found["pack_green_leaf_pct"].value == pytest.approx(50, abs=10)
    assert np.isnan(found["pack_yellowed_pct"].value)
    assert np.isnan(found["pack_yellowed_pct"].u)
    assert "yellow_throughout" in flags
