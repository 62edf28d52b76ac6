"""Which plants of a side photo are the measured tray's own, and which stand behind or beside."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from traymorph.model.masks import PlantMasks
from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.tray import FrontWall
from traymorph.model.viewpoint import Viewpoint
from traymorph.tray.behind import like_backdrop, like_surroundings
from traymorph.tray.beside import like_neighbours, reach_beyond
from traymorph.tray.best_line import LEAF_FROM, FrontOutline
from traymorph.tray.front_outline import front_outline
from traymorph.tray.line_by_softness import Edges, edges_on
from traymorph.tray.own_plants import (
    CELL_MM,
    JOINS_FROM,
    MARGIN_MM,
    joined_to,
    kept_pixels,
    lab_on,
    seen_on,
)
from traymorph.tray.raised_stretch import line_apart, raised_stretch

_DROOP_MM = 30.0
"""How far a leaf may hang over the front wall."""
_FOOT_MM = 40.0
"""Plants of the tray are seen within this height above its wall."""
_TALLEST_MM = 320.0
"""No microgreen stands higher above the rim."""
_PLANT_FROM = 0.5
_BEHIND_COLUMNS = 0.2
"""Share of columns with plants behind from which on the canopy's outline is in doubt."""


@dataclass(frozen=True, slots=True, eq=False)
class OwnSide:
    """The plants of a tray seen from the side.

    Parameters
    ----------
    masks : PlantMasks
        The tray's own plants.
    at_least : PlantMasks or None
        What is left of them without plants that may as well stand behind the tray; None where
        there are none in doubt.
    behind : bool
        Other plants show above the own ones in a good part of the tray's width.
    """

    masks: PlantMasks
    at_least: PlantMasks | None
    behind: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Cells:
    """What cells of 1 mm in the plane of the front wall show; ``between`` marks tray columns."""

    plant: NDArray[np.float32]
    leaf: NDArray[np.float32]
    above: NDArray[np.float32]
    between: NDArray[np.bool_]
    edges: Edges | None = None

    def inside(self) -> "_Cells":
        """Only the columns between the tray's ends."""
        at, edges = self.between, self.edges
        return _Cells(
            self.plant[:, at],
            self.leaf[:, at],
            self.above[:, at],
            at[at],
            None if edges is None else edges.part((slice(None), at)),
        )


def own_side(
    masks: PlantMasks,
    viewpoint: Viewpoint,
    wall: FrontWall,
    rgb: NDArray[np.uint8] | None = None,
) -> OwnSide:
    """Keep the plants of the tray seen from the side.

    Plants beyond the ends, below the wall's edge by more than a drooping leaf hangs, or not
    joined to those above the wall are set to 0, and greenery that shows behind the tray.

    Parameters
    ----------
    masks : PlantMasks
        All plants in the photo.
    viewpoint : Viewpoint
        The camera in the side card's frame.
    wall : FrontWall
        The tray's front wall.
    rgb : ndarray of uint8, shape (h, w, 3), or None
        Colour-corrected picture on the pixel grid of the masks; without it greenery behind the
        tray is only told by place.

    Returns
    -------
    OwnSide
        Masks on the same grid.
    """
    grid = _grid_before(wall)
    x, y = grid.sampling(viewpoint, masks.scale)
    plant = seen_on(masks.plant, x, y)
    columns = np.arange(grid.shape[1]) * CELL_MM + grid.origin_mm[0]
    rows = np.arange(grid.shape[0]) * CELL_MM + grid.origin_mm[1]
    above = (wall.rim_y_mm + wall.rim_slope * (columns - wall.left_x_mm))[None, :] - rows[:, None]
    out = (wall.left_x_mm - columns, columns - wall.right_x_mm)
    beyond = np.maximum(*out)
    height, shown = above.astype(np.float32), _shown(x, y, masks.leaf.shape)
    ends = reach_beyond(plant, height, out, shown)
    within = np.all([far <= end.reach_mm for far, end in zip(out, ends, strict=True)], axis=0)
    allowed = (above > -_DROOP_MM) & within[None, :]
    seed = (above > 0) & (above < _FOOT_MM) & (beyond <= 0)[None, :]

    behind = beside = doubtful = np.zeros(plant.shape, bool)
    cells = _Cells(plant, seen_on(masks.leaf, x, y), height, beyond <= 0)
    if rgb is not None:
        lab = lab_on(rgb, x, y)
        edges = edges_on(rgb, x, y, (plant > LEAF_FROM) & cells.between & (above > 0))
        cells = replace(cells, edges=edges)
        behind, doubtful = _behind(cells, lab, beyond)
        beside = like_neighbours(plant * (shown & (above > 0)), ~behind, lab, height, out, ends)
        own = _joined(plant, allowed & ~(behind | beside), seed)
        doubt = seen_on(masks.doubt, x, y)
        behind |= like_backdrop((own * plant) > JOINS_FROM, lab, doubt, height, shown)
    own = _joined(plant, allowed & ~(behind | beside), seed)
    if _hidden(behind, cells) <= _BEHIND_COLUMNS:
        raised, doubtful = _raised(own, cells, doubtful)
        behind |= raised
        own = _joined(plant, allowed & ~(behind | beside), seed)
    kept, at_least = kept_pixels(masks, viewpoint, grid, own, (x, y)), None
    if doubtful.any():
        at_least = kept_pixels(masks, viewpoint, grid, own * ~doubtful, (x, y))
    return OwnSide(kept, at_least, behind=_hidden(behind, cells) > _BEHIND_COLUMNS)


def _joined(
    plant: NDArray[np.float32], allowed: NDArray[np.bool_], seed: NDArray[np.bool_]
) -> NDArray[np.float32]:
    """Own cells: plants that stand elsewhere do not lead on to others."""
    return joined_to(plant * allowed, allowed, seed & allowed)


def _hidden(behind: NDArray[np.bool_], cells: _Cells) -> float:
    """Share of the tray's columns that show plants behind it."""
    shown = (behind & (cells.plant > _PLANT_FROM))[:, cells.between]
    return float(shown.any(axis=0).mean())


def _raised(
    own: NDArray[np.float32], cells: _Cells, doubtful: NDArray[np.bool_]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Cells of a stretch that stands out and surely stands behind, and all cells that may."""
    nothing = np.zeros(own.shape, bool)
    inside = cells.inside()
    line = raised_stretch((cells.plant * own)[:, cells.between], inside.above)
    if line is None:
        return nothing, doubtful
    over = _over(line, cells)
    if line_apart(line, inside.leaf, inside.above, inside.edges):
        return over, doubtful & ~over
    return nothing, doubtful if doubtful.any() else over


def _behind(
    cells: _Cells, lab: NDArray[np.float32], beyond: NDArray[np.float64]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Cells that stand behind the tray, and cells that may."""
    nothing = np.zeros(cells.plant.shape, bool)
    elsewhere = like_surroundings(cells.plant, lab, cells.above, beyond)
    inside = replace(cells, leaf=cells.leaf * ~elsewhere).inside()
    line = front_outline(inside.leaf, lab[:, cells.between], inside.above, inside.edges)
    if line is None:
        return elsewhere, nothing
    over = _over(line, cells)
    return (elsewhere | over, nothing) if line.sure else (elsewhere, over)


def _over(line: FrontOutline, cells: _Cells) -> NDArray[np.bool_]:
    """Cells above the line, which goes on level beyond the tray's ends."""
    inside = np.flatnonzero(cells.between)
    nearest = np.clip(np.arange(len(cells.between)), inside[0], inside[-1]) - inside[0]
    over: NDArray[np.bool_] = cells.above > line.height_mm[nearest]
    return over


def _grid_before(wall: FrontWall) -> PlaneGrid:
    margin = MARGIN_MM
    low = min(wall.rim_y_mm, wall.rim_y_mm + wall.rim_slope * (wall.right_x_mm - wall.left_x_mm))
    origin = np.array([wall.left_x_mm - margin, low - _TALLEST_MM])
    columns = int((wall.right_x_mm - wall.left_x_mm + 2 * margin) / CELL_MM) + 1
    rows = int((_TALLEST_MM + 3 * _DROOP_MM) / CELL_MM) + 1
    return PlaneGrid(origin, np.array([1.0, 0.0]), CELL_MM, (rows, columns), 0.0)


def _shown(
    x: NDArray[np.float32], y: NDArray[np.float32], shape: tuple[int, ...]
) -> NDArray[np.bool_]:
    """Cells that lie within the photo."""
    inside: NDArray[np.bool_] = (
        (x > -0.5) & (y > -0.5) & (x < shape[1] - 0.5) & (y < shape[0] - 0.5)
    )
    return inside
