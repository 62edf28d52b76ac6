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
    lightness, bare, canopy : ndarray of float32, shape (candidates, samples, offsets)
        Maps read at ``OFFSETS_MM`` along the outward normals.
    side : ndarray of int, shape (samples,)
        Which side a sample lies on: 0 and 2 run along the length, 1 and 3 along the width.
    """

    lightness: Plane
    bare: Plane
    canopy: Plane
    side: NDArray[np.int64]


def profiles(
    evidence: RimEvidence, places: NDArray[np.float64], size_mm: NDArray[np.float64]
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

    Returns
    -------
    Profiles
        Samples every 5 mm along the outline.
    """
    points, normals, side = _outline(size_mm)
    turn = np.radians(places[:, 2])
    turned = np.stack(
        [np.stack([np.cos(turn), -np.sin(turn)], -1), np.stack([np.sin(turn), np.cos(turn)], -1)], 1
    )  # (candidates, 2, 2)
    reach = points[:, None, :] + OFFSETS_MM[None, :, None] * normals[:, None, :]
    where = np.einsum("cij,soj->csoi", turned, reach) / FINE_MM + places[:, None, None, :2]
    flat = where.reshape(len(places) * len(points), len(OFFSETS_MM), 2).astype(np.float32)
    shape = (len(places), len(points), len(OFFSETS_MM))

    def read(layer: Plane) -> Plane:
        # remap takes at most 32767 rows: fold candidates into rows, samples stay below that
        values = cv2.remap(
            layer,
            np.ascontiguousarray(flat[..., 0]),
            np.ascontiguousarray(flat[..., 1]),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
        )
        return values.reshape(shape).astype(np.float32)

    return Profiles(read(evidence.lightness), read(evidence.bare), read(evidence.canopy), side)


def _outline(
    size_mm: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    half = size_mm / 2
    points, normals, sides = [], [], []
    for side, (axis, sign) in enumerate(((1, -1.0), (0, 1.0), (1, 1.0), (0, -1.0))):
        run = size_mm[1 - axis]
        n = max(2, round(run / _SAMPLE_MM))
        along = (np.arange(n) + 0.5) / n * run - run / 2
        place = np.empty((n, 2))
        place[:, 1 - axis] = along
        place[:, axis] = sign * half[axis]
        normal = np.zeros((n, 2))
        normal[:, axis] = sign
        points.append(place)
        normals.append(normal)
        sides.append(np.full(n, side))
    return np.concatenate(points), np.concatenate(normals), np.concatenate(sides)


def _window(low: float, high: float) -> slice:
    start = int(np.searchsorted(OFFSETS_MM, low))
    return slice(start, int(np.searchsorted(OFFSETS_MM, high, side="right")))


def outer_edges(read: Profiles) -> NDArray[np.float32]:
    """Strength of a step from dark rim to lighter bench at each possible rim width.

    Parameters
    ----------
    read : Profiles
        Profiles of the candidates.

    Returns
    -------
    ndarray of float32, shape (candidates, samples, rim widths)
        -0.5 to 1; 0 where plants hide the place.
    """
    result = []
    for width in RIM_WIDTHS_MM:
        outside, rim = _window(width + 1.0, width + 4.0), _window(width - 3.0, width - 1.0)
        step = read.lightness[..., outside].mean(-1) - read.lightness[..., rim].mean(-1)
        shown = read.bare[..., _window(width - 3.0, width + 4.0)].min(-1)
        result.append(np.clip(step / _EDGE_L, -0.5, 1.0) * shown)
    return np.stack(result, -1).astype(np.float32)


def scores(read: Profiles) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How well each candidate agrees with a tray's rim and canopy.

    Parameters
    ----------
    read : Profiles
        Profiles of the candidates.

    Returns
    -------
    tuple of ndarray, both of shape (candidates,)
        Score, about 0 for no agreement and 2 for a perfect one, and the rim's width in mm.
    """
    edges = outer_edges(read).mean(1)
    by_width = edges - 0.01 * ((RIM_WIDTHS_MM - _USUAL_RIM_MM) / 3.0) ** 2
    best = np.argmax(by_width, axis=1)
    edge = np.take_along_axis(by_width, best[:, None], 1)[:, 0]
    rim = _window(1.0, 5.0)
    black = (blackness(read.lightness[..., rim]) * read.bare[..., rim]).mean((1, 2))
    lip = read.lightness[..., _window(0.0, 2.0)].mean(-1) - read.lightness[
        ..., _window(-4.0, -2.0)
    ].mean(-1)
    shown = read.bare[..., _window(-4.0, 2.0)].min(-1)
    inner = (np.clip(np.abs(lip) / _EDGE_L, 0.0, 1.0) * shown).mean(1)
    inside = read.canopy[..., _window(-10.0, -2.0)].mean((1, 2))
    beyond = read.canopy[..., _window(18.0, 36.0)].mean((1, 2))
    score = edge + 0.3 * black + 0.3 * inner + 0.7 * (inside - beyond)
    return score.astype(np.float64), RIM_WIDTHS_MM[best]


def refine(
    evidence: RimEvidence, start: Place, size_mm: NDArray[np.float64], finest_mm: float
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
        Smallest step, mm.

    Returns
    -------
    tuple of (Place, float)
        The best place and the rim's width there.
    """
    moves = np.array(
        [[dx, dy, dt] for dx in (-1, 0, 1) for dy in (-1, 0, 1) for dt in (-1, 0, 1)], dtype=float
    )
    lever = np.degrees(2.0 / float(np.hypot(*size_mm)))
    here = np.array([start.x, start.y, start.turn_deg])
    step, score, rim = 5.0, -np.inf, _USUAL_RIM_MM
    while step >= finest_mm:
        trial = here + moves * step * np.array([1.0, 1.0, lever * FINE_MM])
        value, widths = scores(profiles(evidence, trial, size_mm))
        best = int(np.argmax(value))
        if value[best] <= score + 1e-6:
            step /= 2.0
            continue
        here, score, rim = trial[best], float(value[best]), float(widths[best])
    return Place(float(here[0]), float(here[1]), float(here[2]), score), rim


def turned_grid(place: Place, grid: PlaneGrid) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Centre in the card's frame, mm, and unit vector along the length, both of shape (2,)."""
    centre = grid.points_mm(np.array([place.y]), np.array([place.x]))[0]
    turn = np.radians(place.turn_deg)
    return centre, np.array([np.cos(turn), np.sin(turn)])
