"""Measure where the markers' printed edges lie in the photo, to a fraction of a pixel.

A marker's corner is a poor target: blur rounds it, and a phone's tone curve and sharpening push
it inwards. Its straight edges are good ones: across each edge the linear light is integrated
between its dark and its bright side, which gives the place of a blurred step whatever the blur
(the area or moment principle of sub-pixel edges: Tabatabai & Mitchell 1984, IEEE Trans. PAMI
6(2):188-201). What tone curve, sharpening, exposure and ink spread still shift is the same for
all edges, from the bright side towards the dark one, so it is one more unknown of the fit.
"""

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.card.layout import MARKER_CELLS, CardLayout, marker_cells
from traymorph.card.search import to_photo

Floats = NDArray[np.float64]

_SAMPLES = 17
_ALONG = (0.25, 0.5, 0.75)
_ROUNDS = 15
_SETTLED_PX = 0.005
_NEARLY_SETTLED_PX = 0.05
"""In a noisy photo edges come and go between rounds; what still moves less than this is good."""
_FIRST_REACH, _REACH = 0.7, 0.45
"""How far to look across an edge, as a share of the cell: wide first, then short of the next."""
_LEAST_CONTRAST = 0.3
_LEAST_SPREAD_PX = 0.3
_LEAST_EDGES = 14
_SEEN_SHARE = 0.7


@dataclass(frozen=True, slots=True, eq=False)
class EdgeTable:
    """All printed steps between black and white of a card's markers, one cell long each.

    ``start`` and ``stop`` are their ends, mm, shape (n, 2); ``bright`` is the unit vector from
    the black to the white side; ``marker`` numbers the marker in the layout's order.
    """

    start: Floats
    stop: Floats
    bright: Floats
    marker: NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Corners:
    """Marker corners as measured.

    Parameters
    ----------
    places : ndarray, shape (n, 4, 2)
        Corners in the layout, mm, of the markers that could be measured.
    points : ndarray, shape (n, 4, 2)
        The same corners in the photo, px.
    seen : ndarray of bool, shape (markers of the layout,)
        Whether the marker is seen nearly whole.
    homography : ndarray, shape (3, 3)
        From mm to px, over the whole card.
    """

    places: Floats
    points: Floats
    seen: NDArray[np.bool_]
    homography: Floats


def edge_table(layout: CardLayout) -> EdgeTable:
    """List the edges of a layout's markers."""
    return _edge_table(tuple(layout.markers), tuple(map(_key, layout.markers.values())))


def _key(corners: Floats) -> tuple[float, float, float]:
    return float(corners[0, 0]), float(corners[0, 1]), float(corners[2, 0] - corners[0, 0])


@cache
def _edge_table(ids: tuple[int, ...], squares: tuple[tuple[float, float, float], ...]) -> EdgeTable:
    rows = []
    for number, (marker_id, (left, top, side)) in enumerate(zip(ids, squares, strict=True)):
        black = np.pad(marker_cells(marker_id), 1).astype(int)
        step = side / MARKER_CELLS
        # A change from cell (r, c) to (r, c + 1) is an edge along y, to (r + 1, c) one along x.
        for r, c in np.argwhere(np.diff(black, axis=1)):
            to_white = black[r, c] - black[r, c + 1]
            rows.append((c, r - 1, c, r, to_white, 0, number, left, top, step))
        for r, c in np.argwhere(np.diff(black, axis=0)):
            to_white = black[r, c] - black[r + 1, c]
            rows.append((c - 1, r, c, r, 0, to_white, number, left, top, step))
    table = np.array(rows, dtype=np.float64)
    origin, cell = table[:, 7:9], table[:, 9:10]
    return EdgeTable(
        origin + cell * table[:, 0:2],
        origin + cell * table[:, 2:4],
        table[:, 4:6].copy(),
        table[:, 6].astype(np.intp),
    )


def measure_corners(linear: NDArray[np.float32], layout: CardLayout, homography: Floats) -> Corners:
    """Refine a rough mapping from all edges at once, then each marker by its own edges.

    Parameters
    ----------
    linear : ndarray of float32, shape (height, width)
        One channel of the photo in linear light.
    layout : CardLayout
        The card to fit.
    homography : ndarray, shape (3, 3)
        Rough mapping from mm to px, good to a few pixels.

    Returns
    -------
    Corners
        What was measured; markers with too few visible edges are missing from it, all of them
        where the fit does not settle.
    """
    edges = edge_table(layout)
    step = _Step(linear, edges, homography, _FIRST_REACH)
    moved = np.inf
    for _ in range(_ROUNDS):
        good = step.good & (np.abs(step.offset) < step.reach)
        if good.sum() < _LEAST_EDGES:
            return _nothing(layout, homography)
        homography, moved = step.refine(homography, good)
        step = _Step(linear, edges, homography, _REACH)
        if moved < _SETTLED_PX:
            break
    if moved > _NEARLY_SETTLED_PX:
        return _nothing(layout, homography)
    return _by_marker(step, layout, homography)


class _Step:
    """One round of measuring: offsets of all edges from where a mapping puts them.

    ``offset`` is positive where the edge lies farther towards its bright side than predicted.
    """

    def __init__(
        self, linear: NDArray[np.float32], edges: EdgeTable, homography: Floats, reach: float
    ) -> None:
        self.edges = edges
        self.middle_mm = (edges.start + edges.stop) / 2.0
        self.middle = to_photo(homography, self.middle_mm)
        start, stop = to_photo(homography, edges.start), to_photo(homography, edges.stop)
        along = stop - start
        normal = np.column_stack([-along[:, 1], along[:, 0]])
        normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
        cell = np.linalg.norm(edges.stop - edges.start, axis=1)[:, None]
        bright = to_photo(homography, self.middle_mm + cell * edges.bright) - self.middle
        sign = np.sign(np.sum(normal * bright, axis=1))
        self.normal = normal * sign[:, None]
        depth = np.abs(np.sum(self.normal * bright, axis=1))
        self.reach = np.clip(reach * depth, 1.2, 5.0)
        profile = self._profiles(linear, start, along)
        low = profile[:, :2].mean(axis=1)
        high = profile[:, -2:].mean(axis=1)
        self.contrast = high - low
        usual = max(float(np.percentile(self.contrast, 75)), 1e-4)
        self.good = self.contrast > _LEAST_CONTRAST * usual
        safe = np.where(self.good, self.contrast, 1.0)
        share = (profile - low[:, None]) / safe[:, None]
        bright_share = (share[:, :-1] + share[:, 1:]).mean(axis=1) / 2.0
        self.offset = self.reach * (1.0 - 2.0 * bright_share)

    def _profiles(self, linear: NDArray[np.float32], start: Floats, along: Floats) -> Floats:
        """Light across each edge from its dark to its bright side, shape (n, samples)."""
        across = np.linspace(-1.0, 1.0, _SAMPLES)[None, :] * self.reach[:, None]
        total = np.zeros((len(start), _SAMPLES))
        for part in _ALONG:
            points = (start + part * along)[:, None, :] + across[:, :, None] * self.normal[:, None]
            maps = points.astype(np.float32)
            total += cv2.remap(
                linear,
                maps[:, :, 0],
                maps[:, :, 1],
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            )
        inside = (self.middle >= 0) & (self.middle <= np.array(linear.shape[::-1]) - 1.0)
        total[~inside.all(axis=1)] = 0.0
        return total / len(_ALONG)

    def refine(self, homography: Floats, good: NDArray[np.bool_]) -> tuple[Floats, float]:
        """Correct the mapping by least squares, with a common shift towards the dark.

        Also tells how far the edges moved on average, px.
        """
        x, y = self.middle_mm[:, 0], self.middle_mm[:, 1]
        w = homography[2, 0] * x + homography[2, 1] * y + homography[2, 2]
        u, v = self.middle[:, 0], self.middle[:, 1]
        nx, ny = self.normal[:, 0] / w, self.normal[:, 1] / w
        pull = -(nx * u + ny * v)
        design = np.column_stack(
            [nx * x, nx * y, nx, ny * x, ny * y, ny, pull * x, pull * y, np.ones_like(x)]
        )
        scale = np.linalg.norm(design[good], axis=0)
        weight = np.ones(int(good.sum()))
        target = self.offset[good]
        for _ in range(4):
            root = np.sqrt(weight)[:, None]
            solved, *_ = np.linalg.lstsq(
                design[good] / scale * root, target * root[:, 0], rcond=None
            )
            residual = target - design[good] / scale @ solved
            width = max(0.05, 1.4826 * float(np.median(np.abs(residual))))
            weight = 1.0 / (1.0 + (residual / (2.0 * width)) ** 2)
        delta = solved / scale
        updated = homography + np.append(delta[:8], 0.0).reshape(3, 3)
        return updated, float(np.mean(np.abs(design[:, :8] @ delta[:8])))


def _nothing(layout: CardLayout, homography: Floats) -> Corners:
    empty = np.zeros((0, 4, 2))
    return Corners(empty, empty, np.zeros(len(layout.markers), dtype=bool), homography)


def _by_marker(step: _Step, layout: CardLayout, homography: Floats) -> Corners:
    """Corners of every marker that is seen nearly whole, from its own edges."""
    shift = float(np.median(step.offset[step.good]))
    usual = 1.4826 * float(np.median(np.abs(step.offset[step.good] - shift)))
    good = step.good & (np.abs(step.offset - shift) < max(_LEAST_SPREAD_PX, 4.0 * usual))
    places, points = [], []
    seen = np.zeros(len(layout.markers), dtype=bool)
    for number, corners_mm in enumerate(layout.markers.values()):
        own = step.edges.marker == number
        use = own & good
        seen[number] = use.sum() >= _SEEN_SHARE * own.sum()
        if seen[number]:
            corners = to_photo(homography, corners_mm)
            points.append(corners + _local_shift(step, use, corners, shift))
            places.append(corners_mm)
    shape = (len(places), 4, 2)
    return Corners(
        np.array(places).reshape(shape), np.array(points).reshape(shape), seen, homography
    )


def _local_shift(step: _Step, use: NDArray[np.bool_], corners: Floats, shift: float) -> Floats:
    """Displacement of a marker's corners: the affine field that its edges' offsets show."""
    centre = corners.mean(axis=0)
    size = float(np.ptp(corners, axis=0).max())
    at = (step.middle[use] - centre) / size
    nx, ny = step.normal[use, 0], step.normal[use, 1]
    design = np.column_stack([nx, nx * at[:, 0], nx * at[:, 1], ny, ny * at[:, 0], ny * at[:, 1]])
    solved, *_ = np.linalg.lstsq(design, step.offset[use] - shift, rcond=None)
    where = (corners - centre) / size
    basis = np.column_stack([np.ones(4), where])
    return np.column_stack([basis @ solved[:3], basis @ solved[3:]])
