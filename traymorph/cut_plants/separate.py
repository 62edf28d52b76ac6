"""Plants that touch or cross, taken apart along their skeleton.

Two stems that cross are followed straight on: of the three ways to join four arms the one that
turns least. Blades that touch are cut at the neck between them, a blade that touches a stem beside
the stem. What is left must be one plant each, with one cut end and at least one blade; anything
else stays one group.
"""

from dataclasses import dataclass

import numpy as np
from scipy.sparse.csgraph import connected_components

from traymorph.cut_plants.arms import (
    ARM_WIDTHS,
    arm_from,
    heading,
    turn_deg,
    with_bridge,
    without_link,
    without_links,
)
from traymorph.cut_plants.skeleton import Ints, Mask, Skeleton, neighbours, rooted

_NARROW = 1.5
"""Radius of a stem's skeleton over its half width, at most, crossings included."""
_WIDE = 1.8
"""Radius from which a blade is meant."""
_CROSSING_WIDTHS = 3.5
"""Forks closer than this, in stem widths, may be one crossing."""
_TURN_DEG, _CLEARER_DEG = 40.0, 15.0
"""How much a stem may turn in a crossing, and how much more any other joining must turn."""
_NECK = 0.75
"""Radius of a neck over the lesser of the blades' that it joins."""
_MOST_CUTS = 8


@dataclass(frozen=True, slots=True, eq=False)
class Member:
    """One plant's part of a skeleton.

    Parameters
    ----------
    skeleton : Skeleton
        Its cells.
    root : int
        Index of the cell at its cut.
    bridged : ndarray of bool, shape (n,)
        Cells of stem that another part hides.
    """

    skeleton: Skeleton
    root: int
    bridged: Mask

    @classmethod
    def seen(cls, skeleton: Skeleton, root: int) -> "Member":
        """Give a plant of whose stem nothing is hidden."""
        return cls(skeleton, root, np.zeros(len(skeleton.points), bool))


def separate(
    skeleton: Skeleton, feet: list[int], half_width: float, *, at_necks: bool = True
) -> list[Member] | None:
    """Take plants apart.

    Parameters
    ----------
    skeleton : Skeleton
        Of plants that hang together.
    feet : list of int
        Cells at the plants' cuts, two or more.
    half_width : float
        Of their stems, cells.
    at_necks : bool
        Whether blades may be cut apart; a pea's own leaves meet at necks too.

    Returns
    -------
    list of Member or None
        One for each foot; None where the plants cannot be told apart.
    """
    graph = _uncrossed(skeleton, half_width)
    for _ in range(_MOST_CUTS):
        groups = _groups(graph, feet)
        mixed = next((group for group in groups if len(group) > 1), None)
        if mixed is None:
            break
        cut = _cut_between(graph, mixed[0], mixed[1], half_width) if at_necks else None
        if cut is None:
            return None
        graph = cut
    return _members(graph, feet, half_width)


def _groups(graph: Skeleton, feet: list[int]) -> list[list[int]]:
    _, label = connected_components(graph.links, directed=False)
    groups: dict[int, list[int]] = {}
    for foot in feet:
        groups.setdefault(int(label[foot]), []).append(foot)
    return list(groups.values())


def _members(graph: Skeleton, feet: list[int], half_width: float) -> list[Member] | None:
    """One plant per foot; None where one has no blade or a blade has no foot."""
    _, label = connected_components(graph.links, directed=False)
    wide = graph.radius > _WIDE * half_width
    owned = np.isin(label, label[feet])
    if (wide & ~owned).any() or len(set(label[feet])) < len(feet):
        return None
    members = []
    for foot in feet:
        kept = label == label[foot]
        if not (wide & kept).any():
            return None
        members.append(Member.seen(graph.only(kept), int(np.count_nonzero(kept[:foot]))))
    return members


def _cut_between(graph: Skeleton, one: int, other: int, half_width: float) -> Skeleton | None:
    """Cut the narrowest link between two plants' blades; None where there is none."""
    path = rooted(graph, one).path(other)
    radius = graph.radius[path]
    before = np.maximum.accumulate(radius)
    after = np.maximum.accumulate(radius[::-1])[::-1]
    lesser = np.minimum(before, after)
    ratio = np.where(lesser > _WIDE * half_width, radius / lesser, np.inf)
    place = int(np.argmin(ratio))
    if ratio[place] <= _NECK:
        return without_link(graph, int(path[place - 1]), int(path[place]))
    beside = _beside_stem(graph, path, half_width)
    return None if beside is None else without_link(graph, *beside)


def _beside_stem(graph: Skeleton, path: Ints, half_width: float) -> tuple[int, int] | None:
    """Where a way leaves a stem that goes straight on into a blade beside it: (fork, next)."""
    degree = graph.degree
    width = 2.0 * half_width
    for way in (path, path[::-1]):
        for i in range(1, len(way) - 1):
            cell = int(way[i])
            if degree[cell] < 3 or graph.radius[cell] > _NARROW * half_width:
                continue
            others = [int(c) for c in neighbours(graph, cell) if c not in (way[i - 1], way[i + 1])]
            back = heading(graph, cell, int(way[i - 1]), width)
            for other in others:
                arm = arm_from(graph, cell, other, 3.0 * width)
                straight = turn_deg(back, heading(graph, cell, other, width)) < _TURN_DEG / 2.0
                if straight and (graph.radius[arm] < _NARROW * half_width).all():
                    return cell, int(way[i + 1])
    return None


def _uncrossed(skeleton: Skeleton, half_width: float) -> Skeleton:
    """Replace every clear crossing of two stems by two bridges."""
    graph = skeleton
    for cluster in _clusters(skeleton, half_width):
        inside = set(cluster)
        doors = [
            (int(cell), int(out))
            for cell in cluster
            for out in neighbours(graph, int(cell))
            if int(out) not in inside
        ]
        arms = [(cell, out) for cell, out in doors if _is_arm(graph, cell, out, half_width)]
        if len(doors) != 4 or len(arms) != 4:
            continue
        pairs = _straightest(graph, arms, half_width)
        if pairs is not None:
            graph = _bridged(graph, cluster, pairs, half_width)
    return graph


def _clusters(graph: Skeleton, half_width: float) -> list[list[int]]:
    """Forks with the narrow cells between those that lie close together."""
    forks = np.flatnonzero(graph.degree >= 3)
    limit = _CROSSING_WIDTHS * 2.0 * half_width
    near: dict[int, set[int]] = {int(f): {int(f)} for f in forks}
    for fork in forks:
        ways = rooted(graph, int(fork))
        for other in forks[(ways.distance[forks] <= limit) & (forks != fork)]:
            path = ways.path(int(other))
            if (graph.radius[path] <= _NARROW * half_width).all():
                near[int(fork)].update(int(c) for c in path)
    clusters: list[set[int]] = []
    for cells in near.values():
        joined = [c for c in clusters if c & cells]
        clusters = [c for c in clusters if not c & cells]
        clusters.append(cells.union(*joined))
    return [sorted(c) for c in clusters]


def _is_arm(graph: Skeleton, before: int, start: int, half_width: float) -> bool:
    """Whether a stem leads away from a crossing here."""
    arm = arm_from(graph, before, start, ARM_WIDTHS[1] * 2.0 * half_width)
    length = float(np.hypot(*(graph.points[arm[-1]] - graph.points[start])))
    narrow = float(np.median(graph.radius[arm])) <= _NARROW * half_width
    return narrow and length >= 2.0 * half_width


def _straightest(
    graph: Skeleton, arms: list[tuple[int, int]], half_width: float
) -> list[tuple[int, int]] | None:
    """Pairs of arms that go straight on; None where that is not clear."""
    directions = [heading(graph, cell, out, 2.0 * half_width) for cell, out in arms]
    options = []
    for pairing in (((0, 1), (2, 3)), ((0, 2), (1, 3)), ((0, 3), (1, 2))):
        worst = max(turn_deg(directions[i], directions[j]) for i, j in pairing)
        options.append((worst, pairing))
    options.sort()
    if options[0][0] > _TURN_DEG or options[1][0] - options[0][0] < _CLEARER_DEG:
        return None
    return [(arms[i][1], arms[j][1]) for i, j in options[0][1]]


def _bridged(
    graph: Skeleton, cluster: list[int], pairs: list[tuple[int, int]], half_width: float
) -> Skeleton:
    """Unlink a crossing's cells and join its arms by straight bridges."""
    joined = without_links(graph, cluster)
    for start, end in pairs:
        a, b = joined.points[start], joined.points[end]
        pieces = max(round(float(np.hypot(*(b - a)))), 2)
        between = a + np.linspace(0.0, 1.0, pieces + 1)[1:-1, None] * (b - a)
        joined = with_bridge(joined, start, end, between, half_width)
    return joined
