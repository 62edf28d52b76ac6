"""Blades that a pale stretch of stalk parts from their plant in the mask, joined to it again.

A stalk as pale as the board is not seen. What lies beyond it is a piece with a blade and no stem,
whose nearest neighbour is a stem or stalk that ends close by.
"""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.cut_plants.feet import has_stem
from traymorph.cut_plants.silhouettes import Silhouette, TypicalPlant

Floats = NDArray[Any]
Points = NDArray[np.float64]

_GAP_MM = 3.0
"""Length of stalk that may be missing: so far a vivid blade's colour hides a pale stalk."""
_NARROW = 1.3
"""Radius of the skeleton over the typical stem's half width, at most, of stems and stalks."""
_AREA = (0.1, 0.9)
"""Area of a piece that is a lone blade, or the blades of one plant, over the typical plant's."""
_STALK_WIDTH = 0.6
"""Width of the stalk that is drawn over the typical stem's."""


def with_stalks(
    plant: Floats, pieces: list[Silhouette], typical: TypicalPlant, step_mm: float
) -> Floats:
    """Draw the stretches of stalk that are missing between lone blades and their plants.

    Parameters
    ----------
    plant : ndarray of float32, shape (rows, cols)
        Share of plant.
    pieces : list of Silhouette
        Its connected pieces.
    typical : TypicalPlant
        Of the photo.
    step_mm : float
        Side of a cell, mm.

    Returns
    -------
    ndarray of float32, shape (rows, cols)
        The same array where no blade lies alone.
    """
    stalks = [
        (_at(piece, piece.skeleton.points[narrow]), piece.skeleton.radius[narrow], piece)
        for piece in pieces
        if has_stem(piece, typical)
        and (narrow := piece.skeleton.radius <= _NARROW * typical.stem_half_width).any()
    ]
    joined = plant
    for blade in pieces:
        relative = blade.area / typical.area
        if has_stem(blade, typical) or not _AREA[0] <= relative <= _AREA[1]:
            continue
        ends = _nearest(blade, stalks, _GAP_MM / step_mm)
        if ends is not None:
            joined = joined.copy() if joined is plant else joined
            _draw(joined, ends, 2.0 * _STALK_WIDTH * typical.stem_half_width)
    return joined


def _at(piece: Silhouette, points: Points) -> Points:
    return points + np.array([piece.box[1].start, piece.box[0].start], np.float64)


def _nearest(
    blade: Silhouette, stalks: list[tuple[Points, Floats, Silhouette]], most: float
) -> tuple[Points, Points] | None:
    """Find the ends of the shortest gap from a blade to a stalk; None where it is too long."""
    rows, columns = np.nonzero(blade.mask)
    outline = _at(blade, np.column_stack([columns, rows]).astype(np.float64))
    best: tuple[float, Points, Points] | None = None
    for points, radius, piece in stalks:
        if not _are_near(blade, piece, most):
            continue
        for point, own in zip(points, radius, strict=True):
            apart = np.hypot(*(outline - point).T)
            gap = float(apart.min()) - float(own)
            if gap <= most and (best is None or gap < best[0]):
                best = gap, point, outline[int(np.argmin(apart))]
    return None if best is None else best[1:]


def _are_near(one: Silhouette, other: Silhouette, most: float) -> bool:
    """Whether the boxes of two pieces come near one another."""
    return all(
        a.start - most <= b.stop and b.start - most <= a.stop
        for a, b in zip(one.box, other.box, strict=True)
    )


def _draw(plant: Floats, ends: tuple[Points, Points], width: float) -> None:
    """Draw a straight stalk between two points."""
    drawn = np.zeros(plant.shape, np.uint8)
    start, end = (tuple(round(16.0 * float(value)) for value in point) for point in ends)
    cv2.line(drawn, start, end, 255, max(round(width), 1), cv2.LINE_AA, 4)
    np.maximum(plant, drawn.astype(np.float32) / np.float32(255), out=plant)
