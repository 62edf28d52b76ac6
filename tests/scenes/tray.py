"""Trays, media, benches, neighbours and the card: everything in a scene but light and lens.

The tray's opening is centred on x = y = 0, its long side lies along x, its front wall faces
-y, the bench is z = 0. All lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.scenes import crops, meshes, plants, textures
from tests.scenes.colour import decode_srgb, paint
from tests.scenes.ground import lumps
from tests.scenes.intruders import at_edge
from tests.scenes.items import Item

PAPER_MM = 0.3
LOOSE = ("coir", "soil", "clutter", *textures.EARTHS)
ROUGH_MM = {"coir": 0.9, "soil": 1.3, "mat": 0.4, "paper": 0.35, "clutter": 0.7}
LUMPY = {"clods": 6.0, "red_soil": 4.0, "pale_soil": 3.0}
"""Media with solid lumps, and about the largest half width in mm."""


@dataclass
class Card:
    """The card picture and where it lies: corners (4, 3) mm in the order of the picture's own
    top left, top right, bottom right, bottom left."""

    role: str
    corners: NDArray
    picture: NDArray
    file: str

    @property
    def normal(self) -> NDArray:
        """Direction the printed face looks to."""
        right, down = self.corners[1] - self.corners[0], self.corners[3] - self.corners[0]
        return meshes.unit(np.cross(down, right))


@dataclass
class Stage:
    """All items of a scene, the measured stand, and the card of the view.

    `in_the_way` is what the photo shows too, but what is no part of the tray's truth.
    """

    items: list[Item]
    stand: plants.Stand
    card: Card
    opening: dict = field(default_factory=dict)
    in_the_way: list[Item] = field(default_factory=list)


def crop_of(spec: dict) -> crops.Crop:
    """Crop that a tray's specification names."""
    name = spec["crop"]
    if name == "random":
        crop = crops.random_crop(np.random.default_rng(spec["seed"] + 7), f"random_{spec['seed']}")
    else:
        crop = crops.NAMED[name]
    if spec.get("growth"):
        crop = crops.grown(crop, spec["growth"])
    return crop if spec.get("age") is None else crops.younger(crop, spec["age"])


def opening_of(spec: dict) -> dict:
    """Sizes of the tray and the heights of rim and medium above the bench."""
    tray = dict(spec["tray"])
    tray["medium_z"] = tray["rim_above_bench_mm"] - tray["rim_above_medium_mm"]
    tray["front_y"] = -(tray["inside_width_mm"] / 2 + tray["wall_mm"])
    return tray


def build(spec: dict, view: str, cards: Path) -> Stage:
    """Put up the scene of one photo; plants depend on the tray's seed alone."""
    opening = opening_of(spec)
    crop = crop_of(spec)
    half_x, half_y = opening["inside_length_mm"] / 2, opening["inside_width_mm"] / 2
    sown = plants.Plot(2 - half_x, half_x - 2, 2 - half_y, half_y - 2, opening["medium_z"])
    stand = plants.grow(crop, sown, spec["density"], spec["patches"], spec["seed"])
    rng = np.random.default_rng(spec["seed"] + 1000)
    items = _plant_items("plants", stand, crop, rng)
    items += _tray_items("tray", opening, (0.0, 0.0), meshes.TRAY, spec["tray_tone"])
    items += _medium_items("medium", opening, (0.0, 0.0), meshes.MEDIUM, spec["medium"], rng)
    items += _surroundings(spec, rng)
    for k, neighbour in enumerate(spec["neighbours"]):
        items += _neighbour(f"neighbour{k}", spec, opening, neighbour, rng)
    card, extra = place_card(spec["views"][view]["card"], view, opening, cards)
    intruder = spec["views"][view].get("intruder")
    in_the_way = [at_edge(intruder, opening)] if intruder else []
    return Stage([*items, *extra], stand, card, opening, in_the_way)


def _plant_items(name: str, stand: plants.Stand, crop: crops.Crop, rng: np.random.Generator,
                 part: int | None = None) -> list[Item]:  # fmt: skip
    """Leaves, stems and hulls of a stand; `part` overrides their classes (neighbours)."""
    atlas = textures.leaf_atlas(rng, crop)

    def cast(mesh: meshes.Mesh) -> meshes.Mesh:
        return mesh if part is None else mesh.recast(part)

    items = [
        Item(f"{name}_leaves", cast(stand.leaves), "leaf", atlas, crop.gloss, 0.28, crop.through),
        Item(f"{name}_stems", cast(stand.tubes), "coloured", None, 0.8 * crop.gloss, 0.3),
    ]
    if len(stand.hulls.faces):
        items.append(Item(f"{name}_hulls", cast(stand.hulls), "coloured", None, 0.7, 0.35))
    return items


def _tray_items(name: str, opening: dict, at: tuple[float, float], part: int,
                tone: float) -> list[Item]:  # fmt: skip
    """Walls, lip and floor of a tray."""
    hx, hy = opening["inside_length_mm"] / 2, opening["inside_width_mm"] / 2
    wall, lip, rim = opening["wall_mm"], opening["lip_mm"], opening["rim_above_bench_mm"]
    under = rim - 2.2
    parts = []
    for low, high, thick in ((0.5, under, wall), (under, rim, lip)):
        parts += [
            meshes.box((-hx - thick, -hy - thick, low), (-hx, hy + thick, high), part=part),
            meshes.box((hx, -hy - thick, low), (hx + thick, hy + thick, high), part=part),
            meshes.box((-hx, -hy - thick, low), (hx, -hy, high), part=part),
            meshes.box((-hx, hy, low), (hx, hy + thick, high), part=part),
        ]
    parts.append(meshes.box((-hx, -hy, 0.5), (hx, hy, 2.0), part=part))
    ribs = np.arange(-hx + 20, hx - 10, 25.0)
    parts += [
        meshes.box((x, -hy - wall - 1.0, 2.0), (x + 4, -hy - wall + 0.1, under), part=part)
        for x in ribs
    ]
    mesh = meshes.join(parts).moved([*at, 0.0])
    mesh.colour[:] = paint(34, 34, 36) * tone
    return [Item(name, mesh, "coloured", None, 1.0, 0.25)]


def _medium_items(name: str, opening: dict, at: tuple[float, float], part: int, kind: str,
                  rng: np.random.Generator) -> list[Item]:  # fmt: skip
    """Surface of the medium, with crumbs where it is loose."""
    length, width = opening["inside_length_mm"], opening["inside_width_mm"]
    loose = kind in LOOSE
    rough = ROUGH_MM.get(kind, 1.2)
    columns, rows = int(length / 2.5) + 1, int(width / 2.5) + 1
    x, y = np.linspace(-length / 2, length / 2, columns), np.linspace(-width / 2, width / 2, rows)
    relief = textures.noise(rng, rows, columns, 5 if loose else 24, 4) * rough
    relief = np.clip(relief - relief.mean(), -3 * rough, 2.5 * rough)
    xx, yy = np.meshgrid(x, y)
    vertices = np.stack([xx + at[0], yy + at[1], opening["medium_z"] + relief], -1).reshape(-1, 3)
    uv = np.stack([xx / length + 0.5, yy / width + 0.5], -1).reshape(-1, 2)
    j, i = np.meshgrid(np.arange(rows - 1), np.arange(columns - 1), indexing="ij")
    a = j * columns + i
    quads = np.stack([a, a + 1, a + columns + 1, a, a + columns + 1, a + columns], -1)
    image = textures.medium(kind, rng, int(width * 2), int(length * 2))
    items = [
        Item(name, meshes.make(vertices, quads.reshape(-1, 3), part=part, uv=uv), "textured",
             image, *((2.2, 0.2) if kind == "wet_soil" else (0.4, 0.5))),
    ]  # fmt: skip
    if kind in LUMPY:
        area = (at[0] - length / 2, at[0] + length / 2, at[1] - width / 2, at[1] + width / 2)
        solid = lumps(rng, area, opening["medium_z"], _shades(image, rng), largest_mm=LUMPY[kind],
                      part=part)  # fmt: skip
        items.append(Item(f"{name}_lumps", solid, "coloured", None, 0.3, 0.5))
    elif loose:
        n = int(length * width / 70)
        centre = np.stack(
            [rng.uniform(-length / 2, length / 2, n) + at[0],
             rng.uniform(-width / 2, width / 2, n) + at[1],
             np.full(n, opening["medium_z"] + 0.3)], 1,
        )  # fmt: skip
        pick = image[rng.integers(0, image.shape[0], n), rng.integers(0, image.shape[1], n)]
        size = np.exp(rng.normal(-0.1, 0.45, (n, 1))) * rng.uniform(0.5, 1.4, (n, 3))
        crumbs = meshes.ellipsoids(
            centre, meshes.random_frames(rng, n), np.minimum(size, 2.5), pick[:, None], part=part
        )
        items.append(Item(f"{name}_crumbs", crumbs, "coloured", None, 0.3, 0.5))
    return items


def _shades(image: NDArray, rng: np.random.Generator) -> NDArray:
    """Some reflectances (64, 3) out of a texture."""
    return image[rng.integers(0, image.shape[0], 64), rng.integers(0, image.shape[1], 64)]


def _surroundings(spec: dict, rng: np.random.Generator) -> list[Item]:
    """Bench and backdrop."""
    reach, back = 1600.0, spec["backdrop_y_mm"]
    floor = np.array([[-reach, -reach, 0], [reach, -reach, 0], [reach, back, 0], [-reach, back, 0]])
    wall = np.array(
        [[-reach, back, -5], [reach, back, -5], [reach, back, 1500], [-reach, back, 1500]]
    )
    repeat = 4.0
    image = textures.bench(spec["bench"], rng, 1400, 1400)
    items = []
    if spec["bench"] in LUMPY:
        hx, hy = (spec["tray"][k] / 2 for k in ("inside_length_mm", "inside_width_mm"))
        area = (-hx - 170, hx + 170, -hy - 260, hy + 260)
        solid = lumps(rng, area, 0.0, _shades(image, rng), largest_mm=3 * LUMPY[spec["bench"]],
                      part=meshes.OTHER)  # fmt: skip
        items.append(Item("ground_lumps", solid, "coloured", None, 0.3, 0.5))
    return [
        *items,
        Item("bench", meshes.sheet(floor, part=meshes.OTHER, uv_size=(repeat, repeat)), "textured",
             image, spec["bench_gloss"], 0.25),
        Item("backdrop", meshes.sheet(wall, part=_green(spec["backdrop"]), uv_size=(1.0, 1.0)),
             "textured", textures.bench(spec["backdrop"], rng, 900, 1900), 0.3, 0.4),
    ]  # fmt: skip


def _green(backdrop: str) -> int:
    return meshes.GREENERY if backdrop == "grass" else meshes.OTHER


def _neighbour(name: str, spec: dict, opening: dict, neighbour: dict,
               rng: np.random.Generator) -> list[Item]:  # fmt: skip
    """A strip of a neighbouring tray on one side of the measured one."""
    lip, gap, strip = opening["lip_mm"], neighbour["gap_mm"], neighbour["depth_mm"]
    size = dict(opening)
    away = 2 * lip + gap
    if neighbour["where"] == "behind":
        size["inside_width_mm"] = strip
        at = (neighbour["shift_mm"], opening["inside_width_mm"] / 2 + away + strip / 2)
    else:
        size["inside_length_mm"] = strip
        sign = 1.0 if neighbour["where"] == "right" else -1.0
        at = (sign * (opening["inside_length_mm"] / 2 + away + strip / 2), 0.0)
    crop = crop_of({**spec, **neighbour["plants"]})
    hx, hy = size["inside_length_mm"] / 2, size["inside_width_mm"] / 2
    plot = plants.Plot(at[0] - hx, at[0] + hx, at[1] - hy, at[1] + hy, opening["medium_z"])
    calm = {"gaps": 0, "gap_mm": 20, "uneven": 0.1, "lodged": 0, "lodged_mm": 40,
            "edge_lean_deg": 15, "yellowed": 0.02}  # fmt: skip
    stand = plants.grow(crop, plot, neighbour["density"], calm, neighbour["plants"]["seed"])
    return [
        *_plant_items(name, stand, crop, rng, meshes.GREENERY),
        *_tray_items(f"{name}_tray", size, at, meshes.OTHER, spec["tray_tone"]),
        *_medium_items(f"{name}_medium", size, at, meshes.OTHER, spec["medium"], rng),
    ]


def read_card(path: Path) -> tuple[NDArray, float, float]:
    """Card picture as linear reflectance, and its width and height in mm by the file's dpi."""
    with Image.open(path) as image:
        dpi = image.info.get("dpi")
        if dpi is None:
            message = f"{path}: the card picture has no dpi, so its size is unknown"
            raise ValueError(message)
        pixels = np.asarray(image.convert("RGB"), np.float64) / 255
    height, width = pixels.shape[:2]
    reflectance = np.clip(decode_srgb(pixels), 0.01, 1.0).astype(np.float32)
    return reflectance, width / dpi[0] * 25.4, height / dpi[1] * 25.4


def place_card(place: dict, view: str, opening: dict, cards: Path) -> tuple[Card, list[Item]]:
    """Lay the card beside the tray (overhead) or stand it in the front wall's plane (side)."""
    file = cards / f"{view}.png"
    picture, width, height = read_card(file)
    raised = opening["rim_above_bench_mm"] if place["plane"] == "rim" else 0.0
    hx = opening["inside_length_mm"] / 2 + opening["lip_mm"]
    hy = opening["inside_width_mm"] / 2 + opening["lip_mm"]
    sign = -1.0 if place["side"].startswith("-") else 1.0
    if view == "overhead":
        turn = np.radians(place["rotation_deg"])
        right, up = (
            np.array([np.cos(turn), np.sin(turn), 0]),
            np.array([-np.sin(turn), np.cos(turn), 0]),
        )
        reach = 0.5 * (np.abs(right) * width + np.abs(up) * height)
        if place["side"].endswith("x"):
            slack = max(hy - reach[1], 0.0)
            middle = np.array([sign * (hx + place["gap_mm"] + reach[0]), place["along"] * slack, 0])
        else:
            slack = max(hx - reach[0], 0.0)
            middle = np.array([place["along"] * slack, sign * (hy + place["gap_mm"] + reach[1]), 0])
        middle[2] = raised + PAPER_MM
        block_half = reach + 12
    else:
        right, up = np.array([1.0, 0, 0]), np.array([0, 0, 1.0])
        x = sign * (hx + place["gap_mm"] + width / 2)
        middle = np.array([x, opening["front_y"], raised + height / 2 + 0.2])
        block_half = np.array([width / 2 + 12, 40.0, 0])
    w, h = right * width / 2, up * height / 2
    corners = np.stack([middle - w + h, middle + w + h, middle + w - h, middle - w - h])
    card = Card(view, corners, picture, file.name)
    # The first row of a texture is its v = 0.
    face = Item("card", meshes.sheet(corners, part=meshes.CARD), "card", picture)
    extra = [face]
    if view == "side":
        back = np.array([0, PAPER_MM, 0])
        behind = meshes.box(tuple(corners[3] + 0.1 * back), tuple(corners[1] + back),
                            part=meshes.CARD, colour=paint(225, 225, 222))  # fmt: skip
        extra.append(Item("card_back", behind, "coloured", None, 0.0))
    if place["plane"] == "rim":
        base_y = middle[1] + (block_half[1] - 2 if view == "side" else 0.0)
        low = (middle[0] - block_half[0], base_y - block_half[1], 0.2)
        high = (middle[0] + block_half[0], base_y + block_half[1], raised)
        block = meshes.box(low, high, part=meshes.OTHER, colour=paint(34, 34, 36))
        extra.append(Item("upturned", block, "coloured", None, 1.0, 0.25))
    return card, extra
