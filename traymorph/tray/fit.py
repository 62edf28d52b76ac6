"""Fits a rectangle of known size to the evidence: judges candidates, walks to the best."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from traymorph.tray.evidence import FINE_MM, RimEvidence
from traymorph.tray.outline import (
    RIM_WIDTHS_MM,
    Profiles,
    at_rim_widths,
    black_rim,
    canopy_band,
    edge_steps,
    inner_edges,
    lopsidedness,
    other_crops,
    profiles,
)
from traymorph.tray.scan import Place

_USUAL_RIM_MM = 9.0
_SCREEN_SAMPLE_MM = 15.0
_SCREENED_AT_ONCE = 40
_SAMPLE_MM = 5.0
_NUDGES_MM, _NUDGED = (12.0, 8.0), 20
_KEPT = 6
_APART_MM, _APART_DEG = 25.0, 4.0
_BESIDE_MM = 10.0
"""Usual width of a rim."""

_BLACK_WEIGHT, _INNER_WEIGHT, _CANOPY_WEIGHT, _CROP_WEIGHT = 0.3, 1.0, 0.7, 0.35
_LOPSIDED_WEIGHT = 0.1
"""A canopy 7 mm off across one axis then costs as much as losing a tenth of the rim's edge."""
_LOST_WEIGHT = 2.0
_ASKEW_WEIGHT, _ASKEW_DEG = 0.06, 20.0
"""People hold the phone along the tray: tells the turn of a closed canopy that hides the rim."""
_ACROSS_WEIGHT = 0.1
"""And its longer edges along the tray's: tells where canopies of one crop have grown together."""
_OVERHANG_MM, _OVERHANG_PER_MM = 12.0, 0.25
"""How far leaves usually reach over the rim; grows with their height."""
_FULL = 0.5
"""Share of plant from which on a stand counts as full: a sparse crop is no worse a tray."""


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
    unusual = 0.01 * ((RIM_WIDTHS_MM - _USUAL_RIM_MM) / 3.0) ** 2
    by_width = at_rim_widths(steps).mean(axis=2) - unusual[:, None]
    lost = 1.0 - read.held[canopy_band(0.0, 0.0)].mean(axis=(0, 2))
    score = (
        by_width.max(axis=0)
        + _BLACK_WEIGHT * black_rim(read)
        + _INNER_WEIGHT * inner_edges(read)
        + _CANOPY_WEIGHT * _canopy_within(read)
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
        share = np.minimum(read.canopy[rows].mean(axis=0) / _FULL, 1.0)
        result: NDArray[np.float64] = share + 0.5 * (1.0 - read.held[rows].mean(axis=0))
        return result

    usual = _OVERHANG_MM + _OVERHANG_PER_MM * read.leaves_above_rim_mm
    inside, near = filled(-24.0, -4.0), filled(usual, usual + 20.0)
    far = filled(92.0, 112.0)
    ends = np.maximum(near - far, 0.0)
    result: NDArray[np.float64] = (inside - 0.7 * ends - 0.3 * far).mean(axis=1)
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
    judged = _judge(evidence, np.array([[p.x, p.y, p.turn_deg] for p in places]), size_mm)
    for step in _NUDGES_MM:
        some = np.array([[p.x, p.y, p.turn_deg] for p in _separate(judged, _NUDGED)])
        nudged = (some[:, None, :] + _moves(size_mm) * step).reshape(-1, 3)
        judged = _judge(evidence, nudged, size_mm)
    return _separate(judged, _KEPT)


def _judge(
    evidence: RimEvidence, table: NDArray[np.float64], size_mm: NDArray[np.float64]
) -> list[Place]:
    judged = []
    for first in range(0, len(table), _SCREENED_AT_ONCE):
        some = table[first : first + _SCREENED_AT_ONCE]
        value, _ = scores(profiles(evidence, some, size_mm, _SCREEN_SAMPLE_MM))
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


def _moves(size_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """No step, and one step each way in x, y and turn that moves the corners about 1 mm."""
    lever = np.degrees(2.0 / float(np.hypot(*size_mm)))
    unit = np.vstack([np.zeros(3), np.eye(3), -np.eye(3)])
    moves: NDArray[np.float64] = unit * np.array([1.0, 1.0, lever * FINE_MM])
    return moves


def _apart(one: Place, other: Place) -> bool:
    turn = abs((one.turn_deg - other.turn_deg + 90.0) % 180.0 - 90.0)
    away = FINE_MM * float(np.hypot(one.x - other.x, one.y - other.y))
    return away > _APART_MM or turn > _APART_DEG


def refine(
    evidence: RimEvidence, start: Place, size_mm: NDArray[np.float64], *, finest_mm: float
) -> tuple[Place, float]:
    """Walk to the best place near a start by ever smaller steps.

    Parameters
    ----------
    evidence : RimEvidence
        Maps in the plane of the rim.
    start : Place
        Where to begin.
    size_mm : ndarray, shape (2,)
        Inside length and width.
    finest_mm : float
        Smallest step, mm; samples along the outline lie five such steps apart, at least 5 mm.

    Returns
    -------
    tuple of (Place, float)
        The best place and the rim's width there.
    """
    moves = _moves(size_mm)
    here = np.array([start.x, start.y, start.turn_deg])
    sample_mm = max(_SAMPLE_MM, 5.0 * finest_mm)
    step, score, rim = 8.0, -np.inf, _USUAL_RIM_MM
    while step >= finest_mm:
        trial = here + moves * step
        value, widths = scores(profiles(evidence, trial, size_mm, sample_mm))
        best = int(np.argmax(value))
        here, score, rim = trial[best], float(value[best]), float(widths[best])
        if best == 0:
            step /= 2.0
    return Place(float(here[0]), float(here[1]), float(here[2]), score), rim


def settle(
    evidence: RimEvidence, start: Place, size_mm: NDArray[np.float64], *, finest_mm: float
) -> tuple[Place, float]:
    """Walk to the best place near a start, a rim's width to all sides tried too.

    The rim's inner and outer edge look alike, so a walk alone may end with one side on the
    other edge.

    Parameters
    ----------
    evidence, start, size_mm, finest_mm
        As of `refine`.

    Returns
    -------
    tuple of (Place, float)
        The best place and the rim's width there.
    """
    steps = (-_BESIDE_MM, 0.0, _BESIDE_MM)
    walked = [
        refine(
            evidence,
            replace(start, x=start.x + x / FINE_MM, y=start.y + y / FINE_MM),
            size_mm,
            finest_mm=1.0,
        )
        for x in steps
        for y in steps
    ]
    best = max(walked, key=lambda one: one[0].score)[0]
    ways = [refine(evidence, one, size_mm, finest_mm=finest_mm) for one in (start, best)]
    return max(ways, key=lambda one: one[0].score)
