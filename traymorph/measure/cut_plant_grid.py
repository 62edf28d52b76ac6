"""Carries a board's masks to the plane of the board and back to the photo."""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.model.cut_plants import CutPlant
from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.viewpoint import Viewpoint

_MARGIN_MM = 4.0
_MOST_CELLS = 20_000_000
"""A board seen at a very flat angle is cut into coarser cells than its photo would give."""
_EDGE_PX = 1.5
"""A plant this near to the photo's edge may go on beyond it."""
_REACH_MM = 1.25
"""A plant this near to the card may go on below it: the card's own edge and its shadow hide it."""

Plane = NDArray[np.float32]
Picture = NDArray[np.uint8]
Mask = NDArray[np.bool_]


def board_grid(viewpoint: Viewpoint, plant: Plane, scale: float) -> PlaneGrid:
    """Lay a grid over the plants on a board, its cells as fine as the photo and turned with it.

    Parameters
    ----------
    viewpoint : Viewpoint
        The camera; the board lies at height 0, as the card does.
    plant : ndarray of float32, shape (h, w)
        Share of plant in the reduced photo.
    scale : float
        Photo pixels per pixel of it.

    Returns
    -------
    PlaneGrid
        Columns run to the right as the photo shows them. It holds every plant with a margin of
        4 mm; a single cell where there is none.
    """
    there = plant > 0
    rows = np.flatnonzero(there.any(axis=1))
    if len(rows) == 0:
        return PlaneGrid(np.zeros(2), np.array([1.0, 0.0]), 1.0, (1, 1), 0.0)
    first = there[rows].argmax(axis=1)
    last = there.shape[1] - 1 - there[rows, ::-1].argmax(axis=1)
    ends = np.column_stack([np.concatenate([first, last]), np.concatenate([rows, rows])])
    outline = cv2.convexHull(ends.astype(np.float32)).reshape(-1, 2)
    outline_px = (outline.astype(np.float64) + 0.5) * scale - 0.5
    middle = outline_px.mean(axis=0)
    beside = middle + np.array([[0.0, 0.0], [scale, 0.0], [0.0, scale]])
    at, right, down = viewpoint.on_plane(beside, 0.0)
    along = (right - at) / math.hypot(*(right - at))
    axes = np.column_stack([along, [-along[1], along[0]]])
    met = viewpoint.on_plane(outline_px, 0.0)
    places = met[np.isfinite(met).all(axis=1)] @ axes
    low = places.min(axis=0) - _MARGIN_MM
    width, height = places.max(axis=0) + _MARGIN_MM - low
    step = min(math.hypot(*(right - at)), math.hypot(*(down - at)))
    step = max(step, math.sqrt(width * height / _MOST_CELLS))
    shape = (math.ceil(height / step) + 1, math.ceil(width / step) + 1)
    return PlaneGrid(axes @ low, along, step, shape, 0.0)


def middle_cell(plant: CutPlant) -> tuple[float, float]:
    """Mean (column, row) of a plant's cells on the board's grid."""
    share = (plant.leaf + plant.stem).astype(np.float64)
    whole = max(float(share.sum()), 1e-9)
    column, row = (
        box.start + float(share.sum(axis=axis) @ np.arange(share.shape[1 - axis])) / whole
        for axis, box in enumerate(reversed(plant.box))
    )
    return column, row


class BoardPlane:
    """The way between a reduced photo and the grid of its board.

    Parameters
    ----------
    grid : PlaneGrid
        In the plane of the board.
    viewpoint : Viewpoint
        The camera.
    scale : float
        Photo pixels per pixel of the reduced photo.
    shape : tuple of int
        (rows, columns) of the reduced photo.
    """

    def __init__(
        self, grid: PlaneGrid, viewpoint: Viewpoint, scale: float, shape: tuple[int, int]
    ) -> None:
        self.grid = grid
        self._shape = shape
        self._x, self._y = grid.sampling(viewpoint, scale)
        self._seen_by = (viewpoint, scale)

    def layer(self, layer: Plane) -> Plane:
        """Carry a layer of shares to the grid; beyond the photo it is 0.

        Cells are as large as pixels, so that interpolation weighs each pixel by its area.
        """
        return np.asarray(
            cv2.remap(layer, self._x, self._y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT),
            np.float32,
        )

    def picture(self, rgb: Picture) -> Picture:
        """Carry a picture to the grid; beyond the photo it is black."""
        return np.asarray(
            cv2.remap(rgb, self._x, self._y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT),
            dtype=np.uint8,
        )

    def at_edge(self, hidden: Mask) -> Mask:
        """Cells on which a plant may go on unseen: at the photo's edge and beyond, under things.

        Parameters
        ----------
        hidden : ndarray of bool, shape (h, w)
            Where the card lies in the reduced photo, and where there is no board: beyond its edge,
            or where a hand covers it.
        """
        rows, columns = self._shape
        lies = cv2.remap(hidden.astype(np.uint8), self._x, self._y, cv2.INTER_NEAREST)
        side = 2 * math.ceil(_REACH_MM / self.grid.step_mm) + 1
        near = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
        below = cv2.dilate(lies, near) > 0
        outside = (
            (self._x < _EDGE_PX)
            | (self._y < _EDGE_PX)
            | (self._x > columns - 1 - _EDGE_PX)
            | (self._y > rows - 1 - _EDGE_PX)
        )
        edge: Mask = below | outside
        return edge

    def in_photo(self, *layers: Plane) -> list[Plane]:
        """Carry layers of the grid back to the pixels of the reduced photo; 0 beyond the grid."""
        x, y = self.grid.cells_of_pixels(*self._seen_by, self._shape)
        unknown = ~np.isfinite(x + y)
        x[unknown] = y[unknown] = -10.0
        return [
            np.asarray(
                cv2.remap(layer, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT),
                np.float32,
            )
            for layer in layers
        ]
