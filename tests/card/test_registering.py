"""Registering a print: what a daylight photo tells of its inks, and what that does to leaf colour.

The prints, the phones and the photos are made by formulas of their own (tests/card/prints.py); the
truth is the ink itself. CIEDE2000 comes from scikit-image, which is checked against the 34 pairs
of Sharma, Wu & Dalal (2005) in tests/measure.
"""

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from tests.card.prints import (
    DAYLIGHTS,
    DRAWN,
    LAMPS,
    NAMES,
    NOMINAL,
    ROLE,
    Phone,
    apart,
    as_photo,
    ink_errors,
    leaf_errors,
    photograph,
    picture,
    registered,
    true_lab,
    viewpoint,
)
from tests.scenes.colour import decode_srgb, encode_srgb, linear_to_lab
from traymorph.card.colour import correct, fit_colour
from traymorph.card.layout import card_layout
from traymorph.card.registering import (
    PHOTO_U_DE00,
    beside_nominal,
    printed_names,
    read_print,
)
from traymorph.errors import CardColourError
from traymorph.model.card import CardRole, CardSighting, ColourFit

LAYOUT = card_layout(ROLE)
VIEW = viewpoint()
SIGHTING = CardSighting(
    role=ROLE,
    version=1,
    viewpoint=VIEW,
    outline_px=VIEW.project(np.column_stack([LAYOUT.outline, np.zeros(4)])),
    residual_px=0.0,
    markers_seen=8,
    markers_printed=8,
    colour=ColourFit(np.eye(3), 0.0, shows_colour=True),
    shaded=False,
)
PAPER = np.array([220.0, 222.0, 224.0])


def read(rgb):
    return read_print(as_photo(rgb), SIGHTING)


def codes_of(linear, paper=PAPER):
    """Codes of patches by a camera that does what sRGB says, paper included."""
    return encode_srgb(linear * decode_srgb(paper / 255.0)) * 255.0


def leaf_error(printed, phone, kelvin, seed, card):
    """Mean CIEDE2000 of leaves measured beside a print; the same photo for one seed."""
    rgb, leaves = photograph(printed, phone, kelvin, np.random.default_rng(seed))
    fit, _ = fit_colour(rgb, LAYOUT, VIEW, 1.0, card)
    return leaf_errors(correct(leaves, fit)).mean()


def test_every_colour_and_grey_is_read_once():
    rgb = picture(codes_of(NOMINAL), PAPER, np.random.default_rng(1))
    found = read(rgb)
    assert tuple(patch.name for patch in found) == printed_names(ROLE)
    assert set(printed_names(ROLE)) == set(NAMES)
    assert all(printed_names(role) == printed_names(ROLE) for role in CardRole)


def test_a_print_as_designed_stays_as_designed():
    rgb = picture(codes_of(NOMINAL), PAPER, np.random.default_rng(1))
    assert max(patch.de00 for patch in read(rgb)) < 0.2


def test_designed_colours_are_the_layouts():
    """grey 160 by IEC 61966-2-1 and CIE 15: Y = 0.3515, L* = 116 Y^(1/3) - 16 = 65.87."""
    one = {"grey 160": (60.87, 0.0, 0.0)}
    (patch,) = beside_nominal(ROLE, one, {"grey 160": 1.0})
    assert patch.nominal == pytest.approx((65.87, 0.0, 0.0), abs=0.02)
    # L' mean 63.37: S_L = 1 + 0.015 * 13.37^2 / sqrt(20 + 13.37^2) = 1.190; dE00 = 5 / 1.190
    assert patch.de00 == pytest.approx(5 / 1.190, abs=0.01)


def test_ink_errors_are_found_by_a_faithful_camera():
    """A camera that writes what sRGB says sees the inks as they are, up to the common matrix."""
    rng = np.random.default_rng(3)
    before, after = [], []
    for _ in range(6):
        printed = ink_errors(rng, 6.0)
        rgb = picture(codes_of(printed), PAPER, rng)
        truth = true_lab(printed)
        found = read(rgb)
        true = np.array([truth[patch.name] for patch in found])
        difference = np.abs(np.array([patch.lab for patch in found]) - true)
        before.append(np.abs(np.array([patch.nominal for patch in found]) - true).mean())
        after.append(difference.mean())
    assert np.mean(after) < 0.45 * np.mean(before)


def test_the_colour_of_daylight_itself_does_not_matter_much():
    printed = ink_errors(np.random.default_rng(4), 6.0)
    phone = Phone.some(np.random.default_rng(5))
    labs = []
    for kelvin in DAYLIGHTS:
        rgb, _ = photograph(printed, phone, kelvin, np.random.default_rng(6))
        labs.append([patch.lab for patch in read(rgb)])
    assert deltaE_ciede2000(np.array(labs[0]), np.array(labs[-1])).mean() < 1.5


@pytest.mark.slow
def test_registering_brings_leaf_colour_nearer_to_the_truth():
    """Prints off by 4 to 8; registered in daylight, used under lamps with another phone."""
    errors = {"nominal": [], "photo": [], "measured": []}
    rng = np.random.default_rng(11)
    for k in range(12):
        printed = ink_errors(rng, rng.uniform(4.0, 8.0))
        daylight, _ = photograph(printed, Phone.some(rng), DAYLIGHTS[k % 4], rng)
        cards = {
            "nominal": None,
            "photo": registered({patch.name: patch.lab for patch in read(daylight)}),
            "measured": registered(true_lab(printed)),
        }
        other, seed = Phone.some(rng), int(rng.integers(1 << 30))
        for name, card in cards.items():
            errors[name].append(leaf_error(printed, other, LAMPS[k % 4], seed, card))
    mean = {name: float(np.mean(values)) for name, values in errors.items()}
    assert mean["photo"] < 0.8 * mean["nominal"]
    assert mean["measured"] < 0.3 * mean["nominal"]
    assert mean["measured"] < 1.2


@pytest.mark.slow
def test_the_stated_doubt_of_a_patch_is_what_the_error_is():
    """Standardised errors: about 95 % within two standard uncertainties."""
    rng = np.random.default_rng(12)
    within, squared = [], []
    for k in range(20):
        printed = ink_errors(rng, rng.uniform(3.0, 8.0))
        rgb, _ = photograph(printed, Phone.some(rng), DAYLIGHTS[k % 4], rng)
        truth = true_lab(printed)
        for patch in read(rgb):
            error = deltaE_ciede2000(np.array(patch.lab), np.array(truth[patch.name]))
            within.append(error < 2.0 * patch.u_de00)
            squared.append((error / patch.u_de00) ** 2)
            assert patch.u_de00 >= PHOTO_U_DE00
    assert 0.85 < np.mean(within) <= 0.99
    assert 0.7 < np.sqrt(np.mean(squared)) < 1.4


def damaged(change, printed=NOMINAL, paper=PAPER):
    rgb = picture(codes_of(printed, paper), paper, np.random.default_rng(2)).astype(float)
    rgb = change(rgb)
    return np.clip(np.round(rgb), 0, 255).astype(np.uint8)


def leaf_over_yellow(rgb):
    patch = next(one for one in DRAWN if one.name == "yellow")
    x, y = (np.array([patch.x, patch.y]) * 3).astype(int)
    rgb[y : y + 20, x - 5 : x + 12] = (60, 110, 40)
    return rgb


def shadow(rgb):
    rgb[:, :150] *= 0.8
    return rgb


def slope(rgb):
    return rgb * np.linspace(0.6, 1.1, rgb.shape[1])[None, :, None]


def glare_on_black(rgb):
    patch = next(one for one in DRAWN if one.name == "grey 30")
    x, y = (np.array([patch.x, patch.y]) * 3).astype(int)
    rgb[y : y + 45, x : x + 26] = 120
    return rgb


REFUSED = {
    "grow lamp": (lambda rgb: rgb * (1.0, 0.6, 1.0), "not daylight"),
    "light bulb": (lambda rgb: rgb * (1.0, 0.9, 0.65), "not daylight"),
    "at night": (lambda rgb: rgb * 0.3, "too dark"),
    "paper burnt out": (lambda rgb: rgb * 1.25, "burnt out"),
    "leaf over a patch": (leaf_over_yellow, "not seen clearly on the card: yellow"),
    "shadow": (shadow, "unevenly|broken light|not seen clearly"),
    "lamp at one side": (slope, "unevenly"),
    "glare on the darkest grey": (glare_on_black, "grey 30 is not darker than grey 80"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_trusted_is_refused_in_one_sentence(case):
    change, words = REFUSED[case]
    with pytest.raises(CardColourError, match=words) as refused:
        read(damaged(change))
    assert refused.value.message.startswith("card.jpg: ")
    assert refused.value.message.count(".") == 2  # of the file's name and at the end
    assert refused.value.hint


def test_a_print_in_grey_is_refused():
    grey = np.repeat((NOMINAL @ [0.2126, 0.7152, 0.0722])[:, None], 3, axis=1)
    with pytest.raises(CardColourError, match="hardly any colour"):
        read(damaged(lambda rgb: rgb, grey))


def test_a_burnt_out_patch_is_named():
    bright = codes_of(NOMINAL, np.array([240.0, 240.0, 240.0]))
    index = NAMES.index("cream")
    bright[index] = 255.0
    rgb = picture(bright, np.array([240.0, 240.0, 240.0]), np.random.default_rng(1))
    with pytest.raises(CardColourError, match="burnt out on the card: cream"):
        read(rgb)


def test_even_light_that_falls_off_a_little_is_taken_out():
    printed = ink_errors(np.random.default_rng(8), 6.0)
    plain = picture(codes_of(printed), PAPER, np.random.default_rng(1))
    fall_off = np.linspace(0.93, 1.05, plain.shape[1])[None, :, None]
    sloped = np.clip(np.round(plain * fall_off), 0, 255).astype(np.uint8)
    first, second = ([patch.lab for patch in read(rgb)] for rgb in (plain, sloped))
    assert np.abs(np.array(first) - np.array(second)).max() < 2.0


def test_errors_are_as_large_as_asked_for():
    for wanted in (1.0, 4.0, 8.0):
        printed = ink_errors(np.random.default_rng(9), wanted)
        assert apart(printed, NOMINAL).mean() == pytest.approx(wanted, abs=0.05)
        assert linear_to_lab(printed).shape == (len(NAMES), 3)
