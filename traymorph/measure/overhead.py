"""Metrics of the overhead view, one small function each, on the plan view of a tray."""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.measure.grid import PlanView

EVENNESS_CELL_MM = 25.0
OVERHANG_FACTOR = 1.08
"""From rendered trays seen from 0.4 to 0.65 m; they spread by 0.15."""
GAP_WIDTH_MM = 5.0
_COVERED = 0.5
"""A cell is bare when less than half of it is plant."""


def canopy_cover_pct(view: PlanView) -> float:
    """Share of the opening covered by plant, per cent; NaN without an opening."""
    if view.inside is None:
        return math.nan
    return 100.0 * float(view.plant[view.inside].mean())


def projected_leaf_area_cm2(view: PlanView) -> float:
    """Leaf seen from above within the opening, cm2; all of it where the opening is not known."""
    leaf = view.leaf if view.inside is None else view.leaf[view.inside]
    return float(leaf.sum(dtype=np.float64)) * view.cell_cm2


def overhang_area_cm2(view: PlanView) -> float:
    """Plant seen from above outside the opening, cm2; NaN without an opening.

    Leaves that hang over the rim stand a few millimetres lower than the mean leaf, so the plane
    of the mean leaf shows them too near the tray and too small: set right by a factor.
    """
    if view.inside is None:
        return math.nan
    plant = view.plant
    total = float(plant.sum(dtype=np.float64)) - float(plant[view.inside].sum(dtype=np.float64))
    return OVERHANG_FACTOR * total * view.cell_cm2


def cell_cover(view: PlanView) -> NDArray[np.float64]:
    """Cover, 0 to 1, of every whole 25 mm cell counted from the opening's corner."""
    if view.inside is None:
        return np.full((0, 0), math.nan)
    plant = view.plant[view.inside]
    edges = [
        np.round(
            np.arange(0, int(n * view.step_mm / EVENNESS_CELL_MM + 1e-6) + 1)
            * EVENNESS_CELL_MM
            / view.step_mm
        ).astype(int)
        for n in plant.shape
    ]
    total = np.asarray(cv2.integral(plant, sdepth=cv2.CV_64F))
    corners = total[np.ix_(edges[0], edges[1])]
    sums = corners[1:, 1:] - corners[:-1, 1:] - corners[1:, :-1] + corners[:-1, :-1]
    cover: NDArray[np.float64] = sums / np.outer(np.diff(edges[0]), np.diff(edges[1]))
    return cover


def evenness_cv_pct(view: PlanView) -> float:
    """Coefficient of variation of cover between 25 mm cells, per cent; NaN without plants."""
    cover = cell_cover(view)
    if cover.size == 0 or cover.mean() <= 0:
        return math.nan
    return 100.0 * float(cover.std() / cover.mean())


def largest_gap_cm2(view: PlanView) -> float:
    """Largest patch of the opening without plant that a 5 mm disc can sweep, cm2.

    Without that width the patches of a sparse stand join through slits between leaves, and the
    largest one says how the slits happen to fall. NaN without an opening.
    """
    if view.inside is None:
        return math.nan
    bare = (view.plant[view.inside] < _COVERED).astype(np.uint8)
    across = 2 * round(0.5 * GAP_WIDTH_MM / view.step_mm) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across))
    # beyond the opening nothing is covered: a gap may lie against the rim
    wide = cv2.morphologyEx(bare, cv2.MORPH_OPEN, disc, borderType=cv2.BORDER_REPLICATE)
    _, _, stats, _ = cv2.connectedComponentsWithStats(wide, connectivity=4)
    return float(stats[1:, cv2.CC_STAT_AREA].max(initial=0)) * view.cell_cm2


OVERHEAD_METRICS = {
    "canopy_cover_pct": canopy_cover_pct,
    "projected_leaf_area_cm2": projected_leaf_area_cm2,
    "overhang_area_cm2": overhang_area_cm2,
    "evenness_cv_pct": evenness_cv_pct,
    "largest_gap_cm2": largest_gap_cm2,
}
"""Metrics that are read off the plan view alone."""
