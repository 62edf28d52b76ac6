"""What is true of a board: every cut plant from its geometry, seen from straight above."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tests.scenes import meshes
from tests.scenes.board import Laid
from tests.scenes.camera import Camera
from tests.scenes.plan import Grid, heights, top_faces
from tests.scenes.strewn import Plant, length_along
from tests.scenes.tray import Card

TOUCH_MM = 0.3  # plants nearer than this to one another in plan form a group
FOLDED_SHARE = 0.6


def card_frame(points: NDArray, card: Card) -> NDArray:
    """Points (n, 2) in mm on the card's picture: x right, y down from its top left corner."""
    right, down = card.corners[1] - card.corners[0], card.corners[3] - card.corners[0]
    away = points - card.corners[0]
    return np.stack([away @ meshes.unit(right), away @ meshes.unit(down)], 1)


def board_truth(laid: Laid, camera: Camera) -> dict:
    """Facts of every plant, and the values pooled over the photo."""
    plants = laid.plants
    if not plants:
        return {"plants": [], "pooled": _pooled([]), "frame": _FRAME}
    grid = Grid.around(np.concatenate([p.points() for p in plants]))
    seen = _everything(laid, grid)
    alone = [_alone(p, grid) for p in plants]
    groups = _groups(alone)
    records = [_plant(k, laid, camera, grid, alone[k], seen, groups[k]) for k in range(len(plants))]
    return {"plants": records, "pooled": _pooled(records), "frame": _FRAME}


_FRAME = {
    "centre_line_mm": "x, y, z; the board's top is z = 0, x and y as the card's corners_mm",
    "centre_line_card_mm": "x right, y down from the top left corner of the card picture",
    "centre_line_px": "x, y in the upright photo, pixel centres on whole numbers",
}


def _everything(laid: Laid, grid: Grid) -> tuple[NDArray, NDArray, NDArray]:
    """Class, plant and blade of what is on top at every point of the grid."""
    flat = [i.mesh for i in laid.items if not i.name.startswith(("bench", "card", "hand"))]
    mesh = meshes.join(flat)
    top = top_faces(mesh, grid)
    found = top >= 0
    part = np.where(found, mesh.part[top], meshes.OTHER)
    plant = np.where(found & (part != meshes.HULL), mesh.plant[top], -1)
    return part, plant, np.where(found, mesh.blade[top], -1)


def _alone(plant: Plant, grid: Grid) -> tuple[tuple[slice, slice], NDArray, NDArray]:
    """Window of the grid, and class and blade on top there with nothing else on the board."""
    mesh = meshes.join([plant.leaves, plant.stems])
    window, small = _window(mesh, grid)
    top = top_faces(mesh, small)
    part = np.where(top >= 0, mesh.part[top], meshes.OTHER)
    return window, part, np.where(top >= 0, mesh.blade[top], -1)


def _window(mesh: meshes.Mesh, grid: Grid) -> tuple[tuple[slice, slice], Grid]:
    """Part of the grid that holds a mesh."""
    low = np.floor((mesh.vertices[:, :2].min(0) - [grid.x0, grid.y0]) / grid.step).astype(int) - 4
    high = np.ceil((mesh.vertices[:, :2].max(0) - [grid.x0, grid.y0]) / grid.step).astype(int) + 4
    low = np.maximum(low, 0)
    high = np.minimum(high, [grid.columns, grid.rows])
    small = Grid(grid.x0 + low[0] * grid.step, grid.y0 + low[1] * grid.step,
                 int(high[1] - low[1]), int(high[0] - low[0]), grid.step)  # fmt: skip
    return (slice(low[1], high[1]), slice(low[0], high[0])), small


def _groups(alone: list) -> list[int | None]:
    """Number of the group of each plant that touches or overlaps another in plan, else None."""
    n = len(alone)
    shape = (max(w[0].stop for w, _, _ in alone), max(w[1].stop for w, _, _ in alone))
    owner = np.full(shape, -1, np.int32)
    pairs: set[tuple[int, int]] = set()
    reach = round(TOUCH_MM / 0.1 / 2)
    for k, (window, part, _) in enumerate(alone):
        own = _grown(part != meshes.OTHER, reach)
        before = owner[window]
        pairs |= {(int(j), k) for j in np.unique(before[own & (before >= 0)])}
        owner[window] = np.where(own & (before < 0), k, before)
    # A third plant may lie on the overlap of two, so pairs of boxes that meet are looked at too.
    for a in range(n):
        for b in range(a + 1, n):
            if (a, b) not in pairs and _meet(alone[a], alone[b], reach, shape):
                pairs.add((a, b))
    return _numbered(n, pairs)


def _meet(first: tuple, second: tuple, reach: int, shape: tuple[int, int]) -> bool:
    (ya, xa), (yb, xb) = first[0], second[0]
    if ya.start >= yb.stop or yb.start >= ya.stop or xa.start >= xb.stop or xb.start >= xa.stop:
        return False
    both = np.zeros((2, *shape), bool)
    for k, (window, part, _) in enumerate((first, second)):
        both[k][window] = _grown(part != meshes.OTHER, reach)
    return bool((both[0] & both[1]).any())


def _numbered(n: int, pairs: set[tuple[int, int]]) -> list[int | None]:
    label = list(range(n))
    for a, b in sorted(pairs):
        low, high = sorted((label[a], label[b]))
        label = [low if v == high else v for v in label]
    shared = [v for v in sorted(set(label)) if label.count(v) > 1]
    return [shared.index(v) + 1 if v in shared else None for v in label]


def _grown(mask: NDArray, reach: int) -> NDArray:
    """Mask grown by `reach` points each way (the window has room for it)."""
    out = mask.copy()
    for _ in range(reach):
        wider = out.copy()
        wider[1:] |= out[:-1]
        wider[:-1] |= out[1:]
        wider[:, 1:] |= out[:, :-1]
        wider[:, :-1] |= out[:, 1:]
        out = wider
    return out


def _plant(k: int, laid: Laid, camera: Camera, grid: Grid, alone: tuple,  # noqa: PLR0917
           seen: tuple, group: int | None) -> dict:  # fmt: skip
    plant, (window, part, _) = laid.plants[k], alone
    leaf, stem = part == meshes.LEAF, part == meshes.STEM
    mine = seen[1][window] == k
    seen_part, seen_blade = seen[0][window], seen[2][window]
    cell = grid.cell
    leaf_shown, stem_shown = mine & (seen_part == meshes.LEAF), mine & (seen_part == meshes.STEM)
    pixels = camera.project(plant.points())
    whole = bool(np.all((pixels >= 1) & (pixels <= [camera.width - 2, camera.height - 2])))
    line = length_along(plant.spine)
    nodeless = np.isnan(plant.node)
    last = len(line) - 1 if nodeless else round(plant.node * (len(line) - 1))
    spine = plant.spine[: last + 1]
    width = float(np.trapezoid(plant.width[: last + 1], line[: last + 1]) / line[last])
    blades = [_blade(plant, b.number, grid, window, seen_part, seen_blade) for b in plant.blades]
    area = sum(b["area_mm2"] for b in blades)
    return {
        "number": k + 1,
        "group": group,
        "whole_in_frame": whole,
        "has_node": not nodeless,
        "centre_line_mm": spine.round(3).tolist(),
        "centre_line_card_mm": card_frame(spine, laid.card).round(3).tolist(),
        "centre_line_px": camera.project(spine).round(2).tolist(),
        "node_px": None if nodeless else camera.project(spine[-1:])[0].round(2).tolist(),
        "cut_px": camera.project(spine[:1])[0].round(2).tolist(),
        "stem_length_mm": None if nodeless else float(line[last]),
        "whole_axis_length_mm": float(line[-1]),
        "stem_width_mm": None if nodeless else width,
        "stem_area_mm2": float(stem.sum()) * cell,
        "leaf_area_mm2": float(leaf.sum()) * cell,
        "leaf_hidden_by_others_mm2": float((leaf & ~leaf_shown).sum()) * cell,
        "stem_hidden_by_others_mm2": float((stem & ~stem_shown).sum()) * cell,
        "blade_lift_mm": (
            sum(b["lift_mm"] * b["area_mm2"] for b in blades) / area if area > 0 else None
        ),
        "blades": blades,
    }  # fmt: skip


def _blade(plant: Plant, number: int, grid: Grid, window: tuple, seen_part: NDArray,
           seen_blade: NDArray) -> dict:  # fmt: skip
    """A blade seen from straight above as if nothing lay over it."""
    facts = next(b for b in plant.blades if b.number == number)
    own = [_only(m, m.blade == number) for m in (plant.leaves, plant.stems)]
    mesh = meshes.join(own)
    rows, columns = (w.stop - w.start for w in window)
    x0, y0 = grid.x0 + window[1].start * grid.step, grid.y0 + window[0].start * grid.step
    small = Grid(x0, y0, rows, columns, grid.step)
    top = top_faces(mesh, small)
    own = top >= 0
    area = float(own.sum()) * grid.cell
    shown = own & (seen_part == meshes.LEAF) & (seen_blade == number)
    return {
        "area_mm2": area,
        "flat_area_mm2": facts.area,
        "length_mm": facts.length,
        "width_mm": facts.width,
        "true_leaf": facts.true_leaf,
        "pose": facts.pose,
        "folded": bool(area < FOLDED_SHARE * facts.area),
        "overlapped_share": float(1 - shown.sum() / max(own.sum(), 1)),
        "lift_mm": float(heights(mesh, top[own]).mean()) if own.any() else 0.0,
    }


def _only(mesh: meshes.Mesh, chosen: NDArray) -> meshes.Mesh:
    """The mesh with some of its triangles."""
    return replace(
        mesh, faces=mesh.faces[chosen], part=mesh.part[chosen], plant=mesh.plant[chosen],
        blade=mesh.blade[chosen],
    )  # fmt: skip


def _pooled(records: list[dict]) -> dict:
    """Means over plants wholly in the picture that stand alone."""
    good = [r for r in records if r["whole_in_frame"] and r["group"] is None]
    noded = [r for r in good if r["has_node"]]
    leaf = sum(r["leaf_area_mm2"] for r in noded)
    lengths = [r["stem_length_mm"] for r in noded]
    areas = [r["leaf_area_mm2"] for r in good]
    return {
        "n_plants": len(records),
        "n_alone_and_whole": len(good),
        "n_groups": len({r["group"] for r in records} - {None}),
        "stem_length_mm": float(np.mean(lengths)) if lengths else None,
        "stem_length_sd_mm": float(np.std(lengths, ddof=1)) if len(lengths) > 1 else None,
        "stem_width_mm": float(np.mean([r["stem_width_mm"] for r in noded])) if noded else None,
        "leaf_area_mm2": float(np.mean(areas)) if areas else None,
        "leaf_area_sd_mm2": float(np.std(areas, ddof=1)) if len(areas) > 1 else None,
        "board_stem_to_leaf_ratio": (
            sum(r["stem_area_mm2"] for r in noded) / leaf if leaf > 0 else None
        ),
        "blade_lift_mm": float(np.mean([r["blade_lift_mm"] for r in good])) if good else None,
    }
