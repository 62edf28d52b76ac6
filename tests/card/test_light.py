"""Which lamps show colour: measured spectra of lamps, a measured camera, made patches.

Lamps: CIE 15 illuminants; camera: sensitivities of a Nikon 5100 measured at NPL; both as
colour-science holds them. Patches: inks of three broad bands with the card's nominal colours.
"""

import colour
import numpy as np
import pytest

from tests.scenes.colour import RGB_TO_XYZ
from traymorph.card.colour import fit_readings
from traymorph.card.layout import card_layout
from traymorph.card.patches import Readings
from traymorph.model.card import CardRole

SHAPE = colour.SpectralShape(390, 720, 10)
NM = SHAPE.wavelengths
LAYOUT = card_layout(CardRole.OVERHEAD)


def spectrum(name):
    return colour.SDS_ILLUMINANTS[name].copy().align(SHAPE).values


def peak(nm, width):
    return np.exp(-0.5 * ((NM - nm) / width) ** 2)


CAMERA = colour.MSDS_CAMERA_SENSITIVITIES["Nikon 5100 (NPL)"].copy().align(SHAPE).values
OBSERVER = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values
DAYLIGHT = spectrum("D65")


def reflectances():
    """Smooth spectra of all patches: red, green and blue bands in the nominal shares."""
    share = 1 / (1 + np.exp(-(NM[:, None] - [495.0, 585.0]) / 8.0))
    bands = np.column_stack([share[:, 1], share[:, 0] - share[:, 1], 1 - share[:, 0]])
    nominal = (np.array([patch.rgb for patch in LAYOUT.patches]) / 255.0) ** 2.2
    return np.maximum(nominal, 0.01) @ bands.T


def readings(lamp, balance):
    """What a phone with so much of a white balance (0 to 1) shows of the card under a lamp."""
    spectra = reflectances()
    white_xyz = OBSERVER.T @ DAYLIGHT
    xyz = (spectra * DAYLIGHT) @ OBSERVER / white_xyz[1]
    nominal = xyz @ np.linalg.inv(RGB_TO_XYZ).T
    nominal = nominal / nominal[[patch.name == "paper" for patch in LAYOUT.patches]][0]
    to_srgb, *_ = np.linalg.lstsq(
        (spectra * DAYLIGHT) @ CAMERA / (DAYLIGHT @ CAMERA), nominal, rcond=None
    )
    to_srgb /= to_srgb.sum(axis=0)
    white = (lamp @ CAMERA) / (DAYLIGHT @ CAMERA)
    raw = (spectra * lamp) @ CAMERA / (DAYLIGHT @ CAMERA)
    seen = raw * (white[1] / white) ** balance @ to_srgb
    seen = 0.6 * seen / seen.max(axis=1).max()
    return Readings(
        seen=np.maximum(seen, 1e-3),
        nominal=np.maximum(nominal, 1e-3),
        usable=np.ones(len(seen), dtype=bool),
        cut=np.zeros(seen.shape, dtype=bool),
        neutral=np.array([patch.neutral for patch in LAYOUT.patches]),
        paper=np.array([not patch.drawn for patch in LAYOUT.patches]),
        place=np.array([patch.corners.mean(axis=0) for patch in LAYOUT.patches]) - [60.0, 45.0],
    )


WHITE = ["A", "D50", "D65", "D75", "FL2", "FL7", "FL11", "FL12", "LED-B1", "LED-B3", "LED-B5"]


@pytest.mark.parametrize("registered", [False, True])
@pytest.mark.parametrize("balance", [0.5, 0.8, 1.0])
@pytest.mark.parametrize("name", WHITE)
def test_white_lamps_show_colour(name, balance, registered):
    fit, _ = fit_readings(readings(spectrum(name), balance), registered=registered)
    assert fit.shows_colour


@pytest.mark.parametrize("red", [0.5, 1.0, 2.0, 4.0])
@pytest.mark.parametrize("balance", [0.5, 0.8, 1.0])
def test_red_and_blue_diodes_do_not(red, balance):
    lamp = red * peak(660, 11) + peak(450, 11)
    assert not fit_readings(readings(lamp, balance))[0].shows_colour


@pytest.mark.parametrize("balance", [0.5, 0.8, 1.0])
def test_a_low_pressure_sodium_lamp_does_not(balance):
    lamp = peak(589, 6) + 1e-6
    assert not fit_readings(readings(lamp, balance))[0].shows_colour
