"""A small camera for the card's tests: it looks at the drawn card from a known place.

It shares no code with the finding of the card: own projection, own transfer curve. Only the
neighbourhood of the card is rendered; the rest of the photo is a still background.
"""

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.card.draw import card_picture
from traymorph.card.layout import card_layout
from traymorph.model.card import CardRole
from traymorph.model.photo import CameraInfo, Photo

FRAME_DIAGONAL_MM = 43.2666  # 36 x 24 mm: by Pythagoras


@dataclass(frozen=True)
class Lens:
    """A phone: picture size in px, 35 mm equivalent, radial distortion k1."""

    width: int = 4000
    height: int = 3000
    focal_35mm: float = 26.0
    k1: float = 0.0

    @property
    def focal_px(self) -> float:
        return self.focal_35mm / FRAME_DIAGONAL_MM * float(np.hypot(self.width, self.height))

    def project(self, camera_points: NDArray) -> NDArray:
        ideal = camera_points[:, :2] / camera_points[:, 2:]
        bent = ideal * (1 + self.k1 * np.sum(ideal**2, axis=1, keepdims=True))
        return bent * self.focal_px + (np.array([self.width, self.height]) - 1) / 2

    def unproject(self, pixels: NDArray) -> NDArray:
        bent = (pixels - (np.array([self.width, self.height]) - 1) / 2) / self.focal_px
        ideal = bent.copy()
        for _ in range(10):
            ideal = bent / (1 + self.k1 * np.sum(ideal**2, axis=1, keepdims=True))
        return ideal


@dataclass(frozen=True)
class Place:
    """Where a card lies: rotation card to camera (x, y, -height), origin in the camera, mm."""

    rotation: NDArray
    origin: NDArray

    def to_camera(self, points_mm: NDArray) -> NDArray:
        flat = np.column_stack([points_mm, np.zeros(len(points_mm))])
        return flat @ self.rotation.T + self.origin

    @property
    def distance_mm(self) -> float:
        """Height of the camera above the card's plane."""
        return abs(float(self.rotation[:, 2] @ self.origin))


def place_card(
    distance: float, tilt: float = 0.0, turn: float = 0.0, axis: float = 0.0,
    at: tuple[float, float] = (0.0, 0.0), size: tuple[float, float] = (120.0, 90.0),
) -> Place:  # fmt: skip
    """Put a card's middle on the ray `at` (camera x/z, y/z), turned in its plane, then tilted.

    `axis` is the direction in the picture about which it is tilted; angles in degrees.
    """
    spin, lean = np.radians(turn), np.radians(tilt)
    c, s = np.cos(spin), np.sin(spin)
    in_plane = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    about = np.array([np.cos(np.radians(axis)), np.sin(np.radians(axis)), 0])
    cross = np.array([[0, -about[2], about[1]], [about[2], 0, -about[0]], [-about[1], about[0], 0]])
    tilted = np.eye(3) + np.sin(lean) * cross + (1 - np.cos(lean)) * cross @ cross
    rotation = tilted @ in_plane
    middle = np.array([at[0] * distance, at[1] * distance, distance])
    return Place(rotation, middle - rotation @ np.array([size[0] / 2, size[1] / 2, 0]))


@dataclass(frozen=True)
class Look:
    """What light and phone do to the picture."""

    light: tuple[float, float, float] = (0.9, 0.9, 0.9)
    slope: tuple[float, float] = (0.0, 0.0)
    shadow: float = 1.0
    blur_px: float = 0.7
    noise: float = 0.004
    tone: float = 0.4
    sharpen: float = 0.7
    jpeg: int = 90
    matrix: NDArray = field(default_factory=lambda: np.eye(3))


def decode(code: NDArray) -> NDArray:
    value = np.asarray(code, dtype=np.float32) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def encode(linear: NDArray) -> NDArray:
    linear = np.clip(linear, 0, None)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


@cache
def texture(role: CardRole, dpi: int) -> NDArray:
    return decode(card_picture(card_layout(role), dpi)).astype(np.float32)


@cache
def background(width: int, height: int) -> NDArray:
    """A dull bench with soft blotches and grain."""
    rng = np.random.default_rng(7)
    blotches = rng.normal(0, 1, (height // 150, width // 150, 3))
    picture = 95 + 25 * cv2.resize(blotches, (width, height), interpolation=cv2.INTER_CUBIC)
    grain = rng.integers(-12, 13, (height, width, 1))
    still = np.clip(picture + grain, 0, 255).astype(np.uint8)
    still.flags.writeable = False
    return still


@dataclass
class Studio:
    """Lays cards and painted shapes on a bench and photographs them."""

    lens: Lens = field(default_factory=Lens)
    look: Look = field(default_factory=Look)
    seed: int = 0

    def photograph(self, *cards: tuple[CardRole, Place], exif: bool = True, paint=None) -> Photo:
        """Photograph cards; `paint(linear, top_left)` may change the scene before the lens."""
        rgb = background(self.lens.width, self.lens.height).copy()
        rng = np.random.default_rng(self.seed)
        for role, place in cards:
            self._render(rgb, role, place, rng, paint)
        camera = CameraInfo(focal_35mm=round(self.lens.focal_35mm) if exif else None)
        return Photo(Path("made.jpg"), "0" * 64, rgb, camera)

    def corners(self, role: CardRole, place: Place) -> dict[int, NDArray]:
        return {
            marker_id: self.lens.project(place.to_camera(corners))
            for marker_id, corners in card_layout(role).markers.items()
        }

    def _render(self, rgb, role, place, rng, paint) -> None:
        layout = card_layout(role)
        margin = 10.0 if paint is None else 60.0
        far = layout.outline + margin * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        around = self.lens.project(place.to_camera(far))
        low = np.maximum(np.floor(around.min(0) / 16).astype(int) * 16, 0)
        high = np.minimum(np.ceil(around.max(0) / 16).astype(int) * 16, rgb.shape[1::-1])
        window = (slice(low[1], high[1]), slice(low[0], high[0]))
        scene = decode(rgb[window])
        scene = self._lay(scene, role, place, low)
        if paint is not None:
            scene = paint(scene, low)
        rgb[window] = self._develop(scene.astype(np.float32), rng)

    def _lay(self, scene, role, place, low):
        layout = card_layout(role)
        fine = 3
        outline = self.lens.project(place.to_camera(layout.outline))
        first = np.maximum(np.floor(outline.min(0)).astype(int) - 2, low)
        last = np.minimum(np.ceil(outline.max(0)).astype(int) + 3, low + scene.shape[1::-1])
        density = np.sqrt(cv2.contourArea(outline.astype(np.float32)) / np.prod(layout.size))
        dpi = min((200, 300, 450), key=lambda dpi: abs(dpi / 25.4 - 3 * density))
        width, height = last - first
        step = (np.arange(fine) + 0.5) / fine - 0.5
        u, v = (
            ((start + np.arange(count)[:, None] + step).ravel() - (whole - 1) / 2)
            / self.lens.focal_px
            for start, count, whole in (
                (first[0], width, self.lens.width),
                (first[1], height, self.lens.height),
            )
        )
        ideal = np.stack(np.meshgrid(u.astype(np.float32), v.astype(np.float32)), axis=-1)
        if self.lens.k1:
            bent = ideal
            for _ in range(2):  # k1 r^2 is below 0.01
                r2 = ideal[..., 0] ** 2 + ideal[..., 1] ** 2
                ideal = bent / (1 + np.float32(self.lens.k1) * r2)[..., None]
        # Where the line of sight meets the card: the inverse of the card's homography.
        flat = np.column_stack([place.rotation[:, :2], place.origin])
        met = cv2.perspectiveTransform(ideal, np.linalg.inv(flat).astype(np.float64))
        at = met * np.float32(dpi / 25.4) - np.float32(0.5)
        seen = cv2.remap(texture(role, dpi), at, None, cv2.INTER_LINEAR,
                         borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
        x, y = met[..., 0], met[..., 1]
        on = (x >= 0) & (x <= layout.size[0]) & (y >= 0) & (y <= layout.size[1])
        if any(self.look.slope) or self.look.shadow != 1:
            share = met / np.float32(layout.size)
            shade = 1 + (share - 0.5) @ np.float32(self.look.slope)
            seen *= (np.where(share[..., 0] < 0.4, self.look.shadow, 1.0) * shade)[..., None]
        colour = np.diag(self.look.light) @ self.look.matrix
        seen = cv2.transform(seen, colour.astype(np.float32))
        share = cv2.resize(
            on.astype(np.float32), (int(width), int(height)), interpolation=cv2.INTER_AREA
        )
        seen = cv2.resize(seen * on[..., None],
                          (int(width), int(height)), interpolation=cv2.INTER_AREA)  # fmt: skip
        inner = (
            slice(first[1] - low[1], last[1] - low[1]),
            slice(first[0] - low[0], last[0] - low[0]),
        )
        scene[inner] = scene[inner] * (1 - share[..., None]) + seen
        return scene

    def _develop(self, scene, rng):
        look = self.look
        if look.blur_px:
            scene = cv2.GaussianBlur(scene, (0, 0), look.blur_px)
        scene = scene + rng.normal(0, 1, scene.shape).astype(np.float32) * (
            look.noise * np.sqrt(np.maximum(scene, 0.0) + 0.02)
        )
        value = np.clip(encode(scene), 0, 1).astype(np.float32)
        value = value + look.tone * (value * value * (3 - 2 * value) - value)
        if look.sharpen:
            value = value + look.sharpen * (value - cv2.GaussianBlur(value, (0, 0), 1.2))
        code = np.clip(np.round(value * 255), 0, 255).astype(np.uint8)
        _, packed = cv2.imencode(".jpg", code[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, look.jpeg])
        return cv2.imdecode(packed, cv2.IMREAD_COLOR)[:, :, ::-1]
