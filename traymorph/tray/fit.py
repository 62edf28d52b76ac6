"""Fits a rectangle of known size to the evidence: judges candidates, walks to the best."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from traymorph.tray.evidence import FINE_MM, RimEvidence
from traymorph.tray.outline import (
    RIM_WIDTHS_MM,
    Profiles,
    canopy_band,
    inner_edges,
    lopsidedness,
    other_crops,
    over_sides,
    profiles,
    steps_at_rim_widths,
)
from traymorph.tray.outline_samples import Outline, outline_of
from traymorph.tray.scan import FULL, Place

_USUAL_RIM_MM = 9.0
_SCREEN_SAMPLE_MM = 15.0
_SAMPLES_AT_ONCE = 8000
"""Of all places judged together: more would need memory and gain no time."""
_FIRST_STEP_MM, _FINEST_STEP_MM = 8.0, 0.25
"""Steps of a walk: where it starts and what the last walk ends with."""
_REFINED_STEP_MM, _REFINED_SAMPLE_MM = 2.0, 10.0
_ROUGH_STEP_MM, _SAMPLE_MM = 1.0, 5.0
_NUDGES_MM, _NUDGED = (12.0, 8.0), 20
_KEPT = 6
_APART_MM, _APART_DEG = 25.0, 4.0
_BESIDE_MM = 10.0
"""Usual width of a rim."""

_INNER_WEIGHT, _WITHIN_WEIGHT, _ENDS_WEIGHT, _FAR_WEIGHT = 1.5, 0.6, 0.3, 0.4
_CROP_WEIGHT, _LOPSIDED_WEIGHT = 0.25, 0.1
"""Weights beside that of the rim's outer edge."""
_LOST_WEIGHT = 2.0
_ASKEW_WEIGHT, _ASKEW_DEG = 0.06, 20.0
"""People hold the phone along the tray: tells the turn of a closed canopy that hides the rim."""
_ACROSS_WEIGHT = 0.1
"""And its longer edges along the tray's: tells where canopies of one crop have grown together."""
_OVERHANG_MM, _OVERHANG_PER_MM = 12.0, 0.25
"""How far leaves usually reach over the rim; grows with their height."""


def scores(read: Profiles) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Judge how well each candidate agrees with a tray's rim and canopy.

    Parameters
    ----------
    read : Profiles
        Profiles of the candidates.

    Returns
    -------
    tuple of ndarray, both of shape (candidates,)
        Score, about 0 for no agreement and 2 for a perfect one, and the rim's width in mm.
    """
    unusual = 0.02 * ((RIM_WIDTHS_MM - _USUAL_RIM_MM) / 3.0) ** 2
    by_width = over_sides(read, steps_at_rim_widths(read)) - unusual[:, None]
    lost = 1.0 - read.held[canopy_band(0.0, 0.0)].mean(axis=(0, 2))
    score = (
        by_width.max(axis=0)
        + _INNER_WEIGHT * inner_edges(read)
        + _canopy_within(read)
        + _CROP_WEIGHT * other_crops(read)
        - _LOPSIDED_WEIGHT * lopsidedness(read)
        - _LOST_WEIGHT * lost
        - _ASKEW_WEIGHT * np.minimum((read.askew_deg / _ASKEW_DEG) ** 2, 1.0)
        - _ACROSS_WEIGHT * read.across
    )
    return score.astype(np.float64), RIM_WIDTHS_MM[np.argmax(by_width, axis=0)]


def _canopy_within(read: Profiles) -> NDArray[np.float64]:
    """Plants just inside the outline less those that end beyond it.

    Plants that go on far beyond belong to a neighbouring tray: they cost a little, however far
    the outline keeps away from them. What lies beyond the photo may as well be plants as not.
    """

    def filled(low: float, high: float) -> NDArray[np.float64]:
        rows = canopy_band(low, high)
        share = np.minimum(read.canopy[rows].mean(axis=0) / FULL, 1.0)
        result: NDArray[np.float64] = share + 0.5 * (1.0 - read.held[rows].mean(axis=0))
        return result

    usual = _OVERHANG_MM + _OVERHANG_PER_MM * read.leaves_above_rim_mm
    inside, near = filled(-24.0, -4.0), filled(usual, usual + 20.0)
    far = filled(92.0, 112.0)
    ends = np.maximum(near - far, 0.0)
    result: NDArray[np.float64] = (
        _WITHIN_WEIGHT * inside - _ENDS_WEIGHT * ends - _FAR_WEIGHT * far
    ).mean(axis=1)
    return result


def best_starts(
    evidence: RimEvidence, places: list[Place], size_mm: NDArray[np.float64]
) -> list[Place]:
    """Pick the places of the coarse scan that are worth a fine fit.

    Parameters
    ----------
    evidence : RimEvidence
        Maps in the plane of the rim.
    places : list of Place
        From the scan.
    size_mm : ndarray, shape (2,)
        Inside length and width.

    Returns
    -------
    list of Place
        At most six, best first, each apart from the others.
    """
    if not places:
        return []
    judged = judge(evidence, np.array([[p.x, p.y, p.turn_deg] for p in places]), size_mm)
    for step in _NUDGES_MM:
        kept = _separate(judged, _NUDGED)
        some = np.array([[p.x, p.y, p.turn_deg] for p in kept])
        nudged = (some[:, None, :] + moves(size_mm)[1:] * step).reshape(-1, 3)
        judged = [*kept, *judge(evidence, nudged, size_mm)]
    return _separate(judged, _KEPT)


def judge(
    evidence: RimEvidence,
    table: NDArray[np.float64],
    size_mm: NDArray[np.float64],
    sample_mm: float = _SCREEN_SAMPLE_MM,
) -> list[Place]:
    """Judge many places.

    Parameters
    ----------
    evidence : RimEvidence
        Maps in the plane of the rim.
    table : ndarray, shape (places, 3)
        Centre (x, y) in cells and turn in degrees.
    size_mm : ndarray, shape (2,)
        Inside length and width.
    sample_mm : float
        Distance of the samples along the outline.
    """
    value, _ = _judged(evidence, table, outline_of(size_mm, sample_mm))
    return [Place(*(float(n) for n in (*p, v))) for p, v in zip(table, value, strict=True)]


def _judged(
    evidence: RimEvidence, table: NDArray[np.float64], outline: Outline
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Scores of many places and the rim's widths there."""
    at_once = max(1, _SAMPLES_AT_ONCE // len(outline.side))
    parts = [
        scores(profiles(evidence, table[first : first + at_once], outline))
        for first in range(0, len(table), at_once)
    ]
    score, rim = (np.concatenate(values) for values in zip(*parts, strict=True))
    return score, rim


def _separate(judged: list[Place], most: int) -> list[Place]:
    kept: list[Place] = []
    for place in sorted(judged, key=lambda p: -p.score):
        if all(_apart(place, other) for other in kept):
            kept.append(place)
        if len(kept) == most:
            break
    return kept


def moves(size_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """No step, and one step each way in x, y and turn that moves the corners about 1 mm."""
    lever = np.degrees(2.0 / float(np.hypot(*size_mm)))
    unit = np.vstack([np.zeros(3), np.eye(3), -np.eye(3)])
    moves: NDArray[np.float64] = unit * np.array([1.0, 1.0, lever * FINE_MM])
    return moves


def _apart(one: Place, other: Place) -> bool:
    turn = abs((one.turn_deg - other.turn_deg + 90.0) % 180.0 - 90.0)
    away = FINE_MM * float(np.hypot(one.x - other.x, one.y - other.y))
    return away > _APART_MM or turn > _APART_DEG


_Node = tuple[int, int, int, int]
"""Number of a start and steps of `_FINEST_STEP_MM` from it in x, y and turn."""


class _Walks:
    """Walks over lattices of places, one round each start; each place is judged once.

    Walks that end at the same place meet long before, and every step looks back. Walks that go
    side by side are judged together.
    """

    def __init__(
        self,
        evidence: RimEvidence,
        starts: list[Place],
        size_mm: NDArray[np.float64],
        sample_mm: float,
    ) -> None:
        self._evidence, self._outline = evidence, outline_of(size_mm, sample_mm)
        self._starts = np.array([[one.x, one.y, one.turn_deg] for one in starts])
        self._node = moves(size_mm)[1:4].diagonal() * _FINEST_STEP_MM
        self._judged: dict[_Node, tuple[float, float]] = {}

    def walk(self, firsts: list[_Node], finest_mm: float) -> list[tuple[_Node, float]]:
        """Walk to the best node near each first one by ever smaller steps; give its score too."""
        ends = list(firsts)
        steps = [round(_FIRST_STEP_MM / _FINEST_STEP_MM)] * len(firsts)
        while on := [k for k, step in enumerate(steps) if step * _FINEST_STEP_MM >= finest_mm]:
            near = {k: _around(ends[k], steps[k]) for k in on}
            self._judge({node: None for nodes in near.values() for node in nodes})
            for k, nodes in near.items():
                best = int(np.argmax([self._judged[node][0] for node in nodes]))
                ends[k] = nodes[best]
                if best == 0:
                    steps[k] //= 2
        return [(node, self._judged[node][0]) for node in ends]

    def place(self, node: _Node) -> tuple[Place, float]:
        """Give the place at a node that was judged and the rim's width there."""
        x, y, turn = (float(n) for n in self._at([node])[0])
        score, rim = self._judged[node]
        return Place(x, y, turn, score), rim

    def _at(self, nodes: list[_Node]) -> NDArray[np.float64]:
        table = np.array(nodes)
        at: NDArray[np.float64] = self._starts[table[:, 0]] + table[:, 1:] * self._node
        return at

    def _judge(self, nodes: Iterable[_Node]) -> None:
        fresh = [node for node in nodes if node not in self._judged]
        if fresh:
            judged = _judged(self._evidence, self._at(fresh), self._outline)
            self._judged.update(
                zip(fresh, zip(*(values.tolist() for values in judged), strict=True), strict=True)
            )


def _around(node: _Node, by: int) -> list[_Node]:
    """Give a node itself and those one step away."""
    start, x, y, turn = node
    near = [node]
    for way in (by, -by):
        near += [
            (start, x + way, y, turn),
            (start, x, y + way, turn),
            (start, x, y, turn + way),
        ]
    return near


def refine(evidence: RimEvidence, starts: list[Place], size_mm: NDArray[np.float64]) -> list[Place]:
    """Walk to the best place near each start by ever smaller steps, 2 mm at last.

    Parameters
    ----------
    evidence : RimEvidence
        Maps in the plane of the rim.
    starts : list of Place
        Where to begin.
    size_mm : ndarray, shape (2,)
        Inside length and width.

    Returns
    -------
    list of Place
        The best one near each start.
    """
    walks = _Walks(evidence, starts, size_mm, _REFINED_SAMPLE_MM)
    ends = walks.walk([(k, 0, 0, 0) for k in range(len(starts))], _REFINED_STEP_MM)
    return [walks.place(node)[0] for node, _ in ends]


def settle(
    evidence: RimEvidence, start: Place, size_mm: NDArray[np.float64]
) -> tuple[Place, float]:
    """Walk to the best place near a start, a rim's width to all sides tried too.

    The rim's inner and outer edge look alike, so a walk alone may end with one side on the
    other edge. The last steps are of 0.25 mm.

    Parameters
    ----------
    evidence, size_mm
        As of `refine`.
    start : Place
        Where to begin.

    Returns
    -------
    tuple of (Place, float)
        The best place and the rim's width there.
    """
    walks = _Walks(evidence, [start], size_mm, _SAMPLE_MM)
    beside = round(_BESIDE_MM / _FINEST_STEP_MM)
    by = (-beside, 0, beside)
    walked = walks.walk([(0, x, y, 0) for x in by for y in by], _ROUGH_STEP_MM)
    best = max(walked, key=lambda one: one[1])[0]
    ways = walks.walk([(0, 0, 0, 0), best], _FINEST_STEP_MM)
    return walks.place(max(ways, key=lambda one: one[1])[0])
