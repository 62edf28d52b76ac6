"""A lawn behind the tray told from its own leaves by its colours and by place."""

import numpy as np

from traymorph.tray.behind import like_backdrop, like_surroundings

OWN, DULL = (-30.0, 35.0), (-14.0, 16.0)


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
