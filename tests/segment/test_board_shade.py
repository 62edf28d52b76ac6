"""Dark places beside plants: shade runs out softly, along half its border where it is wide."""

import cv2
import numpy as np
import pytest

from traymorph.segment.board_shade import settle
from traymorph.segment.board_surface import Departure

MM = 0.25
BOARD, DARK = 200.0, 70.0


def settled(width_mm, found_share=1.0, *, sharp_ends=False):
    """What is left of a dark strip beside a plant that fades into the board on its far side.

    ``found_share`` of its width, next to the plant, was found; its two ends fade too, or are sharp.
    """
    shape = (160, 200)
    rng = np.random.default_rng(3)
    light = np.full(shape, BOARD, np.float32)
    first, last = 60, 60 + round(width_mm / MM)
    strip = np.zeros(shape, bool)
    strip[30:130, first:last] = True
    light[strip] = DARK
    light = cv2.GaussianBlur(light, (0, 0), 1.5 / MM, sigmaY=0.1 if sharp_ends else 0.0)
    plant = np.zeros(shape, bool)
    plant[28:132, 40:first] = True
    light[plant] = 90.0
    light += rng.normal(0.0, 1.0, shape).astype(np.float32)
    chroma = np.zeros((2, *shape), np.float32)
    chroma[0][plant] = 40.0
    board = np.full(shape, BOARD, np.float32)
    away = Departure(
        light - board, chroma, board, np.stack([light, *chroma]), (1.2, 0.7),
        np.ones(shape, bool), np.zeros(shape, bool), skin=False,
    )  # fmt: skip
    doubtful = (light < 0.88 * BOARD) & ~plant
    inner = np.cumsum(doubtful, axis=1) <= found_share * doubtful.sum(axis=1, keepdims=True)
    found = doubtful & inner
    kept = settle(plant | found, doubtful, away, MM)
    assert kept[plant].all()
    return float(kept[found].mean())


@pytest.mark.parametrize("width_mm", [2.0, 3.0, 9.0])
def test_a_dark_strip_that_fades_into_the_board_is_shade(width_mm):
    assert settled(width_mm) < 0.1


def test_shade_of_which_only_the_inner_part_was_found_is_shade():
    assert settled(3.0, found_share=0.5) < 0.2  # what is left is the plant's own soft edge


def test_what_is_wide_and_mostly_sharp_edged_is_kept_though_it_fades_on_one_side():
    """Such as a dull blade whose edge towards its own shade is soft."""
    assert settled(9.0, sharp_ends=True) == 1.0
