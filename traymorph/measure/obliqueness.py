"""How much stem a vertical view would show, from a photo that sees the tray's ends at a slant.

A camera half a metre above a tray looks at its ends at 20 to 30 degrees and sees stems between
the leaves that nobody sees from straight above. How much of them a vertical view would still show
follows from how far stems lean: upright ones vanish, lying ones stay. Which way they run in the
picture tells how far they lean.

A piece of stem that leans by the vector l (horizontal way per height) shows from above as a streak
along l. Seen at the slant t, the tangent of the angle to the vertical, it shows as d = l + t r,
with r the unit vector away from the spot below the camera: streaks of upright stems all point
there, those of lying stems anywhere. With leans alike in all directions an expansion for small
q = t / |l| gives

- the share of stem that the slant adds, 1 - E|l| / E|d| = q^2 / 4, and
- the alignment of the streaks, A = E(|d| cos 2f) / E|d| = 3 q^2 / 8, f the angle from r to d,

so that what is added is 2/3 of the alignment of whole streaks. In a mask they are not whole: leaves
cut them in any direction, and hide about as much of each however long it is. In the 29 of 40
rendered trays that show more than 2 % of stem, true masks, up to .46 of the stem in the photo is
added and A is up to .45; A itself, without a factor, gives the share added to .07 (root mean
square; correlation .90, a fitted factor .93), and so it is taken.

Streaks are read from the gradient of the stem's share, which is normal to an outline, in double
angles weighted by its energy (structure tensor; Bigun and Granlund 1987, Optimal orientation
detection of linear symmetry, First International Conference on Computer Vision). A stand that
lies one way would align with r where most of a long tray lies that way from the camera. So A is
the slope of the streaks' double angle, as a complex number, on that of r: a direction that all
streaks share is the line's constant.
"""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

USUAL_LEAN = 0.3
"""Tangent of the usual angle between stems and the vertical, from rendered trays."""
REMAINING_U = 0.08
"""Standard uncertainty of the stem that remains, as a share of the stem in the photo, from the same
trays."""

_MOST_ALIGNED = 0.9
"""Twice what any of these trays shows."""
_LEAST_SPREAD = 0.05
"""Variance of the direction away from below the camera, below which no slope on it is taken."""

_BAND_ROWS = 8
_TINY = np.finfo(np.float32).tiny

Plane = NDArray[np.float32]


def seen_from_above(leaf: Plane, stem: Plane, slant: Plane, inside: tuple[slice, slice]) -> Plane:
    """Share of stem that a vertical view would show.

    Parameters
    ----------
    leaf, stem : ndarray of float32, shape (rows, columns)
        Share of leaf and of stem as the photo shows them.
    slant : ndarray of float32, shape (rows, columns)
        Tangent of the angle between the line of sight and the vertical.
    inside : tuple of slice
        Rows and columns of the tray's opening.

    Returns
    -------
    ndarray of float32, shape (rows, columns)
        At most ``stem``.
    """
    mean_slant = float(slant[inside].mean())
    if not stem[inside].any() or mean_slant <= 0:
        return stem
    remains = _remaining(leaf[inside], stem[inside], slant[inside])
    growth = (1.0 - remains) / mean_slant
    kept: Plane = (stem * (remains / (remains + growth * slant))).astype(np.float32)
    return kept


def _remaining(leaf: Plane, stem: Plane, slant: Plane) -> float:
    """Share of the stem that a vertical view would show, over the whole opening.

    Where a cell is told as leaf as much as stem, its outlines may be leaves', which point
    anywhere: as far as that goes, stems are taken to lean as usual.
    """
    usual = USUAL_LEAN / math.hypot(USUAL_LEAN, float(slant.mean()))
    aligned = _alignment(stem, slant)
    if math.isnan(aligned):
        return usual
    mixed = float(np.minimum(leaf, stem).sum() / stem.sum())
    read = 1.0 - min(max(aligned, 0.0), _MOST_ALIGNED)
    return mixed * usual + (1.0 - mixed) * read


def _alignment(stem: Plane, slant: Plane) -> float:
    """Slope of the streaks' direction on that in which the slant grows, as double angles.

    1 where all streaks point away from below the camera, 0 where they do not heed it; NaN where
    that direction is nearly the same all over, or there are no outlines.
    """
    streak, energy = _doubled(stem)
    total = cv2.sumElems(energy)[0]
    if total <= 0:
        return math.nan
    doubled, steepness = _doubled(slant)
    np.maximum(steepness, _TINY, out=steepness)
    away: list[Plane] = [part / steepness for part in doubled]
    # streaks lie across the gradient, which turns their double angle round
    mean_streak = [-cv2.sumElems(part)[0] / total for part in streak]
    mean_away = [_product_sum(energy, part) / total for part in away]
    common = -sum(_product_sum(*parts) for parts in zip(streak, away, strict=True)) / total
    spread = 1.0 - sum(part**2 for part in mean_away)
    if spread < _LEAST_SPREAD:
        return math.nan
    return (common - sum(a * b for a, b in zip(mean_streak, mean_away, strict=True))) / spread


def _doubled(layer: Plane) -> tuple[tuple[Plane, Plane], Plane]:
    """Squared length of the gradient, and as much in the direction of its doubled angle, (x, y)."""
    right, down = (cv2.Sobel(layer, cv2.CV_32F, *order) for order in ((1, 0), (0, 1)))
    squares, others = right * right, down * down
    across: Plane = 2.0 * right * down
    return (squares - others, across), squares + others


def _product_sum(one: Plane, other: Plane) -> float:
    """Sum of the products of two planes, in bands: single precision lasts for one."""
    rows = range(0, len(one), _BAND_ROWS)
    return sum(
        float(np.vdot(one[top : top + _BAND_ROWS], other[top : top + _BAND_ROWS])) for top in rows
    )
