"""Carries soft masks from the photo to a plane, on a grid of fixed millimetres."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.measure.obliqueness import seen_from_above
from traymorph.model.masks import PlantMasks
from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.tray import TrayOpening
from traymorph.model.viewpoint import Viewpoint

MARGIN_MM = 65.0
"""How far outside the opening overhang is looked for."""

Plane = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class PlanView:
    """Plants in the plane of the leaves, as seen vertically from above.

    Columns run along the tray's length. Without an opening the grid holds all plants along the
    card's axes and ``inside`` is None.

    Parameters
    ----------
    leaf, stem : ndarray of float32, shape (rows, columns)
        Share of each cell that is leaf, or stem as a vertical view would show it.
    stem_in_photo : ndarray of float32, shape (rows, columns)
        Share of each cell that is stem as the photo shows it, at a slant.
    inside : tuple of slice or None
        Rows and columns of the tray's opening.
    step_mm : float
        Side of a cell.
    """

    leaf: Plane
    stem: Plane
    stem_in_photo: Plane
    inside: tuple[slice, slice] | None
    step_mm: float

    @property
    def plant(self) -> Plane:
        """Share of each cell that is plant, shape (rows, columns)."""
        both: Plane = np.minimum(self.leaf + self.stem, np.float32(1.0))
        return both

    @property
    def cell_cm2(self) -> float:
        """Area of a cell."""
        return self.step_mm**2 / 100.0


def plan_view(
    masks: PlantMasks,
    viewpoint: Viewpoint,
    opening: TrayOpening | None,
    height_mm: float,
    step_mm: float,
) -> PlanView:
    """Carry the tray's plants to the plane of the leaves.

    Parameters
    ----------
    masks : PlantMasks
        The tray's own plants.
    viewpoint : Viewpoint
        The camera.
    opening : TrayOpening or None
        Where the tray is, if known.
    height_mm : float
        Height of the plane above the card's face.
    step_mm : float
        Side of a cell wanted; the opening is cut into a whole number of cells near it.

    Returns
    -------
    PlanView
        Plants on the grid.
    """
    grid, inside = _grid_of(masks, viewpoint, opening, height_mm, step_mm)
    x, y = grid.sampling(viewpoint, masks.scale)
    leaf, stem = (_read_at(layer, x, y) for layer in (masks.leaf, masks.stem))
    return _as_seen(leaf, stem, viewpoint, grid, inside)


def changed_views(
    masks: PlantMasks,
    viewpoint: Viewpoint,
    opening: TrayOpening | None,
    height_mm: float,
    step_mm: float,
    changes: Sequence[Callable[[PlantMasks], PlantMasks]],
) -> list[PlanView]:
    """Carry several changed forms of the same masks to the plane of the leaves.

    Parameters
    ----------
    masks, viewpoint, opening, height_mm, step_mm
        As of `plan_view`.
    changes : sequence of callable
        Each takes masks on any grid and gives them changed pixel by pixel.

    Returns
    -------
    list of PlanView
        One for each change. The masks are carried over once and changed there, where they have
        fewer cells than pixels.
    """
    grid, inside = _grid_of(masks, viewpoint, opening, height_mm, step_mm)
    x, y = grid.sampling(viewpoint, masks.scale)
    leaf, stem, doubt = (_read_at(layer, x, y) for layer in (masks.leaf, masks.stem, masks.doubt))
    carried = replace(masks, leaf=leaf, stem=stem, doubt=doubt)
    return [
        _as_seen(changed.leaf, changed.stem, viewpoint, grid, inside)
        for changed in (change(carried) for change in changes)
    ]


def _grid_of(
    masks: PlantMasks,
    viewpoint: Viewpoint,
    opening: TrayOpening | None,
    height_mm: float,
    step_mm: float,
) -> tuple[PlaneGrid, tuple[slice, slice] | None]:
    if opening is None:
        return _grid_of_plants(masks, viewpoint, height_mm, step_mm), None
    return grid_of_opening(opening, height_mm, step_mm)


def _read_at(layer: Plane, x: Plane, y: Plane) -> Plane:
    read = cv2.remap(layer, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    return read.astype(np.float32, copy=False)


def _as_seen(
    leaf: Plane,
    stem: Plane,
    viewpoint: Viewpoint,
    grid: PlaneGrid,
    inside: tuple[slice, slice] | None,
) -> PlanView:
    upright = stem
    if inside is not None:
        upright = seen_from_above(leaf, stem, _slant(grid, viewpoint), inside)
    return PlanView(leaf, upright, stem, inside, grid.step_mm)


def _slant(grid: PlaneGrid, viewpoint: Viewpoint) -> Plane:
    """Tangent of the angle between the line of sight and the vertical, per cell."""
    eye = viewpoint.position_mm
    ((column, row),) = grid.cells(eye[None, :2])
    rows = (np.arange(grid.shape[0], dtype=np.float32) - np.float32(row))[:, None]
    columns = (np.arange(grid.shape[1], dtype=np.float32) - np.float32(column))[None, :]
    scale = np.float32(grid.step_mm / max(eye[2] - grid.height_mm, 1.0))
    slant: Plane = np.sqrt(rows**2 + columns**2)  # a third of hypot's time
    slant *= scale
    return slant


def grid_of_opening(
    opening: TrayOpening, height_mm: float, step_mm: float
) -> tuple[PlaneGrid, tuple[slice, slice]]:
    """Lay a grid along the tray, with a margin; say which of its cells are the opening's."""
    a, b, _, d = opening.corners_mm
    length, width = float(np.hypot(*(b - a))), float(np.hypot(*(d - a)))
    along = (b - a) / length
    across = np.array([-along[1], along[0]])
    rows = max(1, round(width / step_mm))
    step = width / rows
    columns = max(1, round(length / step))
    margin = round(MARGIN_MM / step)
    # the first cell of the opening has its centre half a cell inside the corner
    origin = a + (0.5 - margin) * step * (along + across)
    grid = PlaneGrid(origin, along, step, (rows + 2 * margin, columns + 2 * margin), height_mm)
    return grid, (slice(margin, margin + rows), slice(margin, margin + columns))


def _grid_of_plants(
    masks: PlantMasks, viewpoint: Viewpoint, height_mm: float, step_mm: float
) -> PlaneGrid:
    rows, columns = np.nonzero(masks.plant > 0)
    if len(rows) == 0:
        return PlaneGrid(np.zeros(2), np.array([1.0, 0.0]), step_mm, (1, 1), height_mm)
    low, high = np.array([columns.min(), rows.min()]), np.array([columns.max(), rows.max()])
    corners = np.array([low, [high[0], low[1]], high, [low[0], high[1]]], dtype=float)
    met = viewpoint.on_plane((corners + 0.5) * masks.scale - 0.5, height_mm)
    origin = met.min(axis=0)
    width, height = np.ceil((met.max(axis=0) - origin) / step_mm).astype(int) + 1
    return PlaneGrid(origin, np.array([1.0, 0.0]), step_mm, (int(height), int(width)), height_mm)
