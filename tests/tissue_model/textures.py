"""Pictures of things that are not plants, made from noise: soils, gravel, wood, cloth, litter.

A bank of them lies on the training device and is renewed all the time; crops take their new
backgrounds and the things that lie over plants from it.
"""

import numpy as np
import torch
from torch.nn import functional as nnf

from tests.tissue_model.chance import Chance
from tests.tissue_model.fields import (
    cells,
    fractal_noise,
    lattice,
    relief,
    smooth_noise,
    standardised,
)
from tests.tissue_model.light import to_linear, to_srgb

# sRGB anchors of materials, from memory of such materials; each use varies them
_COLOURS = {
    "earth": [
        (58, 42, 32), (92, 68, 50), (122, 92, 68), (140, 112, 88), (168, 140, 112), (70, 58, 50),
        (38, 32, 28), (120, 74, 52), (150, 96, 66), (104, 96, 86), (176, 152, 122), (196, 174, 146),
        (24, 21, 20), (84, 74, 60), (134, 84, 60), (112, 100, 78),
    ],
    "neutral": [
        (12, 12, 13), (30, 31, 33), (60, 60, 62), (96, 98, 100), (128, 128, 126), (170, 170, 168),
        (200, 200, 198), (232, 230, 226), (250, 250, 250), (150, 156, 166), (182, 176, 166),
    ],
    "wood": [
        (196, 156, 110), (168, 122, 78), (120, 80, 50), (88, 58, 38), (216, 184, 142),
        (150, 130, 112), (222, 200, 168), (140, 92, 54), (110, 104, 98),
    ],
    "straw": [
        (206, 178, 120), (184, 150, 96), (150, 116, 72), (120, 90, 60), (226, 206, 158),
        (168, 128, 90), (96, 74, 56), (200, 190, 170), (134, 96, 58), (176, 110, 66),
    ],
    "skin": [
        (236, 196, 172), (218, 170, 142), (190, 138, 108), (150, 100, 74), (104, 68, 50),
        (240, 180, 160), (70, 46, 36),
    ],
    "vivid": [
        (200, 40, 40), (220, 120, 30), (230, 200, 50), (40, 90, 190), (70, 160, 210),
        (120, 60, 150), (220, 110, 150), (150, 30, 60), (30, 60, 110), (40, 150, 150),
        (110, 40, 40), (250, 230, 120),
    ],
    "green": [
        (40, 110, 60), (70, 150, 90), (30, 80, 60), (120, 170, 120), (90, 140, 60), (20, 70, 40),
        (160, 190, 120), (110, 130, 70), (60, 170, 130),
    ],
}  # fmt: skip
_PLAIN = {"neutral": 0.35, "earth": 0.15, "wood": 0.12, "straw": 0.1, "skin": 0.06, "vivid": 0.22}


def _turns(zoom: np.ndarray, angle: np.ndarray, shift: np.ndarray) -> np.ndarray:
    """Affine maps (n, 2, 3) of the square -1 to 1: enlarged, turned, shifted."""
    cos, sin = zoom * np.cos(angle), zoom * np.sin(angle)
    rows = np.stack([cos, -sin, shift[:, 0], sin, cos, shift[:, 1]], axis=1)
    return rows.reshape(-1, 2, 3)


class TextureMaker:
    """Makes square textures in linear light, shape (n, 3, size, size)."""

    def __init__(self, chance: Chance, size: int):
        self.chance = chance
        self.size = size
        self._kinds = {
            self.soil: 0.16, self.clods: 0.2, self.gravel: 0.08, self.wood: 0.08, self.cloth: 0.09,
            self.fibres: 0.07, self.paper: 0.08, self.plain: 0.11, self.litter: 0.08,
            self.tiles: 0.03, self.green_things: 0.02,
        }  # fmt: skip

    def make(self, n: int) -> torch.Tensor:
        """Textures of one kind drawn at random, most of them with more than one scale of detail."""
        kinds = list(self._kinds)
        kind = kinds[self.chance.decide.choice(len(kinds), p=list(self._kinds.values()))]
        return kind(n).clamp(0, 1)

    def colours(self, n: int, k: int, *names: str) -> torch.Tensor:
        """k colours for each of n pictures from the named materials, linear, (n, k, 3, 1, 1)."""
        decide = self.chance.decide
        anchors = [colour for name in names for colour in _COLOURS[name]]
        picked = torch.tensor(anchors, dtype=torch.float32)[
            decide.integers(len(anchors), size=(n, k))
        ]
        level = torch.as_tensor(decide.normal(1, 0.18, (n, k, 1)), dtype=torch.float32)
        tint = torch.as_tensor(decide.normal(1, 0.03, (n, k, 3)), dtype=torch.float32)
        colours = to_linear(picked / 255 * level * tint)
        return colours.to(self.chance.device, non_blocking=True).view(n, k, 3, 1, 1)

    def painted(self, field: torch.Tensor, colours: torch.Tensor) -> torch.Tensor:
        """Field of mean 0 and deviation 1 through a ramp of colours (n, k, 3, 1, 1)."""
        k = colours.shape[1]
        place = (torch.special.ndtr(field) * (k - 1)).clamp(0, k - 1.001)
        weights = [(1 - (place - i).abs()).clamp_min(0) for i in range(k)]
        return sum(w * colours[:, i] for i, w in enumerate(weights))

    def any_names(self) -> tuple[str, ...]:
        names = list(_PLAIN)
        return (names[self.chance.decide.choice(len(names), p=list(_PLAIN.values()))],)

    def _start(self, low: int, high: int) -> int:
        return round(2 ** float(self.chance.decide.uniform(low, high)))

    def soil(self, n: int) -> torch.Tensor:
        """Crumbs and clods in low or high light, damp patches, specks and bits of straw."""
        height = fractal_noise(self.chance, n, self.size, self._start(2, 5.5), (0.5, 1.05))
        if self.chance.decide.random() < 0.5:
            border, value = cells(self.chance, n, self.size, self._start(3, 6.5))
            clods = standardised(border.clamp_max(0.25) * (0.5 + value))
            height = height + self.chance.scalar(0.3, 2, n) * clods
        other = fractal_noise(self.chance, n, self.size, self._start(1, 4), (0.4, 0.8))
        mix = self.chance.scalar(0, 1, n)
        colour = self.painted(
            standardised(mix * height + (1 - mix) * other), self.colours(n, 3, "earth")
        )
        damp = smooth_noise(self.chance, n, self.size, self._start(0.5, 2))
        texture = (
            colour * relief(self.chance, height, (0.1, 0.65)) * (1 + 0.15 * damp).clamp(0.4, 1.6)
        )
        texture = self._speckled(texture)
        if self.chance.decide.random() < 0.45:
            texture = self._strewn(
                texture, int(self.chance.decide.integers(3, 45)), "straw", "earth"
            )
        return texture

    def clods(self, n: int) -> torch.Tensor:
        """Lumps of dry or damp earth of many sizes, with the shadows that a low sun gives them."""
        decide, size = self.chance.decide, self.size
        height = torch.zeros(n, 1, size, size, device=self.chance.device)
        level, across = 1.0, self._start(2, 4.5)
        for _ in range(int(decide.integers(2, 5))):
            border, value = cells(self.chance, n, size, across)
            dome = (border * 4).clamp(0, 1).sqrt() * (0.3 + value)
            height = height + level * dome * (value > float(decide.uniform(0, 0.5)))
            level, across = (
                level * float(decide.uniform(0.35, 0.65)),
                min(2 * across + 1, size // 8),
            )
        grain = fractal_noise(self.chance, n, size, 24, (0.7, 1.0))
        height = height + self.chance.scalar(0.01, 0.06, n) * grain
        tone = fractal_noise(self.chance, n, size, self._start(1, 6), (0.5, 0.9))
        colour = self.painted(
            self.chance.scalar(0.2, 0.8, n) * tone + 0.2 * grain, self.colours(n, 3, "earth")
        )
        texture = colour * relief(self.chance, height, (0.2, 0.7)) * self.cast_shadows(height)
        # In full sun the lit sides of dry earth are among the lightest things in a photo.
        texture = texture * self.chance.scalar(0.7, 2.2, n)
        if decide.random() < 0.4:
            texture = self._strewn(texture, int(decide.integers(2, 25)), "straw", "earth")
        return self._speckled(texture)

    def cast_shadows(self, height: torch.Tensor) -> torch.Tensor:
        """Light left (n, 1, h, w) where higher ground stands between a place and a low sun."""
        turns = self.chance.decide.uniform(0, 2 * np.pi)
        drop = self.chance.scalar(0.01, 0.06, len(height))
        over = torch.zeros_like(height)
        for step in (1, 2, 3, 5, 8, 12, 17, 24, 32):
            shift = (round(step * np.sin(turns)), round(step * np.cos(turns)))
            blocked = torch.roll(height, shift, (2, 3)) - step * drop - height
            over = torch.maximum(over, blocked)
        dark = self.chance.scalar(0.1, 0.7, len(height))
        return 1 - (1 - dark) * (over * 12).clamp(0, 1)

    def gravel(self, n: int) -> torch.Tensor:
        """Rounded stones, clay balls or bark of one or mixed colours."""
        border, value = cells(self.chance, n, self.size, self._start(2.5, 6.5))
        names = self.any_names() if self.chance.decide.random() < 0.3 else ("earth", "neutral")
        colour = self.painted(
            torch.special.ndtri(value.clamp(0.01, 0.99)), self.colours(n, 4, *names)
        )
        dome = (border * self.chance.scalar(3, 9, n)).clamp(0, 1)
        grain = fractal_noise(self.chance, n, self.size, 16, (0.6, 1.0))
        return (
            colour * (1 + self.chance.scalar(0, 0.25, n) * grain).clamp(0.2, 2)
            * relief(self.chance, nnf.avg_pool2d(dome, 5, 1, 2), (0.1, 0.4))
            * (dome ** self.chance.scalar(0.1, 1, n)).clamp_min(0.05)
        )  # fmt: skip

    def wood(self, n: int) -> torch.Tensor:
        """Boards with grain, seams and knots."""
        along, across = lattice(n, self.size, self.chance)
        bend = 0.02 * smooth_noise(self.chance, n, self.size, 3)
        rings = (
            across + bend + 0.01 * smooth_noise(self.chance, n, self.size, 12)
        ) * self.chance.scalar(10, 90, n)
        grain = torch.sin(2 * torch.pi * rings)
        streaks = smooth_noise(self.chance, n, self.size, 192, stretch=24)
        field = standardised(grain * self.chance.scalar(0.1, 1, n) + streaks)
        names = ("wood",) if self.chance.decide.random() < 0.85 else ("neutral", "earth")
        colour = self.painted(field * self.chance.scalar(0.15, 0.8, n), self.colours(n, 3, *names))
        seam = (across * self.chance.scalar(1, 7, n)) % 1.0
        board = (across * self.chance.scalar(1, 7, n)).floor()
        level = 1 + 0.12 * torch.sin(board * 12.9 + 4 * along.floor())
        return colour * level * (1 - 0.7 * (seam < 0.02).float())

    def cloth(self, n: int) -> torch.Tensor:
        """Woven threads, stripes or checks."""
        u, v = lattice(n, self.size, self.chance)
        count = self.chance.scalar(30, 160, n)
        wave = torch.sin(2 * torch.pi * u * count) * torch.sin(2 * torch.pi * v * count)
        colours = self.colours(n, 3, *self.any_names())
        stripes = torch.sin(2 * torch.pi * u * self.chance.scalar(1, 12, n)) * self.chance.scalar(
            0, 1.5, n
        )
        folds = smooth_noise(self.chance, n, self.size, self._start(1, 3))
        colour = self.painted(
            stripes + 0.2 * fractal_noise(self.chance, n, self.size, 64, (0.8, 1)), colours
        )
        return (
            colour * (1 + self.chance.scalar(0.02, 0.3, n) * wave) * (1 + 0.2 * folds).clamp(0.2, 2)
        )

    def fibres(self, n: int) -> torch.Tensor:
        """Mats of coir, hemp, jute or felt: crossing threads of many directions."""
        names = (("straw", "earth"), ("earth",), ("neutral",))[self.chance.decide.integers(3)]
        height = torch.zeros(n, 1, self.size, self.size, device=self.chance.device)
        for _ in range(5):
            threads = smooth_noise(
                self.chance, n, self.size, self._start(6, 8.5), stretch=self._start(2, 5)
            )
            height = torch.maximum(height, self._turned(threads))
        colour = self.painted(standardised(height), self.colours(n, 3, *names))
        return self._speckled(colour * relief(self.chance, height, (0.1, 0.5)))

    def paper(self, n: int) -> torch.Tensor:
        """Paper, card, board or towel: nearly one colour, embossed or crumpled."""
        colours = self.colours(n, 2, "neutral") * 0.4 + 0.6 * self.colours(
            n, 2, "neutral", "straw"
        ).amax(1, keepdim=True)
        colour = self.painted(0.5 * smooth_noise(self.chance, n, self.size, 3), colours)
        border, value = cells(self.chance, n, self.size, self._start(2, 6))
        crumple = (value - 0.5) * self.chance.scalar(0, 0.25, n) + 1
        dimples = relief(self.chance, border.clamp_max(0.2), (0, 0.2))
        fine = 1 + self.chance.scalar(0, 0.06, n) * self.chance.normal(n, 1, self.size, self.size)
        return colour * crumple * dimples * fine

    def plain(self, n: int) -> torch.Tensor:
        """Plastic, wall, skin, shade: gradients, out-of-focus patches, soft reflections."""
        colours = self.colours(n, 3, *self.any_names())
        field = smooth_noise(self.chance, n, self.size, self._start(1, 3.5)) * self.chance.scalar(
            0, 1.2, n
        )
        texture = self.painted(field, colours)
        gleam = smooth_noise(
            self.chance, n, self.size, self._start(1, 4), stretch=self._start(0, 2)
        )
        texture = texture + self.chance.scalar(0, 0.3, n) * (gleam - 1.2).clamp_min(0)
        return texture * (
            1
            + self.chance.scalar(0, 0.1, n) * fractal_noise(self.chance, n, self.size, 64, (0.8, 1))
        )

    def litter(self, n: int) -> torch.Tensor:
        """Straw, dead leaves, twigs and chips on the ground."""
        ground = self.soil(n) if self.chance.decide.random() < 0.6 else self.plain(n)
        return self._strewn(ground, int(self.chance.decide.integers(25, 110)), "straw", "wood")

    def tiles(self, n: int) -> torch.Tensor:
        """Tiles, slats and wire shelves: a lattice of straight bars."""
        u, v = lattice(n, self.size, self.chance)
        count = self.chance.scalar(4, 30, n)
        width = self.chance.scalar(0.03, 0.3, n)
        square = torch.as_tensor(self.chance.some(1, 0.6).size > 0, device=self.chance.device)
        bars = ((u * count) % 1 < width) | (((v * count) % 1 < width) & square)
        face, bar = self.plain(n), self.plain(n)
        return torch.where(bars, bar, face)

    def green_things(self, n: int) -> torch.Tensor:
        """Green cloth, plastic or paint: even in colour as no plant is."""
        colour = self.colours(n, 1, "green")[:, 0]
        u, v = lattice(n, self.size, self.chance)
        count = self.chance.scalar(40, 160, n)
        weave = torch.sin(2 * torch.pi * u * count) * torch.sin(2 * torch.pi * v * count)
        folds = smooth_noise(self.chance, n, self.size, 2)
        return colour * (1 + self.chance.scalar(0.05, 0.25, n) * weave) * (1 + 0.12 * folds)

    def _turned(self, field: torch.Tensor) -> torch.Tensor:
        """The field turned by a random angle."""
        n = len(field)
        angle = self.chance.decide.uniform(0, 2 * np.pi, n)
        turn = self.chance.tensor(_turns(np.full(n, 0.7), angle, np.zeros((n, 2))))
        grid = nnf.affine_grid(turn, field.shape, align_corners=False)
        return nnf.grid_sample(field, grid, padding_mode="reflection", align_corners=False)

    def _speckled(self, texture: torch.Tensor) -> torch.Tensor:
        """Perlite, sand grains, dark pits."""
        n = len(texture)
        if self.chance.decide.random() < 0.4:
            return texture
        speck = smooth_noise(self.chance, n, self.size, self._start(5, 8.5))
        amount = ((speck - self.chance.scalar(1.6, 3, n)) * 3).clamp(0, 1)
        return texture + amount * (self.colours(n, 1, "neutral", "straw", "earth")[:, 0] - texture)

    def _strewn(self, texture: torch.Tensor, count: int, *names: str) -> torch.Tensor:
        """Bent strips and pointed ovals, with a shadow, each of its own colour."""
        n, device = len(texture), self.chance.device
        line = (torch.arange(self.size, device=device) + 0.5) / self.size
        y, x = line.view(1, 1, -1, 1), line.view(1, 1, 1, -1)
        grain = fractal_noise(self.chance, n, self.size, 32, (0.6, 0.9))
        largest = self.chance.scalar(0.03, 0.25, n)
        slender = float(self.chance.decide.uniform(0.03, 0.5))
        for _ in range(count):
            angle = self.chance.scalar(0, 2 * torch.pi, n)
            dx, dy = x - self.chance.scalar(0, 1, n), y - self.chance.scalar(0, 1, n)
            half = largest * self.chance.scalar(0.25, 1, n)
            u = (dx * angle.cos() + dy * angle.sin()) / half
            v = (dy * angle.cos() - dx * angle.sin()) / half
            v = v - self.chance.scalar(-0.5, 0.5, n) * u * u
            wide = slender * self.chance.scalar(0.4, 1.3, n)
            inside = (1 - u * u).clamp_min(0) ** self.chance.scalar(0.3, 1.5, n) - v.abs() / wide
            sharp = half * self.size * wide
            cover = (inside * sharp).clamp(0, 1)
            shadow = (torch.roll(inside, (3, 2), (2, 3)) * sharp).clamp(0, 1)
            colour = self.colours(n, 1, *names)[:, 0]
            shade = (1 + 0.2 * grain + 0.25 * v / wide).clamp(0.3, 1.6)
            texture = texture * (1 - 0.5 * shadow * (1 - cover))
            texture = texture + cover * (colour * shade - texture)
        return texture


class TextureBank:
    """Many textures kept as 8-bit sRGB on the device, renewed a few at a time."""

    def __init__(self, chance: Chance, count: int, size: int, batch: int):
        self.chance, self.count, self.size, self.batch = chance, count, size, batch
        self.maker = TextureMaker(chance, size)
        self.kept = torch.empty(count, 3, size, size, dtype=torch.uint8, device=chance.device)
        self._next = 0
        for _ in range(0, count, batch):
            self.renew()

    def renew(self) -> None:
        """Replace the oldest textures."""
        places = [(self._next + i) % self.count for i in range(self.batch)]
        made = to_srgb(self.maker.make(self.batch))
        self.kept[self.chance.sent(np.array(places))] = (made * 255).round().byte()
        self._next = (self._next + self.batch) % self.count

    def take(self, n: int, size: int) -> torch.Tensor:
        """Textures at random turn, size and place; linear, (n, 3, size, size)."""
        decide = self.chance.decide
        chosen = self.chance.sent(decide.integers(self.count, size=n))
        zoom = size / self.size * 2.0 ** decide.uniform(-1.3, 0.6, n)
        turn = self.chance.tensor(
            _turns(zoom, decide.uniform(0, 2 * np.pi, n), decide.uniform(-0.5, 0.5, (n, 2)))
        )
        grid = nnf.affine_grid(turn, (n, 3, size, size), align_corners=False)
        picture = self.kept[chosen].float() / 255
        return to_linear(
            nnf.grid_sample(picture, grid, padding_mode="reflection", align_corners=False)
        )
