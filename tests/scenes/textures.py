"""Procedural textures: leaves, growing media, benches, backdrops and plain clutter.

All are arrays (height, width, 3) of linear reflectance.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.scenes.colour import decode_srgb, hsv_to_rgb, paint
from tests.scenes.crops import Crop

TILES = 10  # leaf tiles along each side of the leaf texture
YELLOWED_TILES = 10  # the last tiles show yellowed leaves
TILE_PX = 80


def noise(rng: np.random.Generator, height: int, width: int, cell: float, octaves: int = 4,
          stretch: float = 1.0) -> NDArray:  # fmt: skip
    """Smooth noise of mean 0 and standard deviation near 1, features about `cell` px wide."""
    total = np.zeros((height, width), np.float32)
    weight = 1.0
    for _ in range(octaves):
        rows = max(2, int(height / cell) + 2)
        columns = max(2, int(width / (cell * stretch)) + 2)
        grid = Image.fromarray(rng.normal(size=(rows, columns)).astype(np.float32))
        total += weight * np.asarray(grid.resize((width, height), Image.Resampling.BICUBIC))
        weight *= 0.6
        cell = max(cell / 2.1, 1.0)
    return total / max(float(total.std()), 1e-6)


def leaf_atlas(rng: np.random.Generator, crop: Crop, px: int = TILE_PX) -> NDArray:
    """Reflectance of TILES x TILES leaves, each with its own shade, veins, rim and mottling.

    A tile of `px` pixels shows the blade with its stalk on the left (u = 0) and its midrib on
    v = 0.5.
    """
    n = TILES * TILES
    u = (np.arange(px) + 0.5) / px
    x = np.clip((u - 0.04) / 0.92, 0, 1)[None, None, :]
    y = np.clip((u - 0.04) / 0.92, 0, 1)[None, :, None] - 0.5
    share = rng.beta(1.5, 1.8, size=(n, 1, 1, 1))
    base = crop.leaf * (1 - share) + crop.leaf_other * share
    base = base * np.exp(rng.normal(0, 0.16, size=(n, 1, 1, 1)))
    base = base * np.exp(rng.normal(0, 0.05, size=(n, 1, 1, 3)))
    tiles = np.broadcast_to(base, (n, px, px, 3)).copy()
    pattern = noise(rng, px * TILES, px * TILES, 14 * px / TILE_PX).reshape(TILES, px, TILES, px)
    pattern = pattern.transpose(0, 2, 1, 3).reshape(n, px, px)
    veins = np.exp(-((np.abs(y) / 0.018) ** 2)) * (1 - 0.6 * x)
    ribs = np.cos((x * 7 - np.abs(y) * 6) * 2 * np.pi) ** 12 * 0.35
    veins = np.broadcast_to(veins, (1, px, px)) + ribs
    vein_colour = 0.5 * base + 0.5 * np.maximum(base * 1.5, crop.stem_top)
    strength = (rng.uniform(0.2, 0.8, size=(n, 1, 1)) * veins)[..., None]
    tiles = tiles * (1 - strength) + vein_colour * strength
    if crop.mottle > 0:
        spots = _step(pattern - rng.normal(0.2, 0.5, size=(n, 1, 1)), 0.4)[..., None]
        tiles = _mix(tiles, crop.mottle_colour, spots * crop.mottle)
    if crop.rim_share > 0:
        radius = np.sqrt((2 * x - 1) ** 2 + (2 * y) ** 2)
        rim = _step(radius - 0.86 + 0.06 * pattern, 0.08)
        rim = rim * rng.uniform(0.3, 1.0, size=(n, 1, 1)) * crop.rim_share
        tiles = _mix(tiles, crop.rim, rim[..., None])
    tiles = _mix(tiles, crop.stem_top, 0.5 * np.exp(-x / 0.08)[..., None])
    yellow = paint(200, 188, 92) * np.exp(rng.normal(0, 0.15, size=(YELLOWED_TILES, 1, 1, 3)))
    green_left = np.clip(0.12 + 0.1 * pattern[-YELLOWED_TILES:], 0, 0.3)[..., None]
    tiles[-YELLOWED_TILES:] = yellow * (1 - green_left) + tiles[-YELLOWED_TILES:] * green_left
    tiles *= np.exp(0.06 * pattern)[..., None]
    grid = tiles.reshape(TILES, TILES, px, px, 3).transpose(0, 2, 1, 3, 4)
    return np.clip(grid.reshape(TILES * px, TILES * px, 3), 0.004, 0.85).astype(np.float32)


def _step(value: NDArray, softness: float) -> NDArray:
    return np.clip(0.5 + value / (2 * softness), 0, 1)


def _mix(image: NDArray, colour: NDArray, share: NDArray) -> NDArray:
    return image * (1 - share) + np.asarray(colour) * share


def _shaded(colour: NDArray, amount: NDArray) -> NDArray:
    return np.asarray(colour)[None, None] * np.exp(amount)[..., None]


def strokes(rng: np.random.Generator, image: NDArray, count: int, length: float,
             colours: Callable[[int], NDArray], upright: float = 0.0) -> NDArray:  # fmt: skip
    """Draw thin random strokes (fibres, grass) by sampling points along them."""
    height, width, _ = image.shape
    steps = max(int(length), 3)
    angle = rng.uniform(0, np.pi, count) * (1 - upright) + np.pi / 2 * upright
    angle = angle + rng.normal(0, 0.3, count)
    bow = rng.normal(0, 0.6, count)
    t = np.linspace(0, 1, steps)[None]
    size = length * np.exp(rng.normal(0, 0.4, count))[:, None]
    heading = angle[:, None] + bow[:, None] * t
    x = rng.uniform(0, width, count)[:, None] + np.cumsum(np.cos(heading), 1) * size / steps
    y = rng.uniform(0, height, count)[:, None] + np.cumsum(np.sin(heading), 1) * size / steps
    tint = colours(count)[:, None] * np.linspace(0.6, 1.1, steps)[None, :, None]
    image[y.astype(int) % height, x.astype(int) % width] = np.clip(tint, 0.003, 0.95)
    return image


def coir(rng: np.random.Generator, height: int, width: int) -> NDArray:
    """Coir or peat: dark brown crumbs, fibres and light specks, 0.5 mm per pixel."""
    wet = rng.uniform(0.5, 1.3)
    base = paint(70, 50, 36) * wet
    image = _shaded(
        base, 0.45 * noise(rng, height, width, 7) + 0.25 * noise(rng, height, width, 60)
    )
    area = height * width
    shades = [paint(120, 90, 60), paint(45, 32, 24), paint(150, 120, 85)]

    def fibre(n: int) -> NDArray:
        return np.array(shades)[rng.integers(0, 3, n)] * wet

    image = strokes(rng, image, area // 150, 16, fibre)
    specks = rng.random((height, width)) < rng.uniform(0.0003, 0.004)
    image[specks] = paint(205, 198, 185) * rng.uniform(0.5, 1.0, (int(specks.sum()), 1))
    return image


def soil(rng: np.random.Generator, height: int, width: int) -> NDArray:
    """Soil or potting mix with lumps, stones and light grains."""
    hue = paint(rng.uniform(60, 150), rng.uniform(50, 115), rng.uniform(40, 90))
    image = _shaded(hue, 0.5 * noise(rng, height, width, 18, 5))
    stones = noise(rng, height, width, 11, 2) > rng.uniform(1.6, 2.6)
    image[stones] = image[stones] * rng.uniform(1.4, 3.0)
    return image


def mat(rng: np.random.Generator, height: int, width: int) -> NDArray:
    """Fibre mat, pale to brown (jute, hemp, wood fibre)."""
    tones = (paint(196, 168, 124), paint(160, 124, 82), paint(214, 200, 168), paint(120, 90, 60))
    tone = tones[rng.integers(0, 4)]
    image = _shaded(tone, 0.12 * noise(rng, height, width, 9))

    def fibre(n: int) -> NDArray:
        return tone * np.exp(rng.normal(0, 0.3, (n, 1)))

    return strokes(rng, image, height * width // 30, 30, fibre)


def paper(rng: np.random.Generator, height: int, width: int) -> NDArray:
    """White paper towel, damp in places."""
    image = _shaded(paint(236, 235, 230), 0.03 * noise(rng, height, width, 3, 2))
    damp = _step(noise(rng, height, width, 200, 3) - 0.3, 0.4)[..., None]
    image = image * (1 - rng.uniform(0.05, 0.3) * damp)
    dots = (np.indices((height, width)) // 7).sum(0) % 2
    return image * (1 - 0.03 * dots[..., None])


def wood(rng: np.random.Generator, height: int, width: int) -> NDArray:
    """Wooden boards."""
    tone = (paint(186, 150, 106), paint(150, 108, 70), paint(205, 182, 146))[rng.integers(0, 3)]
    grain = 0.22 * noise(rng, height, width, 6, 3, stretch=30)
    grain += 0.12 * noise(rng, height, width, 90, 2, stretch=4)
    plank = np.arange(height) // max(height // int(rng.integers(4, 9)), 1)
    grain += rng.normal(0, 0.12, plank.max() + 1)[plank][:, None]
    return _shaded(tone, grain)


def plain(rng: np.random.Generator, height: int, width: int, tone: NDArray) -> NDArray:
    """Plain painted or plastic surface, a little worn."""
    worn = 0.012 * noise(rng, height, width, 160, 5) + 0.015 * noise(rng, height, width, 2, 2)
    image = _shaded(tone, worn)
    scratches = rng.integers(0, 60)
    return strokes(rng, image, scratches, 90, lambda n: tone * rng.uniform(0.75, 1.15, (n, 1)))


def steel(rng: np.random.Generator, height: int, width: int) -> NDArray:
    """Brushed steel or grey shelf."""
    tone = paint(150, 152, 155) * rng.uniform(0.5, 1.2)
    return _shaded(tone, 0.06 * noise(rng, height, width, 2, 2, stretch=60))


def checks(rng: np.random.Generator, height: int, width: int) -> NDArray:
    """Checked or striped cloth, tiles."""
    tones = decode_srgb(hsv_to_rgb(rng.uniform(0, 360, 2), rng.uniform(0, 0.8, 2),
                                   rng.uniform(0.25, 0.95, 2)))  # fmt: skip
    cell = rng.uniform(30, 140)
    rows, columns = np.indices((height, width))
    kind = (rows // cell + columns // cell) if rng.random() < 0.6 else rows // cell
    image = tones[(kind % 2).astype(int)]
    return image * np.exp(0.06 * noise(rng, height, width, 4, 2))[..., None]


def grass(rng: np.random.Generator, height: int, width: int) -> NDArray:
    """Lawn-like clutter of green strokes."""
    image = _shaded(paint(40, 66, 28), 0.4 * noise(rng, height, width, 30))

    def green(n: int) -> NDArray:
        return decode_srgb(
            hsv_to_rgb(rng.uniform(65, 120, n), rng.uniform(0.3, 0.75, n), rng.uniform(0.3, 0.8, n))
        )

    return strokes(rng, image, height * width // 60, 60, green, upright=0.5)


def clutter(rng: np.random.Generator, height: int, width: int) -> NDArray:
    """Coloured texture with no meaning: layered noise of two or three random colours."""
    tones = decode_srgb(hsv_to_rgb(rng.uniform(0, 360, 3), rng.uniform(0, 0.85, 3),
                                   rng.uniform(0.08, 0.95, 3)))  # fmt: skip
    cell = float(np.exp(rng.uniform(np.log(4), np.log(120))))
    stretch = float(np.exp(rng.uniform(0, 2)))
    image = np.broadcast_to(tones[0], (height, width, 3)).copy()
    for tone in tones[1:]:
        layer = noise(rng, height, width, cell, 4, stretch)
        image = _mix(
            image, tone, _step(layer - rng.uniform(-0.5, 0.8), rng.uniform(0.1, 1))[..., None]
        )
    if rng.random() < 0.4:
        image = strokes(rng, image, height * width // 150, rng.uniform(10, 60),
                         lambda n: tones[rng.integers(0, 3, n)])  # fmt: skip
    return image


def earth(rng: np.random.Generator, height: int, width: int, tone: NDArray,
          contrast: float) -> NDArray:  # fmt: skip
    """Crumbly ground of one tone: lumps of many sizes, grit, straws and dark pits."""
    image = _shaded(tone, contrast * noise(rng, height, width, rng.uniform(10, 60), 6))
    pits = noise(rng, height, width, 7, 3) < -rng.uniform(1.2, 2.2)
    image[pits] = image[pits] * rng.uniform(0.2, 0.6)
    grit = noise(rng, height, width, 5, 2) > rng.uniform(1.6, 2.6)
    image[grit] = image[grit] * rng.uniform(1.3, 2.4)

    def dry(n: int) -> NDArray:
        return paint(190, 164, 118) * np.exp(rng.normal(-0.2, 0.35, (n, 1)))

    return strokes(rng, image, int(height * width / rng.uniform(3e3, 3e4)), 40, dry)


def straw(rng: np.random.Generator, height: int, width: int) -> NDArray:
    """Chopped straw, several layers deep."""
    tone = (paint(206, 178, 120), paint(184, 150, 96), paint(226, 206, 158))[rng.integers(0, 3)]
    image = _shaded(tone * 0.25, 0.4 * noise(rng, height, width, 30))
    for level in (0.45, 0.75, 1.0):

        def stalk(n: int, level: float = level) -> NDArray:
            return level * tone * np.exp(rng.normal(0, 0.25, (n, 1)))

        ends = rng.integers(0, 2**31)
        for shift in range(3):  # a stalk is three pixels wide
            lane = np.roll(image, shift, axis=0)
            lane = strokes(np.random.default_rng(ends), lane, height * width // 900, 70, stalk)
            image = np.roll(lane, -shift, axis=0)
    return image


def bark(rng: np.random.Generator, height: int, width: int) -> NDArray:
    """Bark mulch: flat chips of brown shades with dark gaps."""
    tone = paint(rng.uniform(80, 140), rng.uniform(56, 92), rng.uniform(40, 66))
    chips = noise(rng, height, width, 26, 2, stretch=2.2)
    image = _shaded(tone, 0.35 * np.round(1.6 * chips) + 0.18 * noise(rng, height, width, 4, 3))
    gaps = np.abs(chips * 1.6 - np.round(chips * 1.6)) > 0.42
    image[gaps] = image[gaps] * 0.25
    return image


def patterned_cloth(kind: str, rng: np.random.Generator, height: int, width: int) -> NDArray:
    """Patterned cloth with its weave."""
    rows, columns = np.indices((height, width), np.float32)
    hue = rng.uniform(0, 360)
    tones = decode_srgb(hsv_to_rgb([hue, hue + 150, 60], [0.65, 0.5, 0.08], [0.6, 0.75, 0.93]))
    cell = rng.uniform(36, 80)
    if kind == "checks":
        a, b = ((axis // cell) % 2 for axis in (rows, columns))
        image = tones[2] * (1 - 0.5 * (a + b)[..., None]) + tones[0] * 0.5 * (a + b)[..., None]
    elif kind == "stripes":
        image = tones[((columns // cell) % 2 * 2).astype(int)]
    else:
        image = np.broadcast_to(tones[2], (height, width, 3)).copy()
        for _ in range(int(height * width / 9000)):
            y, x, r = rng.uniform(0, height), rng.uniform(0, width), rng.uniform(12, 34)
            top, left = max(int(y - r), 0), max(int(x - r), 0)
            some = np.s_[top : int(y + r), left : int(x + r)]
            angle = np.arctan2(rows[some] - y, columns[some] - x)
            far = np.hypot(rows[some] - y, columns[some] - x) / r
            petal = far < 0.6 + 0.35 * np.cos(5 * angle + x)
            tint = decode_srgb(hsv_to_rgb(rng.uniform(0, 360), 0.6, rng.uniform(0.4, 0.8)))
            image[some][petal] = tint
            image[some][far < 0.2] = tones[1]
    weave = 0.05 * (np.sin(rows * 2.1) + np.sin(columns * 2.1))
    image = image * np.exp(weave + 0.05 * noise(rng, height, width, 90, 3))[..., None]
    return np.clip(image, 0.004, 0.92).astype(np.float32)


EARTHS: dict[str, Callable[[np.random.Generator, int, int], NDArray]] = {
    "wet_soil": lambda r, h, w: earth(r, h, w, paint(52, 42, 34) * r.uniform(0.5, 1.2), 0.3),
    "pale_soil": lambda r, h, w: earth(r, h, w, paint(176, 156, 128) * r.uniform(0.6, 1.2), 0.3),
    "red_soil": lambda r, h, w: earth(r, h, w, paint(140, 92, 64) * r.uniform(0.5, 1.2), 0.4),
    "clods": lambda r, h, w: earth(r, h, w, paint(124, 104, 84) * r.uniform(0.4, 1.5), 0.45),
}
CLOTHS: dict[str, Callable[[np.random.Generator, int, int], NDArray]] = {
    "check_cloth": lambda r, h, w: patterned_cloth("checks", r, h, w),
    "flower_cloth": lambda r, h, w: patterned_cloth("flowers", r, h, w),
    "stripe_cloth": lambda r, h, w: patterned_cloth("stripes", r, h, w),
}
BENCHES: dict[str, Callable[[np.random.Generator, int, int], NDArray]] = {
    "wood": wood,
    "white": lambda r, h, w: plain(r, h, w, paint(232, 231, 226)),
    "steel": steel,
    "black": lambda r, h, w: plain(r, h, w, paint(38, 38, 40)),
    "blue": lambda r, h, w: plain(r, h, w, paint(40, 90, 160)),
    "grey": lambda r, h, w: plain(r, h, w, paint(128, 126, 122)),
    "beige": lambda r, h, w: plain(r, h, w, paint(206, 190, 160)),
    "red": lambda r, h, w: plain(r, h, w, paint(150, 44, 38)),
    "green_cloth": lambda r, h, w: plain(r, h, w, paint(60, 130, 70)),
    "checks": checks,
    "grass": grass,
    "soil": soil,
    "clutter": clutter,
    "straw": straw,
    "bark": bark,
    **EARTHS,
    **CLOTHS,
}
MEDIA: dict[str, Callable[[np.random.Generator, int, int], NDArray]] = {
    "coir": coir,
    "mat": mat,
    "paper": paper,
    "soil": soil,
    "clutter": clutter,
    "straw": straw,
    "bark": bark,
    **EARTHS,
}


def bench(name: str, rng: np.random.Generator, height: int, width: int) -> NDArray:
    """Texture of a bench or backdrop by name."""
    return np.clip(BENCHES[name](rng, height, width), 0.004, 0.92).astype(np.float32)


def medium(name: str, rng: np.random.Generator, height: int, width: int) -> NDArray:
    """Texture of a growing medium by name."""
    return np.clip(MEDIA[name](rng, height, width), 0.004, 0.92).astype(np.float32)
