"""Metrics of the side view, in the plane of the tray's front wall."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.results import Measured
from traymorph.model.tray import TraySide

STEP_MM = 0.5
COLUMN_MM = 5.0
_BELOW_RIM_MM = 30.0
_TALLEST_MM = 320.0
_MARGIN_MM = 40.0
_PLANT_FROM = 0.5
_UNSURE_LEVELS = (0.25, 0.75)
_LAYER_SHARES = (0.05, 0.95)
"""Shares of a column's visible leaf below which the underside and the upper side lie."""
_LEAST_LEAF_MM2 = 2.0
"""A column with less leaf than this shows none."""

Plane = NDArray[np.float32]
Columns = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class FrontView:
    """Plants carried to the plane of the front wall; the rim is a level row.

    Parameters
    ----------
    leaf, stem : ndarray of float32, shape (rows, columns)
        Share of each cell; row 0 is the highest.
    above_rim_mm : ndarray, shape (rows,)
        Height of each row's centre above the rim.
    inside : slice
        Columns between the tray's inside ends, a whole number of 5 mm columns.
    cells_per_column : int
        Cells in a 5 mm column.
    """

    leaf: Plane
    stem: Plane
    above_rim_mm: Columns
    inside: slice
    cells_per_column: int

    @property
    def plant(self) -> Plane:
        """Share of each cell that is plant, shape (rows, columns)."""
        both: Plane = np.minimum(self.leaf + self.stem, np.float32(1.0))
        return both


def front_view(tray: TraySide) -> FrontView:
    """Carry the tray's plants to the plane of the front wall.

    Parameters
    ----------
    tray : TraySide
        The photo and the wall found in it.

    Returns
    -------
    FrontView
        From 30 mm below the rim to 320 mm above it.
    """
    wall = tray.wall
    slope = math.hypot(1.0, wall.rim_slope)
    along = np.array([1.0, wall.rim_slope]) / slope
    across = np.array([-along[1], along[0]])
    margin, rows_above = round(_MARGIN_MM / STEP_MM), round(_TALLEST_MM / STEP_MM)
    columns = round((wall.right_x_mm - wall.left_x_mm) * slope / COLUMN_MM)
    per_column = round(COLUMN_MM / STEP_MM)
    rim = np.array([wall.left_x_mm, wall.rim_y_mm])
    origin = rim + STEP_MM * ((0.5 - margin) * along + (0.5 - rows_above) * across)
    shape = (
        rows_above + round(_BELOW_RIM_MM / STEP_MM),
        columns * per_column + 2 * margin,
    )
    grid = PlaneGrid(origin, along, STEP_MM, shape, 0.0)
    x, y = grid.sampling(tray.viewpoint, tray.masks.scale)
    leaf, stem = (
        cv2.remap(layer, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT).astype(np.float32)
        for layer in (tray.masks.leaf, tray.masks.stem)
    )
    above = (rows_above - 0.5 - np.arange(shape[0], dtype=np.float64)) * STEP_MM
    return FrontView(leaf, stem, above, slice(margin, margin + columns * per_column), per_column)


def column_tops_mm(view: FrontView, plant_from: float = _PLANT_FROM) -> Columns:
    """Height above the rim of the topmost plant in each 5 mm column; NaN where none is seen.

    Parameters
    ----------
    view : FrontView
        The tray's plants.
    plant_from : float
        Share of plant in a cell from which on it counts.
    """
    plant = view.plant[:, view.inside] >= plant_from
    by_column = plant.reshape(plant.shape[0], -1, view.cells_per_column).any(axis=2)
    first = by_column.argmax(axis=0)
    tops: Columns = view.above_rim_mm[first] + STEP_MM / 2
    return np.where(by_column.any(axis=0), tops, math.nan)


def top_doubt_mm(view: FrontView) -> float:
    """Return the mean top's standard uncertainty, from how far it moves with the share that counts.

    The tops at a quarter and at three quarters of plant are taken as the limits between which
    the true one lies with equal chance: a rectangle, GUM 4.3.7.
    """
    tops = [column_tops_mm(view, level) for level in _UNSURE_LEVELS]
    moves = tops[0] - tops[1]
    return float(np.nanmean(moves)) / math.sqrt(12.0) if np.isfinite(moves).any() else 0.0


def stem_to_leaf_ratio(view: FrontView) -> float:
    """Visible stem area over visible leaf area above the rim; NaN without leaf."""
    above = view.above_rim_mm > 0
    leaf = float(view.leaf[above].sum(dtype=np.float64))
    stem = float(view.stem[above].sum(dtype=np.float64))
    return stem / leaf if leaf > 0 else math.nan


def leaf_layer_edges_mm(view: FrontView) -> tuple[float, float]:
    """Mean height above the rim of the leaf layer's underside and of its upper side.

    Per 5 mm column they are the heights below which 5 % and 95 % of the column's visible leaf
    above the rim lie; columns without leaf do not count.
    """
    above = view.above_rim_mm > 0
    leaf = view.leaf[above][:, view.inside]
    amount = leaf.reshape(leaf.shape[0], -1, view.cells_per_column).sum(axis=2, dtype=np.float64)
    total = amount.sum(axis=0)
    shown = total * STEP_MM**2 > _LEAST_LEAF_MM2
    if not shown.any():
        return math.nan, math.nan
    from_below = np.cumsum(amount[::-1, shown], axis=0) / total[shown]
    heights = view.above_rim_mm[above][::-1]
    low, high = (float(heights[(from_below >= q).argmax(axis=0)].mean()) for q in _LAYER_SHARES)
    return low, high


def height_metrics(heights: Columns, u_mm: float) -> dict[str, Measured]:
    """Mean, 95th percentile and variation of column heights above the medium.

    Parameters
    ----------
    heights : ndarray, shape (n,)
        One height per 5 mm column along the tray, without NaN.
    u_mm : float
        Standard uncertainty common to all of them.

    Returns
    -------
    dict of str to Measured
        ``canopy_height_mm``, ``canopy_height_p95_mm``, ``canopy_height_cv_pct``.
    """
    if len(heights) == 0:
        return {}
    mean, spread = float(heights.mean()), float(heights.std())
    cv = 100.0 * spread / mean if mean > 0 else math.nan
    return {
        "canopy_height_mm": Measured(mean, u_mm),
        "canopy_height_p95_mm": Measured(
            float(np.percentile(heights, 95)), math.hypot(u_mm, _P95_U * spread)
        ),
        "canopy_height_cv_pct": Measured(
            cv, cv * math.hypot(_SPREAD_U, u_mm / mean) if mean > 0 else math.nan
        ),
    }


_SPREAD_U = 0.25
"""Relative doubt of the spread between columns after the correction for depth."""
_P95_U = 0.6
"""Doubt of the 95th percentile in units of the spread."""
