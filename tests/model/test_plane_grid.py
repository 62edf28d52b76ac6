"""The grid of millimetres and the pixels that look at it."""

import numpy as np

from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.viewpoint import Viewpoint


def looking_at_the_horizon():
    """A camera 300 mm above the card that looks along it, the horizon in the photo's middle."""
    focal = 500.0
    return Viewpoint(
        camera_matrix=np.array([[focal, 0.0, 319.5], [0.0, focal, 239.5], [0.0, 0.0, 1.0]]),
        radial=np.zeros(2),
        # camera x is the card's x, camera y is down (-height), camera z is the card's y backwards
        rotation=np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]]),
        translation=np.array([0.0, 300.0, 0.0]),
        size_px=(640, 480),
        distance_u_rel=0.01,
        tilt_u_deg=1.0,
        focal_from_exif=True,
    )


def test_pixels_above_the_horizon_spoil_none_below_it():
    grid = PlaneGrid(np.zeros(2), np.array([1.0, 0.0]), 1.0, (100, 100), 0.0)
    columns, rows = grid.cells_of_pixels(looking_at_the_horizon(), 1.0, (480, 640))
    assert np.isnan(columns[:239]).all()
    below = slice(272, 480)  # one spacing of nodes below the horizon
    assert np.isfinite(columns[below]).all()
    assert np.isfinite(rows[below]).all()
    # By similar triangles: 101 pixels below the middle the plane is 300 * 500 / 100.5 mm away.
    np.testing.assert_allclose(columns[340, 320], 0.5 * 300.0 / 100.5, rtol=0.01)
    np.testing.assert_allclose(np.abs(rows[340, 320]), 300.0 * 500.0 / 100.5, rtol=0.01)
