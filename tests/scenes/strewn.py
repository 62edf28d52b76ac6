"""Cut plants as they lie on a board: stems curved in the plane, blades spread nearly flat.

A plant is made with the middle of its cut at the origin, its stem starting along +x and the
board at z = 0; `Plant.placed` lays it elsewhere. Lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from tests.scenes import meshes, textures
from tests.scenes.blades import Blades, Outline
from tests.scenes.crops import Crop

STATIONS = 56  # points along a stem
SIDES = 20  # corners of a stem's cross section
OUTLINE_CORNERS = 72
RING_SHARES = tuple(np.linspace(0.12, 1.0, 9).tolist())
SHAPES = ("straight", "arc", "ess", "hook")


@dataclass(frozen=True)
class BladeFacts:
    """A blade laid flat: sizes in mm and mm2, its number in the photo, and how it lies."""

    number: int
    length: float
    width: float
    area: float
    true_leaf: bool
    pose: str


@dataclass
class Plant:
    """A cut plant: meshes, centre line and facts.

    Attributes
    ----------
    leaves, stems, hulls : meshes with the plant's and the blades' numbers; `leaves` has the
        leaf texture, the others colours at the vertices (a grass's round parts are leaf in `stems`)
    spine : (STATIONS, 3) mm centre line from the cut to the tip of the stem
    width : (STATIONS,) mm
    node : length along the centre line (share 0..1) at which the measured stem ends; nan
        for plants without a node
    blades : facts of each blade
    """

    leaves: meshes.Mesh
    stems: meshes.Mesh
    hulls: meshes.Mesh
    spine: NDArray
    width: NDArray
    node: float
    blades: list[BladeFacts] = field(default_factory=list)

    def outline_points(self) -> NDArray:
        """Some of the vertices (n, 3), about one in each cell of 0.6 mm in plan."""
        points = self.points()
        cell = np.floor(points[:, :2] / 0.6).astype(int)
        _, first = np.unique(cell[:, 0] * 100_000 + cell[:, 1], return_index=True)
        return points[first]

    def points(self) -> NDArray:
        """All vertices (n, 3) of leaves and stem."""
        return np.concatenate([self.leaves.vertices, self.stems.vertices]).astype(float)

    def placed(self, turn: float, at: NDArray) -> Plant:
        """Give the plant turned by `turn` (rad) and moved by `at` (2,) mm on the board."""
        c, s = np.cos(turn), np.sin(turn)
        matrix = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]])
        shift = np.array([*at, 0.0])
        return self._warped(lambda p: p @ matrix + shift)

    def raised_over(self, points: NDArray, reach: float, height: float) -> Plant:
        """Give the plant lying over something low at `points` (n, 2): lifted near them."""
        some = points[:: max(1, len(points) // 400)]

        def lift(p: NDArray) -> NDArray:
            away = np.min(
                np.hypot(p[:, :1] - some[None, :, 0], p[:, 1:2] - some[None, :, 1]), axis=1
            )
            return p + np.stack([0 * away, 0 * away, height * np.exp(-((away / reach) ** 2))], 1)

        return self._warped(lift)

    def _warped(self, change) -> Plant:
        def moved(mesh: meshes.Mesh) -> meshes.Mesh:
            place = change(mesh.vertices.astype(float)).astype(np.float32)
            return replace(mesh, vertices=np.ascontiguousarray(place))

        return replace(
            self, leaves=moved(self.leaves), stems=moved(self.stems), hulls=moved(self.hulls),
            spine=change(self.spine),
        )  # fmt: skip

    def numbered(self, plant: int, first_blade: int) -> Plant:
        """Give the plant with its numbers in the photo."""

        def named(mesh: meshes.Mesh) -> meshes.Mesh:
            blade = np.where(mesh.blade >= 0, mesh.blade + first_blade, -1).astype(np.int32)
            return replace(mesh, plant=np.full(len(mesh.faces), plant, np.int32), blade=blade)

        return replace(
            self, leaves=named(self.leaves), stems=named(self.stems), hulls=named(self.hulls),
            blades=[replace(b, number=b.number + first_blade) for b in self.blades],
        )  # fmt: skip


def length_along(spine: NDArray) -> NDArray:
    """Length (k,) along a centre line (k, 3) from its first point."""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(spine, axis=0), axis=1))])


def centre_line(length: float, shape: str, lift: float, radius: NDArray,
                rng: np.random.Generator) -> NDArray:  # fmt: skip
    """Centre line (STATIONS, 3) of a stem on the board whose length in space is `length`."""
    s = (np.arange(STATIONS - 1) + 0.5) / (STATIONS - 1)
    side = rng.choice([-1.0, 1.0])
    heading = {
        "straight": lambda: rng.normal(0, 0.05) * s,
        "arc": lambda: side * rng.uniform(0.25, 1.5) * (s - 0.5),
        "ess": lambda: side * rng.uniform(0.2, 0.65) * np.sin(2 * np.pi * s * rng.uniform(0.8, 1)),
        "hook": lambda: (
            side * rng.uniform(0.9, 2.4) * np.clip((s - 0.72) / 0.28, 0, 1) ** 1.4
            + side * rng.normal(0, 0.3) * s
        ),
    }[shape]()
    if shape != "straight":
        heading = heading + rng.normal(0, 0.06) * np.sin(2 * np.pi * (2.2 * s + rng.random()))
    t = np.linspace(0, 1, STATIONS)
    ramp = np.clip((t - 0.35) / 0.65, 0, 1)
    rise = radius + 0.05 + lift * ramp**2 * (3 - 2 * ramp)
    if shape != "straight":
        rise = rise + rng.uniform(0, 0.5) * np.sin(np.pi * t) ** 2
    climb = np.diff(rise)
    step = length / (STATIONS - 1)
    level = np.sqrt(np.maximum(step**2 - climb**2, (0.3 * step) ** 2))
    flat = np.cumsum(np.stack([np.cos(heading), np.sin(heading)], 1) * level[:, None], 0)
    return np.column_stack([np.concatenate([[[0.0, 0.0]], flat]), rise])


def closed_tube(spine: NDArray, radius: NDArray, colours: NDArray, part: int = meshes.STEM,
                sides: int = SIDES) -> meshes.Mesh:  # fmt: skip
    """Tube with a flat end at the start (the cut) and a rounded one at the end."""
    tangent = meshes.unit(spine[-1] - spine[-2])
    first = spine[:1] - 1e-3 * meshes.unit(spine[1] - spine[0])
    turn = np.array([0.5, 0.85, 0.999])
    last = spine[-1] + tangent * (np.sin(turn * np.pi / 2) * radius[-1])[:, None]
    centre = np.concatenate([first, spine, last])
    radii = np.concatenate([[1e-3], radius, radius[-1] * np.cos(turn * np.pi / 2)])
    tint = np.concatenate([colours[:1], colours, np.repeat(colours[-1:], 3, 0)])
    return meshes.tubes(
        centre[None], radii[None], tint[None], part=part, plant=np.zeros(1, int), sides=sides,
        lying=True,
    )  # fmt: skip


def stem_colours(foot: NDArray, top: NDArray, rng: np.random.Generator, count: int) -> NDArray:
    """Colours (count, 3) along a stem from foot to top, a little uneven."""
    s = np.linspace(0, 1, count)
    share = 1 / (1 + np.exp(-(s - rng.normal(0.55, 0.2)) / rng.uniform(0.08, 0.3)))
    tint = foot * (1 - share[:, None]) + top * share[:, None]
    return np.clip(tint * np.exp(rng.normal(0, 0.08) + rng.normal(0, 0.025, 3)
                                 + rng.normal(0, 0.015, (count, 1))), 0.005, 0.88)  # fmt: skip


def press(z: NDArray, floor: float, softness: float = 0.35) -> NDArray:
    """Heights that never go below `floor`: a blade that would is pressed flat on the board."""
    return floor + softness * np.logaddexp(0, (z - floor) / softness)


class Maker:
    """Makes cut plants of one crop.

    Parameters
    ----------
    crop : form and colours
    laying : `shapes` (weights of SHAPES), `odd` (share of blades that are curled, folded or
        seen edge-on), `cut_mm` (how much of the stem stays in the tray), `longer`, `leafier`
        (factors of stem length and blade size)
    """

    def __init__(self, crop: Crop, laying: dict, rng: np.random.Generator) -> None:
        self.crop, self.laying, self.rng = crop, laying, rng

    def plant(self) -> Plant:
        """Make the next plant."""
        rng, crop = self.rng, self.crop
        self.vigour = float(np.clip(np.exp(rng.normal(0, crop.spread)), 0.55, 1.4))
        self.leaf_meshes: list[meshes.Mesh] = []
        self.stem_meshes: list[meshes.Mesh] = []
        self.hull_meshes: list[meshes.Mesh] = []
        self.blades: list[BladeFacts] = []
        length = crop.height * self.vigour * self.laying["longer"] - self.laying["cut_mm"]
        length = max(length, 14.0)
        shape = str(rng.choice(SHAPES, p=self.laying["shapes"]))
        width = np.linspace(*crop.stem_width, STATIONS) * self.vigour**0.5
        width = width * (1 + 0.03 * np.sin(np.linspace(0, 9, STATIONS) + rng.uniform(0, 6)))
        spine = centre_line(length, shape, float(rng.uniform(0, 2)), width / 2, rng)
        self.tint = stem_colours(crop.stem_foot, crop.stem_top, rng, STATIONS)
        node = {"pair": self._pair, "pea": self._pea, "strap": self._strap, "reed": self._reed}[
            crop.form
        ](spine, width)
        return Plant(
            _joined(self.leaf_meshes), _joined(self.stem_meshes), _joined(self.hull_meshes),
            spine, width, node, self.blades,
        )  # fmt: skip

    def _pair(self, spine: NDArray, width: NDArray) -> float:
        rng, crop = self.rng, self.crop
        self.stem_meshes.append(closed_tube(spine, width / 2, self.tint))
        forward = _flat_heading(spine[-1] - spine[-3])
        one_sided = rng.random() < 0.18
        open_by = rng.normal(np.radians(48), np.radians(16), 2)
        for k, side in enumerate((1.0, -1.0)):
            turn = side * np.clip(abs(open_by[k]), 0.12, 1.7)
            if one_sided:
                turn = rng.choice([0.5, -0.5]) + 0.35 * side
            stalk = crop.stalk * self.vigour * rng.uniform(0.7, 1.3)
            self._leaf(spine[-1], forward, turn, stalk, 1.0, crop.outline, k)
        if rng.random() < crop.true_leaf[0]:
            for k, side in enumerate((1.0, -1.0)):
                size = crop.true_leaf[1] * rng.uniform(0.5, 1.1)
                stalk = crop.stalk * 0.5 * rng.uniform(0.5, 1.2) + 1.0
                turn = side * rng.uniform(0.05, 0.4)
                self._leaf(spine[-1], forward, turn, stalk, size, crop.true_outline, 2 + k)
        return 1.0

    def _pea(self, spine: NDArray, width: NDArray) -> float:
        rng, crop = self.rng, self.crop
        self.stem_meshes.append(closed_tube(spine, width / 2, self.tint))
        first = float(rng.uniform(0.42, 0.6))
        for k, share in enumerate((first, 0.5 * (first + 1.0), 1.0)):
            at = min(int(share * (STATIONS - 1)), STATIONS - 1)
            forward = _flat_heading(spine[at] - spine[max(at - 2, 0)])
            size = (0.75, 1.0, 0.7)[k] * rng.uniform(0.85, 1.1)
            side = (-1.0) ** k
            for turn in (1.0, -1.0):
                self._leaf(spine[at], forward, turn * rng.uniform(0.6, 1.1), 0.7, size * 0.6,
                           crop.outline, k % 2)  # fmt: skip
            turn = side * rng.uniform(0.3, 0.8)
            reach = crop.stalk * self.vigour * rng.uniform(1.0, 2.0)
            end, heading = self._stalk(spine[at], forward, turn, reach, 2)
            for opening in (0.8, -0.8):
                self._leaf(end, heading, opening * rng.uniform(0.7, 1.2), 1.0, size, crop.outline,
                           1 + (k % 2))  # fmt: skip
            self._tendril(end, heading)
        return float(int(first * (STATIONS - 1)) / (STATIONS - 1))

    def _tendril(self, start: NDArray, heading: float) -> None:
        rng, k = self.rng, 26
        curl = rng.choice([-1, 1]) * rng.uniform(0.5, 5.0) * np.linspace(0, 1, k) ** 2
        step = rng.uniform(8, 22) / k
        path = np.cumsum(np.stack([np.cos(heading + curl), np.sin(heading + curl)], 1) * step, 0)
        centre = np.column_stack([start[:2] + path, np.linspace(start[2], 0.6, k)])
        tint = np.repeat(self.tint[-1:], k, 0)
        self.stem_meshes.append(closed_tube(centre, np.linspace(0.4, 0.22, k), tint, sides=10))

    def _strap(self, spine: NDArray, width: NDArray) -> float:
        """One grass leaf: a pale round sheath that opens into a strap with a pointed tip."""
        rng, crop = self.rng, self.crop
        sheath = int(STATIONS * rng.uniform(0.14, 0.26))
        radius = 0.28 * width[: sheath + 1]
        tint = stem_colours(crop.stem_foot, crop.stem_top, rng, sheath + 1)
        tube = closed_tube(spine[: sheath + 1], radius, tint, meshes.LEAF)
        self.stem_meshes.append(replace(tube, blade=np.zeros(len(tube.faces), np.int32)))
        blade = spine[sheath - 2 :]
        s = np.linspace(0, 1, len(blade))
        half = (
            0.5
            * width[sheath - 2 :]
            * np.clip(0.6 + 4 * s, 0, 1)
            * np.clip((1 - s) / 0.3, 0, 1) ** 0.6
        )
        half = np.maximum(half, 0.04)
        across = np.linspace(-1, 1, 9)
        heading = np.gradient(blade[:, :2], axis=0)
        aside = meshes.unit(np.stack([-heading[:, 1], heading[:, 0]], 1))
        roll = rng.normal(0, 0.35) * np.sin(np.pi * s) + rng.normal(0, 0.15)
        vault = 0.18 * (1 - across**2)[None] * half[:, None]
        xy = (
            blade[:, None, :2]
            + aside[:, None] * (half[:, None] * across * np.cos(roll)[:, None])[..., None]
        )
        z = blade[:, 2:] + vault + half[:, None] * across * np.sin(roll)[:, None]
        vertices = np.concatenate([xy, press(z, 0.15)[..., None]], -1).reshape(-1, 3)
        tile = int(rng.integers(0, textures.TILES**2 - textures.YELLOWED_TILES))
        row, column = divmod(tile, textures.TILES)
        uv = np.stack(np.broadcast_arrays(0.04 + 0.92 * s[:, None], 0.5 + 0.42 * across[None]), -1)
        uv = (uv + np.array([column, row])) / textures.TILES
        n, m = len(blade), len(across)
        j, i = np.meshgrid(np.arange(n - 1), np.arange(m - 1), indexing="ij")
        a = j * m + i
        faces = np.stack([a, a + m, a + m + 1, a, a + m + 1, a + 1], -1).reshape(-1, 3)
        self.leaf_meshes.append(
            meshes.make(vertices, faces, part=meshes.LEAF, uv=uv.reshape(-1, 2),
                        blade=np.zeros(len(faces), int))
        )  # fmt: skip
        area = float(np.trapezoid(2 * half, length_along(blade)))
        self.blades.append(BladeFacts(0, float(length_along(blade)[-1]), float(2 * half.max()),
                                      area, true_leaf=False, pose="flat"))  # fmt: skip
        return float("nan")

    def _reed(self, spine: NDArray, width: NDArray) -> float:
        """One round leaf, often with the seed's hull still on its bent tip."""
        mesh = closed_tube(spine, width / 2, self.tint, meshes.LEAF)
        self.stem_meshes.append(replace(mesh, blade=np.zeros(len(mesh.faces), np.int32)))
        line = length_along(spine)
        area = float(np.trapezoid(width, line))
        self.blades.append(BladeFacts(0, float(line[-1]), float(width.max()), area,
                                      true_leaf=False, pose="flat"))  # fmt: skip
        if self.rng.random() < self.crop.hull:
            self._hull(spine[-1] + [0, 0, 0.4])
        return float("nan")

    def _stalk(self, node: NDArray, forward: float, turn: float, reach: float,
               layer: int) -> tuple[NDArray, float]:  # fmt: skip
        """A leaf stalk in the plane; its end and its heading there."""
        rng, crop, k = self.rng, self.crop, 14
        s = np.linspace(0, 1, k)[:, None]
        ahead, aside = (np.array([np.cos(a), np.sin(a)]) for a in (forward, forward + turn))
        start = node[:2] - 0.3 * ahead
        bend = start + 0.45 * reach * ahead
        end = bend + 0.7 * reach * aside
        xy = (1 - s) ** 2 * start + 2 * s * (1 - s) * bend + s**2 * end
        radius = max(0.32 * crop.stem_width[1] * self.vigour**0.5, 0.28)
        radii = radius * np.interp(s[:, 0], [0, 0.2, 1], [1.15, 0.95, 0.85])
        target = radius + 0.25 + 0.45 * layer + rng.uniform(0, 1.4)
        z = press(node[2] + (target - node[2]) * s[:, 0], radius + 0.05, 0.2)
        tint = np.clip(self.tint[-1:] * np.exp(rng.normal(0, 0.03)), 0.005, 0.88)
        self.stem_meshes.append(
            closed_tube(np.column_stack([xy, z]), radii, np.repeat(tint, k, 0), sides=14)
        )
        last = xy[-1] - xy[-2]
        return np.array([*xy[-1], z[-1]]), float(np.arctan2(last[1], last[0]))

    def _leaf(  # noqa: PLR0917
        self,
        node: NDArray,
        forward: float,
        turn: float,
        reach: float,
        size: float,
        outline: Outline,
        layer: int,
    ) -> None:
        """A stalk with a blade that lies in the way of its pose."""
        rng, crop = self.rng, self.crop
        true_leaf = outline is not self.crop.outline or self.crop.form == "pea"
        end, heading = self._stalk(node, forward, turn, reach, layer)
        pose = "flat"
        if rng.random() < self.laying["odd"]:
            pose = str(rng.choice(["curled", "folded", "edge"]))
        pitch = rng.normal(0.02, 0.05)
        roll, fold = rng.normal(0, 0.10), np.radians(crop.fold) * rng.uniform(0.1, 0.8)
        bend, cup = (
            np.radians(crop.bend) * rng.normal(0.3, 0.4),
            np.radians(crop.cup) * rng.normal(0.4, 0.5),
        )
        side = rng.choice([-1.0, 1.0])
        if pose == "curled":
            bend, cup = rng.uniform(0.9, 1.9), rng.uniform(0.3, 0.9)
        elif pose == "folded":
            fold = rng.uniform(1.25, 1.5)
            roll = side * rng.uniform(1.1, 1.4)
        elif pose == "edge":
            fold, roll = rng.uniform(0.9, 1.3), side * rng.uniform(0.3, 1.0)
        scale = (
            size
            * self.vigour**0.7
            * self.laying["leafier"]
            * np.exp(rng.normal(0, 0.5 * crop.spread))
        )
        length = crop.blade[0] * scale
        width = crop.blade[1] * scale * np.exp(rng.normal(0, 0.05))
        axis = np.array(
            [np.cos(heading) * np.cos(pitch), np.sin(heading) * np.cos(pitch), np.sin(pitch)]
        )
        normal = meshes.across(axis, np.array([0.0, 0, 1.0]))
        normal = normal * np.cos(roll) + np.cross(axis, normal) * np.sin(roll)
        points = _wavy(outline.points(OUTLINE_CORNERS), rng)
        # Without this a gap shows where a notched base begins.
        origin = end - 0.4 * axis
        tile = int(rng.integers(0, textures.TILES**2 - textures.YELLOWED_TILES))
        number = len(self.blades)
        blade = Blades(
            origin[None], axis[None], normal[None], *(np.array([v]) for v in (length, width)),
            points[None], np.array([fold]), np.array([2 * cup / width]), np.array([bend / length]),
            np.array([rng.normal(0, 0.12)]), np.array([tile]), np.zeros(1, int), np.zeros(1, bool),
        )  # fmt: skip
        mesh = blade.mesh(textures.TILES, number, RING_SHARES)
        place = mesh.vertices.astype(float)
        ripple = (
            0.35
            * np.sin(place[:, 0] / rng.uniform(2, 4) + rng.uniform(0, 6))
            * np.sin(place[:, 1] / rng.uniform(2, 4) + rng.uniform(0, 6))
        )
        place[:, 2] = press(place[:, 2] + ripple, 0.15 + 0.4 * layer)
        self.leaf_meshes.append(replace(mesh, vertices=place.astype(np.float32)))
        self.blades.append(
            BladeFacts(number, float(length), float(width), float(blade.flat_areas()[0]),
                       true_leaf, pose)
        )  # fmt: skip
        if not true_leaf and rng.random() < crop.hull / 2:
            tip = place[np.argmax((place - origin) @ axis)]
            self._hull(tip - crop.hull_size[0] * rng.uniform(0.1, 0.4) * axis)

    def _hull(self, at: NDArray) -> None:
        self.hull_meshes.append(hulls(self.crop, at[None], self.rng))


def hulls(crop: Crop, at: NDArray, rng: np.random.Generator) -> meshes.Mesh:
    """Seed hulls (n) lying at the places `at` (n, 3), whose heights are at least theirs."""
    n, detail = len(at), (13, 20)
    turn = rng.uniform(0, 2 * np.pi, n)
    zero = np.zeros(n)
    frame = np.stack([np.stack([np.cos(turn), np.sin(turn), zero], 1),
                      np.stack([-np.sin(turn), np.cos(turn), zero], 1),
                      np.stack([zero, zero, zero + 1], 1)], 1)  # fmt: skip
    half = np.array([crop.hull_size[0], crop.hull_size[1], crop.hull_size[1] * 0.7]) / 2
    half = half * np.exp(rng.normal(0, 0.12, (n, 1)))
    stripe = (np.arange(detail[0] * detail[1]) % detail[1] // 3 % 2)[None, :, None]
    tint = (
        np.asarray(crop.hull_colours[0]) * (1 - stripe) + np.asarray(crop.hull_colours[1]) * stripe
    )
    tint = tint * np.exp(rng.normal(0, 0.15, (n, 1, 1)))
    centre = np.column_stack([at[:, :2], np.maximum(at[:, 2], 0.9 * half[:, 2])])
    return meshes.ellipsoids(centre, frame, half, tint, part=meshes.HULL, detail=detail)


def _wavy(points: NDArray, rng: np.random.Generator) -> NDArray:
    """Outline with slow bumps, as no two leaves are alike."""
    t = np.arange(len(points)) * (2 * np.pi / len(points))
    bumps = sum(
        rng.normal(0, 0.018 / k**0.5) * np.cos(k * t + rng.uniform(0, 6)) for k in range(2, 8)
    )
    free = np.clip(points[:, :1] / 0.12, 0, 1)
    middle = np.array([0.5, 0.0])
    return middle + (points - middle) * (1 + np.asarray(bumps)[:, None] * free)


def _flat_heading(v: NDArray) -> float:
    return float(np.arctan2(v[1], v[0]))


def _joined(parts: list[meshes.Mesh]) -> meshes.Mesh:
    if not parts:
        return meshes.make(np.zeros((0, 3)), np.zeros((0, 3)), part=meshes.OTHER)
    return meshes.join(parts)
