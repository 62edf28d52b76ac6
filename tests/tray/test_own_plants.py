"""The largest plants, where the tray's size is not known."""

import numpy as np
import pytest

from traymorph.errors import TrayNotFoundError
from traymorph.model.masks import PlantMasks
from traymorph.model.plane_grid import PlaneGrid
from traymorph.tray.own_plants import held_on, kept_pixels, largest_plants, seen_on


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


def test_cells_are_held_as_far_as_a_picture_full_of_plant_is_seen_on_them():
    x, y = np.random.default_rng(3).uniform(-2, 52, (2, 40, 50)).astype(np.float32)
    full = np.ones((30, 50), np.float32)
    assert np.abs(held_on(full.shape, x, y) - seen_on(full, x, y)).max() < 1e-5


def test_pixels_are_kept_by_the_cell_that_they_look_at_down_the_whole_photo(draw):
    view = draw.camera((0, 0, 600), (0, 0.1, 0))
    drawing = draw.Drawing(view)
    drawing.disc((0, 0, 0), 300.0, leaf=255)
    masks = drawing.masks
    grid = PlaneGrid(np.array([-200.0, -250.0]), np.array([1.0, 0.0]), 1.0, (501, 401), 0.0)
    rows, columns = np.indices(grid.shape)
    own = ((rows // 50 + columns // 50) % 2 == 0).astype(np.float32)
    kept = kept_pixels(masks, view, grid, own, grid.sampling(view, masks.scale))
    across, down = grid.cells_of_pixels(view, masks.scale, masks.leaf.shape)
    at = [np.round(one).astype(int) for one in (down, across)]
    within = [(one >= 0) & (one < n) for one, n in zip(at, grid.shape, strict=True)]
    looked = own[at[0].clip(0, 500), at[1].clip(0, 400)] * within[0] * within[1]
    assert masks.leaf.shape[0] > 600
    # the cells' borders are read to a hundredth of a pixel
    assert np.mean(kept.leaf != masks.leaf * looked) < 0.001
