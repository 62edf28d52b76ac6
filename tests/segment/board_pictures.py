"""Board pictures drawn with known content: cut plants, what lies about, light and shade."""

from dataclasses import dataclass, field

import cv2
import numpy as np

MM_PER_PX = 0.125
FINE = 3  # drawn so many times finer, then averaged
BOARDS = {
    "white": (232, 232, 228),
    "blue": (44, 72, 138),
    "black": (30, 30, 32),
    "grey": (126, 127, 128),
}
# (leaf, stem at the cut, stem at the node), sRGB, after colours read off photographs of
# microgreens; common practice, no source.
CROPS = {
    "green": ((70, 132, 44), (205, 220, 180), (170, 200, 130)),
    "yellow": ((196, 190, 70), (232, 226, 196), (224, 220, 160)),
    "purple": ((86, 42, 74), (200, 120, 160), (150, 60, 100)),
    "red": ((140, 34, 54), (205, 80, 110), (180, 50, 80)),
    "dark": ((38, 44, 30), (120, 50, 60), (93, 40, 46)),
    "dull": ((74, 71, 74), (226, 150, 190), (150, 60, 110)),
    "dim": ((104, 101, 104), (226, 150, 190), (150, 60, 110)),
    "faint": ((96, 140, 70), (230, 232, 221), (204, 216, 180)),
    "pale": ((120, 160, 80), (236, 232, 218), (226, 226, 200)),
}


def linear(rgb):
    v = np.asarray(rgb, np.float32) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)


def encoded(light):
    v = np.clip(light, 0, 1)
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)


@dataclass
class Picture:
    """A board being drawn; coordinates in mm, colours sRGB 0..255."""

    width_mm: float = 100.0
    height_mm: float = 80.0
    board: tuple = BOARDS["white"]
    seed: int = 0
    shadow: float = 0.25  # share of light that a plant's shadow takes
    shadow_mm: tuple = (0.6, 0.8)
    shadow_soft_mm: float = 0.8
    grain: float = 0.012
    fall: float = 0.3  # of light from one corner to the other
    colour: np.ndarray = field(init=False)
    plant: np.ndarray = field(init=False)
    stem: np.ndarray = field(init=False)

    def __post_init__(self):
        self.rng = np.random.default_rng(self.seed)
        self.per_mm = FINE / MM_PER_PX
        shape = (round(self.height_mm * self.per_mm), round(self.width_mm * self.per_mm))
        texture = np.empty(shape, np.float32)
        for rows in _bands(shape[0]):
            texture[rows] = self.rng.normal(0, self.grain, texture[rows].shape)
        slow = self.rng.normal(0, 1, (9, 11)).astype(np.float32)
        slow = cv2.resize(slow, shape[::-1], interpolation=cv2.INTER_CUBIC)
        self.colour = np.empty((*shape, 3), np.float32)
        for rows in _bands(shape[0]):
            light = 1 + texture[rows] * FINE / 2 + 0.01 * slow[rows]
            cv2.merge([light * channel for channel in linear(self.board)], self.colour[rows])
        self.plant = np.zeros(shape, np.float32)
        self.stem = np.zeros(shape, np.float32)
        self.shade = np.ones(shape, np.float32)

    def _window(self, points_mm, reach_mm):
        """Slices of the fine picture that hold the points and some way round them."""
        low = (np.min(points_mm, axis=0) - reach_mm) * self.per_mm
        high = (np.max(points_mm, axis=0) + reach_mm) * self.per_mm
        height, width = self.plant.shape
        x0, y0 = max(int(low[0]), 0), max(int(low[1]), 0)
        x1, y1 = min(int(high[0]) + 1, width), min(int(high[1]) + 1, height)
        return (slice(y0, max(y1, y0 + 1)), slice(x0, max(x1, x0 + 1)))

    def _fixed(self, points_mm, window):
        """Points in the window for drawing with four fractional bits."""
        corner = np.array([window[1].start, window[0].start])
        return np.round((np.asarray(points_mm) * self.per_mm - 0.5 - corner) * 16).astype(np.int32)

    def _lay(self, window, mask, colour, *, plant, stem, shadow):
        """Put a thing on the board: its shadow, then itself in full light."""
        if shadow:
            self._cast(window, mask)
        inside = mask > 0
        self.colour[window][inside] = np.broadcast_to(colour, (*mask.shape, 3))[inside]
        self.shade[window][inside] = 1.0
        self.plant[window][inside] = float(plant)
        self.stem[window][inside] = float(plant and stem)

    def _cast(self, window, mask):
        dx, dy = (v * self.per_mm for v in self.shadow_mm)
        moved = np.float32([[1, 0, dx], [0, 1, dy]])
        dark = cv2.warpAffine(mask.astype(np.float32), moved, mask.shape[::-1])
        if self.shadow_soft_mm:
            side = 2 * int(self.shadow_soft_mm * self.per_mm) + 1
            dark = cv2.blur(cv2.blur(dark, (side, side)), (side, side))
        self.shade[window] *= 1 - self.shadow * dark

    def _reach_mm(self):
        return max(map(abs, self.shadow_mm)) + 3 * self.shadow_soft_mm + 1

    def shape(self, points_mm, colour, *, plant=True, shadow=True, veins=0.1):
        """A filled outline."""
        window = self._window(points_mm, self._reach_mm())
        mask = np.zeros(self.plant[window].shape, np.uint8)
        cv2.fillPoly(mask, [self._fixed(points_mm, window)], 1, shift=4)
        slow = self.rng.normal(0, 1, (5, 5)).astype(np.float32)
        slow = cv2.resize(slow, mask.shape[::-1], interpolation=cv2.INTER_CUBIC)
        lit = linear(colour) * (1 + veins * slow[..., None])
        self._lay(window, mask, lit, plant=plant, stem=False, shadow=shadow)
        return self

    def leaf(self, x, y, length, width, angle, colour, *, notch=0.0, plant=True):  # noqa: PLR0913
        """An oval blade, with or without a notch at its tip."""
        t = np.linspace(0, 2 * np.pi, 240)
        r = 1 - notch * np.exp(-((np.angle(np.exp(1j * t)) / 0.35) ** 2))
        px, py = r * np.cos(t) * length / 2, r * np.sin(t) * width / 2
        a = np.radians(angle)
        points = np.stack(
            [x + px * np.cos(a) - py * np.sin(a), y + px * np.sin(a) + py * np.cos(a)], axis=-1
        )
        return self.shape(points, colour, plant=plant)

    def thread(self, points_mm, width_mm, colours, *, plant=True, shadow=True, round_=0.25):
        """A stem, root or crease: a line of some width, shaded like a rod."""
        points = _smooth_line(np.asarray(points_mm, np.float64))
        window = self._window(points, self._reach_mm() + width_mm)
        centre = np.full(self.plant[window].shape, 255, np.uint8)
        cv2.polylines(centre, [self._fixed(points, window)], isClosed=False, color=0, shift=4)
        away = cv2.distanceTransform(centre, cv2.DIST_L2, 5) / (width_mm / 2 * self.per_mm)
        mask = (away <= 1).astype(np.uint8)
        first, last = linear(colours[0]), linear(colours[-1])
        start, along = points[0], points[-1] - points[0]
        yy, xx = np.mgrid[window].astype(np.float32) / self.per_mm
        place = ((xx - start[0]) * along[0] + (yy - start[1]) * along[1]) / (along @ along)
        place = np.clip(place, 0, 1)[..., None].astype(np.float32)
        rod = 1 - round_ * (1 - np.sqrt(np.clip(1 - away**2, 0, 1)))
        colour = (first + place * (last - first)) * rod[..., None]
        self._lay(window, mask, colour, plant=plant, stem=True, shadow=shadow)
        return self

    def seedling(self, x, y, crop, *, length=40.0, angle=0.0):
        """Stem with two stalks and two blades; the cut end at (x, y)."""
        leaf, cut, node = CROPS[crop]
        width, blade = 1.2, 11.0
        a = np.radians(angle)
        along, side = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
        bend = self.rng.uniform(-4, 4)
        start = np.array([x, y])
        node_at = start + length * along
        middle = start + 0.5 * length * along + bend * side
        for sign in (-1, 1):
            tip = node_at + 4 * along + sign * 4.5 * side
            self.thread([node_at, (node_at + tip) / 2 + 0.5 * along, tip], 0.8, [node, node])
            turn = angle + sign * 50
            b = np.radians(turn)
            centre = tip + 0.42 * blade * np.array([np.cos(b), np.sin(b)])
            self.leaf(*centre, blade, 0.75 * blade, turn, leaf, notch=0.3)
        self.thread([start, middle, node_at], width, [cut, node])
        return self

    def _lit(self, rows, tint):
        """Rows of the fine picture in the light that falls on them."""
        height, width = self.plant.shape
        y, x = np.ogrid[rows, :width]
        light = 1 - self.fall * (0.6 * x / width + 0.4 * y / height)
        light = (self.shade[rows] * light).astype(np.float32)
        channels = cv2.split(self.colour[rows])
        return cv2.merge(
            [
                channel * light * share
                for channel, share in zip(channels, np.float32(tint), strict=True)
            ]
        )

    def shoot(self, *, quality=88, blur_px=0.7, noise=1.2, sharpen=0.4, tint=(1.0, 1.0, 1.0)):
        """The photo (h, w, 3) and the true shares of plant and stem."""
        bands = _bands(len(self.plant) // FINE * FINE)
        picture = np.concatenate([_coarse(self._lit(rows, tint)) for rows in bands])
        plant, stem = _coarse(self.plant), _coarse(self.stem)
        if blur_px:
            picture = cv2.GaussianBlur(picture, (0, 0), blur_px)
        coded = 255 * encoded(picture)
        grain = self.rng.normal(0, 1, coded.shape).astype(np.float32)
        coded = coded + noise * cv2.GaussianBlur(grain, (0, 0), 0.5) * 1.6
        luma = coded @ np.float32([0.299, 0.587, 0.114])
        coded = coded + sharpen * (luma - cv2.GaussianBlur(luma, (0, 0), 1.2))[..., None]
        rgb = np.clip(coded + 0.5, 0, 255).astype(np.uint8)
        if quality:
            options = [cv2.IMWRITE_JPEG_QUALITY, quality]
            _, data = cv2.imencode(".jpg", rgb[..., ::-1], options)
            rgb = np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])
        return rgb, plant, stem


def _bands(rows):
    """Slices of rows, few enough to stay in the processor's cache."""
    step = 16 * FINE
    return [slice(first, min(first + step, rows)) for first in range(0, rows, step)]


def _coarse(fine):
    height, width = fine.shape[:2]
    return cv2.resize(fine, (width // FINE, height // FINE), interpolation=cv2.INTER_AREA)


def _smooth_line(points):
    """A quadratic through three points, finely sampled; straight between two."""
    t = np.linspace(0, 1, 200)[:, None]
    if len(points) == 2:
        return points[0] + t * (points[1] - points[0])
    a, b, c = points[:3]
    control = 2 * b - 0.5 * (a + c)
    return (1 - t) ** 2 * a + 2 * t * (1 - t) * control + t**2 * c


def planted(board, crop, seed=0, **look):
    """A board with four seedlings of one crop."""
    picture = Picture(board=BOARDS[board], seed=seed, **look)
    for k in range(4):
        x, y = 12 + 46 * (k % 2), 22 + 36 * (k // 2)
        picture.seedling(x, y, crop, length=24, angle=picture.rng.uniform(-15, 15))
    return picture
