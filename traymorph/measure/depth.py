"""Canopy height as a level view from far away would show it, from a photo taken close by.

Plants stand at every depth of the tray, and the photo puts all of them into the plane of the
front wall. With the eye at height ``e`` and distance ``D`` from that plane, a tip of height ``h``
standing ``d`` behind it appears in the plane at ``a = (h D + e d) / (D + d)``: pulled towards the
eye's height. The topmost tip of a column in the photo is therefore not the highest one.

The tips are taken as ``n`` independent normal heights per 5 mm column, spread evenly over the
depth of the tray but for its outermost rows. The greatest apparent and the greatest true height of
such a column both follow in closed form as products of normal distributions; the mean and spread
of the tips are those that reproduce what the photo shows, and the correction is the difference of
the two greatest heights.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.special import log_ndtr

TIPS_PER_MM = 0.2
"""Independent tips per 5 mm column and mm of depth: 2 plants per cm2 whose leaves reach over two
to three columns. Rendered trays of 1 to 3 plants per cm2 give the same within their spread."""
_SLICES = 24
_ROUNDS = 20
_VIEWS = 8
"""Depths for which the model is worked out; columns between them are interpolated."""
_OVERHANG_MM = 10.0
"""How far plants lean out beyond the ends: what stands at the back shows in the end columns too."""
_EDGE_ROWS_MM, _EDGE_SHARE = 15.0, 0.25
"""So much of the depth at the front and at the back, or this share of a shallow tray, holds no
canopy tops: plants at the edge lean out and stand lower."""
_STAND_COLUMNS = 15
"""Unevenness wider than this many columns is the stand's, not that of single tips."""
_LEAST_SPREAD_MM = 0.3
_MODEL_U, _MODEL_U_MM = 0.1, 1.5
"""Share of the correction that the model may be off by, and what is left when nothing is
corrected: rendered trays of seven crop forms."""
_HIDDEN_U = 0.1
"""From below the canopy's top the front row hides what stands behind it: doubt per mm that the
camera stands too low. From the same trays."""

Heights = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Sight:
    """How the camera looks at the tray's front.

    Parameters
    ----------
    eye_mm : float
        Height of the camera above the medium.
    eye_along_mm : float
        Place of the camera along the front, from the tray's left inside end.
    distance_mm : float
        Distance of the camera from the plane of the front wall.
    length_mm, depth_mm : float
        Inside sizes along the front and across it.
    """

    eye_mm: float
    eye_along_mm: float
    distance_mm: float
    length_mm: float
    depth_mm: float


def level_heights(apparent: Heights, along_mm: Heights, sight: Sight) -> tuple[Heights, float]:
    """Correct column heights for perspective.

    Parameters
    ----------
    apparent : ndarray, shape (n,)
        Heights above the medium as read in the plane of the front wall, without NaN.
    along_mm : ndarray, shape (n,)
        Place of each column along the front, from the tray's left inside end.
    sight : Sight
        Where the camera stood.

    Returns
    -------
    tuple of (ndarray of shape (n,), float)
        Heights in a level view from far away, and the standard uncertainty of the correction.
    """
    reach = _depth_seen(along_mm, sight)
    depths = np.linspace(float(reach.min()), float(reach.max()) + 1.0, _VIEWS)
    tip_mean, tip_spread = float(apparent.mean()), max(float(_local(apparent).std()), 1.0)
    for _ in range(_ROUNDS):
        means, spreads = _expected(tip_mean, tip_spread, depths, sight)
        left_over = apparent - np.interp(reach, depths, means)
        local = _local(left_over)
        modelled = float(np.interp(reach, depths, spreads).mean())
        tip_mean += float(left_over.mean())
        tip_spread *= math.sqrt(max(float(local.std()), _LEAST_SPREAD_MM) / modelled)
    true_mean, true_spread = _greatest(
        np.array([tip_mean]), np.array([tip_spread]), np.array([TIPS_PER_MM * sight.depth_mm])
    )
    stretch = true_spread / max(float(local.std()), _LEAST_SPREAD_MM)
    heights = true_mean + (left_over - local) + local * stretch
    correction = float(heights.mean() - apparent.mean())
    too_low = max(float(heights.mean()) - sight.eye_mm, 0.0)
    return heights, math.hypot(_MODEL_U * correction, _MODEL_U_MM, _HIDDEN_U * too_low)


def in_level_view(apparent_mm: float, depth_mm: float, sight: Sight) -> float:
    """Height of something that stands at a depth behind the front wall and appears in its plane.

    Parameters
    ----------
    apparent_mm : float
        Height above the medium as read in the plane of the front wall.
    depth_mm : float
        How far behind that plane it stands.
    sight : Sight
        Where the camera stood.
    """
    return apparent_mm - (sight.eye_mm - apparent_mm) * depth_mm / sight.distance_mm


def _local(heights: Heights) -> Heights:
    """Variation from column to column, the stand's own unevenness taken off."""
    stand = uniform_filter1d(heights, min(_STAND_COLUMNS, len(heights)), mode="nearest")
    local: Heights = heights - stand
    return local


def _depth_seen(along_mm: Heights, sight: Sight) -> Heights:
    """How deep into the tray the lines of sight through each column stay within its plants."""
    away = along_mm - sight.eye_along_mm
    ends = np.where(away > 0, sight.length_mm + _OVERHANG_MM, -_OVERHANG_MM)
    end = ends - sight.eye_along_mm
    with np.errstate(divide="ignore", invalid="ignore"):
        depth = sight.distance_mm * (end / away - 1.0)
    edge = _edge_rows_mm(sight)
    return np.clip(np.nan_to_num(depth, nan=np.inf), edge + 1.0, sight.depth_mm - edge)


def _edge_rows_mm(sight: Sight) -> float:
    return min(_EDGE_ROWS_MM, _EDGE_SHARE * sight.depth_mm)


def _expected(
    tip_mean: float, tip_spread: float, depths: Heights, sight: Sight
) -> tuple[Heights, Heights]:
    """Mean and spread of the greatest apparent height where one sees so deep into the tray."""
    result = []
    edge = _edge_rows_mm(sight)
    for depth in depths:
        behind = edge + (np.arange(_SLICES) + 0.5) / _SLICES * (depth - edge)
        near = sight.distance_mm / (sight.distance_mm + behind)
        tips = TIPS_PER_MM * (depth - edge) / _SLICES / near  # a column widens with distance
        means = near * tip_mean + (1.0 - near) * sight.eye_mm
        result.append(_greatest(means, near * tip_spread, tips))
    means, spreads = np.array(result).T
    return means, spreads


def _greatest(means: Heights, spreads: Heights, counts: Heights) -> tuple[float, float]:
    """Mean and standard deviation of the greatest of normal heights, ``counts`` of each kind."""
    low = float((means - 6.0 * spreads).min())
    high = float((means + 6.0 * spreads).max())
    heights = np.linspace(low, high, 200)
    z = (heights[:, None] - means) / spreads
    below = np.exp((counts * log_ndtr(z)).sum(axis=1))
    density = np.diff(below)
    middle = 0.5 * (heights[1:] + heights[:-1])
    mean = float((middle * density).sum() / density.sum())
    variance = float(((middle - mean) ** 2 * density).sum() / density.sum())
    return mean, math.sqrt(variance)
