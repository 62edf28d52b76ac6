"""What stands out from a board: chroma at equal lightness, light, and against shadows the company.

A pixel that is lit like the board is judged by itself. One that is darker may lie in the shadow of
a plant, tinted by the light that the plant throws back; it is plant only where its chroma comes
near that of the surely seen plant beside it, or where it is darker than any shade on such a board.
"""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.segment.board_shade import settle
from traymorph.segment.board_surface import Departure

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more
Flags = NDArray[np.bool_]

# How far (noise multiples, codes) a pixel that surely stands out lies from the board, and how
# far one that is joined to such a pixel.
_SURE_CHROMA, _MAYBE_CHROMA = (7.0, 9.0), (3.5, 4.0)
# The same in the mean over a radius, away from vivid plants, whose colour smears and is thrown:
# chroma from which they are vivid, and how far that reaches. What is wider than stems is gloss.
_PALE, _PALE_MM = (3.0, 2.2), 0.35
_VIVID, _LENT_MM, _WIDEST_STEM_MM = 12.0, 3.0, 4.0
_SURE_BRIGHT, _MAYBE_BRIGHT = (9.0, 20.0), (5.0, 10.0)
# Share of the board's lightness below which a pixel may lie in shade, chroma that no shade has,
# and codes of chroma that light from a plant may add per code of shade, and at most.
_SHADE, _NO_SHADE_CHROMA, _TINT, _MOST_TINT = 0.88, 18.0, 0.08, 2.0
# Share of the board's lightness to which no shadow goes down, and the codes that must be.
_NO_SHADE, _LEAST_DARK = 0.20, 90.0
# Shade of a plant that lies on a board is lit by the room, and by what board and plant throw to and
# fro: more on a light board, and more the wider the shade is. Widths (mm) and the share of a light
# board's light below which nothing so wide is shade, and from which lightness on (0..1) a board is
# light; the share falls in proportion below. The deepest shade on rendered boards: 0.8 mm wide in
# the sun 0.18 on white and 0.085 on grey; 3.2 mm wide 0.76 on white (six boards, no sun), 0.31 on
# grey in the sun, 0.15 on black in the sun.
_NO_SHADE_LIGHT, _LIGHT_BOARD = ((0.8, 0.165), (3.2, 0.23)), 0.45
# Share of the chroma of plant nearby that plant of the same hue in shade has: light thrown back
# has less. Least chroma of plant in shade at equal lightness, where it may and where it surely is.
_COMPANY, _SAME_HUE = 0.40, 0.6
_MAYBE_SHADED, _SURE_SHADED, _SURE_SHADED_SEEN = 9.0, 14.0, 5.0
_NEAR_MM, _FAR_MM, _FAR_WEIGHT, _SOME = 1.5, 12.0, 0.05, 0.03
# Share of the chroma of plant nearby below which lit board may have it by light thrown back, and
# how far its lightness may be off.
_GLOW, _LIT = 0.33, 0.04
# Radius in which it is thrown, mm, and the share of that which the plant takes up at least.
_GLOW_MM, _BESIDE = 1.5, 0.03
# Direction (Cr, Cb) in which light from the sky tints shade; no plant is of that hue.
_SKY = (-0.65, 0.76)
# Holes of a blade that are filled: largest, mm2, and lightest, as a share of the board.
_HOLE_MM2, _HOLE_LIGHT = 6.0, 0.7
# Chroma is compared at equal lightness from so many codes on: below, noise decides.
_FOOT = 10.0


def stands_out(away: Departure, mm: float) -> Flags:
    """Tell what is too unlike the board to be board, lit or in shade.

    Parameters
    ----------
    away : Departure
        The picture compared with its board.
    mm : float
        Size of a pixel, mm.

    Returns
    -------
    ndarray of bool, shape (h, w)
        By thresholds with hysteresis (Canny 1986, IEEE Trans. PAMI 8(6):679-698).
    """
    chroma = [cv2.GaussianBlur(c, (0, 0), 0.7) for c in away.chroma]
    amount = cv2.magnitude(chroma[0], chroma[1])
    light = cv2.GaussianBlur(away.light, (0, 0), 0.6)
    seen = light + away.board
    shade = seen < _SHADE * away.board
    light_noise, chroma_noise = away.noise
    sure_chroma = max(_SURE_CHROMA[0] * chroma_noise, _SURE_CHROMA[1])
    sure = (amount > sure_chroma) & ~shade
    sure |= amount > max(sure_chroma, _NO_SHADE_CHROMA)
    sure |= light > max(_SURE_BRIGHT[0] * light_noise, _SURE_BRIGHT[1])
    too_dark = _too_dark_for_shade(seen, away.board, mm)
    too_dark &= _joined(shade | sure, sure)
    sure |= too_dark
    sure |= (seen < _NO_SHADE * away.board) & (light < -_LEAST_DARK)
    least = max(_MAYBE_CHROMA[0] * chroma_noise, _MAYBE_CHROMA[1])
    maybe = amount > least + np.minimum(np.float32(_TINT) * np.maximum(-light, 0.0), _MOST_TINT)
    brought = (away.board + _FOOT) / (np.maximum(seen, 0.0) + _FOOT)
    level = [c * brought for c in chroma]
    shaded = _shaded_plant(level, sure, mm)
    maybe |= _pale(away.chroma, amount, chroma_noise, mm)
    maybe &= ~shade | (shaded > _MAYBE_SHADED)
    maybe &= ~_glow(chroma, light / np.maximum(away.board, 1.0), mm)
    sure |= shade & (shaded > _SURE_SHADED) & (amount > max(least, _SURE_SHADED_SEEN))
    maybe |= light > max(_MAYBE_BRIGHT[0] * light_noise, _MAYBE_BRIGHT[1])
    found = _joined(maybe | sure, sure)
    found |= _dark_holes(found, seen / np.maximum(away.board, 1.0), mm)
    doubtful = shade & (amount < max(sure_chroma, _NO_SHADE_CHROMA)) & ~too_dark
    return settle(found, doubtful, away, mm)


def _too_dark_for_shade(seen: Floats, board: Floats, mm: float) -> Flags:
    """Tell what has less light than any shade of a plant that lies on the board.

    A dull, dark blade on a dark board is not told: shade goes down to its light there.
    """
    darker = board - seen > _LEAST_DARK
    light = min(float(_linear(np.median(board))) / _LIGHT_BOARD, 1.0)
    places = np.flatnonzero(darker)
    share = _linear(seen.ravel()[places]) / np.maximum(_linear(board.ravel()[places]), 1e-6)
    found = np.zeros_like(darker)
    for width, most in _NO_SHADE_LIGHT:
        dark = np.zeros_like(darker)
        dark.ravel()[places] = share < most * light
        side = 2 * max(round(width / mm / 2), 1) + 1
        disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
        found |= cv2.morphologyEx(dark.astype(np.uint8), cv2.MORPH_OPEN, disc) > 0
    return found


def _linear(code: Floats) -> Floats:
    """Light by the curve of sRGB (IEC 61966-2-1), 0..1."""
    share = np.clip(code / np.float32(255.0), 0.0, 1.0)
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def _shaded_plant(level: list[Floats], sure: Flags, mm: float) -> Floats:
    """Chroma at equal lightness that neither sky nor plants nearby give to a shaded board.

    Less where it is of the hue of sure plant nearby and much fainter.
    """
    sky = np.maximum(_SKY[0] * level[0] + _SKY[1] * level[1], 0.0)
    own = [c - np.float32(s) * sky for c, s in zip(level, _SKY, strict=True)]
    amount = cv2.magnitude(*own)
    weight = sure.astype(np.float32)
    some, *company = cv2.split(_near(cv2.merge([weight, *(c * weight for c in level)]), mm))
    some += np.float32(1e-6)
    company = [c / some for c in company]
    reference = cv2.magnitude(*company)
    along = sum(c * r for c, r in zip(own, company, strict=True))
    same = along > _SAME_HUE * amount * reference
    thrown = np.float32(_COMPANY) * reference * some / (some + np.float32(_SOME))
    faint = same & (amount < thrown)
    return np.where(faint, np.float32(0.0), amount)


def _pale(chroma: Floats, amount: Floats, noise: float, mm: float) -> Flags:
    """Faint colour as wide as a stem, where no vivid plant lies that could have lent it."""
    calm = cv2.magnitude(*(cv2.GaussianBlur(c, (0, 0), max(_PALE_MM / mm, 0.7)) for c in chroma))
    lent = _around((amount > _VIVID).astype(np.float32), _LENT_MM / mm) > _BESIDE
    faint = (calm > max(_PALE[0] * noise, _PALE[1])) & ~lent
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3))
    opened = cv2.morphologyEx(faint.astype(np.uint8), cv2.MORPH_OPEN, disc)
    depth = cv2.distanceTransform(opened, cv2.DIST_L2, 3) * np.float32(mm)
    faint = opened > 0
    return np.asarray(faint & ~_joined(faint, faint & (depth > _WIDEST_STEM_MM / 2)))


def _glow(chroma: list[Floats], brighter: Floats, mm: float) -> Flags:
    """Lit board that has a little of the hue of strongly coloured plants beside it."""
    amount = cv2.magnitude(chroma[0], chroma[1])
    strong = (amount > _NO_SHADE_CHROMA).astype(np.float32)
    around = _around(cv2.merge([strong, *(c * strong for c in chroma)]), _GLOW_MM / mm)
    some, *company = cv2.split(around)
    some += np.float32(1e-6)
    company = [c / some for c in company]
    reference = cv2.magnitude(*company) * (some > _BESIDE)
    along = chroma[0] * company[0] + chroma[1] * company[1]
    faint = (amount < _GLOW * reference) & (along > _SAME_HUE * amount * reference)
    return np.asarray(faint & (np.abs(brighter) < _LIT))


def _near(planes: Floats, mm: float) -> Floats:
    far = _around(planes, _FAR_MM / mm)
    return cv2.scaleAdd(far, _FAR_WEIGHT, _around(planes, _NEAR_MM / mm))


def _around(plane: Floats, radius: float) -> Floats:
    """Smooth mean of one or more planes, in a reduced picture where that is enough."""
    factor = max(radius / 3.0, 1.0)
    size = (max(round(plane.shape[1] / factor), 1), max(round(plane.shape[0] / factor), 1))
    small = cv2.resize(plane, size, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), radius / factor)
    return np.asarray(cv2.resize(small, plane.shape[1::-1], interpolation=cv2.INTER_LINEAR))


def _dark_holes(found: Flags, lit: Floats, mm: float) -> Flags:
    """Small holes in plants that are too dark to show the board: dull places of a blade."""
    count, label, stats, _ = cv2.connectedComponentsWithStats(
        (~found).astype(np.uint8), connectivity=4
    )
    area = stats[:, cv2.CC_STAT_AREA]
    small = area * mm**2 < _HOLE_MM2
    small[0] = False
    if not small.any():
        return np.zeros_like(found)
    places = np.flatnonzero(small[label])
    hole = label.ravel()[places]
    light = np.bincount(hole, lit.ravel()[places], count) / np.maximum(area, 1)
    dull = np.zeros_like(found)
    dull.ravel()[places] = light[hole] < _HOLE_LIGHT
    return dull


def _joined(mask: Flags, sure: Flags) -> Flags:
    """Keep the connected parts of a mask that hold a sure pixel."""
    _, label = cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)
    kept = np.zeros(int(label.max()) + 1, dtype=bool)
    kept[label[sure]] = True
    kept[0] = False
    return np.asarray(kept[label])
