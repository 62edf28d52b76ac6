"""Fits a rectangle of known size to the evidence: judges candidates, walks to the best."""

import numpy as np
from numpy.typing import NDArray

from traymorph.tray.evidence import FINE_MM, RimEvidence
from traymorph.tray.outline import (
    RIM_WIDTHS_MM,
    Profiles,
    at_rim_widths,
    canopy_band,
    edge_steps,
    inner_edges,
    lopsidedness,
    other_crops,
    over_sides,
    profiles,
)
from traymorph.tray.scan import FULL, Place

_USUAL_RIM_MM = 9.0
_SCREEN_SAMPLE_MM = 15.0
_SCREENED_AT_ONCE = 40
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
    steps = edge_steps(read)
    unusual = 0.02 * ((RIM_WIDTHS_MM - _USUAL_RIM_MM) / 3.0) ** 2
    by_width = over_sides(read, at_rim_widths(steps)) - unusual[:, None]
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
        some = np.array([[p.x, p.y, p.turn_deg] for p in _separate(judged, _NUDGED)])
        nudged = (some[:, None, :] + moves(size_mm) * step).reshape(-1, 3)
        judged = judge(evidence, nudged, size_mm)
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
    judged = []
    for first in range(0, len(table), _SCREENED_AT_ONCE):
        some = table[first : first + _SCREENED_AT_ONCE]
        value, _ = scores(profiles(evidence, some, size_mm, sample_mm))
        judged += [Place(*(float(n) for n in (*p, v))) for p, v in zip(some, value, strict=True)]
    return judged


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


_Node = tuple[int, int, int]
"""Steps of `_FINEST_STEP_MM` from a start, in x, y and turn."""


class _Walks:
    """Walks over one lattice of places round a start, each of which is judged once.

    Walks that end at the same place meet long before, and every step looks back.
    """

    def __init__(
        self, evidence: RimEvidence, start: Place, size_mm: NDArray[np.float64], sample_mm: float
    ) -> None:
        self._evidence, self._size_mm, self._sample_mm = evidence, size_mm, sample_mm
        self._start = np.array([start.x, start.y, start.turn_deg])
        self._node = moves(size_mm)[1:4].diagonal() * _FINEST_STEP_MM
        self._judged: dict[_Node, tuple[float, float]] = {}

    def walk(self, first: _Node, finest_mm: float) -> tuple[_Node, float]:
        """Walk to the best node near a first one by ever smaller steps; give its score too."""
        here, step = first, round(_FIRST_STEP_MM / _FINEST_STEP_MM)
        while step * _FINEST_STEP_MM >= finest_mm:
            near = [here, *(_moved(here, axis, by) for by in (step, -step) for axis in range(3))]
            scores = [one[0] for one in self._judge(near)]
            best = int(np.argmax(scores))
            here = near[best]
            if best == 0:
                step //= 2
        return here, self._judged[here][0]

    def place(self, node: _Node) -> tuple[Place, float]:
        """Give the place at a node that was judged and the rim's width there."""
        x, y, turn = (float(n) for n in self._at(node))
        score, rim = self._judged[node]
        return Place(x, y, turn, score), rim

    def _at(self, node: _Node) -> NDArray[np.float64]:
        at: NDArray[np.float64] = self._start + np.array(node) * self._node
        return at

    def _judge(self, nodes: list[_Node]) -> list[tuple[float, float]]:
        fresh = [node for node in nodes if node not in self._judged]
        if fresh:
            places = np.array([self._at(node) for node in fresh])
            read = profiles(self._evidence, places, self._size_mm, self._sample_mm)
            judged = zip(*(values.tolist() for values in scores(read)), strict=True)
            self._judged.update(zip(fresh, judged, strict=True))
        return [self._judged[node] for node in nodes]


def _moved(node: _Node, axis: int, by: int) -> _Node:
    x, y, turn = (n + by * (axis == k) for k, n in enumerate(node))
    return x, y, turn


def refine(evidence: RimEvidence, start: Place, size_mm: NDArray[np.float64]) -> Place:
    """Walk to the best place near a start by ever smaller steps, 2 mm at last.

    Parameters
    ----------
    evidence : RimEvidence
        Maps in the plane of the rim.
    start : Place
        Where to begin.
    size_mm : ndarray, shape (2,)
        Inside length and width.

    Returns
    -------
    Place
        The best one.
    """
    walks = _Walks(evidence, start, size_mm, _REFINED_SAMPLE_MM)
    return walks.place(walks.walk((0, 0, 0), _REFINED_STEP_MM)[0])[0]


def settle(
    evidence: RimEvidence, start: Place, size_mm: NDArray[np.float64]
) -> tuple[Place, float]:
    """Walk to the best place near a start, a rim's width to all sides tried too.

    The rim's inner and outer edge look alike, so a walk alone may end with one side on the
    other edge. The last steps are of 0.25 mm.

    Parameters
    ----------
    evidence, start, size_mm
        As of `refine`.

    Returns
    -------
    tuple of (Place, float)
        The best place and the rim's width there.
    """
    walks = _Walks(evidence, start, size_mm, _SAMPLE_MM)
    beside = round(_BESIDE_MM / _FINEST_STEP_MM)
    walked = [
        walks.walk((x, y, 0), _ROUGH_STEP_MM)
        for x in (-beside, 0, beside)
        for y in (-beside, 0, beside)
    ]
    best = max(walked, key=lambda one: one[1])[0]
    ways = [walks.walk(one, _FINEST_STEP_MM) for one in ((0, 0, 0), best)]
    return walks.place(max(ways, key=lambda one: one[1])[0])
