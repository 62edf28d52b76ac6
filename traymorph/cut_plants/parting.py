"""Leaf against stem along a plant's skeleton.

From the cut outwards a way through a plant is stem first and blade after; where it becomes stem
again, the blade lies across it. Width and colour give each cell of the skeleton its odds, each
change costs, a change back to stem much more; the labelling of highest likelihood is found exactly
by dynamic programming on the tree of ways. This is what tells a blade's narrow tip or lobe, or a
blade seen on edge, from a stalk: it need not be wide itself.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from traymorph.cut_plants.forms import PlantForm
from traymorph.cut_plants.skeleton import Ints, Mask, Rooted, Skeleton

Floats = NDArray[Any]
Values = NDArray[np.float64]

_BLADE_FROM = 1.5
"""Local thickness, in stem widths, at which width alone does not decide."""
_WIDTH_ODDS = 4.0
"""Log-odds of blade per unit of the logarithm of thickness."""
_WIDTH_LIMIT = 3.0
_BLADE_COST = 4.0
"""Log-odds that a blade has to gain before it is believed."""
_STEM_AGAIN_COST = {PlantForm.PAIR: 25.0, PlantForm.HYPOGEAL: 6.0, PlantForm.NO_NODE: 25.0}
"""Log-odds that a stem which comes out from under a blade has to gain."""
_ROOT_WIDTH, _ROOT_SHARE = 0.75, 0.15
"""Greatest half width over the stem's, and share of all blades, below which a branch is no blade
though it is coloured unlike the stem."""
_CHUNK = 4096


@dataclass(frozen=True, slots=True, eq=False)
class Parting:
    """Which part of the plant each cell of its skeleton belongs to.

    Parameters
    ----------
    part : ndarray of int, shape (n,)
        0 for stem and stalks, k for blade k; -1 for cells that the root does not lead to.
    bases : tuple of int
        First skeleton cell of each blade, in the order of their numbers from 1.
    """

    part: Ints
    bases: tuple[int, ...]


def local_thickness(skeleton: Skeleton) -> Values:
    """Radius of the largest disc within the silhouette that holds each skeleton cell, shape (n,).

    Hildebrand and Rüegsegger (1997): just inside the edge of a blade the distance from the edge is
    still small, the disc that covers the spot is already large.
    """
    points, radius = skeleton.points, skeleton.radius
    thick = radius.copy()
    for start in range(0, len(points), _CHUNK):
        rows = slice(start, start + _CHUNK)
        apart2 = ((points[rows, None, :] - points[None, :, :]) ** 2).sum(axis=2)
        covered = apart2 < (radius**2)[None, :]
        thick[rows] = np.where(covered, radius[None, :], 0.0).max(axis=1, initial=0.0)
    return np.maximum(thick, radius)


def part(
    skeleton: Skeleton,
    ways: Rooted,
    half_width: float,
    leaf_odds: Values | None,
    form: PlantForm = PlantForm.PAIR,
    hidden: Mask | None = None,
) -> Parting:
    """Label stem and blades along the ways from the cut.

    Parameters
    ----------
    skeleton : Skeleton
        Of one plant.
    ways : Rooted
        From its cut.
    half_width : float
        Of its stem, cells.
    leaf_odds : ndarray, shape (n,), or None
        Log-odds of leaf by colour at the skeleton's cells.
    form : PlantForm
        Stems of peas and lentils go on through their leaves.
    hidden : ndarray of bool, shape (n,), or None
        Cells that are stem though something else is seen there.

    Returns
    -------
    Parting
    """
    thick = local_thickness(skeleton) / max(half_width, 0.5)
    odds = np.clip(_WIDTH_ODDS * np.log(thick / _BLADE_FROM), -_WIDTH_LIMIT, _WIDTH_LIMIT)
    if leaf_odds is not None:
        odds = odds + leaf_odds
    if hidden is not None:
        odds = np.where(hidden, -_WIDTH_LIMIT, odds)
    again = _STEM_AGAIN_COST[form]
    # Lists, since single entries of arrays are slow to read and write.
    as_blade, as_stem = (odds / 2.0).tolist(), (-odds / 2.0).tolist()
    outward, parent = ways.outward.tolist(), ways.parent.tolist()
    for cell in outward[:0:-1]:
        above = parent[cell]
        as_stem[above] += max(as_stem[cell], as_blade[cell] - _BLADE_COST)
        as_blade[above] += max(as_blade[cell], as_stem[cell] - again)
    labels = [-1] * len(odds)
    labels[ways.root] = 0
    bases: list[int] = []
    for cell in outward[1:]:
        above = labels[parent[cell]]
        if above > 0:
            stays = as_blade[cell] >= as_stem[cell] - again
            labels[cell] = above if stays else 0
        elif as_blade[cell] - _BLADE_COST > as_stem[cell]:
            bases.append(cell)
            labels[cell] = len(bases)
        else:
            labels[cell] = 0
    parting = Parting(np.array(labels, np.intp), tuple(bases))
    return _without_roots(parting, skeleton, half_width)


def _without_roots(parting: Parting, skeleton: Skeleton, half_width: float) -> Parting:
    """Leave out what is small and thin throughout: a root or thread that lies against the stem."""
    own = [parting.part == number + 1 for number in range(len(parting.bases))]
    mass = [float(skeleton.radius[cells].sum()) for cells in own]
    kept = [
        bool(
            skeleton.radius[cells].max() >= _ROOT_WIDTH * half_width
            or one >= _ROOT_SHARE * sum(mass)
        )
        for cells, one in zip(own, mass, strict=True)
    ]
    numbers = np.concatenate([[0], np.where(kept, np.cumsum(kept), 0)]).astype(np.intp)
    labels = np.where(parting.part > 0, numbers[np.maximum(parting.part, 0)], parting.part)
    bases = tuple(base for base, keep in zip(parting.bases, kept, strict=True) if keep)
    return Parting(labels, bases)


def cells_of_skeleton(mask: Mask, skeleton: Skeleton, coarse: int) -> Ints:
    """Which skeleton cell's disc covers each cell of a silhouette best.

    Parameters
    ----------
    mask : ndarray of bool, shape (h, w)
        Inside the silhouette, or near enough to belong to it.
    skeleton : Skeleton
        n cells.
    coarse : int
        Decided for squares of this many cells.

    Returns
    -------
    ndarray of int, shape (h, w)
        By the power distance, squared distance less squared radius: two parts then meet where the
        outlines of their discs cross, at the notch between stalk and blade. -1 outside the mask.
    """
    best = np.full((-(-mask.shape[0] // coarse), -(-mask.shape[1] // coarse)), -1, np.intp)
    rows, columns = np.nonzero(mask)
    best[rows // coarse, columns // coarse] = 0
    squares = np.argwhere(best == 0)
    points = ((squares[:, ::-1] + 0.5) * coarse - 0.5).astype(np.float32)
    centres = skeleton.points.astype(np.float32)
    weight = (centres**2).sum(axis=1) - skeleton.radius.astype(np.float32) ** 2
    for start in range(0, len(points), _CHUNK):
        some = slice(start, start + _CHUNK)
        power = weight - 2.0 * points[some] @ centres.T
        best[squares[some, 0], squares[some, 1]] = np.argmin(power, axis=1)
    whole = np.repeat(np.repeat(best, coarse, axis=0), coarse, axis=1)
    return np.where(mask, whole[: mask.shape[0], : mask.shape[1]], -1)
