"""Single leaf pixels of a photo as an ideal camera reads them, and what shades the scene."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.scenes import meshes
from tests.scenes.camera import Camera
from tests.scenes.colour import paint
from tests.scenes.render import Scene
from tests.scenes.tray import Item, Stage


def shades(settings: dict) -> list[Item]:
    """Board above the lens that keeps a part of the light off, where a photo has one.

    Parameters
    ----------
    settings : of a photo; `shade` holds `centre_mm` (3) and `size_mm` (along x, along y)
    """
    if "shade" not in settings:
        return []
    centre = np.array(settings["shade"]["centre_mm"])
    half = np.array([*settings["shade"]["size_mm"], 8.0]) / 2
    board = meshes.box(
        tuple(centre - half), tuple(centre + half), part=meshes.OTHER, colour=paint(90, 88, 85)
    )
    return [Item("shade", board, "coloured", None, 0.0)]


def leaf_pixels(ideal: NDArray, leaf: NDArray, scene: Scene, stage: Stage, camera: Camera,
                count: int) -> dict[str, NDArray]:  # fmt: skip
    """Draw whole leaf pixels evenly at random, with what is true of each.

    Parameters
    ----------
    ideal : (h, w, 3) linear radiance over that of a perfect white diffuser at the card
    leaf : uint8 (h, w) share of leaf
    count : pixels to draw, or all where there are fewer

    Returns
    -------
    row, column : uint16 (n,) of the upright photo
    light : float16 (n, 3) of `ideal`
    yellowed : bool (n,) whether the blade under the pixel's centre is a yellowed one
    """
    row, column = np.nonzero(leaf == 255)
    rng = np.random.default_rng(count)
    pick = np.sort(rng.permutation(len(row))[:count])
    row, column = row[pick], column[pick]
    x, y = camera.undistort(column.astype(float), row.astype(float))
    rays = np.stack([x, y, np.ones_like(x)], axis=1) @ camera.rotation
    hits = scene.cast(camera.position, meshes.unit(rays))
    yellowed = np.zeros(len(row), bool)
    known = (hits.part == meshes.LEAF) & (hits.blade >= 0)
    yellowed[known] = stage.stand.blades.yellowed[hits.blade[known]]
    return {
        "row": row.astype(np.uint16),
        "column": column.astype(np.uint16),
        "light": ideal[row, column].astype(np.float16),
        "yellowed": yellowed,
    }
