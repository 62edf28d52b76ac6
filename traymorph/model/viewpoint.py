"""Where the camera stood relative to the card, and the projections that follow from it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_CONVERGED = 1e-12
"""Change of a squared tangent: a billionth of a pixel."""


@dataclass(frozen=True, slots=True, eq=False)
class Viewpoint:
    """A pinhole camera with two radial distortion terms, posed in the card's frame.

    The card's frame is that of :mod:`traymorph.model`: x right and y down the printed face in mm,
    height out of it.

    Parameters
    ----------
    camera_matrix : ndarray, shape (3, 3)
        Focal length and principal point in pixels of the upright photo.
    radial : ndarray, shape (2,)
        Radial distortion k1, k2 of the Brown model (as in OpenCV); zeros when unknown.
    rotation : ndarray, shape (3, 3)
        Turns (x, y, -height) of the card's frame into the camera's frame (x right, y down,
        z forward).
    translation : ndarray, shape (3,)
        The card's origin in the camera's frame, mm.
    size_px : tuple of int
        (width, height) of the upright photo.
    distance_u_rel : float
        Relative standard uncertainty of the camera's distance from the card's plane.
    tilt_u_deg : float
        Standard uncertainty of the card plane's tilt against the line of sight, degrees.
    focal_from_exif : bool
        False when a common lens had to be assumed.
    """

    camera_matrix: Floats
    radial: Floats
    rotation: Floats
    translation: Floats
    size_px: tuple[int, int]
    distance_u_rel: float
    tilt_u_deg: float
    focal_from_exif: bool

    @property
    def position_mm(self) -> Floats:
        """The camera's (x, y, height) in the card's frame, mm, shape (3,)."""
        x, y, z = -self.rotation.T @ self.translation
        return np.array([x, y, -z])

    @property
    def tilt_deg(self) -> float:
        """Angle between the line of sight and the normal of the card's plane, degrees."""
        cosine = float(np.clip(abs(self.rotation[2, 2]), 0.0, 1.0))
        return float(np.degrees(np.arccos(cosine)))

    def project(self, points_mm: Floats) -> Floats:
        """Project points of the card's frame into the photo.

        Parameters
        ----------
        points_mm : ndarray, shape (n, 3)
            (x, y, height), mm.

        Returns
        -------
        ndarray, shape (n, 2)
            (x, y), pixels of the upright photo, distortion included.
        """
        frame = np.asarray(points_mm, dtype=np.float64) * np.array([1.0, 1.0, -1.0])
        camera = frame @ self.rotation.T + self.translation
        ideal = camera[:, :2] / camera[:, 2:3]
        r2 = np.sum(ideal**2, axis=1, keepdims=True)
        bent = ideal * (1.0 + self.radial[0] * r2 + self.radial[1] * r2**2)
        matrix = self.camera_matrix
        return np.asarray(bent * np.array([matrix[0, 0], matrix[1, 1]]) + matrix[:2, 2])

    def rays(self, points_px: Floats) -> Floats:
        """Directions of sight through pixels, in the card's frame.

        Parameters
        ----------
        points_px : ndarray, shape (n, 2)
            (x, y), pixels of the upright photo.

        Returns
        -------
        ndarray, shape (n, 3)
            (x, y, height) components, not normalised.
        """
        matrix = self.camera_matrix
        bent = (np.asarray(points_px, dtype=np.float64) - matrix[:2, 2]) / np.array(
            [matrix[0, 0], matrix[1, 1]]
        )
        r2 = np.sum(bent**2, axis=1, keepdims=True)
        ideal = bent
        for _ in range(8):  # fixed-point inversion; phone distortion converges in a few rounds
            ideal = bent / (1.0 + self.radial[0] * r2 + self.radial[1] * r2**2)
            before, r2 = r2, np.sum(ideal**2, axis=1, keepdims=True)
            if np.abs(r2 - before).max(initial=0.0) < _CONVERGED:
                break
        directions = np.column_stack([ideal, np.ones(len(ideal))]) @ self.rotation
        return np.asarray(directions * np.array([1.0, 1.0, -1.0]))

    def on_plane(self, points_px: Floats, height_mm: float) -> Floats:
        """Where the lines of sight through pixels meet the plane at a height above the card.

        Parameters
        ----------
        points_px : ndarray, shape (n, 2)
            (x, y), pixels of the upright photo.
        height_mm : float
            Height of the plane above the card's face, mm.

        Returns
        -------
        ndarray, shape (n, 2)
            (x, y), mm in the card's frame; NaN where the line of sight misses the plane.
        """
        eye = self.position_mm
        directions = self.rays(points_px)
        with np.errstate(divide="ignore", invalid="ignore"):
            along = (height_mm - eye[2]) / directions[:, 2]
            met = eye[:2] + along[:, None] * directions[:, :2]
        met[~(along > 0)] = np.nan
        return np.asarray(met)

    def mm_per_px(self, point_mm: Floats) -> float:
        """Millimetres that one pixel covers across the line of sight at a point.

        Parameters
        ----------
        point_mm : ndarray, shape (3,)
            (x, y, height), mm.
        """
        frame = np.asarray(point_mm, dtype=np.float64) * np.array([1.0, 1.0, -1.0])
        depth = float(self.rotation[2] @ frame + self.translation[2])
        return depth / float(self.camera_matrix[0, 0])
