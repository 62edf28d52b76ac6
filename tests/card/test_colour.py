"""The colour correction: known lights and cameras must be undone."""

import cv2
import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from tests.card.conftest import Lens, Look, Studio, encode, place_card
from traymorph.card.colour import correct
from traymorph.card.detect import sight_card
from traymorph.card.layout import card_layout
from traymorph.card.transfer import decode_srgb
from traymorph.model.card import CardRole, ColourFit, RegisteredCard

SMALL = Lens(2000, 1500)
DRAWN = [patch for patch in card_layout(CardRole.OVERHEAD).patches if patch.drawn]
PLAIN = {"tone": 0.0, "sharpen": 0.0, "noise": 0.002, "jpeg": 95}
# Linear sRGB of black bodies under a daylight white balance, from the chromaticities of the Planck
# locus (CIE 15) and the IEC 61966-2-1 matrix, relative to red: 3000 K, (x, y) = (0.4369, 0.4041).
LAMP_3000_K = (1.0, 0.477, 0.153)


def shoot(look, seed=1):
    place = place_card(380, 8, 25)
    photo = Studio(SMALL, look, seed).photograph((CardRole.OVERHEAD, place))
    return photo, sight_card(photo)


def patch_codes(photo, sighting):
    """Corrected codes at the patches' middles, and nominal ones, both (n, 3)."""
    fixed = correct(photo.rgb, sighting.colour)
    found, nominal = [], []
    for patch in DRAWN:
        middle = np.append(patch.corners.mean(axis=0), 0.0)[None]
        x, y = np.round(sighting.viewpoint.project(middle)[0]).astype(int)
        found.append(fixed[y - 3 : y + 4, x - 3 : x + 4].mean(axis=(0, 1)))
        nominal.append(patch.rgb)
    return np.array(found), np.array(nominal, dtype=float)


def test_a_known_camera_matrix_and_exposure_are_recovered():
    camera = np.array([[0.82, 0.15, 0.03], [0.07, 0.85, 0.08], [0.02, 0.13, 0.85]])
    exposure = 0.55
    photo, sighting = shoot(Look(matrix=camera, light=(exposure,) * 3, **PLAIN))
    fit = sighting.colour
    inverse = np.linalg.inv(camera * exposure)
    # Tone and matrix share one factor; together they must undo the camera.
    colours = np.array([[0.2, 0.3, 0.1], [0.5, 0.4, 0.3], [0.1, 0.1, 0.1], [0.3, 0.1, 0.1]])
    codes = encode(colours @ camera.T * exposure) * 255
    linear = np.stack([np.interp(c, np.arange(256), fit.tone) for c in codes.T], axis=1)
    assert linear @ fit.matrix.T == pytest.approx(colours, abs=0.006)
    assert decode_srgb(codes / 255) @ inverse.T == pytest.approx(colours, abs=1e-3)
    found, nominal = patch_codes(photo, sighting)
    assert np.abs(found - nominal).mean() < 1.5
    assert fit.error_de00 < 1.0
    assert fit.shows_colour


def test_a_correct_photo_stays_as_it_is():
    _, sighting = shoot(Look(light=(1.0, 1.0, 1.0), **PLAIN))
    codes = np.stack(np.meshgrid(*[np.arange(40, 220, 20)] * 3), axis=-1).reshape(-1, 9, 3)
    fixed = correct(codes.astype(np.uint8), sighting.colour).astype(int)
    assert np.abs(fixed - codes).mean() < 0.8
    assert np.abs(fixed - codes).max() <= 6  # colours far more vivid than any patch


@pytest.mark.parametrize(
    ("light", "tone"), [(LAMP_3000_K, 0.0), (LAMP_3000_K, 0.5), ((0.35, 0.5, 0.9), 0.5)]
)
def test_colours_survive_a_white_balance_that_is_far_off(light, tone):
    photo, sighting = shoot(Look(light=light, tone=tone, noise=0.004))
    found, nominal = patch_codes(photo, sighting)
    assert sighting.colour.shows_colour
    assert sighting.colour.error_de00 < 2.5
    assert np.abs(found - nominal).mean() < 3.0
    assert np.abs(found - nominal).max() < 14.0


@pytest.mark.parametrize(
    "light",
    [(1.0, 0.10, 1.25), (0.9, 0.12, 0.5), (1.1, 0.45, 0.02)],
    ids=["red and blue", "mostly red", "sodium"],
)
def test_light_without_the_whole_spectrum_shows_no_colour(light):
    assert not shoot(Look(light=light))[1].colour.shows_colour


def test_a_phones_contrast_curve_is_undone():
    photo, sighting = shoot(Look(light=(0.8, 0.8, 0.8), tone=0.8))
    found, nominal = patch_codes(photo, sighting)
    assert np.abs(found - nominal).mean() < 2.5
    assert np.all(np.diff(sighting.colour.tone) >= 0)


def test_overexposed_patches_are_left_out():
    photo, sighting = shoot(Look(light=(1.5, 1.5, 1.5), **PLAIN))
    found, nominal = patch_codes(photo, sighting)
    dark = nominal.max(axis=1) < 190
    assert np.abs(found - nominal)[dark].mean() < 2.0
    assert sighting.colour.shows_colour


@pytest.mark.parametrize(
    ("look", "shaded"),
    [(Look(), False), (Look(slope=(0.1, 0.05)), False), (Look(shadow=0.5), True)],
)
def test_a_shadow_over_part_of_the_card_is_noticed(look, shaded):
    assert shoot(look)[1].shaded is shaded


def test_leaves_over_part_of_the_card_do_not_spoil_its_colours():
    studio = Studio(SMALL, Look(light=(0.8, 0.7, 0.5)))
    place = place_card(380, 8, 25)

    def paint(scene, low):
        for leaf in (
            ([20, 0], [48, 0], [60, 22], [60, 0]),
            ([80, 60], [118, 40], [120, 90], [88, 88]),
        ):
            pixels = studio.lens.project(place.to_camera(np.array(leaf, float))) - low
            cv2.fillPoly(scene, [np.round(pixels).astype(np.int32)], (0.06, 0.20, 0.03))
        return scene

    photo = studio.photograph((CardRole.OVERHEAD, place), paint=paint)
    sighting = sight_card(photo)
    found, nominal = patch_codes(photo, sighting)
    free = np.array([patch.x + patch.width < 100 for patch in DRAWN])
    free &= np.array([not (patch.y < 22 and 20 < patch.x < 60) for patch in DRAWN])
    free &= np.array([not (patch.y > 60 and patch.x > 70) for patch in DRAWN])
    assert 5 <= sighting.markers_seen <= 6
    assert np.abs(found - nominal)[free].mean() < 2.5
    assert sighting.colour.error_de00 < 2.0
    assert sighting.colour.shows_colour
    assert not sighting.shaded


# Linear colours of leaves from pale to dark, yellowing and purple: chosen by eye.
LEAVES = np.array(
    [
        [0.09, 0.20, 0.046],
        [0.05, 0.12, 0.03],
        [0.2, 0.36, 0.07],
        [0.22, 0.3, 0.08],
        [0.1, 0.05, 0.06],
    ]
)
PHONE = Look(light=(0.8, 0.7, 0.5))


def leaf_misses(photo, look):
    """CIEDE2000 of leaves that the same camera saw, corrected by the card in the photo."""
    value = np.clip(encode(LEAVES * np.array(look.light)), 0, 1)
    value = value + look.tone * (value * value * (3 - 2 * value) - value)
    codes = np.round(value * 255).astype(np.uint8)[None]
    sighting = sight_card(photo)
    fixed = correct(codes, sighting.colour)[0]
    assert sighting.colour.shows_colour
    return deltaE_ciede2000(rgb2lab(fixed / 255.0), rgb2lab(encode(LEAVES)))


def over_card(change):
    """Photo of a card whose light is changed: `change(linear, x, y)`, x and y in mm."""
    studio, place = Studio(SMALL, PHONE), place_card(380, 8, 25)

    def paint(scene, low):
        rows, columns = np.mgrid[: scene.shape[0], : scene.shape[1]]
        pixels = np.column_stack([columns.ravel() + low[0], rows.ravel() + low[1]]).astype(float)
        flat = np.column_stack([place.rotation[:, :2], place.origin])
        met = cv2.perspectiveTransform(studio.lens.unproject(pixels)[None], np.linalg.inv(flat))
        x, y = met[0].T.reshape(2, *rows.shape, 1).astype(np.float32)
        return change(scene, x, y)

    return studio.photograph((CardRole.OVERHEAD, place), paint=paint)


def glint(scene, x, y):
    return scene + 0.25 * np.exp(-(((x - 45) / 14) ** 2) - ((y - 12) / 10) ** 2)


def shadow_over_one_end(scene, x, y):
    return scene * (0.8 + 0.2 * np.tanh((x + 0.4 * y - 50) / 3.0))


def coarse_print(scene, x, y):
    return scene * np.where(np.sin(12 * x) * np.sin(12 * y) > 0.3, 0.7, 1.1)


@pytest.mark.parametrize("change", [glint, shadow_over_one_end, coarse_print])
def test_what_lies_on_the_card_does_not_change_the_leaves(change):
    assert leaf_misses(over_card(change), PHONE).mean() < 1.0


@pytest.mark.parametrize("stops", [-1, 1])
def test_an_exposure_of_one_stop_changes_no_leaf_by_half_a_unit(stops):
    place = place_card(380, 8, 25)
    grain = np.random.default_rng(3).uniform(
        0, 1, (400, len(LEAVES), 3)
    )  # as noise does in a photo
    found = []
    for exposure in (0.42, 0.42 * 2.0**stops):
        look = Look(light=(exposure, 0.9 * exposure, 0.8 * exposure), sharpen=0.3)
        photo = Studio(SMALL, look, 1).photograph((CardRole.OVERHEAD, place))
        value = np.clip(encode(LEAVES * np.array(look.light)), 0, 1)
        value = value + look.tone * (value * value * (3 - 2 * value) - value)
        seen = np.floor(value * 255 + grain).astype(np.uint8)
        found.append(rgb2lab(correct(seen, sight_card(photo).colour) / 255.0).mean(axis=0))
    assert deltaE_ciede2000(*found).max() < 0.5


def test_a_registered_print_is_aimed_at_and_named():
    photo, nominal = shoot(Look(**PLAIN))
    lab = rgb2lab(np.array([patch.rgb for patch in DRAWN]) / 255.0) - np.array([4.0, 0.0, 0.0])
    names = [patch.name for patch in DRAWN]
    card = RegisteredCard("bench print", CardRole.OVERHEAD, 1, dict(zip(names, lab, strict=True)))
    fit = sight_card(photo, registered=(card,)).colour
    grey = np.full((1, 1, 3), 140, np.uint8)
    darker = rgb2lab(correct(grey, fit) / 255.0)[..., 0]
    assert fit.card_id == "bench print"
    assert darker - rgb2lab(correct(grey, nominal.colour) / 255.0)[..., 0] == pytest.approx(
        -4, abs=0.7
    )
    board = RegisteredCard("board", CardRole.BOARD, 1, card.lab)
    assert sight_card(photo, registered=(board,)).colour.card_id is None


def test_light_that_falls_off_over_the_card_is_taken_out_of_the_patches():
    _, sloped = shoot(Look(slope=(0.25, -0.15), light=(0.75, 0.75, 0.75)))
    assert sloped.colour.error_de00 < 1.5


def test_the_default_tone_is_srgb():
    fit = ColourFit(np.eye(3), 0.0, shows_colour=True)
    rgb = np.arange(256, dtype=np.uint8).repeat(3).reshape(1, 256, 3)
    assert np.array_equal(correct(rgb, fit), rgb)


def window_shadow(scene, x, y):
    """As a tray's wall throws it: dark at one side, light at the other, soft all over the card."""
    return scene * (0.7 - 0.3 * np.tanh((y + 0.05 * x - 48) / 15.0))


def test_colours_survive_a_soft_shadow_all_over_the_card():
    """How light the leaves are cannot be known; what colour they are can."""
    photo = over_card(window_shadow)
    value = np.clip(encode(LEAVES * np.array(PHONE.light)), 0, 1)
    value = value + PHONE.tone * (value * value * (3 - 2 * value) - value)
    sighting = sight_card(photo)
    codes = np.round(value * 255).astype(np.uint8)[None]
    fixed = decode_srgb(correct(codes, sighting.colour) / 255.0)
    shares = [light / light.sum(axis=-1, keepdims=True) for light in (fixed[0], LEAVES)]
    assert np.abs(shares[0] - shares[1]).max() < 0.03
    assert sighting.shaded
    off = np.log(fixed[0].sum(axis=1) / LEAVES.sum(axis=1))
    assert np.abs(off).max() < 2.0 * sighting.colour.light_u


def vivid(saturation):
    """Matrix of a phone that draws colours away from their grey (luminance of BT.709)."""
    grey = np.array([0.2126, 0.7152, 0.0722])
    return saturation * np.eye(3) + (1.0 - saturation) * grey


def test_a_phone_that_cuts_off_blue_does_not_spoil_the_colours_that_it_kept():
    camera = vivid(1.35)
    _, sighting = shoot(Look(matrix=camera, light=(0.7, 0.7, 0.7), **PLAIN))
    colours = np.array([[0.3, 0.35, 0.2], [0.1, 0.2, 0.08], [0.25, 0.1, 0.12]])
    codes = np.round(encode(0.7 * colours @ camera.T) * 255).astype(np.uint8)
    fixed = correct(codes[None], sighting.colour)[0]
    assert deltaE_ciede2000(rgb2lab(fixed / 255.0), rgb2lab(encode(colours))).max() < 1.0


def test_a_channel_that_was_cut_off_is_put_between_its_limits():
    fit = ColourFit(vivid(1.35), 1.0, shows_colour=True)
    inverse = ColourFit(np.linalg.inv(vivid(1.35)), 1.0, shows_colour=True)
    yellow = np.array([[[0.3, 0.3, 0.0]]])
    codes = np.round(encode(np.maximum(yellow @ fit.matrix.T, 0.0)) * 255).astype(np.uint8)
    assert codes[0, 0, 2] == 0
    blue = decode_srgb(correct(codes, inverse) / 255.0)[0, 0, 2]
    most = (decode_srgb(codes / 255.0) @ inverse.matrix.T)[0, 0, 2]
    assert blue == pytest.approx(most * 2.0 / 3.0, abs=0.002)
