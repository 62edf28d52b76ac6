"""Scans a photo coarsely for places where a tray's opening may lie."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.model.plane_grid import PlaneGrid
from traymorph.tray.evidence import (
    FINE_MM,
    L_UNIT,
    SHARE_UNIT,
    Plane,
    RimEvidence,
    blackness,
)
from traymorph.tray.outline_samples import SQUARE_MM

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
_LIKELIEST = 150
"""So many places are given, by plants and rim and by the rim alone: of 24 rendered trays none was
found from a place farther down than the 77th."""
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


def coarse_places(
    evidences: Sequence[RimEvidence], length_mm: float, width_mm: float
) -> list[list[Place]]:
    """Scan all places and turns for those where the opening may lie.

    Parameters
    ----------
    evidences : sequence of RimEvidence
        Maps of one photo in the plane of the rim, under canopies of several heights.
    length_mm, width_mm : float
        Inside size of the tray.

    Returns
    -------
    list of list of Place
        Under each canopy the likeliest of a few for every turn; empty when the photo shows less
        ground than a tray covers.
    """
    step = COARSE_MM / FINE_MM
    rows, columns = evidences[0].grid.shape
    size = (max(1, round(columns / step)), max(1, round(rows / step)))
    maps = _Maps(evidences, size)
    found: list[tuple[list[Place], ...]] = [([], []) for _ in evidences]
    same_again = 90.0 if abs(length_mm - width_mm) < SQUARE_MM else 180.0
    for turn in np.arange(0.0, same_again, _ANGLE_STEP_DEG):
        scores = _scan(maps.turned(float(turn)), length_mm, width_mm)
        for kinds, more in zip(found, scores, strict=False):
            for places, fresh in zip(kinds, more, strict=True):
                places.extend(fresh)
    return [
        [
            Place((p.x + 0.5) * step - 0.5, (p.y + 0.5) * step - 0.5, p.turn_deg, p.score)
            for places in kinds
            for p in sorted(places, key=lambda p: -p.score)[:_LIKELIEST]
        ]
        for kinds in found
    ]


class _Maps:
    """Coarse maps of one photo: the rim's, and under each canopy what is held and plants."""

    def __init__(self, evidences: Sequence[RimEvidence], size: tuple[int, int]) -> None:
        bare = evidences[0].bare * SHARE_UNIT
        layers = [bare, bare * blackness(evidences[0].lightness * L_UNIT)]
        for evidence in evidences:
            layers += [evidence.canopy_layers[..., k] * SHARE_UNIT for k in (1, 0)]
        shrunk = [cv2.resize(layer, size, interpolation=cv2.INTER_AREA) for layer in layers]
        for k in range(3, len(shrunk), 2):
            stand = cv2.blur(shrunk[k], (_STAND_CELLS, _STAND_CELLS))
            shrunk[k] = np.minimum(stand / FULL, 1.0)
        # four layers are turned in the time of one
        self._fours = [np.dstack(shrunk[k : k + 4]) for k in range(0, len(shrunk), 4)]

    def turned(self, turn: float) -> "_Turned":
        """Turn the maps about their middle, into a square that holds them at any turn."""
        rows, columns = self._fours[0].shape[:2]
        side = int(np.ceil(np.hypot(rows, columns)))
        to_turned: NDArray[np.float64] = np.asarray(
            cv2.getRotationMatrix2D(((columns - 1) / 2, (rows - 1) / 2), turn, 1.0),
            dtype=np.float64,
        )
        to_turned[:, 2] += (side - 1) / 2 - np.array([(columns - 1) / 2, (rows - 1) / 2])
        layers = [
            layer
            for four in self._fours
            for layer in cv2.split(cv2.warpAffine(four, to_turned, (side, side)))
        ]
        bare, black, *canopies = (
            np.asarray(cv2.integral(layer, sdepth=cv2.CV_32F), np.float32) for layer in layers
        )
        pairs = list(zip(canopies[::2], canopies[1::2], strict=True))
        return _Turned(bare, black, pairs, to_turned, turn)


@dataclass(frozen=True, slots=True, eq=False)
class _Turned:
    """Tables of sums of the turned maps: bare, bare and black, and held and plants by canopy."""

    bare: Plane
    black: Plane
    canopies: list[tuple[Plane, Plane]]
    to_turned: NDArray[np.float64]
    turn_deg: float


def _scan(
    maps: _Turned, length_mm: float, width_mm: float
) -> list[tuple[list[Place], list[Place]]]:
    """Score every place at one turn by sums over upright boxes in the turned maps.

    Under each canopy the best places by plants and rim, and those by the rim alone.
    """
    margin = _RING_BEYOND[1]
    reach = (_cells(width_mm + 2 * margin), _cells(length_mm + 2 * margin))
    if max(reach) >= len(maps.bare) - 1:
        return []

    def box(sums: Plane, wider_mm: float) -> Plane:
        return _boxes(sums, reach, (width_mm + 2 * wider_mm, length_mm + 2 * wider_mm))

    def ring(sums: Plane, near_mm: float, far_mm: float) -> Plane:
        return box(sums, far_mm) - box(sums, near_mm)

    rim_cells = 2 * _RING_RIM[1] * (length_mm + width_mm) / COARSE_MM**2
    # black beyond the rim as often as on it is a black bench or a shadow
    far_black = ring(maps.black, *_RING_BEYOND)
    far_black /= np.maximum(ring(maps.bare, *_RING_BEYOND), 0.2 * rim_cells)
    rim_black = ring(maps.black, *_RING_RIM) - far_black * ring(maps.bare, *_RING_RIM)
    rim_black /= rim_cells
    area = _cells(length_mm) * _cells(width_mm)
    beyond_cells = (
        2 * (_RING_BEYOND[1] - _RING_BEYOND[0]) * (length_mm + width_mm + 96) / COARSE_MM**2
    )
    found = []
    for held, canopy in maps.canopies:
        inside, in_view = box(canopy, 0.0) / area, box(held, 0.0) / area
        # what lies beyond the photo may as well be plants as not
        unseen = np.maximum(1.0 - ring(held, *_RING_BEYOND) / beyond_cells, 0.0)
        beyond = ring(canopy, *_RING_BEYOND) / beyond_cells + 0.5 * unseen
        full = max(float(inside.max()), _LEAST_FULL)
        cut_off = 3.0 * np.maximum(_LEAST_IN_VIEW - in_view, 0.0)
        score = (inside - _BEYOND_WEIGHT * beyond) / full + rim_black - cut_off
        # a tray of few plants beside full ones is found by its rim, which they leave bare
        bare: Plane = (rim_black - cut_off).astype(np.float32)
        by_rim = _peaks(bare, _RIMS_PER_TURN, reach, maps)
        found.append((_peaks(score, _PEAKS_PER_TURN, reach, maps), by_rim))
    return found


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


def _peaks(score: Plane, most: int, reach: tuple[int, int], maps: _Turned) -> list[Place]:
    back = cv2.invertAffineTransform(maps.to_turned)
    places = []
    left = score.copy()
    hide = _cells(_PEAKS_APART_MM)
    for _ in range(most):
        row, column = np.unravel_index(int(np.argmax(left)), left.shape)
        turned = np.array([column + (reach[1] - 1) / 2, row + (reach[0] - 1) / 2, 1.0])
        x, y = back @ turned
        if left[row, column] == -np.inf:
            break
        places.append(Place(float(x), float(y), maps.turn_deg, float(score[row, column])))
        left[max(0, row - hide) : row + hide, max(0, column - hide) : column + hide] = -np.inf
    return places


def turned_grid(place: Place, grid: PlaneGrid) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Centre in the card's frame, mm, and unit vector along the length, both of shape (2,)."""
    centre = grid.points_mm(np.array([place.y]), np.array([place.x]))[0]
    turn = np.radians(place.turn_deg)
    return centre, np.array([np.cos(turn), np.sin(turn)])
