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

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.model.photo import View

Floats = NDArray[np.float32]

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
    plant : bool
        Leaf or stem.
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
    unsure : float
        How common it is where no card has set the colours, as a share of ``weight``.
    """

    name: str
    plant: bool
    lightness: tuple[float, float]
    ab: tuple[float, float]
    spread: tuple[float, float]
    weight: float
    smooth: float = 1.0
    unsure: float = 1.0


# Starting colours: common practice, no source; the fit to the photo replaces them.
MATERIALS = (
    Material("green leaf", True, (50, 16), (-33, 36), (11, 7), 1.0, 0.4),
    Material("vivid green leaf", True, (55, 16), (-48, 50), (12, 8), 0.6, 0.4),
    Material("blue-green or glossy leaf", True, (62, 16), (-22, 14), (7, 6), 0.5, 0.3),
    Material("yellow-green leaf", True, (68, 14), (-20, 48), (13, 7), 0.5, 0.3),
    Material("pale green stem or leaf", True, (74, 12), (-14, 25), (6, 5), 0.4, 0.1),
    Material("yellowed leaf", True, (72, 13), (-3, 52), (12, 6), 0.15, 0.1),
    Material("purple leaf", True, (33, 11), (28, -10), (11, 9), 0.4, 0.05, 0.4),
    Material("dull purple leaf", True, (36, 12), (11, 0), (7, 6), 0.4, 0.02, 0.0),
    Material("dull olive leaf", True, (40, 12), (-10, 22), (7, 6), 0.3, 0.05, 0.0),
    Material("red leaf or stem", True, (38, 12), (58, 14), (16, 14), 0.4, 0.05, 0.5),
    Material("pink stem", True, (62, 14), (24, 0), (8, 8), 0.2, 0.05, 0.3),
    Material("cream stem", True, (80, 9), (-3, 18), (7, 4), 0.15, 0.02, 0.0),
    Material("nearly black", False, (7, 6), (0, 0), (7, 7), 0.8),
    Material("dark grey", False, (25, 12), (0, 1), (5, 5), 0.8),
    Material("grey", False, (55, 18), (0, 2), (5, 5), 0.8),
    Material("white", False, (90, 9), (0, 3), (4, 4), 0.8),
    Material("brown fibre or soil", False, (30, 12), (10, 24), (8, 6), 1.0),
    Material("pale soil or fibre", False, (62, 15), (2, 15), (6, 4), 1.0),
    Material("olive soil", False, (35, 13), (1, 19), (7, 4), 0.8),
    Material("wood", False, (62, 14), (11, 32), (9, 6), 0.6),
    Material("terracotta or skin", False, (58, 14), (24, 28), (8, 8), 0.3),
    Material("blue", False, (48, 20), (0, -26), (14, 12), 0.4),
    Material("turquoise", False, (48, 18), (-24, -8), (12, 7), 0.3),
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
    def common(cls, *, calibrated: bool) -> "Mixture":
        """Build the mixture before any photo is seen."""
        table = np.array(
            [
                (
                    *(m.lightness[0], *m.ab, m.lightness[1], *m.spread),
                    m.weight * (1.0 if calibrated else m.unsure),
                    m.smooth,
                )
                for m in MATERIALS
            ],
            dtype=np.float32,
        )
        length = np.linalg.norm(table[:, 1:3], axis=1, keepdims=True)
        axis = np.where(length > 0, table[:, 1:3] / np.maximum(length, 1e-6), np.float32([1, 0]))
        return cls(
            mean=table[:, :3],
            axis=axis.astype(np.float32),
            spread=table[:, 3:6],
            weight=table[:, 6] / table[:, 6].sum(),
            smooth=table[:, 7],
            plant=np.array([m.plant for m in MATERIALS]),
        )

    def with_surroundings(self, mean: Floats, spread: Floats, share: Floats) -> "Mixture":
        """Add materials that are no plants, seen in the photo itself.

        Parameters
        ----------
        mean, spread : ndarray, shape (n, 3)
            Of L*, a*, b* as of :func:`features`.
        share : ndarray, shape (n,)
            Of the photo, before the sum is brought back to one.
        """
        n = len(share)
        weight = np.concatenate([self.weight, share])
        return Mixture(
            mean=np.concatenate([self.mean, mean]),
            axis=np.concatenate([self.axis, np.tile(np.float32([1, 0]), (n, 1))]),
            spread=np.concatenate([self.spread, spread]),
            weight=weight / weight.sum(),
            smooth=np.concatenate([self.smooth, np.ones(n, dtype=np.float32)]),
            plant=np.concatenate([self.plant, np.zeros(n, dtype=bool)]),
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
        How common each material is around a place of the reduced photo; sums to one over k.
    """

    mixture: Mixture
    local: Floats

    def plant_probability(self, rgb: NDArray[np.uint8] | Floats) -> Floats:
        """Probability that each pixel is plant.

        Parameters
        ----------
        rgb : ndarray, shape (h, w, 3)
            The same photo at any scale.

        Returns
        -------
        ndarray of float32, shape (h, w)
        """
        height, width = rgb.shape[:2]
        density = self.mixture.likelihood(features(rgb))
        plant = np.full((height, width), _STRANGE * _STRANGE_PLANT, dtype=np.float32)
        other = np.full((height, width), _STRANGE * (1.0 - _STRANGE_PLANT), dtype=np.float32)
        for k, is_plant in enumerate(self.mixture.plant):
            common = cv2.resize(self.local[k], (width, height), interpolation=cv2.INTER_LINEAR)
            total = plant if is_plant else other
            total += common * density[k]
        return plant / (plant + other)


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
    near = cv2.GaussianBlur(seen_share, (0, 0), reach_px)
    smooth = _smoothness(seen[0], max(0.4 * reach_px, 1.2))
    common = Mixture.common(calibrated=calibrated)
    if calibrated:
        common = common.with_surroundings(*surroundings(seen, seen_share, smooth, view))
    mixture = common
    rough = 1.0 - smooth
    suits = np.stack([rough + s * smooth for s in common.smooth])
    local = suits * common.weight[:, None, None]
    pixels = float(seen_share.sum()) + 1e-6
    for _ in range(_ROUNDS):
        share = mixture.likelihood(seen) * local
        share *= seen_share / (share.sum(axis=0) + np.float32(_STRANGE))
        mixture = _refit(common, share, seen, pixels)
        for k in range(len(local)):
            around = cv2.GaussianBlur(share[k], (0, 0), reach_px) / (near + np.float32(1e-3))
            local[k] = suits[k] * (_LOCAL * around + (1.0 - _LOCAL) * mixture.weight[k])
    return PhotoColours(mixture, local)


def _smoothness(light: Floats, reach_px: float) -> Floats:
    """How surely a surface is without pattern at the scale of leaves, 0..1."""
    pattern = (light - cv2.GaussianBlur(light, (0, 0), reach_px)) ** 2
    spread = np.sqrt(cv2.GaussianBlur(pattern, (0, 0), reach_px)) + np.float32(1e-3)
    return 1.0 / (1.0 + (spread / np.float32(_SMOOTH_L)) ** np.float32(1.0 / _SMOOTH_STEP))


# Width of the border strip and of the middle, as shares of the picture's sides.
_BORDER, _MIDDLE = 0.07, 0.5
_SURROUNDINGS = 10
# A patterned colour is of the surroundings where it is so many times more common at the border
# than in the middle, where photos of trays show the tray; a side view has bench and backdrop in
# the middle too.
_OUTSIDE_RATIO = {View.SIDE: 0.7}
_OUTSIDE_RATIO_ELSE = 2.0
# Leaves of neighbours reach the border too: a patterned colour this green is left out.
_GREEN_A = -12.0


def surroundings(
    seen: Floats, seen_share: Floats, smooth: Floats, view: View
) -> tuple[Floats, Floats, Floats]:
    """Colours of what lies around the subject: bench, wall, backdrop.

    Parameters
    ----------
    seen : ndarray, shape (3, h, w)
        As of :func:`features`.
    seen_share : ndarray, shape (h, w)
        Weight of each pixel.
    smooth : ndarray, shape (h, w)
        How surely a pixel belongs to a smooth surface.

    Returns
    -------
    mean, spread : ndarray, shape (n, 3)
    share : ndarray, shape (n,)
        Of the border strip. Empty where the border looks like the middle.
    """
    border, middle = _border_and_middle(seen_share)
    points = np.ascontiguousarray(seen[:, border].T)
    count = min(_SURROUNDINGS, len(points))
    if count == 0:
        empty = np.empty((0, 3), dtype=np.float32)
        return empty, empty, np.empty(0, dtype=np.float32)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 15, 0.5)
    cv2.setRNGSeed(0)
    _, label, mean = cv2.kmeans(points, count, None, stop, 1, cv2.KMEANS_PP_CENTERS)
    label = label.ravel()
    size = np.bincount(label, minlength=count) / len(points)
    spread = np.stack([points[label == k].std(axis=0) for k in range(count)])
    spread = np.maximum(1.3 * spread, np.float32([4.0, 1.5, 1.5]))
    flat = np.array([smooth[border][label == k].mean() for k in range(count)])
    inner = seen[:, middle].T
    near = np.stack(
        [np.sum(((inner - m) / s) ** 2, axis=1) < 4.0 for m, s in zip(mean, spread, strict=True)]
    )
    outer = np.stack(
        [np.sum(((points - m) / s) ** 2, axis=1) < 4.0 for m, s in zip(mean, spread, strict=True)]
    )
    ratio = outer.mean(axis=1) / np.maximum(near.mean(axis=1), 1e-4)
    outside = ratio > _OUTSIDE_RATIO.get(view, _OUTSIDE_RATIO_ELSE)
    kept = (flat > 0.5) | (outside & (mean[:, 1] > _GREEN_A))
    return (
        mean[kept].astype(np.float32),
        spread[kept].astype(np.float32),
        size[kept].astype(np.float32),
    )


def _border_and_middle(seen_share: Floats) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    height, width = seen_share.shape
    rows, columns = max(int(_BORDER * height), 1), max(int(_BORDER * width), 1)
    border = seen_share > 0.5  # noqa: PLR2004 (most of the pixel)
    middle = np.zeros_like(border)
    inset_rows, inset_columns = (int((1 - _MIDDLE) / 2 * n) for n in (height, width))
    box = (slice(inset_rows, height - inset_rows), slice(inset_columns, width - inset_columns))
    middle[box] = border[box]
    border[rows : height - rows, columns : width - columns] = False
    return border, middle


def _refit(common: Mixture, share: Floats, seen: Floats, pixels: float) -> Mixture:
    """One round of the fit: colours, spreads and weights from the pixels' shares."""
    count = share.sum(axis=(1, 2))
    flat_share, flat_seen = share.reshape(len(count), -1), seen.reshape(3, -1)
    trust = _TRUST * pixels
    total = flat_share @ flat_seen.T
    mean = (trust * common.mean + total) / (trust + count)[:, None]
    chroma_reach = np.tile(common.spread[:, 1:].max(axis=1)[:, None], (1, 2))
    reach = _FARTHEST * np.column_stack([common.spread[:, 0], chroma_reach])
    mean = np.clip(mean, common.mean - reach, common.mean + reach)
    variance = np.empty_like(mean)
    for k in range(len(count)):
        d = flat_seen - mean[k][:, None]
        axis = common.axis[k]
        turned = np.stack([d[0], axis[0] * d[1] + axis[1] * d[2], axis[0] * d[2] - axis[1] * d[1]])
        variance[k] = (turned**2) @ flat_share[k]
    spread = np.sqrt((trust * common.spread**2 + variance) / (trust + count)[:, None])
    weight = 0.8 * count / pixels + 0.2 * common.weight
    return replace(
        common,
        mean=mean.astype(np.float32),
        spread=np.clip(spread, 0.5 * common.spread, 1.2 * common.spread).astype(np.float32),
        weight=(weight / weight.sum()).astype(np.float32),
    )
