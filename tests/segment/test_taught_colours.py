"""Odds of colours: as often as they were taught, even where nothing is known."""

import numpy as np
import pytest
from skimage.color import rgb2lab

from traymorph.segment.taught_colours import colour_bins, taught_evidence, taught_log_odds


def test_cells_are_those_of_cielab_as_the_reference_library_computes_it():
    rgb = np.random.default_rng(1).integers(0, 256, (40, 40, 3)).astype(np.uint8)
    # CIE 015:2018 by scikit-image (sRGB white D65); steps of 3.1 in L*, 4 in a* and b*.
    lab = rgb2lab(rgb)
    bins = colour_bins(rgb)
    found = np.stack([bins >> 12, (bins >> 6) & 63, bins & 63], axis=2)
    exact = np.stack([lab[..., 0] * 2.55 / 8, (lab[..., 1] + 128) / 4, (lab[..., 2] + 128) / 4], 2)
    # Half a step of the cell, and the rounding of 8-bit Lab.
    assert np.abs(found + 0.5 - exact).max() < 0.5 + 0.5


def test_odds_are_those_of_the_colour():
    rng = np.random.default_rng(2)
    rgb = np.where(rng.random((200, 200, 1)) < 0.5, (60, 140, 50), (120, 80, 60)).astype(np.uint8)
    green = rgb[..., 1] == 140
    yes = np.where(green, rng.random((200, 200)) < 0.8, rng.random((200, 200)) < 0.1)
    odds = taught_log_odds(colour_bins(rgb), yes, np.ones_like(yes))
    # Bayes' rule with equal numbers of both answers taken as they come: log(p / (1 - p)).
    assert odds[green].mean() == pytest.approx(np.log(0.8 / 0.2), abs=0.05)
    assert odds[~green].mean() == pytest.approx(np.log(0.1 / 0.9), abs=0.05)


def test_a_colour_that_taught_nothing_has_even_odds():
    rgb = np.zeros((20, 20, 3), np.uint8)
    rgb[10:] = (250, 30, 200)
    among = np.zeros((20, 20), bool)
    among[:10] = True
    odds = taught_log_odds(colour_bins(rgb), among, among)
    assert (odds[:10] > 1).all()
    assert np.abs(odds[10:]).max() < 1e-5


def test_evidence_is_the_ratio_of_likelihoods_whatever_is_common():
    rng = np.random.default_rng(4)
    yes = rng.random((300, 300)) < 0.05
    pale = np.where(yes, rng.random((300, 300)) < 0.6, rng.random((300, 300)) < 0.02)
    rgb = np.where(pale[..., None], (220, 226, 190), (60, 140, 50)).astype(np.uint8)
    rgb[0, 0] = (250, 30, 200)
    told = taught_evidence(colour_bins(rgb), yes, np.ones_like(yes))
    # Bayes' rule in odds: the ratio of how often each answer shows the colour.
    assert told[pale][1:].mean() == pytest.approx(np.log(0.6 / 0.02), abs=0.15)
    green = ~pale
    green[0, 0] = False
    assert told[green].mean() == pytest.approx(np.log(0.4 / 0.98), abs=0.15)
    assert abs(told[0, 0]) < 0.2


def test_rare_colours_say_little():
    rgb = np.zeros((50, 50, 3), np.uint8)
    rgb[0, 0] = (250, 30, 200)
    yes = np.zeros((50, 50), bool)
    yes[0, 0] = True
    odds = taught_log_odds(colour_bins(rgb), yes, np.ones_like(yes))
    assert abs(odds[0, 0]) < 0.2
    assert odds[1, 1] < -4
