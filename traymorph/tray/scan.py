"""Scans a photo coarsely for places where a tray's opening may lie."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.model.plane_grid import PlaneGrid
from traymorph.tray.evidence import FINE_MM, Plane, RimEvidence, blackness
from traymorph.tray.outline import SQUARE_MM

COARSE_MM = 4.0
_ANGLE_STEP_DEG = 3.0
_LEAST_FULL = 0.2
FULL = 0.5
"""Share of plant from which on a stand counts as full: a sparse crop is no worse a tray."""
_STAND_CELLS = 7
"""Side of the square, in cells, over which that share is taken: wider than gaps between plants."""
_BEYOND_WEIGHT = 0.3
"""Plants beyond the rim speak little against a place: neighbours stand there, leaves hang over."""
_PEAKS_PER_TURN, _RIMS_PER_TURN = 6, 2
_PEAKS_APART_MM = 40.0
_LEAST_IN_VIEW = 0.9

_RING_RIM = (0.0, 10.0)
_RING_BEYOND = (14.0, 34.0)
"""Bands outside the opening, mm: the rim, and what lies beyond rim and usual overhang."""


@dataclass(frozen=True, slots=True)
class Place:
    """A rectangle's centre (cells of the evidence), turn and how well it fits."""

    x: float
    y: float
    turn_deg: float
    score: float


def coarse_places(evidence: RimEvidence, length_mm: float, width_mm: float) -> list[Place]:
    """Scan all places and turns for those where the opening may lie.

    Parameters
    ----------
    evidence : RimEvidence
        Maps in the plane of the rim.
    length_mm, width_mm : float
        Inside size of the tray.

    Returns
    -------
    list of Place
        A few for every turn, in no order; empty when the photo shows less ground than a tray
        covers.
    """
    step = COARSE_MM / FINE_MM
    rows, columns = evidence.grid.shape
    size = (max(1, round(columns / step)), max(1, round(rows / step)))
    lightness, bare = (evidence.rim_layers[..., k] for k in (0, 1))
    canopy, held = (evidence.canopy_layers[..., k] for k in (0, 1))
    layers = [
        cv2.resize(layer, size, interpolation=cv2.INTER_AREA).astype(np.float32)
        for layer in (held, bare, bare * blackness(lightness), canopy)
    ]
    layers[3] = np.minimum(cv2.blur(layers[3], (_STAND_CELLS, _STAND_CELLS)) / FULL, 1.0)
    shrunk = np.dstack(layers)
    found: list[Place] = []
    same_again = 90.0 if abs(length_mm - width_mm) < SQUARE_MM else 180.0
    for turn in np.arange(0.0, same_again, _ANGLE_STEP_DEG):
        found += _scan(shrunk, float(turn), length_mm, width_mm)
    return [
        Place((p.x + 0.5) * step - 0.5, (p.y + 0.5) * step - 0.5, p.turn_deg, p.score)
        for p in found
    ]


def _scan(layers: Plane, turn: float, length_mm: float, width_mm: float) -> list[Place]:
    """Score every place at one turn by sums over upright boxes in the turned maps."""
    rows, columns = layers.shape[:2]
    side = int(np.ceil(np.hypot(rows, columns)))
    to_turned: NDArray[np.float64] = np.asarray(
        cv2.getRotationMatrix2D(((columns - 1) / 2, (rows - 1) / 2), turn, 1.0), dtype=np.float64
    )
    to_turned[:, 2] += (side - 1) / 2 - np.array([(columns - 1) / 2, (rows - 1) / 2])
    # one table of sums for all layers, which come last
    turned = cv2.warpAffine(layers, to_turned, (side, side))
    sums = np.asarray(cv2.integral(turned, sdepth=cv2.CV_32F), np.float32)
    margin = _RING_BEYOND[1]
    reach = (_cells(width_mm + 2 * margin), _cells(length_mm + 2 * margin))
    if reach[0] >= side or reach[1] >= side:
        return []

    def box(wider_mm: float) -> Plane:
        return _boxes(sums, reach, (width_mm + 2 * wider_mm, length_mm + 2 * wider_mm))

    within, rim = box(0.0), box(_RING_RIM[1]) - box(_RING_RIM[0])
    ring = box(_RING_BEYOND[1]) - box(_RING_BEYOND[0])
    area = _cells(length_mm) * _cells(width_mm)
    inside, in_view = within[..., 3] / area, within[..., 0] / area
    beyond_cells = (
        2 * (_RING_BEYOND[1] - _RING_BEYOND[0]) * (length_mm + width_mm + 96) / COARSE_MM**2
    )
    # what lies beyond the photo may as well be plants as not
    unseen = np.maximum(1.0 - ring[..., 0] / beyond_cells, 0.0)
    beyond = ring[..., 3] / beyond_cells + 0.5 * unseen
    rim_cells = 2 * _RING_RIM[1] * (length_mm + width_mm) / COARSE_MM**2
    # black beyond the rim as often as on it is a black bench or a shadow
    far_black = ring[..., 2] / np.maximum(ring[..., 1], 0.2 * rim_cells)
    rim_black = (rim[..., 2] - far_black * rim[..., 1]) / rim_cells
    full = max(float(inside.max()), _LEAST_FULL)
    cut_off = 3.0 * np.maximum(_LEAST_IN_VIEW - in_view, 0.0)
    score = (inside - _BEYOND_WEIGHT * beyond) / full + rim_black - cut_off
    # a tray of few plants beside full ones is found by its rim, which they leave bare
    by_rim = _peaks(rim_black - cut_off, _RIMS_PER_TURN, reach, to_turned, turn)
    return _peaks(score, _PEAKS_PER_TURN, reach, to_turned, turn) + by_rim


def _cells(mm: float) -> int:
    return max(1, round(mm / COARSE_MM))


def _boxes(total: Plane, reach: tuple[int, int], size_mm: tuple[float, float]) -> Plane:
    """Sum over a box centred in a window of ``reach`` cells, for every place of the window."""
    rows, columns = _cells(size_mm[0]), _cells(size_mm[1])
    top, left = (reach[0] - rows) // 2, (reach[1] - columns) // 2
    n_rows, n_columns = total.shape[0] - reach[0], total.shape[1] - reach[1]
    up = total[top : top + n_rows]
    down = total[top + rows : top + rows + n_rows]
    near, far = slice(left, left + n_columns), slice(left + columns, left + columns + n_columns)
    result: Plane = down[:, far] - up[:, far] - down[:, near] + up[:, near]
    return result


def _peaks(
    score: Plane,
    most: int,
    reach: tuple[int, int],
    to_turned: NDArray[np.float64],
    turn: float,
) -> list[Place]:
    back = cv2.invertAffineTransform(to_turned)
    places = []
    left = score.copy()
    hide = _cells(_PEAKS_APART_MM)
    for _ in range(most):
        row, column = np.unravel_index(int(np.argmax(left)), left.shape)
        turned = np.array([column + (reach[1] - 1) / 2, row + (reach[0] - 1) / 2, 1.0])
        x, y = back @ turned
        places.append(Place(float(x), float(y), turn, float(score[row, column])))
        left[max(0, row - hide) : row + hide, max(0, column - hide) : column + hide] = -np.inf
        if not np.isfinite(left).any():
            break
    return places


def turned_grid(place: Place, grid: PlaneGrid) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Centre in the card's frame, mm, and unit vector along the length, both of shape (2,)."""
    centre = grid.points_mm(np.array([place.y]), np.array([place.x]))[0]
    turn = np.radians(place.turn_deg)
    return centre, np.array([np.cos(turn), np.sin(turn)])
