"""Greenery behind the tray told from its own leaves by hue, dullness and place."""

import numpy as np
import pytest

from traymorph.tray.behind import like_backdrop, like_surroundings, stands_behind

OWN, OTHER = (-30.0, 35.0), (10.0, 30.0)
DULL = (-14.0, 16.0)


def layers(upper, lower, *, seed=1):
    """Two layers of leaf, 60 mm each, above a rim at the bottom row."""
    rng = np.random.default_rng(seed)
    ab = np.empty((120, 200, 2), np.float32)
    ab[:60], ab[60:] = upper, lower
    ab += rng.normal(0, 2.0, ab.shape)
    above = np.repeat((120.0 - np.arange(120.0))[:, None], 200, axis=1).astype(np.float32)
    return np.ones((120, 200), np.float32), ab, above, np.ones(200, bool)


@pytest.mark.parametrize("upper", [OTHER, DULL])
def test_another_crop_or_a_dull_backdrop_above_is_marked(upper):
    marked = stands_behind(*layers(upper, OWN))
    assert marked[:50].mean() > 0.97
    assert marked[70:].mean() < 0.03


def test_better_lit_upper_leaves_are_the_trays_own():
    brighter = (1.6 * OWN[0], 1.6 * OWN[1])
    assert not stands_behind(*layers(brighter, OWN)).any()


def test_mixed_colours_are_one_stand():
    leaf, ab, above, ends = layers(OWN, OWN)
    rng = np.random.default_rng(2)
    ab[rng.random(ab.shape[:2]) < 0.3] = OTHER
    assert not stands_behind(leaf, ab, above, ends).any()


def test_the_same_picture_always_gives_the_same_answer():
    scene = layers(OTHER, OWN)
    np.testing.assert_array_equal(stands_behind(*scene), stands_behind(*scene))


def test_too_little_leaf_marks_nothing():
    _, ab, above, ends = layers(OTHER, OWN)
    assert not stands_behind(np.zeros((120, 200), np.float32), ab, above, ends).any()


def test_leaves_of_one_single_colour_are_one_stand():
    leaf, ab, above, ends = layers(OWN, OWN)
    ab[:] = OWN
    assert not stands_behind(leaf, ab, above, ends).any()


def lawn_behind(own, lawn, *, seed=4):
    """A stand 60 mm high in front of a lawn that shows on both sides too."""
    rng = np.random.default_rng(seed)
    lab = np.empty((120, 300, 3), np.float32)
    lab[:] = lawn
    lab[60:, 100:200] = own
    lab += rng.normal(0, 2.0, lab.shape)
    above = np.repeat((120.0 - np.arange(120.0))[:, None], 300, axis=1).astype(np.float32)
    beyond = np.abs(np.arange(300.0) - 149.5) - 50.0
    return np.ones((120, 300), np.float32), lab, above, beyond


def test_a_lawn_that_shows_beside_the_tray_is_told_behind_it():
    marked = like_surroundings(*lawn_behind((62, *OWN), (40, *DULL)))
    assert marked[:50, 100:200].mean() > 0.97
    assert not marked[65:, 105:195].any()


def test_neighbours_of_the_same_colour_are_not_told_by_it():
    assert not like_surroundings(*lawn_behind((62, *OWN), (62, *OWN))).any()


def test_a_tray_alone_has_no_surroundings_to_compare():
    plant, lab, above, beyond = lawn_behind((62, *OWN), (40, *DULL))
    plant[:, beyond > 5] = 0.0
    assert not like_surroundings(plant, lab, above, beyond).any()


def scraps_of_lawn(*, own=(62, *OWN), lawn=(40, *DULL), doubt=0.07):
    """A stand 60 mm high; scraps of the lawn behind it pass for plants and join its top."""
    above = np.repeat((200.0 - np.arange(200.0))[:, None], 300, axis=1).astype(np.float32)
    stand = np.zeros(above.shape, bool)
    stand[140:, 100:200] = True
    rng = np.random.default_rng(8)
    lab = np.where(stand[..., None], own, lawn) + rng.normal(0, 2.0, (*stand.shape, 3))
    told = stand.copy()
    told[115:140, 120:150] = told[135:140, 100:200] = True
    doubts = np.where(told, 0.02, doubt).astype(np.float32)
    shown = np.ones(stand.shape, bool)
    return stand, (told, lab.astype(np.float32), doubts, above, shown)


def test_scraps_of_a_lawn_that_join_the_canopys_top_are_told_by_the_lawns_colours():
    stand, scene = scraps_of_lawn()
    marked = like_backdrop(*scene)
    assert marked[scene[0] & ~stand].mean() > 0.75  # 4 mm at the border are outvoted
    assert marked[stand].mean() < 0.01


def test_a_backdrop_that_the_masks_are_sure_of_leaves_no_scraps():
    assert not like_backdrop(*scraps_of_lawn(doubt=0.001)[1]).any()


def test_a_stand_of_the_lawns_own_colour_is_kept():
    _, scene = scraps_of_lawn(lawn=(62, *OWN))
    assert not like_backdrop(*scene).any()
