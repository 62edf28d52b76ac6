"""Typical width of the visible blades, from how far apart the edges between them lie.

In a closed canopy blades show no outline against the ground, only steps of lightness against one
another. The distance of leaf cells from the nearest such step, or from the leaf's outline, grows
with the width of the blades: by a factor that was read off rendered trays of 16 forms, whose rank
it gives with a correlation of 0.91. What counts as a step goes with the spread of lightness within
the leaf, so that soft and hard light, a flat and a vivid phone show the same edges: one tray in
five photos reads within 2 %.
"""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.measure.grid import grid_of_opening
from traymorph.model.results import Measured
from traymorph.model.tray import LeafPlane, TrayOverhead

_STEP_MM = 0.5
_EDGE_LOW, _EDGE_HIGH = 1.5, 3.6
"""Limits of the edge finder in spreads of the leaf's lightness: between two lit blades, not within
one."""
_LEAST_SPREAD = 8.0
"""Spread of 8-bit L* below which a leaf is flat; on rendered trays it is 17 to 47."""
_DECILES_PER_SPREAD = 2.563
"""Distance of the outer deciles of a normal curve over its standard deviation: tables."""
_SMOOTH_CELLS = 1.5
_LEAF_FROM = 0.5
_WIDTH_PER_DISTANCE = 4.4
_WIDTH_U = 0.25
"""Spread between the rendered trays."""
_WIDEST_MM = 40.0
"""No microgreen bears wider blades: such a reading means that edges drown in blur."""
_LEAST_LEAF_CM2 = 5.0


def blade_width_mm(tray: TrayOverhead, plane: LeafPlane) -> Measured:
    """Typical width of the visible blades.

    Parameters
    ----------
    tray : TrayOverhead
        The photo and the tray found in it.
    plane : LeafPlane
        The plane of the leaves.

    Returns
    -------
    Measured
        NaN without an opening, with too little leaf, or where no edges between blades are seen.
    """
    if tray.opening is None:
        return Measured()
    grid, inside = grid_of_opening(tray.opening, plane.height_mm, _STEP_MM)
    x, y = (layer[inside] for layer in grid.sampling(tray.viewpoint, tray.masks.scale))
    leaf = cv2.remap(tray.masks.leaf, x, y, cv2.INTER_LINEAR) > _LEAF_FROM
    if leaf.sum() * grid.step_mm**2 < 100.0 * _LEAST_LEAF_CM2:
        return Measured()
    rgb = cv2.remap(tray.rgb, x, y, cv2.INTER_LINEAR).astype(np.uint8)
    width = _WIDTH_PER_DISTANCE * _edge_distance_mm(rgb, leaf, grid.step_mm)
    return Measured(width, _WIDTH_U * width) if width < _WIDEST_MM else Measured()


def _edge_distance_mm(rgb: NDArray[np.uint8], leaf: NDArray[np.bool_], step_mm: float) -> float:
    """Root mean square distance of leaf cells from the nearest edge of a blade."""
    lightness = cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)[:, :, 0]
    low, high = np.quantile(lightness[leaf], (0.1, 0.9))
    spread = max(float(high - low) / _DECILES_PER_SPREAD, _LEAST_SPREAD)
    smooth = cv2.GaussianBlur(lightness, (0, 0), _SMOOTH_CELLS)
    edges = cv2.Canny(smooth, _EDGE_LOW * spread, _EDGE_HIGH * spread)
    within = (leaf & (edges == 0)).astype(np.uint8)
    distance = step_mm * cv2.distanceTransform(within, cv2.DIST_L2, 5)[leaf]
    return math.sqrt(float((distance.astype(np.float64) ** 2).mean()))
