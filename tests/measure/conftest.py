"""Cameras and exact masks: a pixel is plant where its line of sight meets a shape in a plane."""

from dataclasses import dataclass

import numpy as np
import pytest

from traymorph.model.card import ColourFit
from traymorph.model.masks import PlantMasks
from traymorph.model.tray import TrayOpening
from traymorph.model.viewpoint import Viewpoint


@dataclass
class Tools:
    """What tests of measuring build with."""

    @staticmethod
    def above(height, *, focal=700.0, size=(800, 600), tilt_deg=0.0):
        """A camera that looks at the card's origin, from above or tilted about the x axis."""
        tilt = np.radians(tilt_deg)
        rotation = np.array(
            [[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]]
        )
        # heights point out of the card, the frame's z into it
        eye = -height * rotation[2]
        matrix = np.array(
            [[focal, 0, (size[0] - 1) / 2], [0, focal, (size[1] - 1) / 2], [0, 0, 1.0]]
        )
        return Viewpoint(
            camera_matrix=matrix,
            radial=np.zeros(2),
            rotation=rotation,
            translation=-rotation @ eye,
            size_px=size,
            distance_u_rel=0.005,
            tilt_u_deg=0.2,
            focal_from_exif=True,
        )

    @staticmethod
    def masks(viewpoint, height, leaf, stem=None, parts=3):
        """Masks of shapes in the plane at a height; `leaf` and `stem` take x and y in mm."""
        width, rows = viewpoint.size_px
        fine = (np.arange(parts) + 0.5) / parts - 0.5
        x = (np.arange(width)[:, None] + fine).ravel()
        y = (np.arange(rows)[:, None] + fine).ravel()
        matrix, turn, eye = viewpoint.camera_matrix, viewpoint.rotation, viewpoint.position_mm
        ideal_x = ((x - matrix[0, 2]) / matrix[0, 0])[None, :]
        ideal_y = ((y - matrix[1, 2]) / matrix[1, 1])[:, None]
        towards = [ideal_x * turn[0, k] + ideal_y * turn[1, k] + turn[2, k] for k in range(3)]
        along = (eye[2] - height) / towards[2]
        met_x, met_y = eye[0] + along * towards[0], eye[1] + along * towards[1]

        def share(shape):
            if shape is None:
                return np.zeros((rows, width), np.float32)
            hit = shape(met_x, met_y).reshape(rows, parts, width, parts)
            return hit.mean(axis=(1, 3)).astype(np.float32)

        drawn = share(leaf)
        return PlantMasks(drawn, share(stem), 1.0, "exact", np.zeros_like(drawn))

    @staticmethod
    def opening(length, width, rim=0.0, u=0.0):
        """An opening centred on the card's origin."""
        signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2
        return TrayOpening(signs * [length, width], rim, u, 1.0, 1.0, 1.0)

    @staticmethod
    def colour(*, shows=True, error=1.0):
        return ColourFit(np.eye(3), error, shows, card_id="print")


@pytest.fixture(scope="session")
def make():
    """Cameras, masks and openings."""
    return Tools()
