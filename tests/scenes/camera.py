"""The phone's camera: a pinhole with radial distortion, and how it is held over a tray.

Pixel centres lie on whole numbers; camera axes are x right, y down, z forward.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FULL_FRAME_DIAGONAL_MM = 43.2666


@dataclass(frozen=True)
class Camera:
    """Pinhole camera with two radial terms.

    Attributes
    ----------
    width, height : px
    focal_px : focal length
    k1, k2 : radial distortion, x_d = x (1 + k1 r^2 + k2 r^4) on the plane at distance 1
    rotation : (3, 3) world to camera
    position : (3,) mm
    focus_mm : distance at which the picture is sharp
    aperture_mm : radius of the lens opening
    """

    width: int
    height: int
    focal_px: float
    k1: float
    k2: float
    rotation: NDArray
    position: NDArray
    focus_mm: float = 500.0
    aperture_mm: float = 0.0

    @property
    def centre(self) -> tuple[float, float]:
        """Principal point in px."""
        return (self.width - 1) / 2, (self.height - 1) / 2

    def project(self, points: NDArray) -> NDArray:
        """Pixels (n, 2) as x, y of points (n, 3) in mm."""
        local = (np.asarray(points, float) - self.position) @ self.rotation.T
        xy = local[:, :2] / local[:, 2:]
        r2 = np.sum(xy**2, axis=1, keepdims=True)
        xy = xy * (1 + self.k1 * r2 + self.k2 * r2**2)
        return xy * self.focal_px + self.centre

    def undistort(self, u: NDArray, v: NDArray) -> tuple[NDArray, NDArray]:
        """Plane coordinates at distance 1 of pixels; works on any array type.

        Fixed-point iteration; the distortion of a phone is small enough for eight steps.
        """
        xd = (u - self.centre[0]) / self.focal_px
        yd = (v - self.centre[1]) / self.focal_px
        x, y = xd, yd
        for _ in range(8):
            r2 = x * x + y * y
            scale = 1 / (1 + self.k1 * r2 + self.k2 * r2 * r2)
            x, y = xd * scale, yd * scale
        return x, y

    def record(self) -> dict:
        """Camera as plain data for the truth file."""
        cx, cy = self.centre
        return {
            "K": [[self.focal_px, 0, cx], [0, self.focal_px, cy], [0, 0, 1]],
            "distortion_k1_k2": [self.k1, self.k2],
            "R_world_to_camera": self.rotation.tolist(),
            "position_mm": self.position.tolist(),
            "focus_mm": self.focus_mm,
            "aperture_radius_mm": self.aperture_mm,
        }


def focal_pixels(focal_35mm: float, width: int, height: int) -> float:
    """Focal length in px from the 35 mm equivalent, which compares diagonals."""
    return focal_35mm / FULL_FRAME_DIAGONAL_MM * float(np.hypot(width, height))


def looking(forward: NDArray, up: NDArray, roll_deg: float) -> NDArray:
    """Rotation (3, 3) world to camera for a view direction, an up direction and a roll."""
    z = forward / np.linalg.norm(forward)
    x = np.cross(z, up)
    x = x / np.linalg.norm(x)
    y = np.cross(z, x)
    turn = np.radians(roll_deg)
    c, s = np.cos(turn), np.sin(turn)
    return np.stack([c * x + s * y, -s * x + c * y, z])


def frame_points(points: NDArray, rotation: NDArray, view: dict, size: tuple[int, int]) -> Camera:
    """Camera with a given rotation that shows all points with a margin.

    Parameters
    ----------
    points : (n, 3) mm that must be in the picture
    view : `focal_mm`, `k1`, `k2`, `margin` (share of the half width left free),
        `nearest_mm`, `farthest_mm` (from the middle of the points)
    size : width, height in px
    """
    width, height = size
    focal = focal_pixels(view["focal_mm"], width, height)
    half = np.array([width, height]) / 2 / focal * (1 - view["margin"])
    local = points @ rotation.T
    middle = local.mean(axis=0)
    distance = view["nearest_mm"]
    for _ in range(400):
        offset = np.array([middle[0], middle[1], middle[2] - distance])
        for _ in range(8):
            xy = (local[:, :2] - offset[:2]) / (local[:, 2:] - offset[2])
            shift = (xy.max(0) + xy.min(0)) / 2
            offset[:2] += shift * distance
        if np.all(np.ptp(xy, axis=0) <= 2 * half):
            break
        distance += 5.0
    return Camera(width, height, focal, view["k1"], view["k2"], rotation, rotation.T @ offset)
