"""Canopy height as a level view from far away would show it, from a photo taken close by.

Plants stand at every depth of the tray, and the photo puts all of them into the plane of the
front wall. With the eye at height ``e`` and distance ``D`` from that plane, a tip of height ``h``
standing ``d`` behind it appears in the plane at ``a = (h D + e d) / (D + d)``: pulled towards the
eye's height. The topmost tip of a column in the photo is therefore not the highest one.

The tips are taken as ``n`` independent normal heights per 5 mm column, spread evenly over the
depth of the tray. The greatest apparent and the greatest true height of such a column both follow
in closed form as products of normal distributions; the mean and spread of the tips are those that
reproduce what the photo shows, and the correction is the difference of the two greatest heights.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.stats import norm

TIPS_PER_MM = 0.2
"""Independent tips per 5 mm column and mm of depth: 2 plants per cm2 whose leaves reach over two
to three columns. Rendered trays of 1 to 3 plants per cm2 give the same within their spread."""
_SLICES = 24
_ROUNDS = 25
_STAND_COLUMNS = 15
"""Unevenness wider than this many columns is the stand's, not that of single tips."""
_LEAST_SPREAD_MM = 0.3
_MODEL_U = 0.25
"""Share of the correction that the model may be off by."""

Heights = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Sight:
    """How the camera looks at the tray's front.

    Parameters
    ----------
    eye_mm : float
        Height of the camera above the medium.
    distance_mm : float
        Distance of the camera from the plane of the front wall.
    depth_mm : float
        Inside depth of the tray behind that plane.
    """

    eye_mm: float
    distance_mm: float
    depth_mm: float


def level_heights(apparent: Heights, sight: Sight) -> tuple[Heights, float]:
    """Correct column heights for perspective.

    Parameters
    ----------
    apparent : ndarray, shape (n,)
        Heights above the medium as read in the plane of the front wall, without NaN.
    sight : Sight
        Where the camera stood.

    Returns
    -------
    tuple of (ndarray of shape (n,), float)
        Heights in a level view from far away, and the standard uncertainty of the correction.
    """
    stand = uniform_filter1d(apparent, min(_STAND_COLUMNS, len(apparent)), mode="nearest")
    local = apparent - stand
    spread = max(float(local.std()), _LEAST_SPREAD_MM)
    mean = float(apparent.mean())
    shift, stretch = _correction(mean, spread, sight)
    return stand + local * stretch + shift, _MODEL_U * abs(shift)


def _correction(mean: float, spread: float, sight: Sight) -> tuple[float, float]:
    """Mean of the true minus that of the apparent greatest height, and the ratio of spreads."""
    depth = (np.arange(_SLICES) + 0.5) / _SLICES * sight.depth_mm
    near = sight.distance_mm / (sight.distance_mm + depth)
    tips = TIPS_PER_MM * sight.depth_mm / _SLICES / near  # a column widens with distance
    tip_mean, tip_spread = mean, spread
    apparent_spread = spread
    for _ in range(_ROUNDS):
        apparent_mean, apparent_spread = _greatest(
            near * tip_mean + (1.0 - near) * sight.eye_mm, near * tip_spread, tips
        )
        tip_mean += mean - apparent_mean
        tip_spread *= math.sqrt(spread / apparent_spread)
    true_mean, true_spread = _greatest(
        np.array([tip_mean]),
        np.array([tip_spread]),
        np.array([TIPS_PER_MM * sight.depth_mm]),
    )
    return true_mean - mean, true_spread / spread


def _greatest(means: Heights, spreads: Heights, counts: Heights) -> tuple[float, float]:
    """Mean and standard deviation of the greatest of normal heights, ``counts`` of each kind."""
    low = float((means - 6.0 * spreads).min())
    high = float((means + 6.0 * spreads).max())
    heights = np.linspace(low, high, 400)
    z = (heights[:, None] - means) / spreads
    below = np.exp((counts * norm.logcdf(z)).sum(axis=1))
    density = np.diff(below)
    middle = 0.5 * (heights[1:] + heights[:-1])
    mean = float((middle * density).sum() / density.sum())
    variance = float(((middle - mean) ** 2 * density).sum() / density.sum())
    return mean, math.sqrt(variance)
