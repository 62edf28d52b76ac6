"""What is seen from straight above and infinitely far, by exact projection of triangles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.scenes import meshes

STEP_MM = 0.1
_AT_ONCE = 6_000_000


@dataclass(frozen=True)
class Grid:
    """Points in a plan view, `step` mm apart; the first lies half a step inside x0, y0."""

    x0: float
    y0: float
    rows: int
    columns: int
    step: float = STEP_MM

    @classmethod
    def around(cls, points: NDArray, margin: float = 1.0, step: float = STEP_MM) -> Grid:
        """Grid that holds all points (n, 2 or 3), on whole steps of the plane."""
        low = np.floor((points[:, :2].min(0) - margin) / step) * step
        size = np.ceil((points[:, :2].max(0) + margin - low) / step).astype(int)
        return cls(float(low[0]), float(low[1]), int(size[1]), int(size[0]), step)

    @property
    def cell(self) -> float:
        """Area in mm2 that one point stands for."""
        return self.step**2


def top_faces(mesh: meshes.Mesh, grid: Grid) -> NDArray:
    """Number of the highest triangle at every point of the grid (rows, columns), -1 for none."""
    corners = mesh.vertices.astype(np.float64)[mesh.faces]
    top = np.full(grid.rows * grid.columns, -1, np.int64)
    height = np.full(top.shape, -np.inf)
    place = (corners[..., :2] - [grid.x0, grid.y0]) / grid.step - 0.5
    low = np.maximum(np.ceil(place.min(1) - 1e-9), 0).astype(int)
    high = np.minimum(np.floor(place.max(1) + 1e-9), [grid.columns - 1, grid.rows - 1]).astype(int)
    size = np.maximum(high - low + 1, 0)
    count = size[:, 0] * size[:, 1]
    start = 0
    total = np.cumsum(count)
    while start < len(count):
        done = total[start - 1] if start else 0
        stop = max(int(np.searchsorted(total, done + _AT_ONCE, side="right")), start + 1)
        chosen = np.arange(start, stop)
        _paint(place, corners[..., 2], (low, size, count), chosen, grid.columns, top, height)
        start = stop
    return top.reshape(grid.rows, grid.columns)


def _paint(place: NDArray, z: NDArray, boxes: tuple, chosen: NDArray, columns: int,  # noqa: PLR0917
           top: NDArray, height: NDArray) -> None:  # fmt: skip
    """Put some triangles into the plan where they are higher than what is there."""
    low, size, count = (b[chosen] for b in boxes)
    mine = np.repeat(np.arange(len(chosen)), count)
    within = np.arange(len(mine)) - np.repeat(np.cumsum(count) - count, count)
    x = low[mine, 0] + within % size[mine, 0]
    y = low[mine, 1] + within // size[mine, 0]
    a, b, c = (place[chosen][mine, k] for k in range(3))
    area = _cross(b - a, c - a)
    point = np.stack([x, y], 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        wa, wb = _cross(b - point, c - point) / area, _cross(c - point, a - point) / area
    wc = 1 - wa - wb
    inside = (area != 0) & (wa >= -1e-9) & (wb >= -1e-9) & (wc >= -1e-9)
    mine, at = mine[inside], (y * columns + x)[inside]
    corner = z[chosen][mine]
    level = wa[inside] * corner[:, 0] + wb[inside] * corner[:, 1] + wc[inside] * corner[:, 2]
    order = np.argsort(level, kind="stable")
    mine, at, level = mine[order], at[order], level[order]
    # The last of several writes to one place stays: the highest.
    best, owner = np.full(len(top), -np.inf), np.full(len(top), -1, np.int64)
    best[at], owner[at] = level, chosen[mine]
    over = best > height
    top[over], height[over] = owner[over], best[over]


def _cross(a: NDArray, b: NDArray) -> NDArray:
    return a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]


def heights(mesh: meshes.Mesh, faces: NDArray) -> NDArray:
    """Mean height (mm) of the triangles with these numbers."""
    return mesh.vertices[mesh.faces[faces], 2].mean(1)
