"""Triangle meshes that know what each triangle is part of. Units are mm, z points up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]

# Values of the class masks.
OTHER, LEAF, STEM, CARD, MEDIUM, TRAY, GREENERY, HULL = range(8)


@dataclass
class Mesh:
    """Triangles with a colour or a place in a texture, and the part each one belongs to.

    Attributes
    ----------
    vertices : (n, 3) mm
    faces : (m, 3) indices into `vertices`
    colour : (n, 3) linear reflectance (unused where a texture is)
    uv : (n, 2) place in the texture, 0..1
    part : (m,) class of the triangle, as in the masks
    plant : (m,) number of the plant, -1 for none
    blade : (m,) number of the blade, -1 for none
    """

    vertices: NDArray
    faces: NDArray
    colour: NDArray
    uv: NDArray
    part: NDArray
    plant: NDArray
    blade: NDArray

    def areas(self) -> NDArray:
        """Area of every triangle in mm2."""
        a, b, c = (self.vertices[self.faces[:, k]].astype(np.float64) for k in range(3))
        return 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)

    def recast(self, part: int) -> Mesh:
        """Give the same mesh with every triangle in one class and in no plant."""
        none = np.full(len(self.faces), -1, np.int32)
        return Mesh(
            self.vertices, self.faces, self.colour, self.uv,
            np.full(len(self.faces), part, np.uint8), none, none,
        )  # fmt: skip

    def moved(self, offset: NDArray) -> Mesh:
        """Give the mesh shifted by `offset` (3,) mm."""
        moved = (self.vertices + np.asarray(offset)).astype(np.float32)
        return Mesh(moved, self.faces, self.colour, self.uv, self.part, self.plant, self.blade)


def make(
    vertices: NDArray,
    faces: NDArray,
    *,
    part: int,
    colour: NDArray | None = None,
    uv: NDArray | None = None,
    plant: NDArray | None = None,
    blade: NDArray | None = None,
) -> Mesh:
    """Put a mesh together; what is not given is zero (colour, uv) or -1 (plant, blade)."""
    n, m = len(vertices), len(faces)
    tint = np.zeros((n, 3)) if colour is None else np.broadcast_to(colour, (n, 3))
    return Mesh(
        np.ascontiguousarray(vertices, np.float32),
        np.ascontiguousarray(faces, np.uint32),
        np.ascontiguousarray(tint, np.float32),
        np.zeros((n, 2), np.float32) if uv is None else np.ascontiguousarray(uv, np.float32),
        np.full(m, part, np.uint8),
        np.full(m, -1, np.int32) if plant is None else np.asarray(plant, np.int32),
        np.full(m, -1, np.int32) if blade is None else np.asarray(blade, np.int32),
    )


def join(parts: list[Mesh]) -> Mesh:
    """Join meshes into one."""
    starts = np.cumsum([0] + [len(p.vertices) for p in parts])
    faces = [p.faces + np.uint32(s) for p, s in zip(parts, starts, strict=False)]
    named = ("colour", "uv", "part", "plant", "blade")
    return Mesh(
        np.concatenate([p.vertices for p in parts]),
        np.concatenate(faces).astype(np.uint32),
        *(np.concatenate([getattr(p, name) for p in parts]) for name in named),
    )


def unit(v: NDArray) -> NDArray:
    """Scale vectors (last axis) to length 1."""
    return v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-9)


def across(axis: NDArray, towards: NDArray) -> NDArray:
    """Part of `towards` at right angles to the unit vectors `axis`, scaled to length 1."""
    return unit(towards - axis * np.sum(axis * towards, axis=-1, keepdims=True))


def tubes(
    centres: NDArray,
    radii: NDArray,
    colours: NDArray,
    *,
    part: int,
    plant: NDArray | None = None,
    sides: int = 6,
    lying: bool = False,
) -> Mesh:
    """Tubes along polylines.

    Parameters
    ----------
    centres : (n, k, 3) mm
    radii : (n, k) mm
    colours : (n, k, 3) linear reflectance
    part : class of all the tubes
    plant : (n,) number of each tube's plant
    sides : corners of the cross section
    lying : the tubes never run upwards, so that z steadies their cross sections all along
    """
    n, k, _ = centres.shape
    tangent = unit(np.gradient(centres, axis=1))
    # A side direction that no stem follows for long keeps the frame from collapsing.
    helper = np.where(np.abs(tangent[..., :1]) < 0.9, [1.0, 0.0, 0.0], [0.0, 1.0, 0.0])
    if lying:
        helper = np.broadcast_to([0.0, 0.0, 1.0], tangent.shape)
    u = across(tangent, helper)
    v = np.cross(tangent, u)
    angle = np.arange(sides) * (2 * np.pi / sides)
    ring = u[:, :, None] * np.cos(angle)[:, None] + v[:, :, None] * np.sin(angle)[:, None]
    vertices = centres[:, :, None] + ring * radii[:, :, None, None]
    j, i = np.meshgrid(np.arange(k - 1), np.arange(sides), indexing="ij")
    a, b = j * sides + i, j * sides + (i + 1) % sides
    quad = np.stack([a, b, b + sides, a, b + sides, a + sides], -1).reshape(-1, 3)
    faces = (quad[None] + (np.arange(n) * k * sides)[:, None, None]).reshape(-1, 3)
    tint = np.broadcast_to(colours[:, :, None], (n, k, sides, 3)).reshape(-1, 3)
    owner = None if plant is None else np.repeat(plant, len(quad))
    return make(vertices.reshape(-1, 3), faces, part=part, colour=tint, plant=owner)


def box(low: tuple, high: tuple, *, part: int, colour: NDArray | None = None) -> Mesh:
    """Axis-parallel box with its own corners on each side, so that edges stay sharp."""
    lo, hi = np.asarray(low, float), np.asarray(high, float)
    corners, faces = [], []
    for axis in range(3):
        p, q = (axis + 1) % 3, (axis + 2) % 3
        for end in (0, 1):
            square = np.empty((4, 3))
            square[:, axis] = (lo, hi)[end][axis]
            square[:, p] = [lo[p], hi[p], hi[p], lo[p]]
            square[:, q] = [lo[q], lo[q], hi[q], hi[q]]
            start = len(corners) * 4
            order = ([0, 1, 2], [0, 2, 3]) if end else ([0, 2, 1], [0, 3, 2])
            faces += [[start + k for k in tri] for tri in order]
            corners.append(square)
    return make(np.concatenate(corners), np.array(faces), part=part, colour=colour)


def sheet(corners: NDArray, *, part: int, uv_size: tuple[float, float] = (1.0, 1.0)) -> Mesh:
    """Flat rectangle from its corners (4, 3) in turn; the texture starts at the first."""
    u, v = uv_size
    uv = np.array([[0, 0], [u, 0], [u, v], [0, v]])
    return make(np.asarray(corners), np.array([[0, 1, 2], [0, 2, 3]]), part=part, uv=uv)


def ellipsoids(
    centre: NDArray,
    frame: NDArray,
    half_axes: NDArray,
    colours: NDArray,
    *,
    part: int,
    plant: NDArray | None = None,
    detail: tuple[int, int] = (5, 8),
) -> Mesh:
    """Ellipsoids (hulls, crumbs, drops).

    Parameters
    ----------
    centre : (n, 3) mm
    frame : (n, 3, 3) rows are the axes
    half_axes : (n, 3) mm
    colours : (n, v, 3) for the v vertices of one, or (n, 1, 3)
    detail : rings of vertices, and vertices in a ring
    """
    shape, faces = _ball(*detail)
    n, v = len(centre), len(shape)
    local = shape[None] * half_axes[:, None]
    vertices = centre[:, None] + np.einsum("nvi,nij->nvj", local, frame)
    tint = np.broadcast_to(colours, (n, v, 3)).reshape(-1, 3)
    all_faces = (faces[None] + (np.arange(n) * v)[:, None, None]).reshape(-1, 3)
    owner = None if plant is None else np.repeat(plant, len(faces))
    return make(vertices.reshape(-1, 3), all_faces, part=part, colour=tint, plant=owner)


def _ball(rows: int = 5, columns: int = 8) -> tuple[NDArray, NDArray]:
    """Unit ball along its first axis: vertices and triangles."""
    lat = np.linspace(0, np.pi, rows)
    lon = np.arange(columns) * (2 * np.pi / columns)
    la, lo = np.meshgrid(lat, lon, indexing="ij")
    points = np.stack([np.cos(la), np.sin(la) * np.cos(lo), np.sin(la) * np.sin(lo)], -1)
    j, i = np.meshgrid(np.arange(rows - 1), np.arange(columns), indexing="ij")
    a, b = j * columns + i, j * columns + (i + 1) % columns
    faces = np.stack([a, a + columns, b + columns, a, b + columns, b], -1).reshape(-1, 3)
    return points.reshape(-1, 3), faces


def ball_vertices(detail: tuple[int, int] = (5, 8)) -> NDArray:
    """Vertices (v, 3) of the ball that `ellipsoids` scales."""
    return _ball(*detail)[0]


def random_frames(rng: np.random.Generator, n: int) -> NDArray:
    """Random right-handed frames (n, 3, 3), rows are the axes."""
    first = unit(rng.normal(size=(n, 3)))
    second = across(first, rng.normal(size=(n, 3)))
    return np.stack([first, second, np.cross(first, second)], axis=1)
