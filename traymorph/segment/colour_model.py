"""How likely each pixel is plant, from materials whose colours are fitted to the photo.

A photo is described as a mixture of materials: leaves of several colours, stems, and the things
that lie around plants (fibre, soil, paper, plastic, wood). Each material is a normal
distribution in lightness and in chroma compared at equal lightness, so that shade changes a
colour little. The mixture starts from what such materials commonly look like and is then fitted
to the photo by maximum a posteriori estimation (Gauvain & Lee 1994, IEEE Trans. Speech Audio
Process. 2(2):291-298): colours move as far as many pixels ask for, and stay near the start where
few do, so a leaf class cannot wander off to a bench. How common a material is varies over the
photo, and is read from the neighbourhood of each pixel.
"""

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.segment.materials import Mixture, features

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more
_BAND_ROWS = 32

# Pixels' worth of trust in a material's common colours, as a share of the photo.
_TRUST = 0.03
# A fitted colour stays within this many common standard deviations of where it started.
_FARTHEST = 1.25
# Density of colours that no material explains (per unit of L*, a*, b*), and its plant share.
_STRANGE = 1.0e-7
_STRANGE_PLANT = 0.3
_ROUNDS = 4
# Local spread of L* at which a surface is half-way between smooth and patterned, and how
# sharply (in natural logarithms of it).
_SMOOTH_L = 1.5
_SMOOTH_STEP = 0.3
# How much of the local mixture comes from around, the rest from the whole photo.
_LOCAL = 0.9


@dataclass(frozen=True, slots=True, eq=False)
class PhotoColours:
    """Materials as fitted to one photo, and where in it each is common.

    Parameters
    ----------
    mixture : Mixture
        The fitted materials.
    local : ndarray of float32, shape (k, h, w)
        How common each material is around a place of the reduced photo.
    """

    mixture: Mixture
    local: Floats

    def plant_probability(self, rgb: NDArray[np.uint8] | Floats) -> Floats:
        """Probability that each pixel is plant.

        Parameters
        ----------
        rgb : ndarray, shape (h, w, 3)
            The same photo, at any scale.

        Returns
        -------
        ndarray of float32, shape (h, w)
        """
        plant = np.empty(rgb.shape[:2], dtype=np.float32)
        for top in range(0, len(rgb), _BAND_ROWS):
            rows = slice(top, min(top + _BAND_ROWS, len(rgb)))
            plant[rows] = self._in_band(rgb[rows], (top / len(rgb), rows.stop / len(rgb)))
        return plant

    def _in_band(self, rgb: NDArray[np.uint8] | Floats, ends: tuple[float, float]) -> Floats:
        """Probability of plant in rows so few that their planes stay in a processor's cache."""
        size = (rgb.shape[1], rgb.shape[0])
        seen = features(rgb)
        plant = np.full(size[::-1], _STRANGE * _STRANGE_PLANT, dtype=np.float32)
        other = np.full(size[::-1], _STRANGE * (1.0 - _STRANGE_PLANT), dtype=np.float32)
        density = self.mixture.likelihood(seen)
        for k, is_plant in enumerate(self.mixture.plant):
            total = plant if is_plant else other
            total += _band_of(self.local[k], ends, size) * density[k]
        plant /= plant + other
        return plant


def _band_of(plane: Floats, ends: tuple[float, float], size: tuple[int, int]) -> Floats:
    """Read a band of a plane of the whole photo at (width, height) pixels, bilinearly.

    ``ends`` are the band's upper and lower end as shares of the photo's height.
    """
    across = plane.shape[1] / size[0]
    down = (ends[1] - ends[0]) * plane.shape[0] / size[1]
    first = (0.5 * across - 0.5, ends[0] * plane.shape[0] + 0.5 * down - 0.5)
    places = np.array([[across, 0.0, first[0]], [0.0, down, first[1]]])
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return cv2.warpAffine(plane, places, size, flags=how, borderMode=cv2.BORDER_REPLICATE)


def fit(rgb: Floats, seen_share: Floats, reach_px: float) -> PhotoColours:
    """Fit the materials to a photo.

    Parameters
    ----------
    rgb : ndarray of float32, shape (h, w, 3)
        The photo, sRGB-encoded 0..255, reduced to a few hundred pixels a side.
    seen_share : ndarray of float32, shape (h, w)
        Weight of each pixel, 0 where the photo must not be looked at.
    reach_px : float
        Radius of the neighbourhood that tells which materials are common in a place.

    Returns
    -------
    PhotoColours
    """
    seen = features(rgb)
    near = _around(seen_share, reach_px)
    smooth = _smoothness(seen[0], max(0.4 * reach_px, 1.2))
    mixture = common = Mixture.common()
    rough = 1.0 - smooth
    suits = np.stack([rough + s * smooth for s in common.smooth])
    local = suits * common.weight[:, None, None]
    pixels = float(seen_share.sum()) + 1e-6
    moments = _moments(seen)
    for _ in range(_ROUNDS):
        share = mixture.likelihood(seen) * local
        share *= seen_share / (share.sum(axis=0) + np.float32(_STRANGE))
        mixture = _refit(common, share.reshape(len(share), -1), moments, pixels)
        for k in range(len(local)):
            around = _around(share[k], reach_px) / (near + np.float32(1e-3))
            local[k] = suits[k] * (_LOCAL * around + (1.0 - _LOCAL) * mixture.weight[k])
    return PhotoColours(mixture, local)


def _around(image: Floats, reach_px: float) -> Floats:
    """Gaussian mean of the neighbourhood, computed on a reduced picture where that is enough."""
    factor = max(reach_px / 3.0, 1.0)
    height, width = image.shape
    size = (max(round(width / factor), 1), max(round(height / factor), 1))
    reduced = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    blurred = cv2.GaussianBlur(reduced, (0, 0), reach_px / factor)
    return cv2.resize(blurred, (width, height), interpolation=cv2.INTER_LINEAR)


def _smoothness(light: Floats, reach_px: float) -> Floats:
    """How surely a surface is without pattern at the scale of leaves, 0..1."""
    pattern = (light - cv2.GaussianBlur(light, (0, 0), reach_px)) ** 2
    spread = np.sqrt(cv2.GaussianBlur(pattern, (0, 0), reach_px)) + np.float32(1e-3)
    return 1.0 / (1.0 + (spread / np.float32(_SMOOTH_L)) ** np.float32(1.0 / _SMOOTH_STEP))


def _refit(common: Mixture, share: Floats, moments: Floats, pixels: float) -> Mixture:
    """One round of the fit: colours, spreads and weights from the pixels' shares.

    Parameters
    ----------
    common : Mixture
        Where the materials started.
    share : ndarray, shape (k, n)
        Of each material in each pixel.
    moments : ndarray, shape (n, 8)
        As of `_moments`.
    pixels : float
        How many pixels count.
    """
    sums = (share @ moments).astype(np.float64)
    count = sums[:, 0]
    trust = _TRUST * pixels
    mean = trust * common.mean + sums[:, 1:4] + count[:, None] * _CENTRE
    mean /= (trust + count)[:, None]
    chroma_reach = np.tile(common.spread[:, 1:].max(axis=1)[:, None], (1, 2))
    reach = _FARTHEST * np.column_stack([common.spread[:, 0], chroma_reach])
    mean = np.clip(mean, common.mean - reach, common.mean + reach)
    # Sums of (x - mean) (y - mean) from those of x, y and x y.
    off = mean - _CENTRE
    light, aa, ab, bb = (
        sums[:, m]
        - off[:, i] * sums[:, 1 + j]
        - off[:, j] * sums[:, 1 + i]
        + off[:, i] * off[:, j] * count
        for m, i, j in ((4, 0, 0), (5, 1, 1), (6, 1, 2), (7, 2, 2))
    )
    along, across = common.axis.T
    variance = np.column_stack(
        [
            light,
            along**2 * aa + 2 * along * across * ab + across**2 * bb,
            across**2 * aa - 2 * along * across * ab + along**2 * bb,
        ]
    )
    spread = np.sqrt((trust * common.spread**2 + variance) / (trust + count)[:, None])
    weight = 0.8 * count / pixels + 0.2 * common.weight
    return replace(
        common,
        mean=mean.astype(np.float32),
        spread=np.clip(spread, 0.5 * common.spread, 1.2 * common.spread).astype(np.float32),
        weight=(weight / weight.sum()).astype(np.float32),
    )


_CENTRE = np.array([50.0, 0.0, 0.0], np.float32)
"""Near most colours: sums of squares taken from there keep their digits."""


def _moments(seen: Floats) -> Floats:
    """One, L*, a*, b*, and the products L* L*, a* a*, a* b*, b* b* of every pixel, (n, 8)."""
    light, a, b = seen.reshape(3, -1) - _CENTRE[:, None]
    return np.column_stack([np.ones_like(light), light, a, b, light * light, a * a, a * b, b * b])
