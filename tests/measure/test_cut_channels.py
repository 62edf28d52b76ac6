"""Channels that a phone cut off at nought."""

import numpy as np
import pytest
from skimage.color import rgb2lab

from traymorph.measure.colour import colour_metrics
from traymorph.measure.cut_channels import cut_off_step
from traymorph.model.card import ColourFit

GREY = np.array([0.2126, 0.7152, 0.0722])
SATURATION = 1.35
UNDONE = np.eye(3) / SATURATION + (1.0 - 1.0 / SATURATION) * GREY
"""Undoes a phone that draws colours away from their grey by a factor of 1.35."""


def encode(linear):
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def test_the_step_leads_to_what_the_other_channels_alone_give():
    most = UNDONE @ [0.3, 0.32, 0.0]
    middle = most * [1.0, 1.0, 0.5]
    step = cut_off_step(encode(middle)[None], UNDONE)
    wanted = rgb2lab(encode(most)[None, None]) - rgb2lab(encode(middle)[None, None])
    assert step[2] == pytest.approx(wanted[0, 0, 2], abs=0.5)
    assert step[2] < -3.0


def test_it_is_averaged_over_all_leaf():
    cut = encode(UNDONE @ [0.3, 0.32, 0.0] * [1.0, 1.0, 0.5])
    whole = encode(UNDONE @ [0.3, 0.32, 0.1])
    of_cut = cut_off_step(cut[None], UNDONE)
    assert cut_off_step(whole[None], UNDONE) == pytest.approx(0.0)
    assert cut_off_step(np.array([cut, whole]), UNDONE) == pytest.approx(of_cut / 2.0)


def test_leaves_cut_off_are_flagged_and_their_chroma_is_in_doubt():
    flags, doubts = [], []
    for blue in (0.0, 0.1):
        colour = UNDONE @ [0.3, 0.32, blue] * [1.0, 1.0, 2 / 3 if blue == 0.0 else 1.0]
        rgb = np.full((30, 30, 3), np.round(255 * encode(colour)), np.uint8)
        fit = ColourFit(UNDONE, 0.7, shows_colour=True)
        found, raised = colour_metrics(rgb, np.ones((30, 30), np.float32), fit)
        flags.append("colour_cut_off" in raised)
        doubts.append(found["leaf_chroma"].u)
    assert flags == [True, False]
    assert doubts[0] > 2.0 * doubts[1]
