"""What stands out from a board and is no plant: roots, hulls, crumbs, drops, scratches, dust.

A plant has a blade in the colour that most blades of the photo have. What is joined to such a
blade is its stem, except threads finer than stems; what is not is left out unless it goes on
where a plant's stem breaks off.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more
Flags = NDArray[np.bool_]

# Half-width from which a part is a blade rather than a stem, and the least area of a plant's blade.
_BLADE_MM, _LEAST_BLADE_MM2 = 0.9, 4.0
# Smallest thing that can be a plant at all, and that can be a part of one, mm2.
_LEAST_PLANT_MM2, _LEAST_PART_MM2 = 8.0, 0.5
# Area of a blade without stem, mm2, below which it is no plant where nothing has a stem.
_LEAST_STEMLESS_MM2 = 25.0
# Share of the typical plant's area below which a thing without a stem is no plant.
_SMALL = 0.3
_TINY = 0.06
# Share of a thing's area that is wide where it has no stem.
_STEMLESS = 0.8
# Widest gap between a stem's parts, mm.
_GAP_MM = 1.5
# Threads finer than this are roots where they are colourless; longer ones count.
_THREAD_MM, _LEAST_THREAD_MM = 0.6, 2.0
_COLOURLESS = 9.0
# Distance of colour, in the blades' spread, from which a thing is no blade.
_OTHER_COLOUR = 3.5
# Depths between which a rim lies, mm, and its contrast in that of the inside where things fade.
_RIM_MM, _FADING = (0.3, 0.9), 0.4
# Part of the border of photo or board along which a thing that is cut off by it runs, mm.
_ALONG_BORDER_MM = 40.0
# Part of that border from which what was left out is a strip of the bench.
_STRIP_MM = 20.0


@dataclass(frozen=True, slots=True, eq=False)
class Sorted:
    """What stands out, told apart.

    Parameters
    ----------
    plants : ndarray of bool, shape (h, w)
    others : ndarray of bool, shape (h, w)
        Left out.
    unclear : bool
        Whether something as large as a plant was left out on the board.
    """

    plants: Flags
    others: Flags
    unclear: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Parts:
    """Connected things and their measures; entry 0 is the ground."""

    label: NDArray[Any]
    area: NDArray[np.float64]  # mm2
    blade: NDArray[np.float64]  # mm2 of what is wide
    colour: NDArray[np.float64]  # (n, 2): mean chroma at equal lightness
    border: NDArray[np.float64]  # mm along the border of photo or board
    extent: NDArray[np.float64]  # mm, diagonal of the bounding box


def sort(
    found: Flags, outside: Flags, chroma: Floats, light: Floats, contrast: Floats, mm: float
) -> Sorted:
    """Tell plants from what else stands out.

    Parameters
    ----------
    found : ndarray of bool, shape (h, w)
        What stands out from the board.
    outside : ndarray of bool, shape (h, w)
        Where the board does not lie: bench, arm.
    chroma : ndarray of float32, shape (2, h, w)
        Cr and Cb of the picture, 8-bit codes, 0 = grey.
    light : ndarray of float32, shape (h, w)
        Lightness, 8-bit codes.
    contrast : ndarray of float32, shape (h, w)
        How far each pixel stands out.
    mm : float
        Size of a pixel, mm.

    Returns
    -------
    Sorted
    """
    level = (chroma * (100.0 / (light + 30.0))).astype(np.float32)
    depth = cv2.distanceTransform(found.astype(np.uint8), cv2.DIST_L2, 5) * np.float32(mm)
    roots = _threads(found, chroma, mm)
    body = found & ~roots
    parts = _measure(body, outside, level, depth, mm)
    is_plant = _with_blade(parts, level, depth) & _sharp(parts, contrast, depth)
    is_plant |= _continued(parts, is_plant, body, mm)
    plants = is_plant[parts.label]
    others = found & ~plants
    typical = float(np.median(parts.area[is_plant])) if is_plant.any() else np.inf
    left = ~is_plant & (parts.border < _STRIP_MM)
    left[0] = False
    return Sorted(plants, others, bool(np.any(left & (parts.blade > 0.5 * typical))))


def _threads(found: Flags, chroma: Floats, mm: float) -> Flags:
    """Fine colourless threads that end free: roots, hairs."""
    reach = max(round(_THREAD_MM / 2 / mm), 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    thick = cv2.morphologyEx(found.astype(np.uint8), cv2.MORPH_OPEN, kernel)
    thick = cv2.dilate(thick, np.ones((3, 3), np.uint8))
    thin = (found & (thick == 0)).astype(np.uint8)
    count, label, stats, _ = cv2.connectedComponentsWithStats(thin, connectivity=8)
    span = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) * mm
    places = np.flatnonzero(thin)
    own = label.ravel()[places]
    area = np.maximum(stats[:, cv2.CC_STAT_AREA], 1)
    grey = np.hypot(*(np.bincount(own, c.ravel()[places], count) / area for c in chroma))
    _, body = cv2.connectedComponents(thick, connectivity=8)
    grown = cv2.dilate(label.astype(np.float32), np.ones((3, 3), np.uint8)).astype(np.int32)
    meets = (grown > 0) & (body > 0)
    pairs = np.unique(np.stack([grown[meets], body[meets]]), axis=1)
    touching = np.bincount(pairs[0], minlength=count)
    root = (span > _LEAST_THREAD_MM) & (grey < _COLOURLESS) & (touching < 2)
    root[0] = False
    return np.asarray(root[label])


def _measure(found: Flags, outside: Flags, level: Floats, depth: Floats, mm: float) -> _Parts:
    count, label, stats, _ = cv2.connectedComponentsWithStats(
        found.astype(np.uint8), connectivity=8
    )
    places = np.flatnonzero(found)
    own = label.ravel()[places]

    def total(weight: Floats) -> NDArray[np.float64]:
        """Sum over each thing; nothing is told of the ground."""
        return np.asarray(np.bincount(own, weight.ravel()[places], count), np.float64)

    pixels = np.maximum(stats[:, cv2.CC_STAT_AREA], 1).astype(np.float64)
    wide = cv2.dilate((depth > _BLADE_MM).astype(np.uint8), _disc(_BLADE_MM / mm)) > 0
    beside = cv2.dilate(outside.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    edge = np.concatenate([label[0], label[-1], label[:, 0], label[:, -1], label[beside]])
    extent = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) * mm
    return _Parts(
        label=label,
        area=np.where(np.arange(count) > 0, stats[:, cv2.CC_STAT_AREA] * mm**2, 0.0),
        blade=total(wide & found) * mm**2,
        colour=np.stack([total(c) / pixels for c in level], axis=-1),
        border=np.asarray(np.bincount(edge, minlength=count) * mm, np.float64),
        extent=np.asarray(extent, np.float64),
    )


def _disc(radius: float) -> NDArray[np.uint8]:
    side = 2 * max(round(radius), 1) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)), np.uint8)


def _with_blade(parts: _Parts, level: Floats, depth: Floats) -> Flags:
    """Things that have a blade and are of the size and colour of the photo's plants."""
    able = (parts.blade > _LEAST_BLADE_MM2) & (parts.area > _LEAST_PLANT_MM2)
    able &= parts.border < _ALONG_BORDER_MM
    able[0] = False
    stemless = parts.blade > _STEMLESS * parts.area
    if not (able & ~stemless).any():
        able &= parts.area > _LEAST_STEMLESS_MM2
    if not able.any():
        return able
    # The typical area is that of the plant in which the middle square millimetre lies.
    order = np.argsort(parts.area[able])
    sizes = parts.area[able][order]
    typical = float(sizes[np.searchsorted(np.cumsum(sizes), sizes.sum() / 2)])
    blades = able[parts.label] & (depth > _BLADE_MM) & (parts.area[parts.label] > _SMALL * typical)
    colours = level[:, blades].T[:: max(int(blades.sum()) // 20_000, 1)].astype(np.float64)
    spread = np.cov(colours.T) + np.diag([16.0, 16.0])
    off = parts.colour - np.median(colours, axis=0)
    strange = np.sqrt(np.einsum("ni,ij,nj->n", off, np.linalg.inv(spread), off)) > _OTHER_COLOUR
    small = parts.area < _SMALL * typical
    able &= ~(small & (strange | (stemless & (parts.area < _SMALL / 2 * typical))))
    return np.asarray(able & (parts.area > _TINY * typical))


def _sharp(parts: _Parts, contrast: Floats, depth: Floats) -> Flags:
    """Things that stand out at their rim about as far as within; gloss and shade fade."""

    def mean(where: Flags) -> NDArray[np.float64]:
        label = parts.label[where]
        total = np.bincount(label, contrast[where].astype(np.float64), len(parts.area))
        return total / np.maximum(np.bincount(label, minlength=len(parts.area)), 1)

    rim = mean((depth > _RIM_MM[0]) & (depth <= _RIM_MM[1]))
    return np.asarray(rim > _FADING * mean(depth > _RIM_MM[1]))


def _continued(parts: _Parts, plant: Flags, found: Flags, mm: float) -> Flags:
    """Parts of stems that go on beyond a gap."""
    grown = cv2.dilate(plant[parts.label].astype(np.uint8), _disc(_GAP_MM / mm)) > 0
    near = np.zeros_like(plant)
    near[parts.label[grown & found]] = True
    near[0] = False
    length = np.maximum(parts.extent, 0.1)
    return np.asarray(
        near
        & ~plant
        & (parts.area > _LEAST_PART_MM2)
        & (parts.area / length > _THREAD_MM)
        & (parts.extent > 4 * parts.area / length)
        & (parts.blade == 0)
    )
