"""The board under cut plants: a smooth, unevenly lit surface, and how far each pixel is from it.

The board is modelled rather than the plants, since plants come in every colour. It is what is
smooth and lies round the card. Its colour is a quadratic surface plus a local correction, the
normalised convolution (Knutsson & Westin 1993, Proc. CVPR, 515-523) of what is surely board,
fitted again each time with what stands out left out.
"""

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.errors import BoardError

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more
Flags = NDArray[np.bool_]

# Size of a pixel in which the surface is fitted, mm.
_COARSE_MM = 1.0
# Change of colour (8-bit codes) over 3 x 3 such pixels below which a surface is smooth.
_SMOOTH_STEP = 8.0
# Chroma differs less than lightness does; its steps count so much more.
_CHROMA_STEP = 1.5
# Blur before steps are taken, such pixels: the noise of dark, enlarged photos is no pattern.
_STEP_BLUR = 0.8
# Ring round the card in which the board must be seen, mm.
_RING_MM = (2.0, 14.0)
_LEAST_SMOOTH_SHARE = 0.15
_LEAST_BOARD_CM2 = 15.0
# Radius of the local correction, mm, in each round of the fit, and how far (codes: lightness,
# chroma) a pixel may lie from the surface and still be board.
_ROUNDS = ((25.0, 24.0, 10.0), (12.0, 12.0, 6.0), (8.0, 8.0, 5.0))
# Chroma follows light as Y + this foot (codes): stray light and tone curves pull shade to grey.
_FOOT = 8.0
# Least noise believed, codes: lightness, chroma.
_LEAST_NOISE = (1.2, 0.7)
# Differences (codes: lightness, chroma) that count as noise however clean the photo is.
_UNSEEN = (2.0, 1.2)
# What is no board but wider than this reaches under no plant: bench, wall, a hand, mm.
_WIDE_MM = 30.0
# Length of a straight edge of the board, mm, the share of it along which board must be seen for
# what lies beyond to be bench, and how far from the edge that is looked for, coarse pixels.
_EDGE_MM, _EDGE_SEEN, _EDGE_PX = 20.0, 0.6, 2
# Share of board light below which nothing is taken for its shade.
_SHADE = 0.45


@dataclass(frozen=True, slots=True, eq=False)
class Departure:
    """How a picture differs from its board, in 8-bit codes of Y, Cr, Cb (ITU-R BT.601).

    Parameters
    ----------
    light : ndarray of float32, shape (h, w)
        Lightness less the board's.
    chroma : ndarray of float32, shape (2, h, w)
        Cr and Cb less the board's at the same lightness.
    board : ndarray of float32, shape (h, w)
        Lightness of the board.
    seen : ndarray of float32, shape (3, h, w)
        The picture's Y, Cr, Cb, 0 = black and grey.
    noise : tuple of float
        Standard deviation of lightness and of chroma where only board is seen.
    on_board : ndarray of bool, shape (h, w)
        Where the board lies, what is on it included.
    outside : ndarray of bool, shape (h, w)
        What lies beyond the board's edges, and wide things at the photo's border: bench, arm.
    skin : bool
        Whether some of that has the colour of skin and reaches in like an arm.
    """

    light: Floats
    chroma: Floats
    board: Floats
    seen: Floats
    noise: tuple[float, float]
    on_board: Flags
    outside: Flags
    skin: bool

    def contrast(self) -> Floats:
        """How far each pixel stands out from the board, in the noise, shape (h, w)."""
        light = self.light / max(self.noise[0], _UNSEEN[0])
        chroma = self.chroma / max(self.noise[1], _UNSEEN[1])
        return np.asarray(np.sqrt(light**2 + chroma[0] ** 2 + chroma[1] ** 2))


def depart(rgb: NDArray[np.uint8], mm_per_px: float, ignore: Flags) -> Departure:
    """Fit the board and compare the picture with it.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        sRGB-encoded.
    mm_per_px : float
        Size of a pixel.
    ignore : ndarray of bool, shape (h, w)
        Where the card lies.

    Returns
    -------
    Departure

    Raises
    ------
    BoardError
        Where no smooth board is seen.
    """
    seen = _planes(rgb)
    factor = max(_COARSE_MM / mm_per_px, 1.0)
    size = (max(round(rgb.shape[1] / factor), 8), max(round(rgb.shape[0] / factor), 8))
    coarse = [cv2.resize(p, size, interpolation=cv2.INTER_AREA) for p in seen]
    hidden = cv2.resize(ignore.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0
    hidden = _dilated(hidden, 1)
    start = _seed(coarse, hidden, mm_per_px * factor)
    surface, match = _fit(coarse, start, ~hidden, mm_per_px * factor)
    on_board, outside = _extent(match, hidden, mm_per_px * factor)
    full = (rgb.shape[1], rgb.shape[0])
    under = [cv2.resize(s, full, interpolation=cv2.INTER_LINEAR) for s in surface]
    light, chroma = _difference(seen, under)
    match_full = cv2.resize(match.astype(np.uint8), full, interpolation=cv2.INTER_NEAREST) > 0
    return Departure(
        light,
        chroma,
        under[0],
        np.stack(seen),
        _noise(light, chroma, match_full),
        cv2.resize(on_board.astype(np.uint8), full, interpolation=cv2.INTER_NEAREST) > 0,
        cv2.resize(outside.astype(np.uint8), full, interpolation=cv2.INTER_NEAREST) > 0,
        _is_arm(outside, coarse, mm_per_px * factor),
    )


# Share of the photo's border above which what lies there is a bench rather than an arm.
_BENCH_SHARE = 0.4
# How far an arm reaches in, mm; a strip of wooden bench does not.
_ARM_MM = 30.0
# Cr and Cb of skin, codes (after Chai & Ngan 1999, IEEE Trans. CSVT 9(4):551-564).
_SKIN_CR, _SKIN_CB = (5.0, 45.0), (-51.0, -1.0)


def _is_arm(outside: Flags, coarse: list[Floats], mm: float) -> bool:
    reach = round(_ARM_MM / mm)
    if not outside[reach:-reach, reach:-reach].any():
        return False
    edge = np.concatenate([outside[0], outside[-1], outside[:, 0], outside[:, -1]])
    red, blue = coarse[1][outside], coarse[2][outside]
    skin = (red > _SKIN_CR[0]) & (red < _SKIN_CR[1]) & (blue > _SKIN_CB[0]) & (blue < _SKIN_CB[1])
    return bool(edge.mean() < _BENCH_SHARE and skin.mean() > 0.5)


def _planes(rgb: NDArray[np.uint8]) -> list[Floats]:
    coded = cv2.cvtColor(rgb.astype(np.float32), cv2.COLOR_RGB2YCrCb)
    planes = list(cv2.split(coded))
    return [planes[0], planes[1] - np.float32(0.5), planes[2] - np.float32(0.5)]


def _dilated(mask: Flags, reach: int) -> Flags:
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    return cv2.dilate(mask.astype(np.uint8), kernel) > 0


def _steepest(planes: list[Floats]) -> Floats:
    """Largest change of colour over 3 x 3 pixels, codes."""
    kernel = np.ones((3, 3), np.uint8)
    light, red, blue = (cv2.morphologyEx(p, cv2.MORPH_GRADIENT, kernel) for p in planes)
    return np.maximum(light, _CHROMA_STEP * np.maximum(red, blue))


def _seed(coarse: list[Floats], hidden: Flags, mm: float) -> Flags:
    """Find the smooth region that lies round the card, or the largest where no card is."""
    calm = [cv2.GaussianBlur(p, (0, 0), _STEP_BLUR) for p in coarse]
    # Blur widens what lies on the board, noise breaks the board up: smooth is what is so in either.
    step = np.minimum(*(_steepest(planes) for planes in (coarse, calm)))
    smooth = (step < _SMOOTH_STEP) & ~hidden
    count, label, stats, _ = cv2.connectedComponentsWithStats(
        smooth.astype(np.uint8), connectivity=4
    )
    area = stats[:, cv2.CC_STAT_AREA].astype(np.float64)
    area[0] = 0.0
    near = np.zeros(count)
    if hidden.any():
        ring = _dilated(hidden, math.ceil(_RING_MM[1] / mm))
        ring &= ~_dilated(hidden, math.ceil(_RING_MM[0] / mm))
        near = np.bincount(label[ring], minlength=count).astype(np.float64)
        near[0] = 0.0
    best = int(np.argmax(near if near.any() else area))
    visible = float(np.count_nonzero(~hidden))
    enough = max(_LEAST_SMOOTH_SHARE * visible, _LEAST_BOARD_CM2 * 100 / mm**2)
    if best == 0 or area.max() < 0.02 * visible or area[best] < min(enough, 0.5 * visible):
        message = (
            "No plain board is seen under the plants: what lies round the card is patterned or "
            "crumpled."
        )
        raise BoardError(message, hint="Use a plain, smooth board of one colour without pattern.")
    return np.asarray(label == best)


def _fit(
    coarse: list[Floats], start: Flags, visible: Flags, mm: float
) -> tuple[list[Floats], Flags]:
    """Fit the board's colour everywhere, and tell where just that is seen."""
    match = start
    surface = coarse
    for reach_mm, light_limit, chroma_limit in _ROUNDS:
        surface = _smooth_surfaces(coarse, match, reach_mm / mm)
        light, chroma = _difference(coarse, surface)
        match = visible & (np.abs(light) < light_limit)
        match &= cv2.magnitude(chroma[0], chroma[1]) < chroma_limit
        match &= _connected(match, start)
    return surface, match


def _connected(mask: Flags, start: Flags) -> Flags:
    _, label = cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)
    kept = np.zeros(int(label.max()) + 1, dtype=bool)
    kept[label[start & mask]] = True
    kept[0] = False
    return np.asarray(kept[label])


def _smooth_surfaces(planes: list[Floats], where: Flags, reach: float) -> list[Floats]:
    """Quadratic surfaces plus local corrections from the pixels that count."""
    height, width = where.shape
    y, x = np.mgrid[:height, :width].astype(np.float32)
    x, y = 2 * x / width - 1, 2 * y / height - 1
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y]).reshape(6, -1)
    places = np.flatnonzero(where)
    counted = terms[:, places].astype(np.float64)
    seen = np.stack([plane.ravel()[places] for plane in planes]).astype(np.float64)
    weights = np.linalg.lstsq(counted @ counted.T, counted @ seen.T, rcond=None)[0]
    trends = (weights.T.astype(np.float32) @ terms).reshape(-1, height, width)
    weight = where.astype(np.float32)
    near = cv2.GaussianBlur(weight, (0, 0), reach) + np.float32(0.02)
    return [
        np.asarray(trend + cv2.GaussianBlur((plane - trend) * weight, (0, 0), reach) / near)
        for plane, trend in zip(planes, trends, strict=True)
    ]


def _difference(seen: list[Floats], board: list[Floats]) -> tuple[Floats, Floats]:
    """Lightness less the board's; chroma less the board's brought to the pixel's lightness."""
    light = seen[0] - board[0]
    factor = (seen[0] + np.float32(_FOOT)) / (board[0] + np.float32(_FOOT))
    factor = np.minimum(factor, 1.0)
    return light, np.stack([seen[c] - factor * board[c] for c in (1, 2)])


def _noise(light: Floats, chroma: Floats, match: Flags) -> tuple[float, float]:
    """Robust spread where only board is seen."""
    if not match.any():
        return _LEAST_NOISE
    spread = [1.4826 * float(np.median(np.abs(p[match][::7]))) for p in (light, *chroma)]
    return max(spread[0], _LEAST_NOISE[0]), max(math.hypot(*spread[1:]) / 1.414, _LEAST_NOISE[1])


def _extent(match: Flags, hidden: Flags, mm: float) -> tuple[Flags, Flags]:
    """Where the board lies with what is on it, and wide other things at the photo's border."""
    other = ~(match | hidden)
    reach = max(round(_WIDE_MM / mm), 2)
    distance = cv2.distanceTransform(
        cv2.copyMakeBorder(other.astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_REPLICATE),
        cv2.DIST_L2,
        5,
    )[1:-1, 1:-1]
    wide = distance > reach / 2
    # Opened by reconstruction within a disc: the whole of what is wide, not the stems beside it.
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach + 1, reach + 1))
    wide = (cv2.dilate(wide.astype(np.uint8), kernel) > 0) & other
    _, label = cv2.connectedComponents(wide.astype(np.uint8), connectivity=4)
    border = np.zeros_like(wide)
    border[[0, -1]] = border[:, [0, -1]] = True
    touching = np.zeros(int(label.max()) + 1, dtype=bool)
    touching[label[border & wide]] = True
    touching[0] = False
    outside = touching[label] | _beyond_edges(match, hidden, mm)
    return np.asarray(~outside), np.asarray(outside)


def _beyond_edges(match: Flags, hidden: Flags, mm: float) -> Flags:
    """Tell what lies on the far side of the board's straight edges, however narrow it is.

    A board is convex: what lies outside the convex hull of what is seen of it is not on it, where
    the hull's side is an edge along which the board itself is seen.
    """
    points = cv2.findNonZero((match | hidden).astype(np.uint8))
    if points is None:
        return np.zeros_like(match)
    within = np.zeros(match.shape, np.uint8)
    cv2.fillConvexPoly(within, cv2.convexHull(points), 1)
    count, label, _, _ = cv2.connectedComponentsWithStats(1 - within, connectivity=4)
    side = label[_dilated(within > 0, 1) & (within == 0)]
    seen = label[_dilated(match, _EDGE_PX) & _dilated(within > 0, 1) & (within == 0)]
    length, along = (np.bincount(one, minlength=count) for one in (side, seen))
    beyond = (along * mm > _EDGE_MM) & (along > _EDGE_SEEN * length)
    beyond[0] = False
    return np.asarray(beyond[label])
