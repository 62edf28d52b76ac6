"""The largest plants, where the tray's size is not known."""

import numpy as np
import pytest

from traymorph.errors import TrayNotFoundError
from traymorph.model.masks import PlantMasks
from traymorph.tray.own_plants import largest_plants


def test_without_a_size_the_largest_plants_are_meant(draw):
    view = draw.camera((0, 0, 600), (0, 0.1, 0))
    drawing = draw.Drawing(view)
    drawing.disc((-100, 0, 0), 40.0, leaf=255)
    drawing.disc((120, 0, 0), 20.0, leaf=255)
    kept = largest_plants(drawing.masks)
    millimetre = view.camera_matrix[0, 0] / 600.0
    assert kept.plant.sum() == pytest.approx(np.pi * (40.0 * millimetre) ** 2, rel=0.01)


def test_a_photo_without_plants_is_an_error():
    empty = np.zeros((20, 30), np.float32)
    with pytest.raises(TrayNotFoundError, match="No plant"):
        largest_plants(PlantMasks(empty, empty, 1.0, "none", empty))
