"""What the masks of a photo say of themselves."""

import numpy as np

from traymorph.model.masks import PlantMasks


def test_pixels_are_rather_plant_from_a_half_on_in_all_rows():
    shares = np.random.default_rng(1).random((2, 203, 31)).astype(np.float32) / 2
    shares[:, 5, 5] = 0.25
    masks = PlantMasks(shares[0], shares[1], 1.0, "none", np.zeros_like(shares[0]))
    assert masks.rather_plant[5, 5]
    assert (masks.rather_plant == (shares.sum(axis=0) >= 0.5)).all()
