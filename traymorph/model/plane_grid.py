"""A grid of fixed millimetres in a plane parallel to the card, and where it lies in the photo."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traymorph.model.viewpoint import Viewpoint

_NODE_CELLS = 16
"""Cells between the nodes that are projected exactly; over 8 mm the bend of perspective and
distortion away from a straight line stays below a hundredth of a pixel."""
_BLOCK_CELLS = 128
"""Columns worked out together: most nodes lie too far away to tell of them."""


@dataclass(frozen=True, slots=True, eq=False)
class PlaneGrid:
    """Square cells in a plane at one height above the card.

    Parameters
    ----------
    origin_mm : ndarray, shape (2,)
        (x, y) in the card's frame of the centre of cell (row 0, column 0).
    along : ndarray, shape (2,)
        Unit vector in which columns advance; rows advance along ``(-along[1], along[0])``.
    step_mm : float
        Side of a cell, mm.
    shape : tuple of int
        (rows, columns).
    height_mm : float
        Height of the plane above the card's face, mm.
    """

    origin_mm: NDArray[np.float64]
    along: NDArray[np.float64]
    step_mm: float
    shape: tuple[int, int]
    height_mm: float

    @property
    def across(self) -> NDArray[np.float64]:
        """Unit vector in which rows advance, shape (2,)."""
        return np.array([-self.along[1], self.along[0]])

    def points_mm(
        self, rows: NDArray[np.float64], columns: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Points of the card's frame, shape (n, 2), of fractional cells, both of shape (n,)."""
        return (
            self.origin_mm
            + self.step_mm * columns[:, None] * self.along
            + self.step_mm * rows[:, None] * self.across
        )

    def cells(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Fractional cells (column, row), shape (n, 2), of points of the card's frame."""
        away = points_mm - self.origin_mm
        with np.errstate(invalid="ignore"):  # where a line of sight misses the plane
            return np.column_stack([away @ self.along, away @ self.across]) / self.step_mm

    def sampling(
        self, viewpoint: Viewpoint, scale: float
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Where the cells' centres lie in a reduced picture of the photo.

        Parameters
        ----------
        viewpoint : Viewpoint
            The camera.
        scale : float
            Photo pixels per pixel of the reduced picture, as in :class:`PlantMasks`.

        Returns
        -------
        tuple of ndarray of float32, both of the grid's shape
            x and y in pixels of the reduced picture.
        """
        rows = _nodes(self.shape[0])
        columns = _nodes(self.shape[1])
        at_rows, at_columns = np.meshgrid(rows, columns, indexing="ij")
        flat = self.points_mm(at_rows.ravel(), at_columns.ravel())
        heights = np.full((len(flat), 1), self.height_mm)
        photo = viewpoint.project(np.hstack([flat, heights]))
        reduced = (photo + 0.5) / scale - 0.5
        x, y = (
            _filled_in(reduced[:, axis].reshape(at_rows.shape), rows, columns, self.shape)
            for axis in (0, 1)
        )
        return x, y

    def cells_of_pixels(
        self,
        viewpoint: Viewpoint,
        scale: float,
        shape: tuple[int, int],
        first: tuple[int, int] = (0, 0),
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Which cells the pixels of a reduced picture look at; the inverse of :meth:`sampling`.

        Parameters
        ----------
        viewpoint : Viewpoint
            The camera.
        scale : float
            Photo pixels per pixel of the reduced picture.
        shape : tuple of int
            (rows, columns) of the part of the reduced picture that is looked at.
        first : tuple of int
            Row and column at which that part begins.

        Returns
        -------
        tuple of ndarray of float32, both of the given shape
            Fractional columns and rows of this grid; NaN where the line of sight misses the plane.
        """
        rows, columns = _nodes(shape[0]), _nodes(shape[1])
        at_rows, at_columns = np.meshgrid(rows, columns, indexing="ij")
        reduced = np.column_stack([at_columns.ravel() + first[1], at_rows.ravel() + first[0]])
        met = viewpoint.on_plane((reduced + 0.5) * scale - 0.5, self.height_mm)
        cells = self.cells(met)
        x, y = (
            _filled_in(cells[:, axis].reshape(at_rows.shape), rows, columns, shape)
            for axis in (0, 1)
        )
        return x, y


def _nodes(cells: int) -> NDArray[np.float64]:
    return np.linspace(0.0, cells - 1.0, max(2, -(-cells // _NODE_CELLS) + 1))


def _filled_in(
    at_nodes: NDArray[np.float64],
    rows: NDArray[np.float64],
    columns: NDArray[np.float64],
    shape: tuple[int, int],
) -> NDArray[np.float32]:
    """Values at all cells, by straight lines between those at the nodes; NaN only beside NaN."""
    missed = np.isnan(at_nodes)
    if missed.any():  # nought times NaN is NaN, and would reach along whole rows and columns
        values = _filled_in(np.where(missed, 0.0, at_nodes), rows, columns, shape)
        beside = _filled_in(missed.astype(np.float64), rows, columns, shape) > 0
        return np.where(beside, np.float32(np.nan), values)
    at_columns = _between(rows, shape[0]) @ at_nodes
    right = _between(columns, shape[1])
    values = np.empty(shape, np.float32)
    for start in range(0, shape[1], _BLOCK_CELLS):
        block = slice(start, start + _BLOCK_CELLS)
        used = np.flatnonzero(right[block].any(axis=0))
        nodes = slice(used[0], used[-1] + 1)
        values[:, block] = at_columns[:, nodes] @ right[block, nodes].T
    return values


def _between(nodes: NDArray[np.float64], cells: int) -> NDArray[np.float64]:
    """Weights, shape (cells, nodes), of a straight line between neighbouring nodes."""
    places = np.arange(cells) / max(nodes[1] - nodes[0], 1e-9)
    left = np.minimum(places.astype(int), len(nodes) - 2)
    share = places - left
    weights = np.zeros((cells, len(nodes)))
    weights[np.arange(cells), left] = 1.0 - share
    weights[np.arange(cells), left + 1] += share
    return weights
