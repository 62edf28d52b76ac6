"""Places a rectangle of known size on the evidence of a tray: a coarse scan, then a fine fit."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.model.plane_grid import PlaneGrid
from traymorph.tray.evidence import FINE_MM, Plane, RimEvidence, blackness

COARSE_MM = 4.0
_ANGLE_STEP_DEG = 3.0
_KEPT = 6
"""Places that the coarse scan hands to the fine fit."""

RIM_WIDTHS_MM = np.arange(5.0, 16.0)
"""How far the rim's outer edge may lie outside the opening."""
_USUAL_RIM_MM = 9.0

_RING_RIM = (0.0, 10.0)
_RING_BEYOND = (14.0, 34.0)
"""Bands outside the opening, mm: the rim, and what lies beyond rim and usual overhang."""

OFFSETS_MM = np.arange(-10.0, 37.0)
"""Distances from the opening's outline at which the fine fit looks, outward positive."""
_SAMPLE_MM = 5.0
_EDGE_L = 15.0
"""Step of lightness that counts as a full edge."""


@dataclass(frozen=True, slots=True)
class Place:
    """A rectangle's centre (cells of the evidence), turn and how well it fits."""

    x: float
    y: float
    turn_deg: float
    score: float


def coarse_places(evidence: RimEvidence, length_mm: float, width_mm: float) -> list[Place]:
    """Scan all places and turns for the best separate places of the opening.

    Parameters
    ----------
    evidence : RimEvidence
        Maps in the plane of the rim.
    length_mm, width_mm : float
        Inside size of the tray.

    Returns
    -------
    list of Place
        At most six, best first; empty when the photo shows less ground than a tray covers.
    """
    step = COARSE_MM / FINE_MM
    rows, columns = evidence.grid.shape
    size = (max(1, round(columns / step)), max(1, round(rows / step)))
    shrunk = [
        cv2.resize(layer, size, interpolation=cv2.INTER_AREA).astype(np.float32)
        for layer in (
            evidence.in_photo,
            evidence.bare,
            evidence.bare * blackness(evidence.lightness),
            evidence.canopy * evidence.in_photo,
        )
    ]
    found: list[Place] = []
    for turn in np.arange(0.0, 180.0, _ANGLE_STEP_DEG):
        found += _scan(shrunk, float(turn), length_mm, width_mm)
    return [
        Place((p.x + 0.5) * step - 0.5, (p.y + 0.5) * step - 0.5, p.turn_deg, p.score)
        for p in _separate(found)
    ]


def _scan(layers: list[Plane], turn: float, length_mm: float, width_mm: float) -> list[Place]:
    """Score every place at one turn by sums over upright boxes in the turned maps."""
    rows, columns = layers[0].shape
    side = int(np.ceil(np.hypot(rows, columns)))
    to_turned: NDArray[np.float64] = np.asarray(
        cv2.getRotationMatrix2D(((columns - 1) / 2, (rows - 1) / 2), turn, 1.0), dtype=np.float64
    )
    to_turned[:, 2] += (side - 1) / 2 - np.array([(columns - 1) / 2, (rows - 1) / 2])
    sums = [
        cv2.integral(cv2.warpAffine(layer, to_turned, (side, side))).astype(np.float64)
        for layer in layers
    ]
    margin = _RING_BEYOND[1]
    reach = (_cells(width_mm + 2 * margin), _cells(length_mm + 2 * margin))
    if reach[0] >= side or reach[1] >= side:
        return []

    def ring(total: NDArray[np.float64], band: tuple[float, float]) -> NDArray[np.float64]:
        outer = _boxes(total, reach, (width_mm + 2 * band[1], length_mm + 2 * band[1]))
        inner = _boxes(total, reach, (width_mm + 2 * band[0], length_mm + 2 * band[0]))
        return outer - inner

    shown, bare, black, canopy = sums
    area = _cells(length_mm) * _cells(width_mm)
    inside = _boxes(canopy, reach, (width_mm, length_mm)) / area
    in_view = _boxes(shown, reach, (width_mm, length_mm)) / area
    beyond = ring(canopy, _RING_BEYOND) / np.maximum(ring(shown, _RING_BEYOND), 1.0)
    rim_cells = 2 * _RING_RIM[1] * (length_mm + width_mm) / COARSE_MM**2
    rim_black = ring(black, _RING_RIM) / np.maximum(ring(bare, _RING_RIM), 0.1 * rim_cells)
    far_black = ring(black, _RING_BEYOND) / np.maximum(ring(bare, _RING_BEYOND), 0.2 * rim_cells)
    score = inside - beyond + 0.6 * (rim_black - far_black) - 3.0 * np.maximum(0.97 - in_view, 0.0)
    return _peaks(score, reach, to_turned, turn)


def _cells(mm: float) -> int:
    return max(1, round(mm / COARSE_MM))


def _boxes(
    total: NDArray[np.float64], reach: tuple[int, int], size_mm: tuple[float, float]
) -> NDArray[np.float64]:
    """Sum over a box centred in a window of ``reach`` cells, for every place of the window."""
    rows, columns = _cells(size_mm[0]), _cells(size_mm[1])
    top, left = (reach[0] - rows) // 2, (reach[1] - columns) // 2
    n_rows, n_columns = total.shape[0] - reach[0], total.shape[1] - reach[1]
    up = total[top : top + n_rows]
    down = total[top + rows : top + rows + n_rows]
    near, far = slice(left, left + n_columns), slice(left + columns, left + columns + n_columns)
    result: NDArray[np.float64] = down[:, far] - up[:, far] - down[:, near] + up[:, near]
    return result


def _peaks(
    score: NDArray[np.float64],
    reach: tuple[int, int],
    to_turned: NDArray[np.float64],
    turn: float,
) -> list[Place]:
    back = cv2.invertAffineTransform(to_turned)
    places = []
    left = score.copy()
    hide = _cells(60.0)
    for _ in range(3):
        row, column = np.unravel_index(int(np.argmax(left)), left.shape)
        turned = np.array([column + (reach[1] - 1) / 2, row + (reach[0] - 1) / 2, 1.0])
        x, y = back @ turned
        places.append(Place(float(x), float(y), turn, float(score[row, column])))
        left[max(0, row - hide) : row + hide, max(0, column - hide) : column + hide] = -np.inf
        if not np.isfinite(left).any():
            break
    return places


def _separate(found: list[Place]) -> list[Place]:
    kept: list[Place] = []
    for place in sorted(found, key=lambda p: -p.score):
        if all(_apart(place, other) for other in kept):
            kept.append(place)
        if len(kept) == _KEPT:
            break
    return kept


def _apart(one: Place, other: Place) -> bool:
    turn = abs((one.turn_deg - other.turn_deg + 90.0) % 180.0 - 90.0)
    return np.hypot(one.x - other.x, one.y - other.y) > _cells(30.0) or turn > 2 * _ANGLE_STEP_DEG


@dataclass(frozen=True, slots=True, eq=False)
class Profiles:
    """What lies across the outline at places along it, for several candidate rectangles.

    Parameters
    ----------
    lightness, bare, canopy : ndarray of float32, shape (offsets, candidates, samples)
        Maps read at ``OFFSETS_MM`` along the outward normals.
    side : ndarray of int, shape (samples,)
        Which side a sample lies on: 0 and 2 run along the length, 1 and 3 along the width.
    """

    lightness: Plane
    bare: Plane
    canopy: Plane
    side: NDArray[np.int64]


def profiles(
    evidence: RimEvidence,
    places: NDArray[np.float64],
    size_mm: NDArray[np.float64],
    sample_mm: float,
) -> Profiles:
    """Read the maps across the outlines of candidate rectangles.

    Parameters
    ----------
    evidence : RimEvidence
        Maps in the plane of the rim.
    places : ndarray, shape (candidates, 3)
        Centre (x, y) in cells and turn in degrees.
    size_mm : ndarray, shape (2,)
        Inside length and width.
    sample_mm : float
        Distance of the samples along the outline.

    Returns
    -------
    Profiles
        One row per offset.
    """
    points, normals, side = _outline(size_mm, sample_mm)
    turn = np.radians(places[:, 2])[:, None]
    cos, sin = np.cos(turn), np.sin(turn)
    offsets = OFFSETS_MM.astype(np.float32)[:, None, None]

    def across(axis: int, by_x: NDArray[np.float64], by_y: NDArray[np.float64]) -> Plane:
        start = (by_x * points[:, 0] + by_y * points[:, 1]) / FINE_MM + places[:, axis, None]
        step = (by_x * normals[:, 0] + by_y * normals[:, 1]) / FINE_MM
        where: Plane = start.astype(np.float32) + offsets * step.astype(np.float32)
        return where.reshape(len(OFFSETS_MM), -1)

    read = cv2.remap(
        evidence.layers,
        across(0, cos, -sin),
        across(1, sin, cos),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
    )
    shape = (len(OFFSETS_MM), len(places), len(points))
    lightness, bare, canopy = (read[..., k].reshape(shape).astype(np.float32) for k in range(3))
    return Profiles(lightness, bare, canopy, side)


def _outline(
    size_mm: NDArray[np.float64], sample_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    half = size_mm / 2
    points, normals, sides = [], [], []
    for side, (axis, sign) in enumerate(((1, -1.0), (0, 1.0), (1, 1.0), (0, -1.0))):
        run = size_mm[1 - axis]
        n = max(2, round(run / sample_mm))
        place = np.empty((n, 2))
        place[:, 1 - axis] = (np.arange(n) + 0.5) / n * run - run / 2
        place[:, axis] = sign * half[axis]
        normal = np.zeros((n, 2))
        normal[:, axis] = sign
        points.append(place)
        normals.append(normal)
        sides.append(np.full(n, side))
    return np.concatenate(points), np.concatenate(normals), np.concatenate(sides)


def _at(offset_mm: float) -> int:
    return round(offset_mm - OFFSETS_MM[0])


def edge_steps(read: Profiles) -> Plane:
    """Strength of a step from dark to lighter ground at each offset.

    The means of 3 mm on either side are compared, 1 mm left out between them.

    Parameters
    ----------
    read : Profiles
        Profiles of the candidates.

    Returns
    -------
    ndarray of float32, shape (offsets - 6, candidates, samples)
        -0.5 to 1, centred 3 mm after the first offset; 0 where plants hide the place.
    """
    light, n = read.lightness, len(OFFSETS_MM) - 6
    sums = light[:-2] + light[1:-1] + light[2:]
    step = (sums[4:] - sums[:n]) / (3.0 * _EDGE_L)
    pairs = np.minimum(read.bare[:-1], read.bare[1:])
    fours = np.minimum(pairs[:-2], pairs[2:])
    shown = np.minimum(fours[:n], fours[3 : n + 3])
    strength: Plane = np.clip(step, -0.5, 1.0) * shown
    return strength


def at_rim_widths(steps: Plane) -> Plane:
    """Pick those edge steps whose offset can be a rim's width, shape (rim widths, ...)."""
    first = _at(float(RIM_WIDTHS_MM[0])) - 3
    return steps[first : first + len(RIM_WIDTHS_MM)]


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
    best = np.argmax(by_width, axis=0)
    rim = slice(_at(1.0), _at(5.0) + 1)
    black = (blackness(read.lightness[rim]) * read.bare[rim]).mean(axis=(0, 2))
    inner = np.abs(steps[_at(0.0) - 3]).mean(axis=1)
    inside = read.canopy[: _at(-2.0) + 1].mean(axis=(0, 2))
    beyond = read.canopy[_at(18.0) :].mean(axis=(0, 2))
    score = by_width.max(axis=0) + 0.3 * black + 0.3 * inner + 0.7 * (inside - beyond)
    return score.astype(np.float64), RIM_WIDTHS_MM[best]


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
        Smallest step, mm; samples along the outline lie ten such steps apart.

    Returns
    -------
    tuple of (Place, float)
        The best place and the rim's width there.
    """
    lever = np.degrees(2.0 / float(np.hypot(*size_mm)))
    moves = np.vstack([np.zeros(3), np.eye(3), -np.eye(3)]) * [1.0, 1.0, lever * FINE_MM]
    here = np.array([start.x, start.y, start.turn_deg])
    sample_mm = max(_SAMPLE_MM, 10.0 * finest_mm)
    step, score, rim = 4.0, -np.inf, _USUAL_RIM_MM
    while step >= finest_mm:
        trial = here + moves * step
        value, widths = scores(profiles(evidence, trial, size_mm, sample_mm))
        best = int(np.argmax(value))
        here, score, rim = trial[best], float(value[best]), float(widths[best])
        if best == 0:
            step /= 2.0
    return Place(float(here[0]), float(here[1]), float(here[2]), score), rim


def turned_grid(place: Place, grid: PlaneGrid) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Centre in the card's frame, mm, and unit vector along the length, both of shape (2,)."""
    centre = grid.points_mm(np.array([place.y]), np.array([place.x]))[0]
    turn = np.radians(place.turn_deg)
    return centre, np.array([np.cos(turn), np.sin(turn)])
