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
    resample,
)
from traymorph.cut_plants.nodes import Node, is_ragged, narrowing, widening
from traymorph.cut_plants.skeleton import Rooted, Skeleton

Floats = NDArray[Any]
Points = NDArray[np.float64]

_STEP_MM = 0.3
_FEWEST = 8
"""Points of a line that can be smoothed."""
_MOST_BACK_WIDTHS = 3.0
"""A silhouette forks no later than this after the node, in stem widths."""
_USUAL_BACK_WIDTHS = 1.1
"""Where both are seen, the step to the stalks lies this far before the fork: mean over rendered
boards, with a standard deviation of 0.3."""
CUT_U_WIDTHS = 0.15
_LEAF_U_WIDTHS = 0.4
_STEP_U_WIDTHS, _FORK_U_WIDTHS, _BLADE_U_WIDTHS = 0.2, 0.5, 1.5
"""Standard uncertainties, in stem widths, of the cut, and of a node that is seen as a step in
width, as a fork, and only as the blade's beginning."""


@dataclass(frozen=True, slots=True, eq=False)
class Stem:
    """Stem of a plant.

    Parameters
    ----------
    line : ndarray, shape (n, 2)
        (x, y), cells, from the cut to the node.
    width : float
        Mean along the line, cells.
    ends_u : float
        Standard uncertainty of its length from where cut and node lie, cells.
    way : float
        From the cut to the node along the skeleton, cells; its stair-steps make it longer.
    fork_is_seen : bool
        Whether the node was seen, rather than only where the first blade begins.
    """

    line: Points
    width: float
    ends_u: float
    way: float
    fork_is_seen: bool


def stem_of(
    share: Floats, skeleton: Skeleton, ways: Rooted, node: Node, half_width: float, step_mm: float
) -> Stem | None:
    """Middle line of the stem.

    Parameters
    ----------
    share : ndarray of float32, shape (h, w)
        Share of plant.
    skeleton : Skeleton
        Of the plant.
    ways : Rooted
        From its cut.
    node : Node
        Where the stem ends.
    half_width : float
        Of the stem, cells.
    step_mm : float
        Side of a cell, mm.

    Returns
    -------
    Stem or None
        None where cut and node are too near one another to tell a line.
    """
    path = ways.path(node.cell)
    if len(path) < _FEWEST:
        return None
    found = middle_line(share, skeleton.points[path], half_width)
    end, known = _end(found, node, half_width)
    last = found.points[min(int(np.searchsorted(found.along, end)), len(found.points) - 1)]
    nearest = path[int(np.argmin(np.hypot(*(skeleton.points[path] - last).T)))]
    inside = found.along <= end
    if inside.sum() < _FEWEST // 2:
        return None
    found = MiddleLine(found.points[inside], found.widths[inside])
    line = extend_to_edge(share, found.points, half_width, at_start=True)
    width = found.mean_width
    if not math.isfinite(width):
        width = 2.0 * half_width
    line = resample(line, _STEP_MM / step_mm)
    return Stem(
        line,
        width,
        width * math.hypot(CUT_U_WIDTHS, known),
        way=float(ways.distance[nearest]),
        fork_is_seen=known < _BLADE_U_WIDTHS,
    )


def _end(found: MiddleLine, node: Node, half_width: float) -> tuple[float, float]:
    """Where along the line the stem ends, cells, and how well that is known, stem widths."""
    if node.first_leaf:
        return float(found.along[-1]), _LEAF_U_WIDTHS
    step = narrowing(found, half_width, forked=node.forked)
    if step is not None:
        return step, _STEP_U_WIDTHS
    if not node.forked:
        return float(found.along[-1]), _BLADE_U_WIDTHS
    end = widening(found, half_width)
    if node.at is not None:
        nearest = int(np.argmin(np.hypot(*(found.points - node.at).T)))
        end = min(end, float(found.along[nearest]))
    fork = float(found.along[-1])
    if is_ragged(found, half_width):
        end = min(end, fork - _USUAL_BACK_WIDTHS * 2.0 * half_width)
    return max(end, fork - _MOST_BACK_WIDTHS * 2.0 * half_width), _FORK_U_WIDTHS
