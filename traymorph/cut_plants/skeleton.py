"""The skeleton of a silhouette as a graph of cells."""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import block_diag, coo_matrix, csr_matrix
from scipy.sparse.csgraph import connected_components, dijkstra
from skimage.morphology import skeletonize

Mask = NDArray[np.bool_]
Ints = NDArray[np.intp]
Values = NDArray[np.float64]

_SPUR_SHARE = 0.8
"""A side branch that stands out from the disc at its root by less than this share of the disc's
radius, and by less than two cells, is a corner of the outline and no part."""
_SPUR_CELLS = 2.0
_PRUNINGS = 3
_SHRED_WIDTH, _SHRED_LENGTH = 0.35, 4.0
"""A free end thinner and shorter than this, in half widths of the stem, is a shred of a torn
outline: tendrils, as thin, are longer."""


@dataclass(frozen=True, slots=True, eq=False)
class Skeleton:
    """Cells of a skeleton and how they hang together.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        (x, y), cells.
    radius : ndarray, shape (n,)
        Distance of each from the silhouette's edge, cells.
    links : csr_matrix, shape (n, n)
        Distances of neighbouring cells; symmetric.
    """

    points: Values
    radius: Values
    links: Any

    @property
    def degree(self) -> Ints:
        """Number of neighbours of each cell."""
        return np.asarray(np.diff(self.links.indptr), np.intp)

    def only(self, kept: Mask) -> "Skeleton":
        """Drop the cells that are not kept."""
        return Skeleton(self.points[kept], self.radius[kept], self.links[kept][:, kept])


@dataclass(frozen=True, slots=True, eq=False)
class Rooted:
    """Shortest ways from one cell of a skeleton to all others.

    Parameters
    ----------
    root : int
        Index of the cell.
    distance : ndarray, shape (n,)
        Along the skeleton, cells; infinite where it does not lead.
    parent : ndarray of int, shape (n,)
        The cell before on the way from the root; -1 for the root and what is not reached.
    """

    root: int
    distance: Values
    parent: Ints

    @property
    def outward(self) -> Ints:
        """Reached cells, from the root outwards."""
        order = np.argsort(self.distance, kind="stable")
        return np.asarray(order[np.isfinite(self.distance[order])], np.intp)

    def path(self, to: int) -> Ints:
        """Cells from the root to one cell."""
        way = [to]
        while self.parent[way[-1]] >= 0:
            way.append(int(self.parent[way[-1]]))
        return np.array(way[::-1], np.intp)

    def children(self) -> list[list[int]]:
        """Cells whose way leads directly through each cell."""
        below: list[list[int]] = [[] for _ in self.parent]
        for cell in self.outward:
            if self.parent[cell] >= 0:
                below[self.parent[cell]].append(int(cell))
        return below


def skeleton_of(mask: Mask, coarse: int) -> Skeleton:
    """Skeleton of a silhouette, without the branches that only mark corners of its outline.

    Parameters
    ----------
    mask : ndarray of bool, shape (h, w)
        Inside the silhouette.
    coarse : int
        The skeleton is drawn on squares of this many cells: a stem of twenty cells needs no
        skeleton as fine as one of six.

    Returns
    -------
    Skeleton
        In cells of the mask.
    """
    depth = cv2.distanceTransform(
        np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE
    )
    bone = np.pad(skeletonize(reduced(mask, coarse)), 1)  # type: ignore[no-untyped-call]
    squares = np.argwhere(bone)
    points = np.asarray((squares[:, ::-1] - 0.5) * coarse - 0.5, np.float64)
    at = np.clip(np.round(points[:, ::-1] + 1).astype(int), 0, np.array(depth.shape) - 1)
    radius = np.maximum(depth[at[:, 0], at[:, 1]].astype(np.float64), 0.5)
    found = Skeleton(points, radius, _links(bone, squares) * float(coarse))
    for _ in range(_PRUNINGS):
        spurs = _spurs(found)
        if not spurs.any():
            break
        found = found.only(~spurs)
    return found


def without_shreds(skeleton: Skeleton, half_width: float) -> Skeleton:
    """Leave out the free ends that only follow shreds of an outline.

    The shaded side of a stem may be torn in the mask. Shreds beside its cut would hide that the
    stem ends there.

    Parameters
    ----------
    skeleton : Skeleton
        Of a piece.
    half_width : float
        Of the photo's stems, cells.
    """
    skeleton = _without_lone_rings(skeleton, half_width)
    for _ in range(_PRUNINGS):
        shred = np.zeros(len(skeleton.points), bool)
        for branch in end_branches(skeleton):
            thick = np.flatnonzero(skeleton.radius[branch] >= _SHRED_WIDTH * half_width)
            thin = branch[: thick[0]] if len(thick) else branch
            if len(thin) < 2 or len(thin) == len(skeleton.points):
                continue
            steps = np.diff(skeleton.points[thin], axis=0)
            if np.hypot(steps[:, 0], steps[:, 1]).sum() < _SHRED_LENGTH * half_width:
                shred[thin] = True
        if not shred.any() or shred.all():
            break
        skeleton = skeleton.only(~shred)
        spurs = _spurs(skeleton)
        skeleton = skeleton.only(~spurs)
    return skeleton


def _without_lone_rings(skeleton: Skeleton, half_width: float) -> Skeleton:
    """Cut small rings of thin cells that hang on the rest by a shred."""
    thin = skeleton.radius < _SHRED_WIDTH * half_width
    _, label = connected_components(skeleton.only(thin).links, directed=False)
    cells = np.flatnonzero(thin)
    kept = np.ones(len(thin), bool)
    for number in range(int(label.max(initial=-1)) + 1):
        own = cells[label == number]
        links = skeleton.only(np.isin(np.arange(len(thin)), own)).links
        has_ring = links.nnz // 2 >= len(own)
        if has_ring and len(own) < 2.0 * _SHRED_LENGTH * half_width:
            rest = skeleton.only(kept & ~np.isin(np.arange(len(thin)), own))
            if connected_components(rest.links, directed=False)[0] == 1:
                kept[own] = False
    return skeleton.only(kept)


def reduced(mask: Mask, coarse: int) -> Mask:
    """Squares of ``coarse`` cells of which at least half are inside; the last may reach beyond."""
    if coarse == 1:
        return mask
    rows, columns = (-(-side // coarse) * coarse for side in mask.shape)
    whole = np.zeros((rows, columns), np.float32)
    whole[: mask.shape[0], : mask.shape[1]] = mask
    return np.asarray(
        cv2.resize(
            whole, (columns // coarse, rows // coarse), interpolation=cv2.INTER_AREA
        ) >= 0.5
    )  # fmt: skip


def joined(skeletons: list[Skeleton]) -> Skeleton:
    """Several skeletons as one, in their order, not linked to one another."""
    return Skeleton(
        np.vstack([one.points for one in skeletons]),
        np.concatenate([one.radius for one in skeletons]),
        block_diag([one.links for one in skeletons], format="csr"),
    )


def rooted(skeleton: Skeleton, root: int) -> Rooted:
    """Shortest ways from one cell to all others."""
    distance, parent = dijkstra(
        skeleton.links, directed=False, indices=root, return_predecessors=True
    )
    return Rooted(root, distance, np.where(parent < 0, -1, parent).astype(np.intp))


def end_branches(skeleton: Skeleton) -> list[Ints]:
    """Free ends, each with its cells up to, and without, the first fork or other end."""
    # Lists, since single entries of arrays are slow to read.
    starts, cells = skeleton.links.indptr.tolist(), skeleton.links.indices.tolist()
    branches = []
    for end in np.flatnonzero(skeleton.degree == 1).tolist():
        way, before, cell = [end], -1, end
        while True:
            ahead = [c for c in cells[starts[cell] : starts[cell + 1]] if c != before]
            if len(ahead) != 1 or starts[ahead[0] + 1] - starts[ahead[0]] > 2:
                break
            before, cell = cell, ahead[0]
            way.append(cell)
        branches.append(np.array(way, np.intp))
    return branches


def neighbours(skeleton: Skeleton, cell: int) -> Ints:
    """Cells next to one cell."""
    links = skeleton.links
    return np.asarray(links.indices[links.indptr[cell] : links.indptr[cell + 1]], np.intp)


def _links(bone: Mask, cells: Ints) -> csr_matrix:
    """Neighbours over edges, and over corners where no shared edge neighbour joins them."""
    index = np.full((bone.shape[0] + 2, bone.shape[1] + 2), -1)
    rows, columns = cells[:, 0] + 1, cells[:, 1] + 1
    index[rows, columns] = np.arange(len(cells))
    starts, ends, lengths = [], [], []
    for down, right in ((0, 1), (1, 0), (1, 1), (1, -1)):
        other = index[rows + down, columns + right]
        joined = other >= 0
        if down and right:
            joined &= (index[rows + down, columns] < 0) & (index[rows, columns + right] < 0)
        starts.append(np.flatnonzero(joined))
        ends.append(other[joined])
        lengths.append(np.full(joined.sum(), np.hypot(down, right)))
    start, end, length = (np.concatenate(part) for part in (starts, ends, lengths))
    size = (len(cells), len(cells))
    half = coo_matrix((length, (start, end)), size).tocsr()
    return csr_matrix(half + half.T)


def _spurs(skeleton: Skeleton) -> Mask:
    """Cells of side branches that only mark a corner of the outline."""
    spur = np.zeros(len(skeleton.points), bool)
    degree = skeleton.degree
    shortest: dict[int, float] = {}
    found: list[tuple[float, int, Ints]] = []
    for branch in end_branches(skeleton):
        fork = [int(c) for c in neighbours(skeleton, int(branch[-1])) if degree[c] > 2]
        if not fork:
            continue
        root = fork[0]
        apart = np.hypot(*(skeleton.points[branch[0]] - skeleton.points[root]))
        out = apart + skeleton.radius[branch[0]] - skeleton.radius[root]
        if out < max(_SPUR_SHARE * skeleton.radius[root], _SPUR_CELLS):
            found.append((float(out), root, branch))
            shortest[root] = min(shortest.get(root, np.inf), float(out))
    for out, root, branch in found:
        if out <= shortest[root]:  # one of two at a time: the other then goes on from the fork
            spur[branch] = True
    return spur
