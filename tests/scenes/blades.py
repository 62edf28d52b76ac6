"""Leaf blades: closed outlines of several shapes, bent, folded and cupped without stretching."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from tests.scenes import meshes

CORNERS = 16
RINGS = (0.55, 1.0)


@dataclass(frozen=True)
class Outline:
    """Shape of a blade of length 1 and width 1, stalk at x = 0.

    Attributes
    ----------
    ovate : wider towards the stalk (> 0) or the tip (< 0)
    notch : depth of the notch at the tip (heart-shaped seed leaves of radish)
    base_notch : depth of the notch at the stalk
    square : below 1 fuller than an ellipse, above 1 pointed
    lobes : height of the lobes or teeth of the margin
    lobe_count : number of lobes around the margin
    """

    ovate: float = 0.0
    notch: float = 0.0
    base_notch: float = 0.0
    square: float = 1.0
    lobes: float = 0.0
    lobe_count: int = 7

    def points(self, corners: int = CORNERS) -> NDArray:
        """Outline (corners, 2) in blade lengths and blade widths, y from -0.5 to 0.5."""
        t = np.arange(corners) * (2 * np.pi / corners)
        c, s = np.cos(t), np.sin(t)
        x = 0.5 + 0.5 * np.sign(c) * np.abs(c) ** self.square
        y = 0.5 * np.sign(s) * np.abs(s) ** self.square
        y = y * (1 - self.ovate * (2 * x - 1))
        reach = 1 + self.lobes * np.cos(self.lobe_count * t)
        x, y = 0.5 + (x - 0.5) * reach, y * reach
        near_axis = np.exp(-((y / 0.2) ** 2))
        x = x - self.notch * near_axis * (c > 0) * np.abs(c)
        x = x + self.base_notch * near_axis * (c < 0) * np.abs(c)
        x = (x - x[corners // 2]) / (x.max() - x[corners // 2])
        return np.stack([x, y / (y.max() - y.min())], axis=1)

    def area(self) -> float:
        """Area of the outline for length 1 and width 1."""
        x, y = self.points().T
        return 0.5 * abs(float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))))


@dataclass
class Blades:
    """A set of blades; every field holds one entry for each blade.

    Attributes
    ----------
    origin, axis, normal : (n, 3) end of the stalk (mm), direction of the midrib, upper side
    length, width : (n,) mm
    outline : (n, CORNERS, 2)
    fold : (n,) angle in rad by which each half is raised along the midrib
    cup, bend : (n,) 1/mm curvature across (edges up) and along (tip down)
    twist : (n,) rad over the blade's length
    tile : (n,) tile of the leaf texture
    plant : (n,) number of the plant
    yellowed : (n,) bool
    """

    origin: NDArray
    axis: NDArray
    normal: NDArray
    length: NDArray
    width: NDArray
    outline: NDArray
    fold: NDArray
    cup: NDArray
    bend: NDArray
    twist: NDArray
    tile: NDArray
    plant: NDArray
    yellowed: NDArray

    def __len__(self) -> int:
        return len(self.length)

    def flat_areas(self) -> NDArray:
        """Area (n,) in mm2 of each blade laid flat."""
        x, y = self.outline[..., 0], self.outline[..., 1]
        shape = np.sum(x * np.roll(y, -1, 1) - y * np.roll(x, -1, 1), axis=1)
        return 0.5 * np.abs(shape) * self.length * self.width

    def tips(self) -> NDArray:
        """Place (n, 3) of the tips in mm."""
        return self._place(np.stack([self.length, np.zeros(len(self))], 1)[:, None])[:, 0]

    def _place(self, flat: NDArray) -> NDArray:
        """Bend flat points (n, v, 2) in mm and put them where the blades are, (n, v, 3)."""
        x, y = flat[..., 0], flat[..., 1]
        reach = np.abs(y)
        cup = _away_from_zero(self.cup)[:, None]
        fold = self.fold[:, None]
        side = np.sign(y) * (np.sin(fold + cup * reach) - np.sin(fold)) / cup
        rise = (np.cos(fold) - np.cos(fold + cup * reach)) / cup
        bend = _away_from_zero(self.bend)[:, None]
        along = np.sin(bend * x) / bend + rise * np.sin(bend * x)
        lift = -(1 - np.cos(bend * x)) / bend + rise * np.cos(bend * x)
        roll = self.twist[:, None] * x / self.length[:, None]
        side, lift = (
            side * np.cos(roll) - lift * np.sin(roll),
            side * np.sin(roll) + lift * np.cos(roll),
        )
        wide = np.cross(self.normal, self.axis)
        return (
            self.origin[:, None]
            + along[..., None] * self.axis[:, None]
            + side[..., None] * wide[:, None]
            + lift[..., None] * self.normal[:, None]
        )

    def mesh(self, tiles_per_side: int, first_blade: int = 0,
             ring_shares: tuple[float, ...] = RINGS) -> meshes.Mesh:  # fmt: skip
        """Triangles of all blades, with their places in a texture of square tiles."""
        n, corners = len(self), self.outline.shape[1]
        centre = np.array([0.5, 0.0])
        rings = [centre + (self.outline - centre) * r for r in ring_shares]
        points = np.concatenate([np.broadcast_to(centre, (n, 1, 2)), *rings], axis=1)
        flat = points * np.stack([self.length, self.width], 1)[:, None]
        place = np.clip(points + np.array([0.0, 0.5]), 0.0, 1.0) * 0.92 + 0.04
        row, column = np.divmod(self.tile, tiles_per_side)
        uv = (place + np.stack([column, row], 1)[:, None]) / tiles_per_side
        faces = _fan(corners, len(ring_shares))
        v = points.shape[1]
        all_faces = (faces[None] + (np.arange(n) * v)[:, None, None]).reshape(-1, 3)
        return meshes.make(
            self._place(flat).reshape(-1, 3),
            all_faces,
            part=meshes.LEAF,
            uv=uv.reshape(-1, 2),
            plant=np.repeat(self.plant, len(faces)),
            blade=np.repeat(np.arange(n) + first_blade, len(faces)),
        )


def join(parts: list[Blades]) -> Blades:
    """Join sets of blades into one."""
    names = [f.name for f in fields(Blades)]
    return Blades(*(np.concatenate([getattr(p, name) for p in parts]) for name in names))


def _away_from_zero(curvature: NDArray, least: float = 1e-6) -> NDArray:
    return np.where(np.abs(curvature) < least, least, curvature)


def _fan(corners: int, rings: int) -> NDArray:
    i = np.arange(corners)
    j = (i + 1) % corners
    faces = [np.stack([np.zeros_like(i), 1 + i, 1 + j], 1)]
    for ring in range(rings - 1):
        a, b = 1 + ring * corners, 1 + (ring + 1) * corners
        faces += [np.stack([a + i, b + i, b + j], 1), np.stack([a + i, b + j, a + j], 1)]
    return np.concatenate(faces)
