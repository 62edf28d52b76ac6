"""Reads the evidence across the outlines of candidate openings."""

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.tray.evidence import (
    FINE_MM,
    HUE_ZERO,
    L_UNIT,
    SHARE_UNIT,
    Bytes,
    Plane,
    RimEvidence,
    blackness,
)
from traymorph.tray.outline_samples import Outline

RIM_WIDTHS_MM = np.arange(5.0, 16.0)
"""How far the rim's outer edge may lie outside the opening."""

RIM_OFFSETS_MM = np.arange(-7.0, 21.0)
CANOPY_OFFSETS_MM = np.arange(-24.0, 113.0, 4.0)
"""Distances from the opening's outline at which is read, outward positive: closely where a rim
lies, widely where leaves hang over it and neighbours stand."""

_BEYOND = (0, 0, HUE_ZERO, HUE_ZERO)
_HUE_ZERO = np.float32(HUE_ZERO)
_EDGE_L = 15.0
"""Step of lightness that counts as a full edge."""
_LEAN_MM, _LEAN_PER_MM = 3.0, 0.06
"""How far leaning plants shift the canopy's edge on a part of the outline; grows with height."""
_FARTHEST_LEAN = 2.5
"""Canopies whose edge wanders farther than that many usual shifts are not rarer still."""
_USUAL_REACH_PER_MM = 0.19
_REACH_U_MM, _REACH_U_PER_MM = 3.0, 0.07
"""How far a canopy usually reaches over all sides and how that differs between trays, by the
height of its outermost leaves above the rim. Rendered trays of twelve crop forms."""
_LIGHTER_INSIDE = 0.4
_FAINT = 0.1
"""Root of the strength of an edge below which what is seen of it is as likely noise."""
_FAR_MM = (60.0, 76.0, 92.0)
_GOES_ON, _IN_VIEW = (0.25, 0.45), (0.8, 0.95)
"""Shares of plant, and of ground in the photo, between which plants go on, or a side is in view."""
_NOT_TOLD = 5.0
"""What a half of a side costs whose canopy's edge does not tell, as squared usual shifts: else the
outline would best lie where nothing can be told."""
_UNUSUAL_WEIGHT = 0.45
_GAP_MM = (-8.0, 60.0)
"""Where a gap between the tray's canopy and that of a neighbour may lie."""
_FULL = 0.3
_OTHER_COLOUR = 15.0
"""Distance in the a*b* plane from which on two stands are surely of another crop."""


@dataclass(frozen=True, slots=True, eq=False)
class Profiles:
    """What lies across the outline at places along it, for several candidate rectangles.

    Parameters
    ----------
    lightness, bare : ndarray of float32, shape (rim offsets, candidates, samples)
        Maps in the plane of the rim, read at ``RIM_OFFSETS_MM`` along the outward normals.
    canopy, held : ndarray of float32, shape (canopy offsets, candidates, samples)
        Share of plant, and whether the place is in the photo, at ``CANOPY_OFFSETS_MM``.
    colour : tuple of two ndarray of float32, shape (canopy offsets, candidates, samples)
        a* and b* of the plants, times their share.
    side : ndarray of int, shape (samples,)
        Which side a sample lies on: 0 and 2 run along the length, 1 and 3 along the width.
    halves : ndarray of int, shape (8,)
        The sample at which each half of each side begins.
    sizes : ndarray of int, shape (8,)
        Samples in each half of each side.
    leaves_above_rim_mm : float
        At what height above the rim the canopy was read.
    askew_deg : ndarray, shape (candidates,)
        Angle between the outline and the photo's edges, 0 to 45.
    across : ndarray, shape (candidates,)
        0 where the tray lies along the photo's longer edges or is square, 1 where it lies across.
    """

    lightness: Plane
    bare: Plane
    canopy: Plane
    held: Plane
    colour: tuple[Plane, Plane]
    side: NDArray[np.int64]
    halves: NDArray[np.int64]
    sizes: NDArray[np.int64]
    leaves_above_rim_mm: float
    askew_deg: NDArray[np.float64]
    across: NDArray[np.float64]


def profiles(evidence: RimEvidence, places: NDArray[np.float64], outline: Outline) -> Profiles:
    """Read the maps across the outlines of candidate rectangles.

    Parameters
    ----------
    evidence : RimEvidence
        Maps in the plane of the rim.
    places : ndarray, shape (candidates, 3)
        Centre (x, y) in cells and turn in degrees.
    outline : Outline
        From `outline_of`.

    Returns
    -------
    Profiles
        One row per offset.
    """
    points, normals = outline.points, outline.normals
    turn = np.radians(places[:, 2])[:, None]
    cos, sin = np.cos(turn), np.sin(turn)
    axes = ((0, cos, -sin), (1, sin, cos))
    start = [
        (x * points[:, 0] + y * points[:, 1]) / FINE_MM + places[:, k, None] for k, x, y in axes
    ]
    step = [(x * normals[:, 0] + y * normals[:, 1]) / FINE_MM for _, x, y in axes]

    def read(offsets: NDArray[np.float64], *maps: Bytes) -> list[Bytes]:
        out = offsets.astype(np.float32)[:, None, None]
        x, y = (
            s.astype(np.float32) + out * d.astype(np.float32)
            for s, d in zip(start, step, strict=True)
        )
        # OpenCV reads one layer or four, and neither two nor three, in a third of the time
        values = [
            cv2.remap(
                one,
                x.reshape(len(offsets), -1),
                y.reshape(len(offsets), -1),
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_CONSTANT,
                borderValue=_BEYOND,
            )
            for one in maps
        ]
        return [
            np.asarray(layer, np.uint8).reshape(x.shape)
            for value in values
            for layer in cv2.split(value)
        ]

    lightness, bare = read(RIM_OFFSETS_MM, evidence.lightness, evidence.bare)
    canopy, held, *colour = read(CANOPY_OFFSETS_MM, evidence.canopy_layers)
    turned = places[:, 2] - evidence.photo_turn_deg
    return Profiles(
        lightness * L_UNIT,
        bare * SHARE_UNIT,
        canopy * SHARE_UNIT,
        held * SHARE_UNIT,
        (colour[0] - _HUE_ZERO, colour[1] - _HUE_ZERO),
        outline.side,
        outline.halves,
        outline.sizes,
        evidence.leaves_above_rim_mm,
        np.abs((turned + 45.0) % 90.0 - 45.0),
        np.zeros(len(turned)) if outline.square else np.sin(np.radians(turned)) ** 2,
    )


def rim_band(low_mm: float, high_mm: float) -> slice:
    """Pick rows of the rim's profiles from one offset to another, both included."""
    first = round(low_mm - RIM_OFFSETS_MM[0])
    return slice(first, round(high_mm - RIM_OFFSETS_MM[0]) + 1)


def canopy_band(low_mm: float, high_mm: float) -> slice:
    """Pick rows of the canopy's profiles between two offsets, both included."""
    begin, step = CANOPY_OFFSETS_MM[0], CANOPY_OFFSETS_MM[1] - CANOPY_OFFSETS_MM[0]
    first, last = math.ceil((low_mm - begin) / step), math.floor((high_mm - begin) / step)
    return slice(max(first, 0), last + 1)


def edge_steps(read: Profiles) -> Plane:
    """Strength of a step from black to lighter ground at each offset.

    The means of 3 mm on either side are compared, 1 mm left out between them.

    Parameters
    ----------
    read : Profiles
        Profiles of the candidates.

    Returns
    -------
    ndarray of float32, shape (rim offsets - 6, candidates, samples)
        -0.5 to 1, centred 3 mm after the first offset; 0 where plants hide the place.
    """
    return _steps(read.lightness, read.bare)


def steps_at_rim_widths(read: Profiles) -> Plane:
    """As `edge_steps`, where the offset can be a rim's width, shape (rim widths, ...)."""
    rows = rim_band(float(RIM_WIDTHS_MM[0]) - 3.0, float(RIM_WIDTHS_MM[-1]) + 3.0)
    return _steps(read.lightness[rows], read.bare[rows])


def _steps(light: Plane, bare: Plane) -> Plane:
    n = len(light) - 6
    sums = light[:-2] + light[1:-1] + light[2:]
    dark = blackness((sums[:n] / 3.0).astype(np.float32))
    step = (sums[4:] - sums[:n]) / (3.0 * _EDGE_L) * dark
    pairs = np.minimum(bare[:-1], bare[1:])
    fours = np.minimum(pairs[:-2], pairs[2:])
    shown = np.minimum(fours[:n], fours[3 : n + 3])
    strength: Plane = (np.clip(step, -0.5, 1.0) * shown).astype(np.float32)
    return strength


def inner_edges(read: Profiles) -> NDArray[np.float64]:
    """Strength of a step at the outline itself, where the rim's black top meets the inside.

    An inside lighter than the rim counts for less: a bench seen between two trays looks the same.
    """
    light, bare = read.lightness, read.bare
    rim = light[rim_band(1.0, 3.0)].mean(axis=0)
    step = rim - light[rim_band(-3.0, -1.0)].mean(axis=0)
    step = np.where(step > 0, step, -_LIGHTER_INSIDE * step)
    shown = bare[rim_band(-3.0, 3.0)].min(axis=0) * blackness(rim)
    return over_sides(read, np.clip(step / _EDGE_L, 0.0, 1.0) * shown)


def over_sides(read: Profiles, strength: NDArray[Any]) -> NDArray[np.float64]:
    """Weigh an edge that is seen faintly on many sides more than one seen clearly on one.

    Stripes of a cloth and the gap before a box have as clear an edge as a rim, but along one side.

    Parameters
    ----------
    read : Profiles
        Profiles of the candidates.
    strength : ndarray, shape (..., samples)
        Of the edge, at most 1.

    Returns
    -------
    ndarray, shape (...)
        Mean over the sides of the root of what is seen of it there: 0 for none, about 0.9 for all.
    """
    per_side = np.add.reduceat(strength, read.halves[::2], axis=-1) / np.bincount(read.side)
    seen: NDArray[np.float64] = np.sqrt(np.maximum(per_side, 0.0) + _FAINT**2) - _FAINT
    return np.asarray(seen.mean(axis=-1), np.float64)


def _over_halves(read: Profiles, values: NDArray[Any]) -> NDArray[Any]:
    """Add up the samples, along the last axis, over the two halves of every side: (..., 8)."""
    return np.add.reduceat(values, read.halves, axis=-1)


def other_crops(read: Profiles) -> NDArray[np.float64]:
    """Tell how far plants beyond the outline differ in colour, and those inside do not.

    Parameters
    ----------
    read : Profiles
        Profiles of the candidates.

    Returns
    -------
    ndarray, shape (candidates,)
        1 where plants of another colour stand beyond all sides and one colour within, 0 where no
        plants stand beyond, negative where the outline runs over stands of two colours.
    """
    inside, outside = canopy_band(-24.0, -4.0), canopy_band(20.0, 50.0)
    own, by_in = _colours(read, inside)
    other, by_out = _colours(read, outside)
    total = np.maximum(by_in.sum(axis=0), 1e-3)
    middle = (own * by_in[:, None]).sum(axis=0) / total
    patchy = np.minimum(np.hypot(*np.moveaxis(own - middle, 1, 0)) / _OTHER_COLOUR, 1.0) ** 2
    differs = np.minimum(np.hypot(*np.moveaxis(other - own, 1, 0)) / _OTHER_COLOUR, 1.0)
    seam = (differs * by_out * by_in).mean(axis=0)
    result: NDArray[np.float64] = seam - (patchy * by_in).sum(axis=0) / total
    return result


def _colours(read: Profiles, rows: slice) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean a* and b* of plants per half, (8, 2, candidates), and how full of plants, (8, n)."""
    share = _over_halves(read, read.canopy[rows].sum(axis=0)).T
    along = np.stack([one[rows].sum(axis=0) for one in read.colour])
    colour = _over_halves(read, along).transpose(2, 0, 1)
    cells = (rows.stop - rows.start) * read.sizes[:, None]
    mean = colour / np.maximum(share, 1e-3 * cells)[:, None]
    return mean.astype(np.float64), np.minimum(share / (cells * _FULL), 1.0)


def canopy_edges(read: Profiles) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Say how far the canopy reaches over each half of every side.

    Its edge is where a step of full canopy would hold as much plant as the profile does, up to
    the gap before a neighbour's canopy where there is one.

    Parameters
    ----------
    read : Profiles
        Profiles of the candidates.

    Returns
    -------
    tuple of ndarray, both of shape (8, candidates)
        Reach in mm, outward positive, and how far it counts, 0 to 1: 0 where plants go on far
        beyond without a gap or the photo ends.
    """
    inner = read.canopy[canopy_band(-24.0, -10.0)].mean(axis=0)
    full = np.maximum(inner.mean(axis=1), _FULL)[:, None]
    weight = np.clip(inner / full, 0.05, 1.0)
    step = float(CANOPY_OFFSETS_MM[1] - CANOPY_OFFSETS_MM[0])
    counted = canopy_band(-12.0, 112.0)
    start = float(CANOPY_OFFSETS_MM[counted][0]) - step / 2
    share = weight / np.repeat(_over_halves(read, weight), read.sizes, axis=1)
    profile = _over_halves(read, read.canopy * share) / full
    profile = np.minimum(profile, 1.0)
    near = read.held[canopy_band(0.0, 36.0)].mean(axis=0)
    held = _over_halves(read, near) / read.sizes
    # the photo may end within a neighbouring tray: any stretch that far out tells
    beyond = np.max([profile[canopy_band(d, d + 16.0)].mean(axis=0) for d in _FAR_MM], axis=0)
    ends = _below(beyond, _GOES_ON)
    offsets = CANOPY_OFFSETS_MM[counted]
    may_be_gap = (offsets >= _GAP_MM[0]) & (offsets <= _GAP_MM[1])
    gap = _below(profile[counted], _GOES_ON) * may_be_gap[:, None, None]
    before_gap = ends + (1.0 - ends) * np.cumprod(1.0 - gap, axis=0)
    reach = start + step * (profile[counted] * before_gap).sum(axis=0)
    free = np.maximum(ends, gap.max(axis=0)) * (1.0 - _below(held, _IN_VIEW))
    # a neighbour seldom stands along half a side alone: both halves count, or none
    sides = free.T.reshape(4, 2, -1).min(axis=1)
    return reach.T.astype(np.float64), np.repeat(sides, 2, axis=0).astype(np.float64)


def _below(value: NDArray[Any], limits: tuple[float, float]) -> NDArray[Any]:
    """1 below both limits, 0 above both, linear between.

    With a single limit a step of a millimetre would turn a side on or off, and the best place
    would be the one that happens to be lucky with it.
    """
    share: NDArray[Any] = np.clip((limits[1] - value) / (limits[1] - limits[0]), 0.0, 1.0)
    return share


def lopsidedness(read: Profiles) -> NDArray[np.float64]:
    """Tell how unequally, or unusually far, the canopy reaches over the sides of each candidate.

    Parameters
    ----------
    read : Profiles
        Profiles of the candidates.

    Returns
    -------
    ndarray, shape (candidates,)
        Sum over the halves of the sides of the squared difference of the reach from the tray's,
        in units of what leaning plants cause, or of a constant where it does not tell, and of the
        squared difference of the tray's from the usual reach, in units of its spread between
        trays; over the number of halves.
    """
    reach, free = canopy_edges(read)
    height = read.leaves_above_rim_mm
    lean, spread = _LEAN_MM + _LEAN_PER_MM * height, _REACH_U_MM + _REACH_U_PER_MM * height
    usual = _USUAL_REACH_PER_MM * height
    # a single free side tells little of how far this canopy reaches: the usual reach is weighed in
    weight = np.sum(free, axis=0) / lean**2 + 1.0 / spread**2
    own = ((reach * free).sum(axis=0) / lean**2 + usual / spread**2) / weight
    squares = np.minimum(((reach - own) / lean) ** 2, _FARTHEST_LEAN**2)
    unusual = ((own - usual) / spread) ** 2
    told = free * squares + (1.0 - free) * _NOT_TOLD
    mean: NDArray[np.float64] = (told.sum(axis=0) + _UNUSUAL_WEIGHT * unusual) / len(reach)
    return mean
