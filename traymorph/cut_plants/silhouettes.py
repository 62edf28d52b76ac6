"""Connected pieces of plant on the board, and what a typical plant of the photo measures."""

from bisect import insort
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.cut_plants.skeleton import (
    Ints,
    Skeleton,
    end_branches,
    skeleton_of,
    without_shreds,
)

Floats = NDArray[Any]
Mask = NDArray[np.bool_]

_PINHOLE_CELLS = 9
_PINHOLE_SHARE = 1.5
"""Holes below this share of the square of a stem's half width are gaps in the mask."""
_MARGIN_CELLS = 4
_FRINGE_CELLS = 3
"""Cells outside the half-share outline whose rest of plant still belongs to the piece."""
_LEAST_MM2 = 2.0
"""Smaller pieces are no plants, whatever the crop: amaranth's seed leaves alone cover ten times
as much."""
_LARGE_SHARE = 0.3
"""Area over most pieces' from which a piece counts for what is typical."""
_NARROW_SHARE = 0.3
_SQUARES_PER_HALF_WIDTH = 2.0
_COARSEST = 3
_SLENDER = 4.0
"""A run is a stem where it is this many times longer than wide."""
_FEWEST = 12
"""Cells of a run, at least."""
_CORNER = 1.5
"""A skeleton that runs into a corner of the cut stays within this many radii of its end."""
_STEADY = 1.6
"""Ratio to its median beyond which a radius no longer belongs to the run."""


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """A free end of a silhouette that may be a stem.

    Parameters
    ----------
    cells : ndarray of int
        Indices into the skeleton, from the free end inwards.
    length, half_width : float
        Cells.
    end_half_width : float
        Half width of its outer part, behind the corners of the cut, cells.
    """

    cells: Ints
    length: float
    half_width: float
    end_half_width: float

    @property
    def slenderness(self) -> float:
        """Length over width."""
        return self.length / max(2.0 * self.half_width, 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class Silhouette:
    """One connected piece of plant.

    Parameters
    ----------
    box : tuple of slice
        Rows and columns of the grid around it.
    share : ndarray of float32, of the box's shape
        Share of this piece in each cell; other pieces are left out.
    mask : ndarray of bool, of the box's shape
        Where the share is at least one half, holes of less than a few cells filled.
    skeleton : Skeleton
        In cells of the box.
    runs : tuple of Run
        Free ends that are slender, the longest first.
    at_edge : bool
        It touches the photo's edge or the card.
    coarse : int
        Cells along the squares that the skeleton is drawn on.
    """

    box: tuple[slice, slice]
    share: Floats
    mask: Mask
    skeleton: Skeleton
    runs: tuple[Run, ...]
    at_edge: bool
    coarse: int

    @property
    def area(self) -> float:
        """Cells that it covers."""
        return float(self.share.sum())


@dataclass(frozen=True, slots=True)
class TypicalPlant:
    """Medians over the photo's larger pieces, cells."""

    area: float
    stem_length: float
    stem_half_width: float


def silhouettes(plant: Floats, step_mm: float, at_edge: Mask | None) -> list[Silhouette]:
    """Find connected pieces of plant, all that are larger than a crumb of any crop.

    Parameters
    ----------
    plant : ndarray of float32, shape (rows, cols)
        Share of plant.
    step_mm : float
        Side of a cell, mm.
    at_edge : ndarray of bool, shape (rows, cols), or None
        Where the grid lies outside the photo or on the card.
    """
    solid = (plant >= 0.5).astype(np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(solid, connectivity=8)
    near_edge = None
    if at_edge is not None:
        near_edge = cv2.dilate(at_edge.astype(np.uint8), np.ones((5, 5), np.uint8)).astype(bool)
    coarse = coarseness(solid)
    pieces = []
    for label in range(1, len(stats)):
        x, y, width, height, count = (int(value) for value in stats[label])
        if count * step_mm**2 < _LEAST_MM2:
            continue
        box = (
            slice(max(y - _MARGIN_CELLS, 0), min(y + height + _MARGIN_CELLS, plant.shape[0])),
            slice(max(x - _MARGIN_CELLS, 0), min(x + width + _MARGIN_CELLS, plant.shape[1])),
        )
        pieces.append(_piece(plant, labels, int(label), box, near_edge, coarse))
    return pieces


def mended(piece: Silhouette, typical: TypicalPlant) -> Silhouette:
    """Free a piece's skeleton from what follows torn outlines and holes smaller than a stem."""
    half_width = typical.stem_half_width
    mask = _without_pinholes(piece.mask.astype(np.uint8), _PINHOLE_SHARE * half_width**2)
    whole = piece.skeleton
    if np.count_nonzero(mask) > np.count_nonzero(piece.mask):
        whole = skeleton_of(mask, piece.coarse)
    skeleton = without_shreds(whole, half_width)
    return replace(piece, mask=mask, skeleton=skeleton, runs=_runs(skeleton))


def coarseness(solid: NDArray[np.uint8]) -> int:
    """Cells per square on which skeletons are drawn, from the width of what is narrow.

    Along the ridges of the distance from the outline half or more are stems and stalks.
    """
    depth = cv2.distanceTransform(solid, cv2.DIST_L2, cv2.DIST_MASK_3)
    ridge = (depth >= cv2.dilate(depth, np.ones((3, 3), np.uint8))) & (depth > 1.0)
    if not ridge.any():
        return 1
    narrow = float(np.quantile(depth[ridge], _NARROW_SHARE))
    return int(np.clip(narrow / _SQUARES_PER_HALF_WIDTH, 1, _COARSEST))


def typical_plant(pieces: list[Silhouette]) -> TypicalPlant | None:
    """Medians over the pieces that are large enough; None without a single stem.

    How large that is follows from a median weighted by area, which any number of crumbs does not
    move.
    """
    stemmed = [p for p in pieces if p.runs]
    if not stemmed:
        return None
    areas = np.array([p.area for p in stemmed])
    large = areas >= _LARGE_SHARE * _weighted_median(areas, areas)
    stemmed, areas = [p for p, one in zip(stemmed, large, strict=True) if one], areas[large]
    half = _weighted_median(np.array([p.runs[0].half_width for p in stemmed]), areas)
    length = _weighted_median(np.array([p.runs[0].length for p in stemmed]), areas)
    return TypicalPlant(float(np.median(areas)), length, half)


def _weighted_median(values: NDArray[np.float64], weights: NDArray[np.float64]) -> float:
    order = np.argsort(values)
    below = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(below, below[-1] / 2.0)])


def _piece(
    plant: Floats,
    labels: NDArray[Any],
    label: int,
    box: tuple[slice, slice],
    near_edge: Mask | None,
    coarse: int,
) -> Silhouette:
    own = (labels[box] == label).astype(np.uint8)
    size = 2 * _FRINGE_CELLS + 1
    fringe = cv2.dilate(own, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)))
    others = (labels[box] > 0) & (own == 0)
    share = np.where((fringe > 0) & ~others, plant[box], np.float32(0.0)).astype(np.float32)
    mask = _without_pinholes(own)
    skeleton = skeleton_of(mask, coarse)
    touches = own.astype(bool)
    cut = (
        bool(touches[0].any() or touches[-1].any() or touches[:, 0].any() or touches[:, -1].any())
        if near_edge is None
        else bool((touches & near_edge[box]).any())
    )
    return Silhouette(box, share, mask, skeleton, _runs(skeleton), cut, coarse)


def _without_pinholes(own: NDArray[np.uint8], cells: float = _PINHOLE_CELLS) -> Mask:
    """Small holes would each draw a ring in the skeleton."""
    _, holes, stats, _ = cv2.connectedComponentsWithStats(1 - own, connectivity=4)
    small = stats[:, cv2.CC_STAT_AREA] < cells
    small[0] = False
    filled = own.astype(bool)
    return filled | small[holes] if small.any() else filled


def _runs(skeleton: Skeleton) -> tuple[Run, ...]:
    """Slender free ends, the longest first."""
    found = []
    branches = end_branches(skeleton)
    if len(branches) == 2 and len(branches[0]) == len(skeleton.points):
        branches = [branches[0], branches[0][::-1]]
    for branch in branches:
        run = _steady_part(skeleton, branch)
        if run is not None and run.slenderness >= _SLENDER:
            found.append(run)
    return tuple(sorted(found, key=lambda run: -run.length))


def _steady_part(skeleton: Skeleton, branch: Ints) -> Run | None:
    """Take the part of a branch, from its free end, that keeps its width."""
    if len(branch) < _FEWEST:
        return None
    radius = skeleton.radius[branch]
    steps = np.hypot(*np.diff(skeleton.points[branch], axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    first = int(np.argmax(along >= _CORNER * radius))
    if len(branch) - first < _FEWEST:
        return None
    half = min(_medians(radius[first:].tolist()))
    wide = np.flatnonzero((radius > _STEADY * half) & (along > 4.0 * half))
    end = int(wide[0]) if len(wide) else len(branch)
    if end <= first:
        return None
    cells = branch[:end]
    half = float(np.median(radius[first:end]))
    outer = float(np.median(radius[first : min(first + _FEWEST, end)]))
    return Run(cells, float(along[end - 1] + half), half, outer)


def _medians(values: list[float]) -> Iterator[float]:
    """Medians of the first values, of every fourth number from the fewest on."""
    ordered: list[float] = []
    for number, value in enumerate(values, start=1):
        insort(ordered, value)
        if number >= _FEWEST and (number - _FEWEST) % 4 == 0:
            yield (ordered[(number - 1) // 2] + ordered[number // 2]) / 2.0
