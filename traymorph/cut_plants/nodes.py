"""Where the leaf stalks part.

A silhouette forks later than the plant does: stalks that diverge by a small angle lie over one
another or side by side before a gap opens between them. Two things tell where the stem ends below
the fork. Stalks are thinner than the stem: where one lies over the other the silhouette narrows in
a step. And where they lie side by side their middle lines, continued backwards from where both
edges of each are seen, meet in the node.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from traymorph.cut_plants.centre_line import MiddleLine, distances, middle_line, resample
from traymorph.cut_plants.parting import Parting, local_thickness
from traymorph.cut_plants.skeleton import Ints, Rooted, Skeleton

Floats = NDArray[Any]
Points = NDArray[np.float64]

_LEAST_BLADE_SHARE = 0.06
"""Share of the plant's blade below which a side branch is a scale or a shred, no leaf."""
_STALK_WIDTHS = 2.5
"""Length of stalk, in stem widths, that tells its direction."""
_LEAST_STALK_WIDTHS = 0.6
_BACK_WIDTHS = 4.0
"""How far back from the fork stalks are continued, in stem widths."""
_NARROWED = 0.88
"""Width over the stem's at which a silhouette has narrowed to a stalk."""
_SAME = 0.93
"""Width over the stem's from which a silhouette is as wide as before."""
_WIDENED = 1.06
_CLEAR_OF_NOISE, _CLEAR_FAR = 3.0, 4.0
"""A narrowing over the scatter of the width below it, at least: near a fork, and where it may lie
anywhere along the stem."""
_SUDDEN_WIDTHS = 0.6
"""Length within which a stem gives way to a stalk, in stem widths; a taper takes longer."""
_BEFORE_WIDTHS = (0.4, 2.5)
"""Where, in stem widths below a place, the stem's own width is taken."""
_FORK_WIDTHS, _BLADE_WIDTHS = 3.5, 4.5
"""How far below a fork, or a blade, the stem's end is looked for, in stem widths."""
_AGAIN_WIDTHS = 1.5
"""A silhouette that is as wide as before over this length was only notched."""
_LEAST_LEAF_WIDTHS2 = 1.5
"""Area of a side branch, in squares of the stem's width, from which it holds a leaf."""
_COVERED = 1.35
"""Local thickness over the stem's half width from which a leaf lies over or under the stem."""
_INSIDE_WIDTHS = 0.25
"""How far inside their outline such leaves are attached, in stem widths."""
_LOWEST_NODE = 0.4
"""Share of the way from the cut to a fork or blade below which no node lies."""
_SMOOTH_WIDTHS = 0.15
"""Width of the smoothing of a width profile, in stem widths; a ragged outline is no step."""
_PLACE_CELLS = 0.5
_SCATTER_WIDTHS = 0.15
"""Distance of the places at which the scatter is read, in stem widths: the smoothing's own."""
_FEWEST_PLACES = 10
_MAD_TO_SD = 1.4826
"""Standard deviation over median absolute deviation of a normal distribution."""
_BENT_FROM = 10
"""Points from which a stalk is continued as a parabola."""


@dataclass(frozen=True, slots=True, eq=False)
class Node:
    """End of the stem.

    Parameters
    ----------
    cell : int
        Skeleton cell up to which the stem's silhouette is its own.
    at : ndarray, shape (2,), or None
        (x, y) where the stalks' middles meet; None where no two stalks are seen.
    forked : bool
        Whether stalks or blades were seen to part; else the line ends where a blade begins.
    first_leaf : bool
        Whether it is the first expanded leaf of a plant without seed leaves.
    """

    cell: int
    at: Points | None
    forked: bool
    first_leaf: bool = False


def node_of(
    share: Floats, skeleton: Skeleton, ways: Rooted, parting: Parting, half_width: float
) -> Node:
    """Find the node of one plant.

    Parameters
    ----------
    share : ndarray of float32, shape (h, w)
        Share of plant.
    skeleton : Skeleton
        Of the plant.
    ways : Rooted
        From its cut.
    parting : Parting
        Leaf against stem.
    half_width : float
        Of its stem, cells.

    Returns
    -------
    Node
        At the first place from the cut from which two ways lead on to leaves; without one before
        the largest blade.
    """
    mass = _blade_mass(skeleton, ways, parting)
    children = ways.children()
    cell = ways.root
    while True:
        ahead = children[cell]
        leaves = [c for c in ahead if mass[c] > _LEAST_BLADE_SHARE * mass[ways.root]]
        if len(leaves) >= 2:
            return Node(
                cell, _meeting(share, skeleton, ways, parting, leaves, half_width), forked=True
            )
        if not ahead:
            return Node(cell, None, forked=False)
        following = max(ahead, key=lambda c: mass[c])
        if parting.part[following] > 0:
            return Node(cell, None, forked=False)
        cell = following


def narrowing(found: MiddleLine, half_width: float, *, forked: bool) -> float | None:
    """Where along a stem's middle its silhouette narrows to a stalk's width.

    Parameters
    ----------
    found : MiddleLine
        From the cut to where the silhouette forks or a blade begins.
    half_width : float
        Of the stem, cells.
    forked : bool
        Whether it ends in a fork; the end is then near.

    Returns
    -------
    float or None
        Distance from the line's first point, cells, half way down the step; None where the
        silhouette does not narrow, or widens again to a stem.
    """
    places, widths = _profile(found)
    if len(places) == 0:
        return None
    width = _own_width(places, widths, half_width)
    reach = _FORK_WIDTHS if forked else _BLADE_WIDTHS
    first = max(
        _BEFORE_WIDTHS[1] * width, places[-1] - reach * width, _LOWEST_NODE * float(places[-1])
    )
    widths = gaussian_filter1d(widths, _SMOOTH_WIDTHS * width / _PLACE_CELLS)
    scatter = _scatter(places, widths, first, width)
    least = scatter * (_CLEAR_OF_NOISE if forked else _CLEAR_FAR)
    looked_at = np.flatnonzero(places >= first)
    usual = _widths_before(places, widths, places[looked_at], width)
    narrowed = widths[looked_at] < _NARROWED * usual
    for i, before in zip(looked_at[narrowed], usual[narrowed].tolist(), strict=True):
        ahead = (places >= places[i]) & (places <= places[i] + _AGAIN_WIDTHS * width)
        level = (before + float(widths[ahead].min())) / 2.0
        above = np.flatnonzero(widths[: i + 1] >= level)
        step = float(places[above[-1]]) if len(above) else float(places[i])
        after = widths[(places > step) & (places <= step + _AGAIN_WIDTHS * width)]
        narrow = after[after < before]
        clear = len(narrow) > 0 and before - float(np.median(narrow)) >= least
        if clear and _is_step(places, widths, step, before, width):
            return step
    return None


def is_ragged(found: MiddleLine, half_width: float) -> bool:
    """Whether a stem's outline is too ragged for the usual step to a stalk to be seen at a fork."""
    places, widths = _profile(found)
    if len(places) == 0:
        return False
    width = _own_width(places, widths, half_width)
    widths = gaussian_filter1d(widths, _SMOOTH_WIDTHS * width / _PLACE_CELLS)
    end = float(places[-1]) - _FORK_WIDTHS * width
    return _CLEAR_OF_NOISE * _scatter(places, widths, end, width) > (1.0 - _NARROWED) * width


def _scatter(places: Points, widths: Points, end: float, width: float) -> float:
    """Give the standard deviation of the width along that part of a stem on which no node lies.

    A ragged outline narrows and widens all along. Told from the median deviation, which the few
    places do not move where another stem lies across.
    """
    low = np.flatnonzero((places > width) & (places < end))
    if len(low) < _FEWEST_PLACES:
        return 0.0
    low = low[:: max(round(_SCATTER_WIDTHS * width / _PLACE_CELLS), 1)]
    off = widths[low] - _widths_before(places, widths, places[low], width)
    return _MAD_TO_SD * float(np.median(np.abs(off - np.median(off))))


def _is_step(places: Points, widths: Points, step: float, before: float, width: float) -> bool:
    """Whether a narrowing is sudden, and lasts or ends in a fork."""
    just_before = float(np.interp(step - _SUDDEN_WIDTHS * width, places, widths))
    after = (places > step) & (places <= step + 2.0 * _AGAIN_WIDTHS * width)
    same = (widths[after] > _SAME * before) & (widths[after] < _WIDENED * before)
    again = _PLACE_CELLS * np.count_nonzero(same) >= _AGAIN_WIDTHS * width
    return just_before > _SAME * before and not again


def _own_width(places: Points, widths: Points, half_width: float) -> float:
    """Width of a stem near its upper end; stems taper."""
    near = (places > places[-1] - 16.0 * half_width) & (places < places[-1] - 4.0 * half_width)
    return float(np.median(widths[near])) if near.any() else 2.0 * half_width


def widening(found: MiddleLine, half_width: float) -> float:
    """Where a stem that ends in a fork begins to widen, distance from its first point, cells."""
    places, widths = _profile(found)
    if len(places) == 0:
        return float(found.along[-1])
    width = _own_width(places, widths, half_width)
    before = float(_widths_before(places, widths, places[-1:] - width, width)[0])
    narrow = np.flatnonzero(widths <= _WIDENED * before)
    return float(places[narrow[-1]]) if len(narrow) else float(places[-1])


def _profile(found: MiddleLine) -> tuple[Points, Points]:
    """Width along a line at even places; empty where it was hardly measured."""
    seen = np.isfinite(found.widths)
    if seen.sum() < 4:
        return np.empty(0), np.empty(0)
    along = found.along
    places = np.arange(0.0, along[-1], _PLACE_CELLS)
    return places, np.interp(places, along[seen], found.widths[seen])


def _widths_before(places: Points, widths: Points, at: Points, width: float) -> Points:
    """Give the stem's own width below each of some places, shape of ``at``."""
    low, high = (at - far * width for far in reversed(_BEFORE_WIDTHS))
    begin = np.searchsorted(places, low, side="left")
    counts = np.searchsorted(places, high, side="right") - begin
    before = np.full(len(at), width)
    for count in np.unique(counts[counts > 0]):
        same = counts == count
        before[same] = np.median(widths[begin[same, None] + np.arange(count)], axis=1)
    return before


def first_leaf_of(skeleton: Skeleton, ways: Rooted, half_width: float) -> Node:
    """Where the first expanded leaf of a pea or lentil is attached.

    Parameters
    ----------
    skeleton : Skeleton
        Of the plant.
    ways : Rooted
        From its cut.
    half_width : float
        Of its stem, cells.

    Returns
    -------
    Node
        At the first side branch that holds a leaf, or where the first leaves begin that lie over
        the stem.
    """
    area = _carried(ways, 2.0 * skeleton.radius * _steps(ways))
    children = ways.children()
    least = _LEAST_LEAF_WIDTHS2 * (2.0 * half_width) ** 2
    path = [ways.root]
    fork = None
    while children[path[-1]]:
        following = max(children[path[-1]], key=lambda c: area[c])
        side = sum(area[c] for c in children[path[-1]] if c != following)
        if fork is None and side > least and ways.distance[path[-1]] > 4.0 * half_width:
            fork = len(path) - 1
        path.append(following)
    way = np.array(path)
    wide = _first_wide(local_thickness(skeleton)[way], ways.distance[way], half_width)
    places = [place for place in (fork, wide) if place is not None]
    if not places:
        return Node(int(way[-1]), None, forked=False)
    return Node(int(way[min(places)]), None, forked=True, first_leaf=True)


def _first_wide(thick: Points, along: Points, half_width: float) -> int | None:
    """Index a little inside the first leaves that lie over the stem, or None.

    Leaves of a node spread forwards: they are attached near their end towards the cut.
    """
    starts = np.flatnonzero((thick > _COVERED * half_width) & (along > 4.0 * half_width))
    if len(starts) == 0:
        return None
    inside = along[starts[0]] + _INSIDE_WIDTHS * 2.0 * half_width
    return min(int(np.searchsorted(along, inside)), len(along) - 1)


def _steps(ways: Rooted) -> Points:
    steps = np.where(ways.parent >= 0, ways.distance - ways.distance[ways.parent], 0.0)
    return np.where(np.isfinite(steps), steps, 0.0)


def _carried(ways: Rooted, own: Points) -> Points:
    """Sum over all cells whose way leads through each cell, itself included."""
    total = own.copy()
    for cell in ways.outward[:0:-1]:
        total[ways.parent[cell]] += total[cell]
    return total


def _blade_mass(skeleton: Skeleton, ways: Rooted, parting: Parting) -> Points:
    """Blade that lies on the ways through each cell, roughly in cells."""
    return _carried(ways, np.where(parting.part > 0, 2.0 * skeleton.radius, 0.0))


def _meeting(
    share: Floats,
    skeleton: Skeleton,
    ways: Rooted,
    parting: Parting,
    leaves: list[int],
    half_width: float,
) -> Points | None:
    """Where the middles of two stalks meet, continued backwards; None without two stalks."""
    lines = []
    for leaf in leaves:
        stalk = _stalk(skeleton, ways, parting, leaf, half_width)
        line = _continued(share, skeleton, stalk, half_width)
        if line is not None:
            lines.append(line)
    if len(lines) < 2:
        return None
    meetings = [
        meeting
        for i, one in enumerate(lines)
        for other in lines[i + 1 :]
        if (meeting := _nearest(one, other, half_width)) is not None
    ]
    return np.asarray(np.mean(meetings, axis=0)) if meetings else None


def _stalk(
    skeleton: Skeleton, ways: Rooted, parting: Parting, start: int, half_width: float
) -> Ints:
    """Cells of the stalk that begins with one cell, outwards, no more than tells a direction."""
    children = ways.children()
    way = [start]
    limit = ways.distance[start] + 2.0 * half_width * _STALK_WIDTHS
    while True:
        ahead = [c for c in children[way[-1]] if parting.part[c] == 0]
        if not ahead or ways.distance[way[-1]] > limit:
            return np.array(way, np.intp)
        way.append(max(ahead, key=lambda c: skeleton.radius[c]))


def _continued(share: Floats, skeleton: Skeleton, stalk: Ints, half_width: float) -> Points | None:
    """Continue a stalk's middle backwards, ``_BACK_WIDTHS`` beyond its silhouette; or None."""
    if len(stalk) < 6:
        return None
    half = float(np.median(skeleton.radius[stalk[len(stalk) // 3 :]]))
    found = middle_line(share, skeleton.points[stalk], half)
    clear = np.flatnonzero(np.isfinite(found.widths))
    if len(clear) < 4:
        return None
    points = found.points[clear[0] : clear[-1] + 1]
    along = distances(points)
    if along[-1] < 2.0 * half_width * _LEAST_STALK_WIDTHS:
        return None
    degree = 2 if len(points) >= _BENT_FROM else 1
    back = np.arange(-2.0 * half_width * _BACK_WIDTHS, 0.0, 0.5)
    terms = [np.polyfit(along, points[:, axis], degree) for axis in (0, 1)]
    before = np.column_stack([np.polyval(term, back) for term in terms])
    return np.vstack([before, points])


def _nearest(one: Points, other: Points, half_width: float) -> Points | None:
    """Middle between two lines where they come nearest, if that is as near as they must."""
    one, other = resample(one, 0.5), resample(other, 0.5)
    apart = np.hypot(*(one[:, None, :] - other[None, :, :]).transpose(2, 0, 1))
    i, j = np.unravel_index(int(np.argmin(apart)), apart.shape)
    if apart[i, j] > half_width:
        return None
    return np.asarray((one[i] + other[j]) / 2.0)
