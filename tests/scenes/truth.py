"""What is true of a scene, read off its geometry by rays; never from the picture's colours."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.scenes import meshes
from tests.scenes.camera import Camera
from tests.scenes.colour import linear_to_lab
from tests.scenes.regions import largest_region, opened
from tests.scenes.render import Scene
from tests.scenes.tray import Stage

PLAN_MM = 0.4  # spacing of the vertical rays
LEVEL_MM = 0.4  # spacing of the rays of level and side views
CELL_MM = 25.0
COLUMN_MM = 5.0


def tray_truth(scene: Scene, stage: Stage) -> dict:
    """Metrics of the tray that do not depend on a photo: from straight above and level."""
    return {
        **_plan(scene, stage),
        **_columns(stage),
        "level_view": _level(scene, stage),
        "plants": _plants(stage),
    }


def _plan(scene: Scene, stage: Stage) -> dict:
    """Vertical projection from infinitely far."""
    o = stage.opening
    hx, hy = o["inside_length_mm"] / 2, o["inside_width_mm"] / 2
    reach = 90.0
    x = np.arange(-hx - reach + PLAN_MM / 2, hx + reach, PLAN_MM)
    y = np.arange(-hy - reach + PLAN_MM / 2, hy + reach, PLAN_MM)
    xx, yy = np.meshgrid(x, y)
    start = np.stack([xx, yy, np.full_like(xx, 600.0)], -1).reshape(-1, 3)
    hits = scene.cast(start, np.broadcast_to([0.0, 0.0, -1.0], start.shape))
    part, shape = hits.part.reshape(xx.shape), xx.shape
    leaf, stem, hull = (part == k for k in (meshes.LEAF, meshes.STEM, meshes.HULL))
    plant = leaf | stem
    inside = (np.abs(xx) <= hx) & (np.abs(yy) <= hy)
    cell = PLAN_MM**2
    blade = hits.blade.reshape(shape)
    yellowed = np.zeros(shape, bool)
    yellowed[leaf] = stage.stand.blades.yellowed[blade[leaf]]
    height = hits.point[:, 2].reshape(shape) - o["medium_z"]
    cover = _cell_cover(plant, xx, yy, hx, hy)
    within = np.ix_(np.abs(y) <= hy, np.abs(x) <= hx)
    bare = ~(plant | hull)[within]
    seen = np.unique(blade[leaf])
    return {
        "canopy_cover_pct": 100 * float(plant[inside].mean()),
        "cover_with_hulls_pct": 100 * float((plant | hull)[inside].mean()),
        "projected_leaf_area_cm2": float(leaf.sum()) * cell / 100,
        "projected_leaf_area_inside_cm2": float((leaf & inside).sum()) * cell / 100,
        "overhang_area_cm2": float((plant & ~inside).sum()) * cell / 100,
        "evenness_cv_pct": 100 * float(cover.std() / max(cover.mean(), 1e-9)),
        "cell_cover_pct": (100 * cover).round(1).tolist(),
        "largest_gap_cm2": largest_region(bare) * cell / 100,
        "largest_gap_opened_5mm_cm2": largest_region(opened(bare, 2.5 / PLAN_MM)) * cell / 100,
        "yellowed_pct": 100 * float(yellowed.sum() / max(leaf.sum(), 1)),
        "visible_leaf_height_mm": float(height[leaf].mean()) if leaf.any() else None,
        "visible_leaf_height_sd_mm": float(height[leaf].std()) if leaf.any() else None,
        "visible_blade_width_median_mm": median(stage.stand.blades.width[seen]),
        "visible_blade_width_area_weighted_mm": (
            float(stage.stand.blades.width[blade[leaf]].mean()) if leaf.any() else None
        ),
    }


def median(values: NDArray) -> float | None:
    return float(np.median(values)) if len(values) else None


def _cell_cover(plant: NDArray, xx: NDArray, yy: NDArray, hx: float, hy: float) -> NDArray:
    """Share of plant in every whole cell of CELL_MM, counted from the opening's corner."""
    columns, rows = int(2 * hx // CELL_MM), int(2 * hy // CELL_MM)
    column = np.floor((xx + hx) / CELL_MM).astype(int)
    row = np.floor((yy + hy) / CELL_MM).astype(int)
    ok = (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
    flat = row[ok] * columns + column[ok]
    total = np.bincount(flat, minlength=rows * columns)
    return (np.bincount(flat, plant[ok], minlength=rows * columns) / total).reshape(rows, columns)


def _columns(stage: Stage) -> dict:
    """Canopy height: the highest plant point at any depth in columns along the tray."""
    hx = stage.opening["inside_length_mm"] / 2
    count = round(2 * hx / COLUMN_MM)
    top = np.full(count, -np.inf)
    for mesh in (stage.stand.leaves, stage.stand.tubes):
        corners = mesh.vertices[mesh.faces[np.isin(mesh.part, (meshes.LEAF, meshes.STEM))]]
        middles = (corners + np.roll(corners, 1, axis=1)) / 2
        points = np.concatenate([corners, middles], axis=1).reshape(-1, 3)
        column = np.floor((points[:, 0] + hx) / COLUMN_MM).astype(int)
        ok = (column >= 0) & (column < count)
        np.maximum.at(top, column[ok], points[ok, 2] - stage.opening["medium_z"])
    heights = top[np.isfinite(top)]
    if len(heights) == 0:
        return {"canopy_height_mm": None}
    return {
        "canopy_height_mm": float(heights.mean()),
        "canopy_height_p95_mm": float(np.percentile(heights, 95)),
        "canopy_height_cv_pct": 100 * float(heights.std() / heights.mean()),
        "column_height_mm": [round(float(h), 2) if np.isfinite(h) else None for h in top],
    }


def _level(scene: Scene, stage: Stage) -> dict:
    """Level view from infinitely far in front: areas above the rim, leaf layer, bare stem."""
    o = stage.opening
    hx, rim = o["inside_length_mm"] / 2, o["rim_above_bench_mm"]
    top = float(
        max(stage.stand.leaves.vertices[:, 2].max(), stage.stand.tubes.vertices[:, 2].max())
    )
    reach = 90.0
    x = np.arange(-hx - reach + LEVEL_MM / 2, hx + reach, LEVEL_MM)
    z = np.arange(rim + LEVEL_MM / 2, max(top, rim + 1) + 2, LEVEL_MM)
    xx, zz = np.meshgrid(x, z)
    start = np.stack([xx, np.full_like(xx, o["front_y"] - 140), zz], -1).reshape(-1, 3)
    hits = scene.cast(start, np.broadcast_to([0.0, 1.0, 0.0], start.shape))
    part = hits.part.reshape(xx.shape)
    leaf, stem = part == meshes.LEAF, part == meshes.STEM
    cell = LEVEL_MM**2
    areas = {
        "leaf_area_above_rim_mm2": float(leaf.sum()) * cell,
        "stem_area_above_rim_mm2": float(stem.sum()) * cell,
        "stem_to_leaf_ratio": float(stem.sum() / max(leaf.sum(), 1)),
        "row_mm_above_rim": (z[::5] - rim).round(2).tolist(),
        "leaf_mm2_per_row": (leaf.sum(1) * cell)[::5].round(2).tolist(),
        "stem_mm2_per_row": (stem.sum(1) * cell)[::5].round(2).tolist(),
    }
    return {**areas, **_layer(leaf, x, z - rim, hx)}


def _layer(leaf: NDArray, x: NDArray, above_rim: NDArray, hx: float) -> dict:
    """Underside and depth of the leaf layer by columns.

    Per column of COLUMN_MM the heights of all its visible leaf area are taken; the underside is
    their 5th percentile and the upper side their 95th. `bare_stem_mm` is the mean underside
    above the rim, `leaf_layer_mm` the mean distance of the two, over columns that show leaf.
    """
    column = np.floor((x + hx) / COLUMN_MM).astype(int)
    under, over = [], []
    for k in range(round(2 * hx / COLUMN_MM)):
        amount = leaf[:, column == k].sum(1)
        if amount.sum() == 0:
            continue
        share = np.cumsum(amount) / amount.sum()
        levels = [above_rim[np.searchsorted(share, q)] for q in (0.05, 0.95)]
        under.append(levels[0])
        over.append(levels[1])
    if not under:
        return {"bare_stem_mm": None, "leaf_layer_mm": None}
    return {
        "bare_stem_mm": float(np.mean(under)),
        "leaf_layer_mm": float(np.mean(np.subtract(over, under))),
    }


def _plants(stage: Stage) -> dict:
    """Facts of every plant, and of every blade."""
    stand = stage.stand
    leaf_area = stand.leaf_area()
    return {
        "count": len(stand.stem_length),
        "stem_length_mm": stand.stem_length.round(2).tolist(),
        "leaf_area_mm2": leaf_area.round(1).tolist(),
        "stem_area_mm2": stand.stem_area.round(1).tolist(),
        "height_mm": stand.height.round(2).tolist(),
        "board_stem_to_leaf_ratio": float(stand.stem_area.sum() / max(leaf_area.sum(), 1e-9)),
        "blade_width_mm_mean": float(stand.blades.width.mean()),
        "blade_width_mm_median": float(np.median(stand.blades.width)),
    }


def front_plane_areas(scene: Scene, stage: Stage, camera: Camera) -> dict:
    """Leaf and stem above the rim that the side photo shows, in the front wall's plane (mm2).

    Rays go from the lens through a regular grid on that plane, so every ray stands for the
    same area there; lens distortion plays no part.
    """
    o = stage.opening
    hx, rim = o["inside_length_mm"] / 2, o["rim_above_bench_mm"]
    x = np.arange(-hx - 150 + LEVEL_MM / 2, hx + 150, LEVEL_MM)
    z = np.arange(rim + LEVEL_MM / 2, rim + 200, LEVEL_MM)
    xx, zz = np.meshgrid(x, z)
    plane = np.stack([xx, np.full_like(xx, o["front_y"]), zz], -1).reshape(-1, 3)
    direction = meshes.unit(plane - camera.position)
    part = scene.cast(camera.position, direction).part
    leaf, stem = (float((part == k).sum()) * LEVEL_MM**2 for k in (meshes.LEAF, meshes.STEM))
    return {
        "leaf_area_mm2": leaf,
        "stem_area_mm2": stem,
        "stem_to_leaf_ratio": stem / max(leaf, 1e-9),
    }


def shares(classes: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """Class mask and the soft shares of leaf and stem (8-bit) from classes (h, w, k)."""
    counts = [(classes == k).sum(-1, dtype=np.uint8) for k in range(8)]
    # A tie goes to plant, as the measured pixel is at least half plant.
    order = [meshes.LEAF, meshes.STEM, meshes.HULL, meshes.CARD, meshes.TRAY, meshes.MEDIUM,
             meshes.GREENERY, meshes.OTHER]  # fmt: skip
    winner = np.argmax(np.stack([counts[k] for k in order]), axis=0)
    mask = np.array(order, np.uint8)[winner]
    parts = classes.shape[-1]
    soft = [(counts[k].astype(np.uint16) * 255 // parts).astype(np.uint8) for k in (1, 2)]
    return mask, soft[0], soft[1]


def leaf_colour(linear: NDArray, surface: NDArray, white: NDArray, leaf_share: NDArray) -> dict:
    """Colour of the visible leaf as an ideal camera with a perfect correction reads it.

    `ideal_camera` is the mean over whole leaf pixels of radiance divided by that of a perfect
    white diffuser beside the tray, channel by channel: light, shade, gloss and light passed on
    between leaves are in it. `material` is the mean diffuse reflectance of the same pixels,
    and `material_with_gloss` adds the 0.04 of white that gloss adds on average.
    """
    whole = leaf_share == 255
    if not whole.any():
        return {"ideal_camera_linear": None}
    ratio = linear[whole] / white
    lab = linear_to_lab(np.clip(ratio, 0, 1.5))
    mean, material = ratio.mean(0), surface[whole].mean(0)
    return {
        "ideal_camera_linear": mean.tolist(),
        "ideal_camera_lab_of_mean": linear_to_lab(mean).tolist(),
        "ideal_camera_lab_mean_of_pixels": lab.mean(0).tolist(),
        "ideal_camera_lab_median_of_pixels": np.median(lab, axis=0).tolist(),
        "material_linear": material.tolist(),
        "material_with_gloss_linear": (material + 0.04).tolist(),
        "material_lab": linear_to_lab(material).tolist(),
    }
