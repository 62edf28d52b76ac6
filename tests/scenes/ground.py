"""Lumps and stones that make ground rough: solid, so that low light casts their shadows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.scenes import meshes


def lumps(
    rng: np.random.Generator,
    area: tuple[float, float, float, float],
    z: float,
    shades: NDArray,
    *,
    largest_mm: float,
    part: int,
) -> meshes.Mesh:
    """Knobbly lumps of many sizes, the small ones far more frequent.

    Parameters
    ----------
    area : x0, x1, y0, y1 in mm
    z : height of the ground
    shades : (k, 3) linear reflectances to draw from
    largest_mm : about the largest lump's half width; they go down to a twelfth
        of it, but not below 0.8 mm
    """
    x0, x1, y0, y1 = area
    space = (x1 - x0) * (y1 - y0)
    sizes = []
    size = largest_mm
    while size > max(0.8, largest_mm / 12):
        # Each class of size covers about a seventh of the ground.
        count = min(rng.poisson(0.14 * space / (np.pi * size**2)), 9000)
        sizes.append(size * np.exp(rng.normal(0, 0.25, count)))
        size *= 0.55
    half = np.concatenate(sizes)
    n = len(half)
    at = np.column_stack(
        [rng.uniform(x0, x1, n), rng.uniform(y0, y1, n), z + half * rng.uniform(-0.3, 0.35, n)]
    )
    axes = half[:, None] * rng.uniform(0.6, 1.25, (n, 3))
    detail = (7, 9)
    tint = shades[rng.integers(0, len(shades), n)] * np.exp(rng.normal(0, 0.12, (n, 1)))
    mesh = meshes.ellipsoids(
        at, meshes.random_frames(rng, n), axes, np.clip(tint, 0.004, 0.85)[:, None], part=part,
        detail=detail,
    )  # fmt: skip
    corners = len(meshes.ball_vertices(detail))
    away = mesh.vertices.reshape(n, corners, 3) - at[:, None]
    direction = meshes.unit(away)
    knobs = np.ones((n, corners))
    for waves in (1.5, 3.0, 5.0):
        tilt = rng.normal(0, waves, (n, 3))
        knobs += (0.28 / waves**0.5) * np.sin(
            np.einsum("nvk,nk->nv", direction, tilt) + rng.uniform(0, 6.3, (n, 1))
        )
    mesh.vertices = (at[:, None] + away * knobs[..., None]).reshape(-1, 3).astype(np.float32)
    return mesh
