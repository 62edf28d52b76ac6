"""Arms of a skeleton: where chains of cells lead, and how they are cut and bridged."""

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix

from traymorph.cut_plants.skeleton import Ints, Skeleton, neighbours

Values = NDArray[np.float64]

ARM_WIDTHS = (0.5, 2.5)
"""Where an arm's direction is taken, in stem widths from where it begins."""


def arm_from(graph: Skeleton, before: int, start: int, length: float) -> Ints:
    """Cells of the chain that begins with ``start``, up to a length or the next fork or end."""
    way = [before, start]
    gone = 0.0
    while gone < length:
        ahead = [int(c) for c in neighbours(graph, way[-1]) if c != way[-2]]
        if len(ahead) != 1:
            break
        gone += float(np.hypot(*(graph.points[ahead[0]] - graph.points[way[-1]])))
        way.append(ahead[0])
    return np.array(way[1:], np.intp)


def heading(graph: Skeleton, before: int, start: int, width: float) -> Values:
    """Give the unit vector in which the chain that begins with ``start`` leads away."""
    arm = arm_from(graph, before, start, ARM_WIDTHS[1] * width)
    points = graph.points[arm]
    first = min(int(ARM_WIDTHS[0] / ARM_WIDTHS[1] * len(points)), len(points) - 1)
    away = points[-1] - points[first] if len(points) > first + 1 else points[-1] - points[0]
    if not away.any():
        away = points[-1] - graph.points[before]
    return np.asarray(away / max(float(np.hypot(*away)), 1e-9))


def turn_deg(one: Values, other: Values) -> float:
    """Degrees by which a way turns that comes in by one arm and leaves by the other."""
    return float(np.degrees(np.arccos(np.clip(-one @ other, -1.0, 1.0))))


def without_links(graph: Skeleton, cells: list[int]) -> Skeleton:
    """Join some cells to nothing; indices stay as they are."""
    kept = np.ones(len(graph.points))
    kept[cells] = 0.0
    scale = csr_matrix((kept, (range(len(kept)), range(len(kept)))))
    links = csr_matrix(scale @ graph.links @ scale)
    links.eliminate_zeros()
    return Skeleton(graph.points, graph.radius, links)


def without_link(graph: Skeleton, one: int, other: int) -> Skeleton:
    """Unlink two neighbours; indices stay as they are."""
    links = graph.links.tocoo()
    ends = np.sort(np.column_stack([links.row, links.col]), axis=1)
    kept = (ends != sorted((one, other))).any(axis=1)
    left = coo_matrix((links.data[kept], (links.row[kept], links.col[kept])), links.shape)
    return Skeleton(graph.points, graph.radius, csr_matrix(left))


def with_bridge(graph: Skeleton, start: int, end: int, between: Values, radius: float) -> Skeleton:
    """Join two cells by new ones.

    Parameters
    ----------
    graph : Skeleton
        Its indices stay as they are.
    start, end : int
        Cells to be joined.
    between : ndarray, shape (n, 2)
        (x, y) of the new cells, which come last; n >= 1.
    radius : float
        Of the new cells.
    """
    count = len(graph.points)
    chain = np.array([start, *range(count, count + len(between)), end])
    points = np.vstack([graph.points, between])
    step = np.hypot(*np.diff(points[chain], axis=0).T)
    links = graph.links.tocoo()
    rows = np.concatenate([links.row, chain[:-1], chain[1:]])
    columns = np.concatenate([links.col, chain[1:], chain[:-1]])
    lengths = np.concatenate([links.data, step, step])
    joined: Any = coo_matrix((lengths, (rows, columns)), (len(points), len(points)))
    radii = np.concatenate([graph.radius, np.full(len(between), radius)])
    return Skeleton(points, radii, csr_matrix(joined))
