"""Draws cut plants whose truth is known: bands, blades and boards, with soft edges.

Shapes are drawn as polygons in a picture several times finer, then averaged: the share of plant
that a perfect segmentation would give. It shares no code with the package.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

FINE = 8


def soft_polygons(
    outlines: list[NDArray[np.float64]],
    shape: tuple[int, int],
    holes: list[NDArray[np.float64]] | None = None,
) -> NDArray[np.float32]:
    """Share of each cell that outlines (x, y in cells, centres on whole numbers) cover."""
    size = (shape[0] * FINE, shape[1] * FINE)
    fine = np.zeros(size, np.uint8)
    for polygon in outlines:
        fine = np.maximum(fine, _filled(polygon, size))
    for polygon in holes or []:
        fine = np.minimum(fine, 255 - _filled(polygon, size))
    small = cv2.resize(fine, (shape[1], shape[0]), interpolation=cv2.INTER_AREA)
    return small.astype(np.float32) / 255.0


def _filled(polygon: NDArray[np.float64], size: tuple[int, int]) -> NDArray[np.uint8]:
    points = [np.round(((polygon + 0.5) * FINE - 0.5) * 16).astype(np.int32)]
    fine = np.zeros(size, np.uint8)
    cv2.fillPoly(fine, points, 255, shift=4)
    cv2.polylines(fine, points, isClosed=True, color=128, shift=4)  # half of each lies outside
    return fine


def band(line: NDArray[np.float64], widths: float | NDArray[np.float64]) -> NDArray[np.float64]:
    """Outline of a band round a middle line, cut square at its ends."""
    along = np.gradient(line, axis=0)
    along /= np.hypot(along[:, 0], along[:, 1])[:, None]
    across = np.column_stack([-along[:, 1], along[:, 0]]) * (np.asarray(widths) / 2.0).reshape(
        -1, 1
    )
    return np.vstack([line + across, (line - across)[::-1]])


def turned(points: NDArray[np.float64], degrees: float) -> NDArray[np.float64]:
    angle = np.radians(degrees)
    matrix = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return points @ matrix.T
