"""A plain board with cut plants and the card: everything in the scene but light and lens.

The board's top is z = 0, the middle of what is laid on it is near x = y = 0. Lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.scenes import crops, meshes, textures
from tests.scenes.colour import paint
from tests.scenes.intruders import SKINS, forearm
from tests.scenes.items import Item
from tests.scenes.strewn import Maker, Plant, closed_tube, hulls
from tests.scenes.tray import PAPER_MM, Card, read_card

HALF_MM = 420  # half side of the area where things are laid
GAP_MM = 4.5  # least distance of plants that lie apart
LEAF_TILE_PX = 160
TONES = {
    "white": (236, 236, 231),
    "blue": (44, 92, 158),
    "black": (34, 34, 36),
    "grey": (134, 133, 129),
}
STEM_TINTS = {
    "white": ((244, 243, 236), (226, 230, 208)),
    "pale": ((232, 234, 206), (190, 212, 146)),
    "pink": ((240, 206, 212), (222, 142, 164)),
    "purple": ((196, 130, 172), (112, 44, 96)),
    "crimson": ((208, 96, 112), (140, 30, 52)),
    "tan": ((216, 190, 150), (178, 140, 96)),
    "gold": ((238, 208, 110), (220, 168, 44)),
    "violet": ((186, 170, 214), (104, 80, 158)),
    "orange": ((236, 190, 150), (222, 118, 64)),
}


@dataclass
class Laid:
    """What lies on a board.

    Attributes
    ----------
    items : meshes with their materials
    plants : in the order of their numbers
    card : where the card lies
    things : (k, 3) mm points that have to be in the picture
    """

    items: list[Item]
    plants: list[Plant]
    card: Card
    things: NDArray


def crop_of(spec: dict) -> crops.Crop:
    """Crop of a board, with the stems' colour that the specification asks for."""
    name = spec["crop"]
    if name == "random":
        crop = crops.random_crop(np.random.default_rng(spec["form_seed"]), "random")
    else:
        crop = {**crops.NAMED, **crops.NODELESS}[name]
    tint = spec["stem_tint"]
    if tint is None:
        return crop
    foot, top = (paint(*c) for c in STEM_TINTS[tint])
    return replace(crop, stem_foot=foot, stem_top=top)


def build(spec: dict, cards: Path) -> Laid:
    """Lay plants, card and clutter on the board."""
    rng = np.random.default_rng(spec["seed"])
    crop = crop_of(spec)
    card, face = _lay_card(spec, cards, rng)
    plants, ground = lay_plants(spec, crop, card, rng)
    things = np.concatenate([card.corners, *(p.points() for p in plants)])
    items = [face, *_plant_items(plants, crop, rng)]
    items += _distractors(spec, crop, plants, ground, rng)
    items += _board_items(spec, things, rng)
    if spec["bad"] == "hand":
        items.append(_arm(things, card, rng))
    if spec["bad"] == "cut_off":
        # The picture shows the card and what lies on one side of its middle.
        middle = things[:, :2].mean(0)
        things = np.concatenate([card.corners, things[things[:, 0] < middle[0] - 8.0]])
    return Laid(items, plants, card, things)


def _lay_card(spec: dict, cards: Path, rng: np.random.Generator) -> tuple[Card, Item]:
    picture, width, height = read_card(cards / "board.png")
    file = "board.png"
    if spec["bad"] == "card_down":
        picture, file = np.full((8, 8, 3), 0.86, np.float32), "none: the printed side is down"
    turn = np.radians(spec["views"]["board"]["card"]["rotation_deg"])
    right = np.array([np.cos(turn), np.sin(turn), 0]) * width / 2
    up = np.array([-np.sin(turn), np.cos(turn), 0]) * height / 2
    middle = np.array([*rng.normal(0, [70, 50]), PAPER_MM])
    corners = middle + np.stack([up - right, up + right, right - up, -right - up])
    item = Item("card", meshes.sheet(corners, part=meshes.CARD), "card", picture)
    return Card("board", corners, picture, file), item


class _Ground:
    """Which places of the board are taken, on a grid of 1 mm."""

    def __init__(self, gap: float) -> None:
        self.side = 2 * HALF_MM
        self.taken = np.zeros((self.side, self.side), bool)
        r = int(np.ceil(gap))
        dy, dx = np.mgrid[-r : r + 1, -r : r + 1]
        near = dx**2 + dy**2 <= gap**2
        self.around = np.stack([dx[near], dy[near]], 1)

    def cells(self, points: NDArray) -> NDArray:
        column, row = np.floor(points[:, :2] + HALF_MM).astype(int).T
        return np.stack(np.divmod(np.unique(column * 4 * self.side + row), 4 * self.side), 1)

    def free(self, cells: NDArray) -> bool:
        inside = np.all((cells > 8) & (cells < self.side - 8))
        return bool(inside) and not self.taken[cells[:, 1], cells[:, 0]].any()

    def take(self, cells: NDArray) -> None:
        around = (cells[:, None] + self.around).reshape(-1, 2)
        around = around[np.all((around >= 0) & (around < self.side), axis=1)]
        self.taken[around[:, 1], around[:, 0]] = True


def lay_plants(spec: dict, crop: crops.Crop, card: Card,
               rng: np.random.Generator) -> tuple[list[Plant], _Ground]:  # fmt: skip
    """Lay plants around the card, apart from one another but for the pairs asked for."""
    how = spec["plants"]
    ground = _Ground(GAP_MM)
    ground.take(_card_cells(card, ground))
    maker = Maker(crop, how["laying"], rng)
    main = rng.uniform(0, 2 * np.pi)
    pairs = ["touch"] * how["touching"] + ["cross"] * how["crossing"]
    placed: list[Plant] = []
    paired: set[int] = set()
    first_blade = 0
    while len(placed) < how["count"]:
        plant = maker.plant()
        single = [k for k in range(len(placed)) if k not in paired]
        wanted = pairs.pop() if pairs and single else None
        if spec["bad"] == "heap":
            plant = plant.placed(rng.uniform(0, 2 * np.pi), _beside(card, rng))
            for below in placed:
                plant = plant.raised_over(below.spine[:, :2], 6.0, 0.5)
        elif wanted:
            other = single[int(rng.integers(len(single)))]
            paired |= {other, len(placed)}
            plant = _pair_up(plant, placed, other, wanted, card, ground, rng)
        else:
            plant = _alone(plant, how["layout"], main, ground, rng)
        ground.take(ground.cells(plant.points()))
        placed.append(plant.numbered(len(placed), first_blade))
        first_blade += len(plant.blades)
    return placed, ground


def _beside(card: Card, rng: np.random.Generator) -> NDArray:
    """A place near the middle of a heap beside the card."""
    side = card.corners[1] - card.corners[0]
    return card.corners[:, :2].mean(0) + 1.25 * side[:2] + rng.normal(0, 16, 2)


def _heading(layout: str, main: float, rng: np.random.Generator) -> float:
    spread = {"parallel": 0.14, "rows": 0.14, "loose": 0.7, "any": 9.0}[layout]
    turned = np.pi * (layout == "rows") * rng.integers(0, 2)
    return float(main + rng.normal(0, spread) + turned)


def _alone(plant: Plant, layout: str, main: float, ground: _Ground,
           rng: np.random.Generator) -> Plant:  # fmt: skip
    """Lay the plant at the place nearest to the middle of those tried."""
    best, best_far = None, np.inf
    tried = 0
    shape = plant.outline_points()
    while best is None or tried < 160:
        tried += 1
        turn = _heading(layout, main, rng)
        c, r = np.cos(turn), np.sin(turn)
        points = shape[:, :2] @ np.array([[c, r], [-r, c]])
        middle = (points.min(0) + points.max(0)) / 2
        reach = np.array([40.0, 30.0]) * (1.2 + 0.045 * tried)
        at = rng.uniform(-reach, reach) - middle
        moved = points + at
        far = float(np.max(np.abs(moved) / [4.0, 3.0]))
        if far < best_far and ground.free(ground.cells(moved)):
            best, best_far = (turn, at), far
        if tried > 4000:
            message = "no room for another plant on the board"
            raise RuntimeError(message)
    return plant.placed(*best)


def _card_cells(card: Card, ground: _Ground) -> NDArray:
    share = np.linspace(-0.5, 0.5, 240)
    right, down = card.corners[1] - card.corners[0], card.corners[3] - card.corners[0]
    points = card.corners.mean(0) + share[:, None, None] * right + share[:, None] * down
    return ground.cells(points.reshape(-1, 3))


def _pair_up(  # noqa: PLR0917
    plant: Plant,
    placed: list[Plant],
    other: int,
    wanted: str,
    card: Card,
    ground: _Ground,
    rng: np.random.Generator,
) -> Plant:
    """Lay the plant so that it touches or crosses another one, and nobody else."""
    rest = _Ground(GAP_MM)
    rest.take(_card_cells(card, rest))
    for k, p in enumerate(placed):
        if k != other:
            rest.take(rest.cells(p.points()))
    for _ in range(12):
        found = _onto(plant, placed[other], wanted, rest, rng)
        if found is not None:
            return found
    return _alone(plant, "any", 0.0, ground, rng)


def _onto(plant: Plant, other: Plant, wanted: str, rest: _Ground,
          rng: np.random.Generator) -> Plant | None:  # fmt: skip
    """The plant laid against or over another, or None where that meets a third."""
    taken = np.zeros((4 * HALF_MM, 4 * HALF_MM), bool)
    taken[tuple((2 * (other.points()[:, :2] + HALF_MM)).astype(int).T)] = True
    along = np.arctan2(*(other.spine[-1] - other.spine[0])[1::-1])
    for _ in range(60):
        if wanted == "cross":
            turn = along + rng.choice([-1, 1]) * rng.uniform(0.5, 1.5)
            turned = plant.placed(turn, np.zeros(2))
            mine = turned.points()[int(rng.integers(len(turned.points())))]
            theirs = other.points()[int(rng.integers(len(other.points())))]
            if rng.random() < 0.5:
                mine, theirs = (p.spine[int(rng.integers(8, 48))] for p in (turned, other))
            moved = turned.placed(0.0, (theirs - mine)[:2])
            if not rest.free(rest.cells(moved.points())):
                continue
            over = moved.raised_over(other.spine[:, :2], 7.0, 1.2 * float(other.width.mean()))
            if len(other.leaves.vertices):
                over = over.raised_over(other.leaves.vertices[:, :2].astype(float), 5.0, 1.2)
            return over
        turned = plant.placed(along + rng.normal(0, 0.5), np.zeros(2))
        way = rng.uniform(0, 2 * np.pi)
        way = np.array([np.cos(way), np.sin(way)])
        start = other.spine[int(rng.integers(0, 56)), :2] - turned.spine[28, :2]
        shape = turned.points()[:, :2]
        for away in np.arange(0.0, 130.0, 0.5):
            moved = shape + start + away * way
            cells = (2 * (moved + HALF_MM)).astype(int)
            cells = cells[np.all((cells >= 0) & (cells < 4 * HALF_MM), axis=1)]
            if not taken[tuple(cells.T)].any():
                break
        # The last step back: the outlines meet by about half a millimetre.
        moved = turned.placed(0.0, start + (away - 0.7) * way)
        if rest.free(rest.cells(moved.points())):
            return moved
    return None


def _plant_items(plants: list[Plant], crop: crops.Crop, rng: np.random.Generator) -> list[Item]:
    if not plants:
        return []
    items = []
    leaves = meshes.join([p.leaves for p in plants])
    if len(leaves.faces):
        atlas = textures.leaf_atlas(rng, crop, LEAF_TILE_PX)
        items.append(Item("plants_leaves", leaves, "leaf", atlas, crop.gloss, 0.28, crop.through))
    stems = meshes.join([p.stems for p in plants])
    items.append(Item("plants_stems", stems, "coloured", None, 0.8 * crop.gloss, 0.3))
    stuck = meshes.join([p.hulls for p in plants])
    if len(stuck.faces):
        items.append(Item("plants_hulls", stuck, "coloured", None, 0.7, 0.35))
    return items


def _distractors(spec: dict, crop: crops.Crop, plants: list[Plant], ground: _Ground,
                 rng: np.random.Generator) -> list[Item]:  # fmt: skip
    """Hulls, loose roots, crumbs of medium and drops of water, on the board and on leaves."""
    how = spec["distractors"]
    reach = 90.0
    if plants:
        reach = float(np.percentile(np.abs(np.concatenate([p.points() for p in plants])), 90))

    def spots(n: int, z: float) -> NDArray:
        xy = rng.uniform([-reach, -0.75 * reach], [reach, 0.75 * reach], (8 * n + 8, 2))
        cell = np.floor(xy + HALF_MM).astype(int)
        free = xy[~ground.taken[cell[:, 1], cell[:, 0]]][:n]
        return np.column_stack([free, np.full(len(free), z)])

    items = []
    at = spots(how["hulls"], 0.5)
    if len(at):
        items.append(Item("hulls", hulls(crop, at, rng), "coloured", None, 0.7, 0.35))
    roots = [_root(p, rng) for p in spots(how["roots"], 0.3)]
    if roots:
        items.append(Item("roots", meshes.join(roots), "coloured", None, 0.5, 0.4))
    at = spots(how["crumbs"], 0.3)
    if len(at):
        n = len(at)
        size = np.exp(rng.normal(-0.5, 0.5, (n, 1))) * rng.uniform(0.5, 1.3, (n, 3))
        shades = np.array([paint(62, 46, 34), paint(92, 68, 46), paint(40, 30, 24)])
        crumbs = meshes.ellipsoids(
            at, meshes.random_frames(rng, n), np.clip(size, 0.25, 1.8),
            shades[rng.integers(0, 3, n)][:, None], part=meshes.MEDIUM, detail=(7, 9),
        )  # fmt: skip
        bumps = 1 + 0.25 * rng.normal(size=(len(crumbs.vertices), 1))
        middle = np.repeat(at, len(crumbs.vertices) // n, axis=0)
        crumbs.vertices = (middle + (crumbs.vertices - middle) * bumps).astype(np.float32)
        items.append(Item("crumbs", crumbs, "coloured", None, 0.2, 0.5))
    drops = _drops(how["drops"], plants, spots, rng)
    if len(drops.faces):
        items.append(Item("drops", drops, "water"))
    return items


def _root(at: NDArray, rng: np.random.Generator) -> meshes.Mesh:
    """A thin white root that lies loose."""
    k = 24
    heading = rng.uniform(0, 2 * np.pi) + np.cumsum(rng.normal(0, 0.22, k))
    step = rng.uniform(6, 26) / k
    xy = at[:2] + np.cumsum(np.stack([np.cos(heading), np.sin(heading)], 1) * step, 0)
    radius = np.linspace(rng.uniform(0.18, 0.4), 0.1, k)
    tint = np.repeat(paint(238, 234, 222)[None], k, 0)
    tube = closed_tube(np.column_stack([xy, radius + 0.05]), radius, tint, meshes.MEDIUM, 8)
    return replace(tube, plant=np.full(len(tube.faces), -1, np.int32))


def _drops(n: int, plants: list[Plant], spots, rng: np.random.Generator) -> meshes.Mesh:
    """Flat drops; one on a leaf counts as that leaf, one on the board as nothing."""
    parts = []
    detail = (17, 28)
    up = np.array([[[1.0, 0, 0], [0, 1, 0], [0, 0, 1]]])
    for place in spots(n, 0.0):
        half = rng.uniform(0.8, 2.6) * np.array([[1.0, rng.uniform(0.8, 1.2), 0.45]])
        parts.append(meshes.ellipsoids(place[None], up, half, np.zeros((1, 1, 3)),
                                       part=meshes.OTHER, detail=detail))  # fmt: skip
    bearers = [p for p in plants if len(p.leaves.faces)]
    for _ in range(n // 2 if bearers else 0):
        bearer = bearers[int(rng.integers(len(bearers)))]
        face = int(rng.integers(len(bearer.leaves.faces)))
        place = bearer.leaves.vertices[bearer.leaves.faces[face]].mean(0).astype(float)
        half = rng.uniform(0.5, 1.0) * np.array([[1.0, 1.0, 0.5]])
        drop = meshes.ellipsoids(
            place[None], up, half, np.zeros((1, 1, 3)), part=meshes.LEAF,
            plant=bearer.leaves.plant[face : face + 1], detail=detail,
        )  # fmt: skip
        parts.append(replace(drop, blade=np.full(len(drop.faces), bearer.leaves.blade[face],
                                                 np.int32)))  # fmt: skip
    return meshes.join(parts) if parts else meshes.make(np.zeros((0, 3)), np.zeros((0, 3)),
                                                        part=meshes.OTHER)  # fmt: skip


def _board_items(spec: dict, things: NDArray, rng: np.random.Generator) -> list[Item]:
    """The board and the bench under it."""
    how = spec["board"]
    low, high = things[:, :2].min(0), things[:, :2].max(0)
    rim = np.array(how["beyond_mm"])  # left, bottom, right, top of what is laid
    low, high = low - rim[:2], high + rim[2:]
    size = high - low
    px = 0.3
    image = surface(how, rng, int(size[1] / px) + 8, int(size[0] / px) + 8)
    corners = np.array(
        [[low[0], low[1], 0], [high[0], low[1], 0], [*high, 0], [low[0], high[1], 0]]
    )
    deep = how["thick_mm"]
    side = image.reshape(-1, 3).mean(0) * 0.92
    slab = meshes.box((*low, -deep), (*high, -0.02), part=meshes.OTHER, colour=side)
    reach = 1600.0
    floor = np.array([[-reach, -reach, -deep], [reach, -reach, -deep], [reach, reach, -deep],
                      [-reach, reach, -deep]])  # fmt: skip
    bench = textures.bench(spec["bench"], rng, 1400, 1400)
    return [
        Item("bench_board", meshes.sheet(corners, part=meshes.OTHER), "textured", image,
             how["gloss"], how["roughness"]),
        Item("bench_slab", slab, "coloured", None, how["gloss"], how["roughness"]),
        Item("bench", meshes.sheet(floor, part=meshes.OTHER, uv_size=(5.0, 5.0)), "textured",
             bench, 0.5, 0.3),
    ]  # fmt: skip


def surface(how: dict, rng: np.random.Generator, height: int, width: int) -> NDArray:
    """Texture of a board, 0.3 mm per pixel: uneven tone, fine grain, scratches, stains."""
    if how["colour"] in ("checks", "flowers", "stripes"):
        return textures.patterned_cloth(how["colour"], rng, height, width)
    if how["colour"] not in TONES:
        return textures.bench(how["colour"], rng, height, width)
    tone = np.clip(
        paint(*TONES[how["colour"]]) * np.exp(rng.normal(0, [0.1, 0.06, 0.1])), 0.01, 0.86
    )
    if how["colour"] in ("white", "grey", "black"):
        tone = tone.mean() * np.exp(rng.normal(0, 0.025, 3))
    tone = tone.astype(np.float32)
    amount = how["worn"] * (
        0.022 * textures.noise(rng, height, width, 420, 3)
        + 0.010 * textures.noise(rng, height, width, 40, 3)
        + 0.014 * textures.noise(rng, height, width, 2.5, 2)
    )
    image = np.clip(tone * np.exp(amount)[..., None], 0.004, 0.92)
    for _ in range(int(how["worn"] * rng.integers(8, 50))):
        _scratch(image, rng)
    return np.clip(image, 0.004, 0.92).astype(np.float32)


def _scratch(image: NDArray, rng: np.random.Generator) -> None:
    """A knife's mark: thin, nearly straight, a little lighter or darker than the board."""
    height, width, _ = image.shape
    length, heading = rng.uniform(40, 420), rng.normal(0, 0.5) + rng.choice([0, np.pi / 2])
    t = np.arange(0, length, 0.5)
    bow = rng.normal(0, 0.0004) * t
    x = (rng.uniform(0, width) + t * np.cos(heading + bow)).astype(int) % width
    y = (rng.uniform(0, height) + t * np.sin(heading + bow)).astype(int) % height
    strength = rng.normal(0, 0.09) * np.sin(np.pi * t / length) ** 0.5
    image[y, x] = image[y, x] * np.exp(strength)[:, None]


def _arm(things: NDArray, card: Card, rng: np.random.Generator) -> Item:
    """A forearm with a hand that reaches in over the plants, from the side away from the card."""
    low, high = things[:, :2].min(0), things[:, :2].max(0)
    way = meshes.unit((low + high) / 2 - card.corners[:, :2].mean(0) + [1.0, 0])
    tip = (low + high) / 2 + 0.12 * (high - low) * way
    return forearm(tip, way, 28.0, SKINS[int(rng.integers(3))])
