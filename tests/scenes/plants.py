"""A stand of seedlings: sown, grown and meshed, with what is true of every plant."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.scenes import meshes, textures
from tests.scenes.blades import CORNERS, Blades, Outline
from tests.scenes.blades import join as join_blades
from tests.scenes.colour import paint
from tests.scenes.crops import Crop

STATIONS = 9  # points along a stem
LONGEST_MM = 125.0


@dataclass(frozen=True)
class Plot:
    """Where plants are sown: a rectangle at the height of the medium, in mm."""

    x0: float
    x1: float
    y0: float
    y1: float
    z: float

    @property
    def area_cm2(self) -> float:
        """Sown area."""
        return (self.x1 - self.x0) * (self.y1 - self.y0) / 100.0


@dataclass
class Stand:
    """Meshes of a stand and the facts of its plants.

    Attributes
    ----------
    leaves : blades, coloured by the leaf texture
    tubes : stems, stalks, tendrils and roots, coloured at the vertices
    hulls : coloured at the vertices
    blades : the blades behind `leaves`
    stem_length : (n,) mm from the medium to the node, along the stem
    stem_area : (n,) mm2 width times length of stem and stalks, as laid flat
    height : (n,) mm highest point above the medium
    """

    leaves: meshes.Mesh
    tubes: meshes.Mesh
    hulls: meshes.Mesh
    blades: Blades
    stem_length: NDArray
    stem_area: NDArray
    height: NDArray

    def leaf_area(self) -> NDArray:
        """Blade area (n,) in mm2 of every plant, laid flat."""
        return np.bincount(
            self.blades.plant, self.blades.flat_areas(), minlength=len(self.stem_length)
        )


def sow(plot: Plot, density: float, patches: dict, rng: np.random.Generator) -> NDArray:
    """Places (n, 2) of the plants.

    Parameters
    ----------
    density : plants per cm2
    patches : `gaps` (number), `gap_mm` (size), `uneven` (0..1)
    """
    n = rng.poisson(density * plot.area_cm2)
    xy = rng.uniform([plot.x0, plot.y0], [plot.x1, plot.y1], size=(n, 2))
    keep = np.ones(n, bool)
    if patches["uneven"] > 0:
        thin = _field(xy, plot, rng, 70.0)
        keep &= rng.random(n) > np.clip(patches["uneven"] * (0.3 + 0.5 * thin), 0, 0.95)
    for _ in range(patches["gaps"]):
        centre = rng.uniform([plot.x0, plot.y0], [plot.x1, plot.y1])
        size = patches["gap_mm"] * rng.uniform(0.5, 1.3, 2)
        away = np.hypot(*((xy - centre) / size).T)
        keep &= (away > 1) | (rng.random(n) < 0.04)
    return xy[keep]


def grow(crop: Crop, plot: Plot, density: float, patches: dict, seed: int) -> Stand:
    """Grow a stand; the same seed always gives the same plants.

    Parameters
    ----------
    density : plants per cm2
    patches : as for `sow`, and `lodged` (number), `lodged_mm`, `edge_lean_deg`, `yellowed`
        (share of plants)
    """
    rng = np.random.default_rng(seed)
    xy = sow(plot, density, patches, rng)
    n = len(xy)
    vigour = np.exp(rng.normal(0, crop.spread, n) + 0.6 * crop.spread * _field(xy, plot, rng, 90.0))
    vigour = np.where(rng.random(n) < 0.04, vigour * rng.uniform(0.3, 0.7, n), vigour)
    vigour = np.clip(vigour, 0.3, 1.45)
    length = np.minimum(crop.height * vigour, LONGEST_MM)
    spine = spines(crop, plot, patches, xy, length, rng)
    node, top = spine[:, -1], meshes.unit(spine[:, -1] - spine[:, -2])
    width = np.linspace(*crop.stem_width, STATIONS) * np.sqrt(vigour)[:, None]
    tint = _stem_colours(crop, n, rng)
    yellow = _yellowed(xy, plot, patches["yellowed"], rng)
    plants = np.arange(n)
    tubes = [meshes.tubes(spine, width / 2, tint, part=meshes.STEM, plant=plants)]
    stem_area = width.mean(1) * length
    organs = _Organs(crop, rng, plants, vigour, tint[:, -1], yellow)
    if crop.form == "pea":
        parts = [organs.pea_node(spine, share) for share in (0.45, 0.66, 0.85, 1.0)]
    else:
        parts = [organs.pair(node, top)]
        if crop.true_leaf[0] > 0:
            parts.append(organs.true_leaves(node, top))
    blades = join_blades([p[0] for p in parts])
    tubes += [mesh for p in parts for mesh in p[1]]
    stem_area = stem_area + sum(p[2] for p in parts)
    leaves = blades.mesh(textures.TILES)
    tubes.append(_roots(crop, xy, plot, rng))
    every = meshes.join(tubes)
    return Stand(
        leaves, every, _hulls(crop, blades, plot, rng), blades, length, stem_area,
        _tops(n, plot.z, leaves, every),
    )  # fmt: skip


def _field(xy: NDArray, plot: Plot, rng: np.random.Generator, cell: float) -> NDArray:
    """Smooth random field (mean 0, deviation 1) read at the places `xy`."""
    height, width = (max(8, int(s / 8)) for s in (plot.y1 - plot.y0, plot.x1 - plot.x0))
    grid = textures.noise(rng, height, width, cell / 8, 2)
    column = (xy[:, 0] - plot.x0) / (plot.x1 - plot.x0) * (width - 1)
    row = (xy[:, 1] - plot.y0) / (plot.y1 - plot.y0) * (height - 1)
    return grid[row.astype(int), column.astype(int)].astype(np.float64)


def _yellowed(xy: NDArray, plot: Plot, share: float, rng: np.random.Generator) -> NDArray:
    """Plants that are yellowed, in patches rather than evenly."""
    if share <= 0:
        return np.zeros(len(xy), bool)
    score = _field(xy, plot, rng, 60.0) + rng.normal(0, 1.0, len(xy))
    return score > np.quantile(score, 1 - share)


def spines(crop: Crop, plot: Plot, patches: dict, xy: NDArray, length: NDArray,
            rng: np.random.Generator) -> NDArray:  # fmt: skip
    """Centre lines (n, STATIONS, 3) of the stems."""
    n = len(xy)
    azimuth = rng.uniform(0, 2 * np.pi, n)
    lean = np.tan(np.radians(np.minimum(np.abs(rng.normal(0, crop.lean, n)), 55)))
    push = lean[:, None] * np.stack([np.cos(azimuth), np.sin(azimuth)], 1)
    edge = np.tan(np.radians(patches["edge_lean_deg"]))
    for axis, (low, high) in enumerate(((plot.x0, plot.x1), (plot.y0, plot.y1))):
        near_low = np.clip(1 - (xy[:, axis] - low) / 28, 0, 1)
        near_high = np.clip(1 - (high - xy[:, axis]) / 28, 0, 1)
        push[:, axis] += edge * (near_high - near_low) * rng.uniform(0.3, 1.2, n)
    for _ in range(patches["lodged"]):
        centre = rng.uniform([plot.x0, plot.y0], [plot.x1, plot.y1])
        inside = np.exp(-((np.hypot(*(xy - centre).T) / patches["lodged_mm"]) ** 4))
        heading = rng.uniform(0, 2 * np.pi)
        fall = np.tan(np.radians(rng.uniform(50, 72))) * inside * rng.uniform(0.6, 1.2, n)
        push += fall[:, None] * [np.cos(heading), np.sin(heading)]
    angle = np.arctan(np.hypot(*push.T))
    heading = np.arctan2(push[:, 1], push[:, 0])
    s = (np.arange(STATIONS - 1) + 0.5) / (STATIONS - 1)
    power = rng.uniform(0.3, 1.4, n)[:, None]
    tilt = angle[:, None] * (1.35 * s**power - 0.15) + rng.normal(0, 0.10, (n, 1)) * np.sin(6 * s)
    if crop.hook > 0:
        bent = (rng.random(n) < crop.hook) * rng.uniform(1.2, 2.8, n)
        tilt = tilt + bent[:, None] * np.clip((s - 0.62) / 0.3, 0, 1)
    heading = heading[:, None] + rng.normal(0, 0.35, (n, 1)) * s
    step = np.stack(
        [np.sin(tilt) * np.cos(heading), np.sin(tilt) * np.sin(heading), np.cos(tilt)], -1
    )
    foot = np.concatenate([xy, np.full((n, 1), plot.z)], 1)[:, None]
    steps = step * (length / (STATIONS - 1))[:, None, None]
    spine = foot + np.concatenate([np.zeros((n, 1, 3)), np.cumsum(steps, 1)], 1)
    spine[..., 2] = np.maximum(spine[..., 2], plot.z)
    return spine


def _stem_colours(crop: Crop, n: int, rng: np.random.Generator) -> NDArray:
    """Colour (n, STATIONS, 3) along every stem, from foot to top."""
    s = np.linspace(0, 1, STATIONS)[None]
    turn = rng.normal(0.55, 0.2, (n, 1))
    share = (1 / (1 + np.exp(-(s - turn) / rng.uniform(0.08, 0.3, (n, 1)))))[..., None]
    tint = crop.stem_foot * (1 - share) + crop.stem_top * share
    return np.clip(tint * np.exp(rng.normal(0, 0.10, (n, 1, 3))), 0.005, 0.9)


def _roots(crop: Crop, xy: NDArray, plot: Plot, rng: np.random.Generator) -> meshes.Mesh:
    """White roots on the medium: many in young trays, few later."""
    count = int(len(xy) * (0.8 if crop.hook > 0 else 0.05)) + 1
    start = xy[rng.integers(0, len(xy), count)] if len(xy) else np.zeros((count, 2))
    heading = rng.uniform(0, 2 * np.pi, count)[:, None] + rng.normal(
        0, 0.8, (count, 1)
    ) * np.linspace(0, 1, 5)
    reach = rng.uniform(3, 12, (count, 1)) / 5
    path = np.stack([np.cos(heading) * reach, np.sin(heading) * reach], -1).cumsum(1)
    centre = np.concatenate([start[:, None] + path, np.full((count, 5, 1), plot.z)], -1)
    centre[..., :2] = np.clip(centre[..., :2], [plot.x0, plot.y0], [plot.x1, plot.y1])
    centre[..., 2] += 0.9 + 2.2 * np.sin(np.linspace(0, np.pi, 5)) * rng.random((count, 1))
    tint = np.broadcast_to(paint(238, 236, 226), (count, 5, 3))
    return meshes.tubes(centre, np.full((count, 5), 0.35), tint, part=meshes.MEDIUM, sides=4)


def _hulls(crop: Crop, blades: Blades, plot: Plot, rng: np.random.Generator) -> meshes.Mesh:
    """Seed hulls: stuck on blade tips, and lying on the medium."""
    stuck = np.flatnonzero(rng.random(len(blades)) < crop.hull / 2)
    lying = rng.poisson(0.25 * crop.hull * plot.area_cm2)
    on_medium = np.stack(
        [rng.uniform(plot.x0, plot.x1, lying), rng.uniform(plot.y0, plot.y1, lying),
         np.full(lying, plot.z + 1.0)], 1,
    )  # fmt: skip
    n = len(stuck) + lying
    if n == 0:
        return no_mesh()
    axis = blades.axis[stuck]
    on_tip = blades.tips()[stuck] - axis * crop.hull_size[0] * rng.uniform(
        0.1, 0.4, (len(stuck), 1)
    )
    frame = meshes.random_frames(rng, n)
    frame[: len(stuck)] = np.stack(
        [axis, np.cross(blades.normal[stuck], axis), blades.normal[stuck]], 1
    )
    size = np.array([crop.hull_size[0], crop.hull_size[1], crop.hull_size[1] * 0.8]) / 2
    size = size * np.exp(rng.normal(0, 0.12, (n, 1)))
    corners = len(meshes.ball_vertices())
    striped = (np.arange(corners) % 2)[None, :, None]
    tint = np.asarray(crop.hull_colours[0]) * (1 - striped) + crop.hull_colours[1] * striped
    tint = tint * np.exp(rng.normal(0, 0.15, (n, 1, 1)))
    owner = np.concatenate([blades.plant[stuck], np.full(lying, -1)])
    centre = np.concatenate([on_tip, on_medium])
    return meshes.ellipsoids(centre, frame, size, tint, part=meshes.HULL, plant=owner)


def no_mesh() -> meshes.Mesh:
    return meshes.make(np.zeros((0, 3)), np.zeros((0, 3)), part=meshes.HULL)


def _tops(n: int, ground: float, *parts: meshes.Mesh) -> NDArray:
    """Highest point of every plant above the ground."""
    top = np.zeros(n)
    for part in parts:
        own = part.plant >= 0
        highest = part.vertices[part.faces[own], 2].max(1) - ground
        np.maximum.at(top, part.plant[own], highest)
    return top


class _Organs:
    """Makes stalks and blades for all plants at once."""

    def __init__(self, crop: Crop, rng: np.random.Generator, plants: NDArray, vigour: NDArray,
                 tint: NDArray, yellow: NDArray) -> None:  # fmt: skip
        self.crop, self.rng, self.plants = crop, rng, plants
        self.vigour, self.tint, self.yellow = vigour, tint, yellow
        self.turn = rng.uniform(0, 2 * np.pi, len(plants))

    def pair(self, node: NDArray, top: NDArray) -> tuple[Blades, list[meshes.Mesh], NDArray]:
        """Two seed leaves on their stalks."""
        parts = []
        for side in (0.0, np.pi):
            turn = self.turn + side + self.rng.normal(0, 0.2, len(node))
            stalk = self.crop.stalk * self.vigour * self.rng.uniform(0.7, 1.3, len(node))
            parts.append(self._leaf(node, top, turn, stalk, 1.0, self.crop.rise, self.crop.outline))
        return _together(parts)

    def true_leaves(self, node: NDArray, top: NDArray) -> tuple[Blades, list[meshes.Mesh], NDArray]:
        """First true leaves at a right angle to the seed leaves, on some plants."""
        chosen = self.rng.random(len(node)) < self.crop.true_leaf[0]
        some = _Organs(self.crop, self.rng, self.plants[chosen], self.vigour[chosen],
                       self.tint[chosen], self.yellow[chosen])  # fmt: skip
        some.turn = self.turn[chosen] + np.pi / 2
        parts = []
        for side in (0.0, np.pi):
            m = int(chosen.sum())
            size = self.crop.true_leaf[1] * self.rng.uniform(0.5, 1.1, m)
            stalk = self.crop.stalk * 0.6 * self.rng.uniform(0.5, 1.2, m) + 1.0
            parts.append(
                some._leaf(node[chosen], top[chosen], some.turn + side, stalk, size,
                           55.0, self.crop.true_outline)
            )  # fmt: skip
        blades, tubes, area = _together(parts)
        all_area = np.zeros(len(node))
        all_area[chosen] = area
        return blades, tubes, all_area

    def pea_node(self, spine: NDArray, share: float) -> tuple[Blades, list[meshes.Mesh], NDArray]:
        """A node of a pea: two stipules, a leaf of two leaflets, a tendril."""
        at = share * (STATIONS - 1)
        low = min(int(at), STATIONS - 2)
        node = spine[:, low] + (at - low) * (spine[:, low + 1] - spine[:, low])
        top = meshes.unit(spine[:, low + 1] - spine[:, low])
        n, rng, crop = len(node), self.rng, self.crop
        turn = self.turn + share * 20.0 + rng.normal(0, 0.3, n)
        size = 0.55 + 0.5 * np.sin(np.pi * min(share, 0.9))
        parts = [
            self._leaf(node, top, turn + side, np.full(n, 0.6), size * 0.7, 30.0, crop.outline)
            for side in (1.2, -1.2)
        ]
        reach = crop.stalk * self.vigour * rng.uniform(1.0, 2.2, n)
        end, heading, stalk, area = self._stalk(node, top, turn, reach, 50.0)
        for side in (0.9, -0.9):
            parts.append(
                self._leaf(end, heading, turn + side, np.full(n, 1.0), size, 20.0, crop.outline)
            )
        blades, tubes, stems = _together(parts)
        return blades, [*tubes, stalk, self._tendril(end, heading)], stems + area

    def _tendril(self, start: NDArray, heading: NDArray) -> meshes.Mesh:
        n, rng, k = len(start), self.rng, 10
        side = meshes.across(heading, rng.normal(size=(n, 3)))
        curl = rng.uniform(0.5, 5.0, (n, 1)) * np.linspace(0, 1, k) ** 2
        reach = rng.uniform(10, 30, (n, 1, 1)) / k
        step = heading[:, None] * np.cos(curl)[..., None] + side[:, None] * np.sin(curl)[..., None]
        path = start[:, None] + np.cumsum(step * reach, 1)
        radius = np.broadcast_to(np.linspace(0.4, 0.2, k), (n, k))
        tint = np.broadcast_to(self.tint[:, None], (n, k, 3))
        return meshes.tubes(path, radius, tint, part=meshes.STEM, plant=self.plants, sides=4)

    def _stalk(self, node: NDArray, top: NDArray, turn: NDArray, reach: NDArray,
               rise: NDArray | float) -> tuple[NDArray, NDArray, meshes.Mesh, NDArray]:  # fmt: skip
        """Leaf stalks: their ends, directions, mesh and area laid flat."""
        out = meshes.across(top, np.stack([np.cos(turn), np.sin(turn), np.zeros_like(turn)], 1))
        up = np.radians(rise)
        heading = out * np.cos(up) + top * np.sin(up)
        s = np.linspace(0, 1, 4)[None, :, None]
        path = node[:, None] + reach[:, None, None] * (
            s * heading[:, None] + 0.35 * s * (1 - s) * top[:, None]
        )
        radius = self.crop.stem_width[1] * 0.32 * np.sqrt(self.vigour)
        radii = radius[:, None] * np.array([1.1, 0.9, 0.85, 0.9])
        tint = np.broadcast_to(self.tint[:, None], (len(node), 4, 3))
        mesh = meshes.tubes(path, radii, tint, part=meshes.STEM, plant=self.plants, sides=5)
        end_heading = meshes.unit(path[:, -1] - path[:, -2])
        return path[:, -1], end_heading, mesh, 2 * radii.mean(1) * reach

    def _leaf(self, node: NDArray, top: NDArray, turn: NDArray, reach: NDArray,  # noqa: PLR0917
              size: NDArray | float, rise: float, outline: Outline
              ) -> tuple[Blades, list[meshes.Mesh], NDArray]:  # fmt: skip
        """Stalks with one blade each."""
        n, rng, crop = len(node), self.rng, self.crop
        raised = rise + rng.normal(0, 12, n)
        end, heading, stalk, area = self._stalk(node, top, turn, reach, (raised + 15)[:, None])
        flat = meshes.unit(heading * [1, 1, 0] + 1e-6)
        up = np.radians(raised)[:, None]
        axis = meshes.unit(0.5 * heading + flat * np.cos(up) + [0.0, 0.0, 1.0] * np.sin(up))
        normal = meshes.across(axis, top + 0.6 * np.array([0, 0, 1.0]))
        roll = rng.normal(0, 0.28, n)[:, None]
        normal = normal * np.cos(roll) + np.cross(axis, normal) * np.sin(roll)
        scale = size * self.vigour**0.7 * np.exp(rng.normal(0, 0.5 * crop.spread, n))
        length, width = crop.blade[0] * scale, crop.blade[1] * scale
        width = width * np.exp(rng.normal(0, 0.05, n))
        good = textures.TILES**2 - textures.YELLOWED_TILES
        tile = rng.integers(0, good, n)
        worn = rng.integers(good, textures.TILES**2, n)
        points = np.broadcast_to(outline.points(), (n, CORNERS, 2))
        points = points + rng.normal(0, 0.012, points.shape) * (points[..., :1] > 0.05)
        fold = np.radians(crop.fold) * rng.uniform(0.3, 1.7, n)
        blades = Blades(
            end, axis, normal, length, width, points, fold,
            np.radians(crop.cup) / (width / 2) * rng.normal(1, 0.5, n),
            np.radians(crop.bend) / length * rng.normal(1, 0.5, n),
            rng.normal(0, 0.25, n), np.where(self.yellow, worn, tile), self.plants, self.yellow,
        )  # fmt: skip
        return blades, [stalk], area


def _together(parts: list) -> tuple[Blades, list[meshes.Mesh], NDArray]:
    return (
        join_blades([p[0] for p in parts]),
        [mesh for p in parts for mesh in p[1]],
        sum(p[2] for p in parts),
    )
