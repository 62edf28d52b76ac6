"""Materials of a photo and how likely each explains a colour."""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more


# Lightness at which chroma is compared; in the middle of what leaves show.
_REFERENCE_L = 60.0
# In full proportion to light CIELAB chroma would follow L* + 16. Gloss, stray light and the
# phone's tone curve pull shade towards grey and give soil in shade false greens, so chroma is
# scaled back by less.
_CHROMA_FOOT = 60.0
# Spread of CIELAB a*, b* from noise, JPEG and coding in one pixel of an 8-bit phone photo.
_NOISE_AB = 1.6


@dataclass(frozen=True, slots=True)
class Material:
    """A kind of surface and how it commonly looks.

    Parameters
    ----------
    name : str
        What it is.
    lightness : tuple of float
        Mean and standard deviation of CIELAB L*.
    ab : tuple of float
        Mean CIELAB a*, b*, compared at L* = 60.
    spread : tuple of float
        Standard deviation along the direction of ``ab`` (more or less vivid) and across it (hue).
    weight : float
        How common it is before anything is seen, relative to the others.
    smooth : float
        How common it is on smooth surfaces, as a share of ``weight``: a bench, a wall or a cloth
        may have the colour of dull leaves, but not their pattern of light and shade.
    """

    name: str
    lightness: tuple[float, float]
    ab: tuple[float, float]
    spread: tuple[float, float]
    weight: float
    smooth: float = 1.0


_ALONG_A = np.array([1.0, 0.0], dtype=np.float32)

# Starting colours: common practice, no source; the fit to the photo replaces them.
PLANTS = (
    Material("green leaf", (50, 16), (-33, 36), (11, 7), 1.0, 0.4),
    Material("vivid green leaf", (55, 16), (-48, 50), (12, 8), 0.6, 0.4),
    Material("blue-green or glossy leaf", (62, 16), (-22, 14), (7, 6), 0.5, 0.3),
    Material("yellow-green leaf", (68, 14), (-20, 48), (13, 7), 0.5, 0.3),
    Material("pale green stem or leaf", (74, 12), (-14, 25), (6, 5), 0.12, 0.1),
    Material("yellowed leaf", (72, 13), (-3, 52), (12, 6), 0.15, 0.1),
    Material("purple leaf", (33, 11), (28, -10), (11, 9), 0.16, 0.05),
    Material("red leaf or stem", (38, 12), (58, 14), (16, 14), 0.2, 0.05),
    Material("pink stem", (62, 14), (24, 0), (8, 8), 0.06, 0.05),
)
OTHERS = (
    Material("nearly black", (7, 6), (0, 0), (7, 7), 0.8),
    Material("dark grey", (25, 12), (0, 1), (5, 5), 0.8),
    Material("grey", (55, 18), (0, 2), (5, 5), 0.8),
    Material("white", (90, 9), (0, 3), (4, 4), 0.8),
    Material("brown fibre or soil", (30, 12), (10, 24), (8, 6), 1.0),
    Material("pale soil or fibre", (62, 15), (2, 15), (6, 4), 1.0),
    Material("olive soil", (35, 13), (1, 19), (7, 4), 0.8),
    Material("wood", (62, 14), (11, 32), (9, 6), 0.6),
    Material("terracotta or skin", (58, 14), (24, 28), (8, 8), 0.3),
    Material("blue", (48, 20), (0, -26), (14, 12), 0.4),
)


def features(rgb: NDArray[np.uint8] | Floats) -> Floats:
    """Lightness, and chroma compared at equal lightness.

    Parameters
    ----------
    rgb : ndarray, shape (h, w, 3)
        sRGB-encoded, uint8 or float32 0..255.

    Returns
    -------
    ndarray of float32, shape (3, h, w)
        CIELAB L*, and a*, b* as they would be at L* = 60.
    """
    lab = cv2.cvtColor(np.asarray(rgb, dtype=np.float32) / np.float32(255.0), cv2.COLOR_RGB2Lab)
    light = lab[..., 0]
    gain = _chroma_gain(light)
    return np.stack([light, lab[..., 1] * gain, lab[..., 2] * gain])


def _chroma_gain(light: Floats) -> Floats:
    gain: Floats = np.float32(_REFERENCE_L + _CHROMA_FOOT) / (light + np.float32(_CHROMA_FOOT))
    return gain


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """Materials of one photo; row k of each array belongs to material k.

    Parameters
    ----------
    mean : ndarray, shape (k, 3)
        L*, a*, b* as of :func:`features`.
    axis : ndarray, shape (k, 2)
        Unit vector in (a*, b*) along which ``spread[:, 1]`` is measured.
    spread : ndarray, shape (k, 3)
        Standard deviations of L*, along and across the axis.
    weight : ndarray, shape (k,)
        Share of the photo.
    smooth : ndarray, shape (k,)
        How common on smooth surfaces, as a share of ``weight``.
    plant : ndarray of bool, shape (k,)
        Leaf or stem.
    """

    mean: Floats
    axis: Floats
    spread: Floats
    weight: Floats
    smooth: Floats
    plant: NDArray[np.bool_]

    @classmethod
    def common(cls) -> "Mixture":
        """Build the mixture before any photo is seen."""
        table = np.array(
            [
                (m.lightness[0], *m.ab, m.lightness[1], *m.spread, m.weight, m.smooth)
                for m in (*PLANTS, *OTHERS)
            ],
            dtype=np.float32,
        )
        length = np.linalg.norm(table[:, 1:3], axis=1, keepdims=True)
        axis = np.where(length > 0, table[:, 1:3] / np.maximum(length, 1e-6), _ALONG_A)
        return cls(
            mean=table[:, :3],
            axis=axis.astype(np.float32),
            spread=table[:, 3:6],
            weight=table[:, 6] / table[:, 6].sum(),
            smooth=table[:, 7],
            plant=np.array([True] * len(PLANTS) + [False] * len(OTHERS)),
        )

    def likelihood(self, seen: Floats) -> Floats:
        """Density of each material at each pixel.

        Parameters
        ----------
        seen : ndarray, shape (3, ...)
            As of :func:`features`.

        Returns
        -------
        ndarray of float32, shape (k, ...)
        """
        noise = (np.float32(_NOISE_AB) * _chroma_gain(seen[0])) ** 2
        out = np.empty((len(self.weight), *seen.shape[1:]), dtype=np.float32)
        for k, (mean, axis, spread) in enumerate(
            zip(self.mean, self.axis, self.spread, strict=True)
        ):
            da, db = seen[1] - mean[1], seen[2] - mean[2]
            along, across = axis[0] * da + axis[1] * db, axis[0] * db - axis[1] * da
            v1, v2 = spread[1] ** 2 + noise, spread[2] ** 2 + noise
            square = ((seen[0] - mean[0]) / spread[0]) ** 2 + along**2 / v1 + across**2 / v2
            out[k] = np.exp(-0.5 * square) / (spread[0] * np.sqrt(v1 * v2))
        return out
