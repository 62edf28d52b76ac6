"""Made prints of the card, made phones, and what these show of the prints: without the program.

Inks are simulated by their density; a phone by white balance, a colour matrix, saturation, a
shoulder and a contrast curve. Every formula is this module's own or the scene maker's; the
program is only asked where the patches lie.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from skimage.color import deltaE_ciede2000

from tests.scenes.colour import decode_srgb, kelvin_to_linear, linear_to_lab
from tests.scenes.phone import tone, white_gains
from traymorph.card.layout import card_layout
from traymorph.model.card import CardRole, RegisteredCard
from traymorph.model.photo import CameraInfo, Photo
from traymorph.model.viewpoint import Viewpoint

ROLE = CardRole.OVERHEAD
DRAWN = [patch for patch in card_layout(ROLE).patches if patch.drawn]
NAMES = [patch.name for patch in DRAWN]
NOMINAL = decode_srgb(np.array([patch.rgb for patch in DRAWN]) / 255.0)
# Leaves from pale to dark, yellowing and purple: sRGB codes chosen by eye.
LEAVES = decode_srgb(
    np.array(
        [
            *([120, 170, 70], [80, 130, 50], [50, 95, 40], [170, 195, 90], [140, 160, 80]),
            *([200, 210, 110], [90, 110, 50], [96, 44, 80], [120, 70, 90], [60, 30, 45]),
        ]
    )
    / 255.0
)
DAYLIGHTS = (6000.0, 6500.0, 7500.0, 9000.0)
LAMPS = (3000.0, 4000.0, 5000.0, 6500.0)

_PX_PER_MM = 3.0
_SIZE = (360, 270)


def apart(first: NDArray, second: NDArray) -> NDArray:
    """CIEDE2000 between linear sRGB colours, by a reference library."""
    return deltaE_ciede2000(linear_to_lab(first), linear_to_lab(second))


def ink_errors(rng: np.random.Generator, mean_de00: float) -> NDArray:
    """Linear colours of all patches on a print that is off by this much on average.

    Smooth and nonlinear: strength of each ink, gain in the mid tones, a black that is not black,
    inks that absorb where they should not. Shape (n, 3), relative to the paper.
    """
    strength, own = rng.normal(0, 0.25), rng.normal(0, 0.08, 3)
    gain, own_gain = rng.normal(0, 0.25), rng.normal(0, 0.08, 3)
    weak_black, stray = abs(rng.normal(0, 0.08)), rng.normal(0, 0.06, (3, 3))
    wanted = -np.log(NOMINAL)

    def printed(size: float) -> NDArray:
        density = wanted * np.exp(size * (strength + own))
        density = density + size * (gain + own_gain) * density * np.exp(-density)
        density = density / (1.0 + size * weak_black * density)
        return np.exp(-np.maximum(density @ (np.eye(3) + size * stray).T, 0.0))

    low, high = 0.0, 6.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (
            (middle, high) if apart(printed(middle), NOMINAL).mean() < mean_de00 else (low, middle)
        )
    return printed((low + high) / 2)


@dataclass(frozen=True)
class Phone:
    """Settings of a phone's processing, as :mod:`tests.scenes.phone` takes them."""

    mix: NDArray
    saturation: float
    contrast: float
    shoulder: float

    @classmethod
    def some(cls, rng: np.random.Generator) -> "Phone":
        mix = rng.normal(0, 0.03, (3, 3))
        return cls(
            mix - np.diag(mix.sum(axis=1)) + np.eye(3),
            float(rng.uniform(1.0, 1.35)),
            float(rng.uniform(0.05, 0.45)),
            float(rng.uniform(0.75, 0.92)),
        )

    def codes(self, colours: NDArray, kelvin: float, rng: np.random.Generator) -> NDArray:
        """What the photo holds, 0..255, of colours (n, 3) under a black body."""
        light = kelvin_to_linear(kelvin)
        look = {
            "saturation": self.saturation,
            "contrast": self.contrast,
            "shoulder": self.shoulder,
            "adapt": float(rng.uniform(0.8, 1.0)),
            "wb_error": np.exp(rng.normal(0, [0.05, 0.0, 0.06])),
            "exposure": float(rng.uniform(0.55, 0.8)),
        }
        linear = colours * light * white_gains(light, look)
        return tone(np.maximum(linear @ self.mix.T, 0.0), look) * 255.0


def viewpoint() -> Viewpoint:
    """A camera straight above the card, three pixels to the millimetre."""
    focal = 3000.0
    camera = np.array([[focal, 0.0, -0.5], [0.0, focal, -0.5], [0.0, 0.0, 1.0]])
    at = np.array([0.0, 0.0, focal / _PX_PER_MM])
    return Viewpoint(camera, np.zeros(2), np.eye(3), at, _SIZE, 0.0, 0.0, focal_from_exif=True)


def picture(patches: NDArray, paper: NDArray, rng: np.random.Generator) -> NDArray[np.uint8]:
    """A flat picture of the card: codes of its patches on paper, with noise."""
    width, height = _SIZE
    made = np.empty((height, width, 3))
    made[:] = paper
    for patch, code in zip(DRAWN, patches, strict=True):
        low = np.round(patch.corners[0] * _PX_PER_MM).astype(int)
        high = np.round(patch.corners[2] * _PX_PER_MM).astype(int)
        made[low[1] : high[1], low[0] : high[0]] = code
    noisy = made + rng.normal(0, 1.5, made.shape)
    return np.clip(np.round(noisy), 0, 255).astype(np.uint8)


def photograph(
    printed: NDArray, phone: Phone, kelvin: float, rng: np.random.Generator
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Photograph a print and the leaves beside it: the card's picture, and leaf codes (1, n, 3)."""
    codes = phone.codes(np.vstack([printed, np.ones(3), LEAVES]), kelvin, rng)
    count = len(printed)
    leaves = np.clip(np.round(codes[count + 1 :]), 0, 255).astype(np.uint8)[None]
    return picture(codes[:count], codes[count], rng), leaves


def as_photo(rgb: NDArray[np.uint8], name: str = "card.jpg") -> Photo:
    return Photo(Path(name), "0" * 64, rgb, CameraInfo())


def leaf_errors(corrected: NDArray[np.uint8]) -> NDArray:
    """CIEDE2000 of corrected leaf codes (1, n, 3) from the leaves' true colours."""
    return apart(decode_srgb(corrected[0] / 255.0), LEAVES)


def registered(lab: dict[str, tuple[float, float, float]]) -> RegisteredCard:
    return RegisteredCard("made", ROLE, 1, lab)


def true_lab(printed: NDArray) -> dict[str, tuple[float, float, float]]:
    """What a perfect instrument would read off a print, by patch name."""
    return dict(zip(NAMES, map(tuple, linear_to_lab(printed).tolist()), strict=True))
