"""Rendered photos and their truth, read from disk and laid on the training device.

A pixel is eight bytes (red, green, blue, then the shares of ``SHARES``), kept as one 64-bit number,
so that a crop of any scale and turn is four plain look-ups.
"""

import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import torch

from tests.tissue_model.kinds import BROWN, kinds_of
from tests.tissue_model.light import to_linear

TYPICAL_MM_PER_PX = {"board": 0.2, "overhead": 0.3, "side": 0.3}
"""Size of a pixel at which measuring shows the network a photo of each view."""
SHARES = ("leaf", "stem", "greenery", "hull", "medium")
_OTHER, _MEDIUM, _GREENERY, _HULL = 0, 4, 6, 7  # classes of the scene maker's masks
_LARGEST = 4_000_000  # px; larger photos are halved: their pixels are finer than what is learned
_LEVELS = 3
_POINTS, _TRIED = 2000, 60_000
_PLANT = 100  # of 255
_GREY = "0.60"


@dataclass(frozen=True, eq=False)
class Rendered:
    """One photo with its truth.

    Attributes
    ----------
    scene, view, crop : names
    kinds : what of the names and words of `kinds.py` it shows
    mm_per_px : where the camera is focused
    gain : (3,) that makes the card's greys neutral and right, in linear light
    pixels : uint8 (h, w, 8)
    """

    scene: str
    view: str
    crop: str
    kinds: frozenset[str]
    mm_per_px: float
    gain: np.ndarray
    pixels: np.ndarray

    @property
    def typical_mm_per_px(self) -> float:
        """Size of a pixel at which measuring shows the network such a photo."""
        return TYPICAL_MM_PER_PX[self.view]

    @property
    def rgb(self) -> np.ndarray:
        return self.pixels[..., :3]


def read_folder(folder: Path, threads: int = 12) -> list[Rendered]:
    """All photos of all finished scenes below a folder, in the order of their names."""
    records = [
        json.loads(p.read_text("utf-8")) | {"at": p.parent} for p in folder.glob("*/truth.json")
    ]
    todo = [
        (r, name) for r in sorted(records, key=lambda r: r["id"]) for name in sorted(r["photos"])
    ]
    if not todo:
        msg = f"{folder} holds no rendered scenes (no */truth.json)"
        raise SystemExit(msg)
    with ThreadPoolExecutor(threads) as pool:
        return list(pool.map(lambda job: _read(*job), todo))


def _read(record: dict, name: str) -> Rendered:
    facts = record["photos"][name]
    photo = cv2.imread(str(record["at"] / facts["photo"]), cv2.IMREAD_COLOR)
    mask, leaf, stem = (
        cv2.imread(str(record["at"] / f"{name}.{kind}.png"), cv2.IMREAD_UNCHANGED)
        for kind in ("mask", "leaf", "stem")
    )
    spec = record["spec"]
    if spec.get("backdrop") == "grass" and not spec["neighbours"]:
        # A lawn behind a tray is no crop: the network is to leave it out, as it does the bench.
        mask = np.where(mask == _GREENERY, np.uint8(_OTHER), mask)
    planes = [photo[..., ::-1], leaf[..., None], stem[..., None]]
    planes += [((mask == k) * np.uint8(255))[..., None] for k in (_GREENERY, _HULL, _MEDIUM)]
    pixels = np.concatenate(planes, axis=2)
    scale = facts["camera"]["focus_mm"] / facts["camera"]["K"][0][0]
    while pixels.shape[0] * pixels.shape[1] > _LARGEST:
        pixels, scale = _halved(pixels), 2 * scale
    grey = torch.tensor(facts["grey_steps_rgb"][_GREY]) / 255
    gain = float(_GREY) / to_linear(grey).clamp_min(0.01).numpy()
    return Rendered(
        record["id"], facts["view"], record["tray"]["crop"], kinds_of(spec), scale,
        gain.clip(0.25, 6), pixels,
    )  # fmt: skip


def _halved(pixels: np.ndarray) -> np.ndarray:
    height, width = pixels.shape[0] // 2, pixels.shape[1] // 2
    size = (width, height)
    whole = np.ascontiguousarray(pixels[: 2 * height, : 2 * width])
    return np.concatenate(
        [cv2.resize(whole[..., k : k + 4], size, interpolation=cv2.INTER_AREA) for k in (0, 4)],
        axis=2,
    )


class PixelStore:
    """Photos with their half and quarter sizes in one tensor on the device."""

    def __init__(self, photos: list[Rendered], device: torch.device, seed: int):
        rng = np.random.default_rng(seed)
        offsets, widths, heights, levels = [], [], [], []
        total = 0
        for photo in photos:
            pixels = photo.pixels
            for _ in range(_LEVELS):
                levels.append(pixels)
                offsets.append(total)
                heights.append(pixels.shape[0])
                widths.append(pixels.shape[1])
                total += pixels.shape[0] * pixels.shape[1]
                pixels = _halved(pixels)
        self.packed = torch.empty(total, dtype=torch.int64, device=device)
        for offset, level in zip(offsets, levels, strict=True):
            flat = torch.from_numpy(np.ascontiguousarray(level)).view(-1, 8).view(torch.int64)
            self.packed[offset : offset + len(flat)] = flat.view(-1).to(device)
        shape = (len(photos), _LEVELS)
        self._offsets = np.array(offsets).reshape(shape)
        self._widths = np.array(widths).reshape(shape)
        self._heights = np.array(heights).reshape(shape)
        self.device = device
        self.gain = torch.tensor(np.stack([p.gain for p in photos]), dtype=torch.float32).to(device)
        self.mm_per_px = np.array([p.mm_per_px for p in photos])
        self.typical_mm_per_px = np.array([p.typical_mm_per_px for p in photos])
        self.views = [p.view for p in photos]
        self.brown = np.array([BROWN in p.kinds for p in photos])
        self.points = [_plant_points(p, rng) for p in photos]
        self.size = np.array([p.pixels.shape[1::-1] for p in photos])

    def crops(
        self, photo: np.ndarray, centre: np.ndarray, matrix: np.ndarray, size: int
    ) -> tuple[torch.Tensor, torch.Tensor]:
        """Square crops.

        Parameters
        ----------
        photo : (n,) numbers
        centre : (n, 2) x, y in the photo
        matrix : (n, 2, 2) photo px per crop px, x and y
        size : side of the crops, px

        Returns
        -------
        picture : (n, 3, size, size) encoded sRGB 0 to 1
        shares : (n, 5, size, size) 0 to 1, in the order of ``SHARES``
        """
        step = np.sqrt(np.abs(np.linalg.det(matrix)))
        level = np.clip(np.floor(np.log2(step) + 0.3), 0, _LEVELS - 1).astype(int)
        shrink = 0.5**level
        table = np.stack(
            [self._offsets[photo, level], self._widths[photo, level], self._heights[photo, level]]
        )
        offset, width, height = (
            torch.from_numpy(table).to(self.device, non_blocking=True).view(3, -1, 1, 1)
        )
        matrix = matrix * shrink[:, None, None]
        centre = (centre + 0.5) * shrink[:, None] - 0.5
        numbers = np.concatenate([matrix.reshape(-1, 4), centre], axis=1).astype(np.float32)
        a, b, c, d, cx, cy = (
            torch.from_numpy(numbers).to(self.device, non_blocking=True).T.reshape(6, -1, 1, 1)
        )
        line = torch.arange(size, device=self.device) - (size - 1) / 2
        v, u = torch.meshgrid(line, line, indexing="ij")
        x, y = a * u + b * v + cx, c * u + d * v + cy
        x0, y0 = x.floor(), y.floor()
        fx, fy = (x - x0).unsqueeze(-1), (y - y0).unsqueeze(-1)
        total = torch.zeros(*x.shape, 8, device=self.device)
        for dx, wx in ((0, 1 - fx), (1, fx)):
            column = _mirrored(x0.long() + dx, width)
            for dy, wy in ((0, 1 - fy), (1, fy)):
                at = offset + _mirrored(y0.long() + dy, height) * width + column
                total += self.packed[at].view(torch.uint8).view(*x.shape, 8) * (wx * wy)
        total = total.permute(0, 3, 1, 2) / 255
        return total[:, :3], total[:, 3:]


def _mirrored(index: torch.Tensor, count: torch.Tensor) -> torch.Tensor:
    """Indexes beyond the edge reflected back into the photo."""
    index = torch.remainder(index, 2 * count)
    return torch.minimum(index, 2 * count - 1 - index)


def _plant_points(photo: Rendered, rng: np.random.Generator) -> np.ndarray:
    """Pixels (x, y) on leaf, and as many on stem where there is stem."""
    height, width = photo.pixels.shape[:2]
    groups = []
    for plane in (3, 4):
        tried = (rng.random((_TRIED, 2)) * (width, height)).astype(int)
        hits = tried[photo.pixels[tried[:, 1], tried[:, 0], plane] > _PLANT]
        if len(hits):
            groups.append(hits[rng.integers(len(hits), size=_POINTS)])
    if groups:
        return np.concatenate(groups).astype(np.float32)
    return (rng.random((_POINTS, 2)) * (width, height)).astype(np.float32)
