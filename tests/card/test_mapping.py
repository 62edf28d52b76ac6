"""The forms of the colour correction against published colours and a colour library."""

import csv
from pathlib import Path

import colour
import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, xyz2lab

from traymorph.card.mapping import Form, expand, solve, with_gains
from traymorph.card.transfer import XYZ_OF_LINEAR, decode_srgb, encode_srgb

REFERENCE = Path(__file__).parents[1] / "reference"


def rows(name):
    lines = (REFERENCE / name).read_text().splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


CHART = rows("colour_chart_24.csv")
"""24 published patches; see the file for the source."""
CODES = np.array([[float(row[k]) for k in "RGB"] for row in CHART])
LINEAR = decode_srgb(CODES / 255.0)
CAMERA = np.array([[0.82, 0.15, 0.03], [0.07, 0.85, 0.08], [0.02, 0.13, 0.85]])  # rows sum to 1


def lab(linear):
    return xyz2lab(linear @ XYZ_OF_LINEAR.T, illuminant="D65", observer="2")


def de00(linear, wanted):
    return deltaE_ciede2000(lab(linear), lab(wanted))


def root_camera(linear):
    """A camera that a root polynomial undoes: its inverse has terms of geometric means."""
    cooler = np.array(
        [
            [1.0, -0.3, -0.1, 0.4, -0.1, 0.1],
            [-0.2, 1.0, -0.2, 0.3, 0.2, -0.1],
            [0.0, -0.3, 1.0, -0.1, 0.3, 0.1],
        ]
    )
    return expand(linear, Form.ROOTS) @ cooler.T


def plain_second_degree(light):
    """R, G, B with their squares and products: what a root polynomial takes roots of."""
    r, g, b = light.T
    return np.stack([r, g, b, r * r, g * g, b * b, r * g, g * b, r * b], axis=1)


@pytest.mark.parametrize("form", [Form.LINEAR, Form.ROOTS])
@pytest.mark.parametrize("exposure", [0.5, 1.0, 2.0])
def test_a_known_camera_matrix_is_recovered_at_any_exposure(form, exposure):
    seen = LINEAR @ CAMERA.T
    fit = solve(seen, LINEAR, np.ones(24), form)
    fixed = expand(seen * exposure, form) @ with_gains(fit, np.full(3, 1.0 / exposure)).T
    assert de00(fixed, LINEAR).max() < 0.01


@pytest.mark.parametrize("exposure", [0.5, 1.0, 2.0])
def test_a_root_polynomial_is_recovered_at_any_exposure(exposure):
    wanted = np.clip(root_camera(LINEAR), 1e-3, None)
    fit = solve(LINEAR, root_camera(LINEAR), np.ones(24), Form.ROOTS)
    fixed = expand(LINEAR * exposure, Form.ROOTS) @ fit.T / exposure
    assert de00(np.clip(fixed, 1e-3, None), wanted).max() < 0.01
    linear = solve(LINEAR, root_camera(LINEAR), np.ones(24), Form.LINEAR)
    assert de00(np.clip(LINEAR @ linear.T, 1e-3, None), wanted).max() > 1.0


def test_a_plain_second_degree_polynomial_breaks_when_the_exposure_changes():
    """Finlayson, Mackiewicz & Hurlbert 2015, IEEE TIP 24(5):1460-1470: why roots are taken."""
    wanted = np.clip(root_camera(LINEAR), 1e-3, None)
    fit, *_ = np.linalg.lstsq(plain_second_degree(LINEAR), root_camera(LINEAR), rcond=None)
    same = plain_second_degree(LINEAR) @ fit
    darker = plain_second_degree(LINEAR * 0.5) @ fit / 0.5
    assert de00(np.clip(darker, 1e-3, None), np.clip(same, 1e-3, None)).max() > 1.0
    assert de00(np.clip(same, 1e-3, None), wanted).mean() < 3.0


def test_gains_may_be_put_into_the_coefficients():
    gains = np.array([1.8, 1.0, 0.6])
    for form in (Form.LINEAR, Form.ROOTS):
        fit = solve(LINEAR @ CAMERA.T, LINEAR, np.ones(24), form)
        apart = expand(LINEAR * gains, form) @ fit.T
        assert expand(LINEAR, form) @ with_gains(fit, gains).T == pytest.approx(apart, abs=1e-12)


@pytest.mark.parametrize("form", list(Form))
def test_no_form_tints_a_grey(form):
    fit = solve(LINEAR @ CAMERA.T, LINEAR**1.1, np.ones(24), form)
    grey = np.full((1, 3), 0.3)
    assert expand(grey, form) @ fit.T == pytest.approx(grey)


def test_the_terms_are_those_of_a_general_colour_library():
    """colour-science, polynomial_expansion_Finlayson2015, root polynomial of second degree."""
    theirs = colour.characterisation.polynomial_expansion_Finlayson2015(
        LINEAR, 2, root_polynomial_expansion=True
    )
    assert np.sort(expand(LINEAR, Form.ROOTS)) == pytest.approx(np.sort(theirs), abs=1e-12)


def test_published_patches_from_lab_to_srgb_and_back():
    """Bradford adaptation by colour-science; the rounding of codes alone leaves up to 0.71."""
    published = np.array([[float(row[k]) for k in "Lab"] for row in CHART])
    d50 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    d65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    white = [colour.xy_to_XYZ(xy) for xy in (d65, d50)]
    xyz = colour.adaptation.chromatic_adaptation_VonKries(
        LINEAR @ XYZ_OF_LINEAR.T, *white, transform="Bradford"
    )
    found = colour.XYZ_to_Lab(xyz, d50)
    inside = np.arange(24) != 17  # cyan, outside sRGB
    assert deltaE_ciede2000(found, published)[inside].max() < 0.75
    back = colour.adaptation.chromatic_adaptation_VonKries(
        colour.Lab_to_XYZ(published, d50), *white[::-1], transform="Bradford"
    )
    linear = np.clip(back @ np.linalg.inv(XYZ_OF_LINEAR).T, 0.0, 1.0)
    assert de00(linear, LINEAR)[inside].max() < 0.75
    assert encode_srgb(linear[inside]) == pytest.approx(CODES[inside] / 255.0, abs=0.06)


def test_conversions_agree_with_a_general_colour_library():
    codes = np.random.default_rng(1).uniform(0, 1, (200, 3))
    xyz = colour.sRGB_to_XYZ(codes)
    assert decode_srgb(codes) @ XYZ_OF_LINEAR.T == pytest.approx(xyz, abs=2e-4)
    d65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    assert lab(decode_srgb(codes)) == pytest.approx(colour.XYZ_to_Lab(xyz, d65), abs=0.05)


@pytest.mark.parametrize("pair", rows("ciede2000_sharma_34.csv"), ids=lambda p: p["pair"])
def test_the_colour_difference_gives_the_published_pairs(pair):
    """skimage.color.deltaE_ciede2000 on Sharma, Wu & Dalal 2005, table 1, four decimals."""
    one, other = (np.array([float(pair[k + i]) for k in "Lab"]) for i in "12")
    assert deltaE_ciede2000(one, other) == pytest.approx(float(pair["dE00"]), abs=1e-4)
