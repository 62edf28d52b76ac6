"""The swatch shows the colour that was measured, and says so in words."""

import numpy as np
import pytest
from skimage.color import lab2rgb, rgb2lab

from tests.report.test_overlays import NOTHING, holds, overhead, scene
from traymorph.model.results import Measured
from traymorph.report.overlays import pack_overlay
from traymorph.report.swatch import leaf_swatch


def measured(lab, prefix="", **shares):
    found = {f"{prefix}leaf_{axis}": Measured(v, 1.0) for axis, v in zip("lab", lab, strict=True)}
    return found | {prefix + name: Measured(v, 1.0) for name, v in shares.items()}


@pytest.mark.parametrize("rgb", [(70, 148, 73), (95, 55, 80), (250, 250, 250), (0, 0, 0)])
def test_the_colour_is_that_of_its_cielab_values(rgb):
    """By the way back: CIELAB of an sRGB colour gives that colour, to rounding."""
    lab = rgb2lab(np.array(rgb, np.uint8)[None, None])[0, 0]
    np.testing.assert_allclose(leaf_swatch(measured(lab)).colour, rgb, atol=1)


def test_a_plainly_green_crop_needs_no_shares():
    swatch = leaf_swatch(measured((50, -30, 30), green_leaf_pct=99.6, purple_leaf_pct=0.2))
    assert "%" not in swatch.words
    assert "L* 50" in swatch.words
    assert "a* -30" in swatch.words


def test_shares_of_a_mixed_crop_are_told():
    shares = {"green_leaf_pct": 20.0, "purple_leaf_pct": 74.0, "yellowed_pct": 0.4}
    words = leaf_swatch(measured((33, 6, 4), "board_", **shares), "board_").words
    assert "green 20 %, purple or red 74 %" in words
    assert "yellowed" not in words


def test_nothing_measured_is_an_empty_frame():
    swatch = leaf_swatch(NOTHING)
    assert swatch.colour is None
    assert "not measured" in swatch.words


def test_overlays_carry_it():
    lab = (50.0, -30.0, 30.0)
    colour = tuple(np.round(255 * lab2rgb(np.array(lab)[None, None])[0, 0]).astype(int))
    assert holds(overhead({**NOTHING, **measured(lab)}), colour)
    assert not holds(overhead(NOTHING), colour)
    rgb, masks, _, card_px = scene()
    metrics = {**NOTHING, **measured(lab, "pack_")}
    assert holds(pack_overlay(rgb, masks, card_px, "P1", metrics), colour)
