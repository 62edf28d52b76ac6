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

from traymorph.model.photo import View
from traymorph.segment.materials import Mixture, features
from traymorph.segment.surroundings import surroundings

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more
Part = tuple[float, float, float, float]
"""Left, top, right and lower end of a part of a photo, as shares of its sides."""

_BAND_ROWS = 32

# Pixels' worth of trust in a material's common colours, as a share of the photo.
_TRUST = 0.03
# A fitted colour stays within this many common standard deviations of where it started.
_FARTHEST = 1.25
# Density of colours that no material explains (per unit of L*, a*, b*), and its plant share.
_STRANGE = 1.0e-7
_STRANGE_PLANT = 0.3
_ROUNDS = 4
# Light that has passed or met leaves tints the ground between them: chroma of such ground as a
# share of the leaves' own, its spread, and how common it is beside leaves.
_TINT, _TINT_SPREAD, _TINTED = 0.42, 6.0, 1.0
_TINTED_L = 16.0
_VIVID = slice(0, 4)
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
    leaf : ndarray of float32, shape (3, h, w)
        Mean colour of the vivid leaves around, as of :func:`features`.
    green : ndarray of float32, shape (h, w)
        Share of such leaves around, as far as ground tinted by them is looked for.
    """

    mixture: Mixture
    local: Floats
    leaf: Floats
    green: Floats

    def plant_probability(
        self, rgb: NDArray[np.uint8] | Floats, part: Part = (0.0, 0.0, 1.0, 1.0)
    ) -> Floats:
        """Probability that each pixel is plant.

        Parameters
        ----------
        rgb : ndarray, shape (h, w, 3)
            The same photo, or a part of it, at any scale.
        part : tuple of float
            Left, top, right and lower end of that part, as shares of the photo's sides.

        Returns
        -------
        ndarray of float32, shape (h, w)
        """
        plant = np.empty(rgb.shape[:2], dtype=np.float32)
        for top in range(0, len(rgb), _BAND_ROWS):
            rows = slice(top, min(top + _BAND_ROWS, len(rgb)))
            ends = (part[1] + (part[3] - part[1]) * row / len(rgb) for row in (top, rows.stop))
            upper, lower = ends
            plant[rows] = self._in_band(rgb[rows], (part[0], upper, part[2], lower))
        return plant

    def _in_band(self, rgb: NDArray[np.uint8] | Floats, part: Part) -> Floats:
        """Probability of plant in rows so few that their planes stay in a processor's cache."""
        size = (rgb.shape[1], rgb.shape[0])
        seen = features(rgb)
        plant = np.full(size[::-1], _STRANGE * _STRANGE_PLANT, dtype=np.float32)
        other = np.full(size[::-1], _STRANGE * (1.0 - _STRANGE_PLANT), dtype=np.float32)
        density = self.mixture.likelihood(seen)
        for k, is_plant in enumerate(self.mixture.plant):
            total = plant if is_plant else other
            total += _part_of(self.local[k], part, size) * density[k]
        other += self._tinted_ground(seen, part)
        plant /= plant + other
        return plant

    def _tinted_ground(self, seen: Floats, part: Part) -> Floats:
        """Density of ground that shows paler in the colour of the leaves around it."""
        size = (seen.shape[2], seen.shape[1])
        light, a, b = (_part_of(channel, part, size) for channel in self.leaf)
        common = _part_of(self.green, part, size)
        square = ((seen[1] - _TINT * a) ** 2 + (seen[2] - _TINT * b) ** 2) / _TINT_SPREAD**2
        square += ((seen[0] - 0.85 * light) / _TINTED_L) ** 2
        density: Floats = _TINTED * common * np.exp(-0.5 * square) / (_TINTED_L * _TINT_SPREAD**2)
        return density


def _part_of(plane: Floats, part: Part, size: tuple[int, int]) -> Floats:
    """Read a part of a plane of the whole photo at (width, height) pixels, bilinearly."""
    step = [(part[axis + 2] - part[axis]) * plane.shape[1 - axis] / size[axis] for axis in (0, 1)]
    first = [part[axis] * plane.shape[1 - axis] + 0.5 * step[axis] - 0.5 for axis in (0, 1)]
    places = np.array([[step[0], 0.0, first[0]], [0.0, step[1], first[1]]])
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return cv2.warpAffine(plane, places, size, flags=how, borderMode=cv2.BORDER_REPLICATE)


def fit(
    rgb: Floats, seen_share: Floats, reach_px: float, view: View, *, calibrated: bool
) -> PhotoColours:
    """Fit the materials to a photo.

    Parameters
    ----------
    rgb : ndarray of float32, shape (h, w, 3)
        The photo, sRGB-encoded 0..255, reduced to a few hundred pixels a side.
    seen_share : ndarray of float32, shape (h, w)
        Weight of each pixel, 0 where the photo must not be looked at.
    reach_px : float
        Radius of the neighbourhood that tells which materials are common in a place.
    calibrated : bool
        Whether a card has set the colours.

    Returns
    -------
    PhotoColours
    """
    seen = features(rgb)
    near = _around(seen_share, reach_px)
    smooth = _smoothness(seen[0], max(0.4 * reach_px, 1.2))
    common = Mixture.common(calibrated=calibrated)
    if calibrated:
        common = common.with_surroundings(*surroundings(seen, seen_share, smooth, view))
    mixture = common
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
    vivid = share[_VIVID].sum(axis=0)
    # Photos without a card may show anything: soil beside leaves is then not told from faint
    # leaves this way. From the side hardly any ground is seen.
    green = _around(vivid, reach_px)
    leaf = np.stack([_around(vivid * c, reach_px) for c in seen])
    leaf /= green + np.float32(1e-3)
    return PhotoColours(mixture, local, leaf, green * (calibrated and view is View.OVERHEAD))


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
