"""Stems that bend back beside, under or over a blade of their own plant.

The silhouette then holds a ring: the blade joins the stem a second time, and the shortest way from
the cut to the blades leaves the stem there. A stem that goes straight on past such a place, on to
where stalks part, is followed on, and the blade hangs on its stalk alone.
"""

from dataclasses import dataclass

import numpy as np
from scipy.sparse.csgraph import connected_components

from traymorph.cut_plants.arms import (
    ARM_WIDTHS,
    Values,
    arm_from,
    heading,
    turn_deg,
    with_bridge,
    without_link,
)
from traymorph.cut_plants.separate import Member
from traymorph.cut_plants.skeleton import Ints, Skeleton, neighbours

_NARROW, _WIDE = 1.5, 1.8
"""Radius of the skeleton over the stem's half width: of a stem at most, of a blade at least."""
_OWN = 1.15
"""Radius over the stem's own, up to which nothing lies beside it."""
_TURN_DEG, _CLEARER_DEG = 40.0, 15.0
"""How much a stem may turn where a blade lies against it, and how much more the way into the blade
turns."""
_ALIKE = (0.75, 1.3)
"""Radius beyond the blade over that before it; stalks are thinner."""
_AS_WIDE = 0.85
"""The same where no stalks are seen to part beyond the blade."""
_BEYOND_WIDTHS, _BEYOND_UNSEEN_WIDTHS = 1.5, 4.0
"""Length of stem beyond the blade, in stem widths: up to where stalks part, and without that."""
_LINK_WIDTHS = 3.0
"""From the middle of a stem into a blade beside it, at most; stalks are longer."""
_HIDDEN_WIDTHS = 8.0
"""Length of stem that a blade hides, at most, in stem widths."""
_MOST = 4
"""Blades that lie against one stem."""


@dataclass(frozen=True, slots=True, eq=False)
class _Stem:
    """A stem from its cut to where a blade is met.

    Parameters
    ----------
    way : list of int
        Its cells.
    radius : float
        Its half width near the end of the way, cells.
    """

    way: list[int]
    radius: float


def past_blades(member: Member, half_width: float) -> Member:
    """Follow a plant's stem past the blades that lie against it.

    Parameters
    ----------
    member : Member
        One plant.
    half_width : float
        Of its stem, cells.

    Returns
    -------
    Member
        Unchanged where no blade lies against its stem.
    """
    graph = member.skeleton
    for _ in range(_MOST):
        freed = _past_next(graph, member.root, half_width)
        if freed is None:
            break
        graph = freed
    bridged = np.zeros(len(graph.points), bool)
    bridged[: len(member.bridged)] = member.bridged
    bridged[len(member.bridged) :] = True
    return Member(graph, member.root, bridged)


def _past_next(graph: Skeleton, root: int, half_width: float) -> Skeleton | None:
    """Part the stem from the next blade that it meets; None where it ends before."""
    way, seen = [root], {root}
    while True:
        ahead = [int(c) for c in neighbours(graph, way[-1]) if int(c) not in seen]
        if not ahead:
            return None
        if graph.radius[way[-1]] > _NARROW * half_width:
            return _bridged(graph, _stem(graph, way, half_width), half_width)
        if len(ahead) > 1:
            return _parted(graph, _stem(graph, way, half_width), ahead, half_width)
        way.append(ahead[0])
        seen.add(ahead[0])


def _stem(graph: Skeleton, way: list[int], half_width: float) -> _Stem:
    radius = graph.radius[way]
    inner = radius[-max(round(0.5 * len(way)), 1) :]
    return _Stem(way, float(np.median(np.minimum(inner, _NARROW * half_width))))


def _parted(graph: Skeleton, stem: _Stem, ahead: list[int], half_width: float) -> Skeleton | None:
    """Cut the link from a fork of the stem into a blade that touches it."""
    fork, width = stem.way[-1], 2.0 * half_width
    if len(stem.way) < 2 or len(ahead) != 2:
        return None
    back = heading(graph, fork, stem.way[-2], width)
    turns = [turn_deg(back, heading(graph, fork, out, width)) for out in ahead]
    on, off = (ahead[i] for i in np.argsort(turns))
    arm = arm_from(graph, fork, on, ARM_WIDTHS[1] * width)
    straight = min(turns) < _TURN_DEG and max(turns) - min(turns) > _CLEARER_DEG
    if not straight or not _is_alike(graph, arm, stem) or not _is_link(graph, fork, off, width):
        return None
    cut = without_link(graph, fork, off)
    sees_node = _leads_on(cut, on, {*stem.way}, half_width)
    return cut if sees_node and _is_whole(cut, fork, half_width) else None


def _is_link(graph: Skeleton, fork: int, start: int, width: float) -> bool:
    """Whether an arm leads into a blade right beside the stem."""
    arm = arm_from(graph, fork, start, _LINK_WIDTHS * width)
    return bool((graph.radius[arm] > _WIDE * width / 2.0).any())


def _bridged(graph: Skeleton, stem: _Stem, half_width: float) -> Skeleton | None:
    """Lead a stem through the blade that hides it, to where it comes out again."""
    own = np.flatnonzero(graph.radius[stem.way[:-1]] <= _OWN * stem.radius)
    if len(own) == 0 or own[-1] < 2:
        return None
    last = int(own[-1])
    start, after = stem.way[last], stem.way[last + 1]
    back = heading(graph, after, start, 2.0 * half_width)
    best: tuple[float, Skeleton] | None = None
    for wide, door in _doors(graph, stem, half_width):
        found = _through(graph, (start, after), (wide, door), back, stem, half_width)
        if found is not None and (best is None or found[0] < best[0]):
            best = found
    return None if best is None else best[1]


def _doors(graph: Skeleton, stem: _Stem, half_width: float) -> list[tuple[int, int]]:
    """Places where a narrow part other than the stem itself leaves a blade: (inside, outside)."""
    narrow = graph.radius <= _NARROW * half_width
    narrow[stem.way] = False
    links = graph.links.tocoo()
    leaving = ~narrow[links.row] & narrow[links.col] & (graph.radius[links.row] > half_width)
    leaving &= ~np.isin(links.row, stem.way[:-1])
    return [
        (int(row), int(column))
        for row, column in zip(links.row[leaving], links.col[leaving], strict=True)
    ]


def _through(
    graph: Skeleton,
    entry: tuple[int, int],
    door: tuple[int, int],
    back: Values,
    stem: _Stem,
    half_width: float,
) -> tuple[float, Skeleton] | None:
    """Degrees by which a stem turns through a blade and the skeleton with it; None: it does not."""
    width = 2.0 * half_width
    arm = arm_from(graph, *door, ARM_WIDTHS[1] * width)
    own = np.flatnonzero(graph.radius[arm] <= _OWN * stem.radius)
    if len(own) < 3 or not _is_alike(graph, arm[own[0] :], stem):
        return None
    first = int(own[0])
    end = int(arm[first])
    before = int(arm[first - 1]) if first else door[0]
    chord = graph.points[end] - graph.points[entry[0]]
    length = float(np.hypot(*chord))
    if not 1.0 < length < _HIDDEN_WIDTHS * width:
        return None
    out = heading(graph, before, end, width)
    turns = turn_deg(back, chord / length), turn_deg(-chord / length, out)
    if max(turns) > _TURN_DEG:
        return None
    between = _bend(graph.points[entry[0]], graph.points[end], -back * length, out * length)
    if not _is_covered(graph, between):
        return None
    cut = without_link(without_link(graph, *entry), before, end)
    joined = with_bridge(cut, entry[0], end, between, stem.radius)
    leads_on = _leads_on(cut, end, {*stem.way}, half_width) or _is_long(cut, before, end, stem)
    return (sum(turns), joined) if leads_on and _is_whole(joined, entry[0], half_width) else None


def _bend(start: Values, end: Values, leaving: Values, coming: Values) -> Values:
    """Points between two ends with their directions: a cubic Hermite curve, about a cell apart."""
    pieces = max(round(float(np.hypot(*(end - start)))), 2)
    t = np.linspace(0.0, 1.0, pieces + 1)[1:-1, None]
    curve: Values = (
        (2 * t**3 - 3 * t**2 + 1) * start
        + (t**3 - 2 * t**2 + t) * leaving
        + (3 * t**2 - 2 * t**3) * end
        + (t**3 - t**2) * coming
    )
    return curve


def _is_alike(graph: Skeleton, arm: Ints, stem: _Stem) -> bool:
    """Whether an arm is as wide as the stem before."""
    ratio = float(np.median(graph.radius[arm])) / stem.radius
    return _ALIKE[0] <= ratio <= _ALIKE[1]


def _is_long(graph: Skeleton, before: int, start: int, stem: _Stem) -> bool:
    """Whether a stem's full width goes on for long."""
    arm = arm_from(graph, before, start, _BEYOND_UNSEEN_WIDTHS * 2.0 * stem.radius)
    radius = graph.radius[arm]
    reached = float(np.hypot(*np.diff(graph.points[arm], axis=0).T).sum())
    wide = float(np.median(radius)) >= _AS_WIDE * stem.radius
    return wide and reached >= _BEYOND_UNSEEN_WIDTHS * 2.0 * stem.radius


def _leads_on(graph: Skeleton, start: int, before: set[int], half_width: float) -> bool:
    """Whether a narrow part leads some way on and then into two blades, or twice into one."""
    seen, front = {start, *before}, [start]
    far, doors = 0.0, 0
    while front:
        cell = front.pop()
        for ahead in (int(c) for c in neighbours(graph, cell) if int(c) not in seen):
            seen.add(ahead)
            if graph.radius[ahead] > _WIDE * half_width:
                doors += 1
                continue
            front.append(ahead)
            far = max(far, float(np.hypot(*(graph.points[ahead] - graph.points[start]))))
    return doors >= 2 and far >= _BEYOND_WIDTHS * 2.0 * half_width


def _is_whole(graph: Skeleton, cell: int, half_width: float) -> bool:
    """Whether every blade still hangs on the plant."""
    _, label = connected_components(graph.links, directed=False)
    return bool((label[graph.radius > _WIDE * half_width] == label[cell]).all())


def _is_covered(graph: Skeleton, points: Values) -> bool:
    """Whether points lie inside the silhouette, which is the discs about its skeleton."""
    apart = ((points[:, None, :] - graph.points[None, :, :]) ** 2).sum(axis=2)
    return bool((apart <= (graph.radius**2)[None, :]).any(axis=1).all())
