"""The stem of one plant: from the cut to the node, its middle line and its width."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from traymorph.cut_plants.centre_line import (
    MiddleLine,
    extend_to_edge,
    middle_line,
    polyline_length,
    resample,
)
from traymorph.cut_plants.parting import Parting
from traymorph.cut_plants.skeleton import Ints, Rooted, Skeleton

Floats = NDArray[Any]
Points = NDArray[np.float64]

_STEP_MM = 0.3
_STALK_WIDTHS = 1.5
"""Length of stalk, in stem widths, from which a side branch without a blade is taken for one."""
_BLADE_SHARE = 0.06
"""Share of the plant's blade below which a side branch is a scale or a shred, no leaf."""
_CUT_U_WIDTHS, _FORK_U_WIDTHS, _BLADE_U_WIDTHS = 0.15, 0.35, 1.5
"""Standard uncertainties, in stem widths, of the cut, of a node seen as a fork, and of one that
is only seen as the blade's beginning."""


@dataclass(frozen=True, slots=True, eq=False)
class Stem:
    """Stem of a plant.

    Parameters
    ----------
    line : ndarray, shape (n, 2)
        (x, y), cells, from the cut to the node.
    width : float
        Mean along the line, cells.
    forked : bool
        Whether the stalks were seen to part; else the line ends where a blade begins.
    ends_u : float
        Standard uncertainty of its length from where cut and node lie, cells.
    """

    line: Points
    width: float
    forked: bool
    ends_u: float


def node_of(skeleton: Skeleton, ways: Rooted, parting: Parting, half_width: float) -> tuple[int, bool]:
    """Skeleton cell of the node, and whether stalks part there.

    The first cell from the cut from which two ways lead on to leaves; without one the last cell
    of stem before the largest blade.
    """
    children = ways.children()
    mass = _blade_mass(skeleton, ways, parting)
    total = max(float(mass[ways.root]), 1e-9)
    reach = _reach(ways, children)
    cell = ways.root
    while True:
        ahead = [c for c in children[cell] if mass[c] > 0 or reach[c] > 0]
        if not ahead:
            return cell, False
        leaves = [c for c in ahead if mass[c] / total > _BLADE_SHARE]
        stalks = [
            c
            for c in ahead
            if parting.part[c] == 0 and reach[c] > 2.0 * half_width * _STALK_WIDTHS
        ]
        if len(leaves) >= 2:
            return cell, True
        if len(leaves) == 1 and len(set(leaves + stalks)) > 1:
            pass
        cell = max(ahead, key=lambda c: (mass[c], reach[c]))
        if parting.part[cell] > 0:
            return int(ways.parent[cell]), False


def stem_of(
    share: Floats,
    skeleton: Skeleton,
    ways: Rooted,
    node: tuple[int, bool],
    half_width: float,
    step_mm: float,
) -> Stem | None:
    """Middle line of the stem.

    Returns
    -------
    Stem or None
        None where cut and node are too near one another to tell a line.
    """
    cell, forked = node
    path = ways.path(cell)
    if len(path) < 8:
        return None
    found = middle_line(share, skeleton.points[path], half_width)
    line = extend_to_edge(share, found.points, half_width, at_start=True)
    line = resample(line, _STEP_MM / step_mm)
    width = found.mean_width
    if not math.isfinite(width):
        width = 2.0 * half_width
    node_u = _FORK_U_WIDTHS if forked else _BLADE_U_WIDTHS
    return Stem(line, width, forked, width * math.hypot(_CUT_U_WIDTHS, node_u))


def _blade_mass(skeleton: Skeleton, ways: Rooted, parting: Parting) -> Points:
    """Blade that lies on the ways through each cell, roughly in cells."""
    mass = np.where(parting.part > 0, 2.0 * skeleton.radius, 0.0)
    for cell in ways.outward[::-1]:
        if ways.parent[cell] >= 0:
            mass[ways.parent[cell]] += mass[cell]
    return mass


def _reach(ways: Rooted, children: list[list[int]]) -> Points:
    """How far the longest way leads on from each cell."""
    reach = np.zeros(len(ways.parent))
    for cell in ways.outward[::-1]:
        for child in children[cell]:
            reach[cell] = max(
                reach[cell], reach[child] + ways.distance[child] - ways.distance[cell]
            )
    return reach
