"""Reads the evidence across the outlines of candidate openings."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.tray.evidence import FINE_MM, Plane, RimEvidence, blackness

RIM_WIDTHS_MM = np.arange(5.0, 16.0)
"""How far the rim's outer edge may lie outside the opening."""
OFFSETS_MM = np.arange(-24.0, 81.0)
"""Distances from the opening's outline at which is read, outward positive."""

_EDGE_L = 15.0
"""Step of lightness that counts as a full edge."""
_LEAN_MM, _LEAN_PER_MM = 2.0, 0.035
_FARTHEST_LEAN = 4.0
_GOES_ON, _IN_VIEW = 0.25, 0.9
_FULL = 0.3
_OTHER_COLOUR = 15.0


@dataclass(frozen=True, slots=True, eq=False)
class Profiles:
    """What lies across the outline at places along it, for several candidate rectangles.

    Parameters
    ----------
    lightness, bare, canopy, held : ndarray of float32, shape (offsets, candidates, samples)
        Maps read at ``OFFSETS_MM`` along the outward normals.
    colour : ndarray of float32, shape (2, offsets, candidates, samples)
        a* and b* times the share of plant, where ``canopy`` is that share.
    side : ndarray of int, shape (samples,)
        Which side a sample lies on: 0 and 2 run along the length, 1 and 3 along the width.
    leaves_above_rim_mm : float
        At what height above the rim the canopy was read.
    """

    lightness: Plane
    bare: Plane
    canopy: Plane
    held: Plane
    colour: Plane
    side: NDArray[np.int64]
    leaves_above_rim_mm: float


def profiles(
    evidence: RimEvidence,
    places: NDArray[np.float64],
    size_mm: NDArray[np.float64],
    sample_mm: float,
) -> Profiles:
    """Read the maps across the outlines of candidate rectangles.

    Parameters
    ----------
    evidence : RimEvidence
        Maps in the plane of the rim.
    places : ndarray, shape (candidates, 3)
        Centre (x, y) in cells and turn in degrees.
    size_mm : ndarray, shape (2,)
        Inside length and width.
    sample_mm : float
        Distance of the samples along the outline.

    Returns
    -------
    Profiles
        One row per offset.
    """
    points, normals, side = _outline(size_mm, sample_mm)
    turn = np.radians(places[:, 2])[:, None]
    cos, sin = np.cos(turn), np.sin(turn)
    offsets = OFFSETS_MM.astype(np.float32)[:, None, None]

    def across(axis: int, by_x: NDArray[np.float64], by_y: NDArray[np.float64]) -> Plane:
        start = (by_x * points[:, 0] + by_y * points[:, 1]) / FINE_MM + places[:, axis, None]
        step = (by_x * normals[:, 0] + by_y * normals[:, 1]) / FINE_MM
        where: Plane = start.astype(np.float32) + offsets * step.astype(np.float32)
        return where.reshape(len(OFFSETS_MM), -1)

    x, y = across(0, cos, -sin), across(1, sin, cos)
    shape = (len(OFFSETS_MM), len(places), len(points))

    def read(layers: Plane) -> list[Plane]:
        values = cv2.remap(layers, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
        return [values[..., k].reshape(shape).astype(np.float32) for k in range(values.shape[-1])]

    colour = np.stack(read(evidence.colour))
    return Profiles(*read(evidence.layers), colour, side, evidence.leaves_above_rim_mm)


def _outline(
    size_mm: NDArray[np.float64], sample_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    half = size_mm / 2
    points, normals, sides = [], [], []
    for side, (axis, sign) in enumerate(((1, -1.0), (0, 1.0), (1, 1.0), (0, -1.0))):
        run = size_mm[1 - axis]
        n = max(2, round(run / sample_mm))
        place = np.empty((n, 2))
        place[:, 1 - axis] = (np.arange(n) + 0.5) / n * run - run / 2
        place[:, axis] = sign * half[axis]
        normal = np.zeros((n, 2))
        normal[:, axis] = sign
        points.append(place)
        normals.append(normal)
        sides.append(np.full(n, side))
    return np.concatenate(points), np.concatenate(normals), np.concatenate(sides)


def _at(offset_mm: float) -> int:
    return round(offset_mm - OFFSETS_MM[0])


def band(low_mm: float, high_mm: float) -> slice:
    """Rows of profiles from one offset to another, both included."""
    return slice(_at(low_mm), _at(high_mm) + 1)


def edge_steps(read: Profiles) -> Plane:
    """Strength of a step from black to lighter ground at each offset.

    The means of 3 mm on either side are compared, 1 mm left out between them.

    Parameters
    ----------
    read : Profiles
        Profiles of the candidates.

    Returns
    -------
    ndarray of float32, shape (offsets - 6, candidates, samples)
        -0.5 to 1, centred 3 mm after the first offset; 0 where plants hide the place.
    """
    light, n = read.lightness, len(OFFSETS_MM) - 6
    sums = light[:-2] + light[1:-1] + light[2:]
    step = (sums[4:] - sums[:n]) / (3.0 * _EDGE_L) * blackness(sums[:n] / 3.0)
    pairs = np.minimum(read.bare[:-1], read.bare[1:])
    fours = np.minimum(pairs[:-2], pairs[2:])
    shown = np.minimum(fours[:n], fours[3 : n + 3])
    strength: Plane = np.clip(step, -0.5, 1.0) * shown
    return strength


def at_rim_widths(steps: Plane) -> Plane:
    """Pick those edge steps whose offset can be a rim's width, shape (rim widths, ...)."""
    first = _at(float(RIM_WIDTHS_MM[0])) - 3
    return steps[first : first + len(RIM_WIDTHS_MM)]


def inner_edges(read: Profiles) -> NDArray[np.float64]:
    """Strength of any step at the outline itself, where the rim's top meets the inside."""
    light, at = read.lightness, _at(0.0)
    step = light[at + 1 : at + 4].mean(axis=0) - light[at - 3 : at].mean(axis=0)
    shown = read.bare[at - 3 : at + 4].min(axis=0)
    strength: NDArray[np.float64] = (np.clip(np.abs(step) / _EDGE_L, 0.0, 1.0) * shown).mean(axis=1)
    return strength


def _halves(read: Profiles) -> list[NDArray[np.int64]]:
    """Split the samples by the two halves of every side."""
    return [
        half for side in range(4) for half in np.array_split(np.flatnonzero(read.side == side), 2)
    ]


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
    inside, outside = band(-24.0, -4.0), band(20.0, 50.0)
    within, beyond, weight_in, weight_out = [], [], [], []
    for half in _halves(read):
        for rows, colours, weights in ((inside, within, weight_in), (outside, beyond, weight_out)):
            share = read.canopy[rows][:, :, half].mean(axis=(0, 2))
            mean = read.colour[:, rows][:, :, :, half].mean(axis=(1, 3))
            colours.append(mean / np.maximum(share, 1e-3))
            weights.append(np.minimum(share / _FULL, 1.0))
    own, other = np.array(within), np.array(beyond)  # (halves, 2, candidates)
    by_in, by_out = np.array(weight_in), np.array(weight_out)
    total = np.maximum(by_in.sum(axis=0), 1e-3)
    middle = (own * by_in[:, None]).sum(axis=0) / total
    patchy = np.minimum(np.hypot(*np.moveaxis(own - middle, 1, 0)) / _OTHER_COLOUR, 1.0) ** 2
    differs = np.minimum(np.hypot(*np.moveaxis(other - own, 1, 0)) / _OTHER_COLOUR, 1.0)
    seam = (differs * by_out * by_in).mean(axis=0)
    result: NDArray[np.float64] = seam - (patchy * by_in).sum(axis=0) / total
    return result


def lopsidedness(read: Profiles) -> NDArray[np.float64]:
    """Tell how unequally the canopy reaches over the sides of each candidate.

    For each half of a side the canopy's edge is where a step of full canopy would hold as much
    plant as the profile does. Halves where plants go on beyond, or the photo ends, do not count.

    Parameters
    ----------
    read : Profiles
        Profiles of the candidates.

    Returns
    -------
    ndarray, shape (candidates,)
        Mean square of the edges' differences from their mean over the halves, in units of what
        leaning plants cause.
    """
    inner = read.canopy[: _at(-10.0)].mean(axis=0)
    full = np.maximum(inner.mean(axis=1), _FULL)[:, None]
    weight = np.clip(inner / full, 0.05, 1.0)
    lean = _LEAN_MM + _LEAN_PER_MM * read.leaves_above_rim_mm
    edges, free = [], []
    for half in _halves(read):
        share = weight[:, half] / weight[:, half].sum(axis=1, keepdims=True)
        profile = np.minimum((read.canopy[:, :, half] * share).sum(axis=2) / full[:, 0], 1.0)
        near = _at(-10.0)
        edges.append(profile[near:].sum(axis=0) - 10.0)
        held = read.held[_at(0.0) :][:, :, half].mean(axis=(0, 2))
        free.append((profile[_at(62.0) :].mean(axis=0) < _GOES_ON) & (held > _IN_VIEW))
    edge, use = np.array(edges), np.array(free, dtype=float)
    middle = (edge * use).sum(axis=0) / np.maximum(use.sum(axis=0), 1.0)
    squares = np.minimum(((edge - middle) / lean) ** 2, _FARTHEST_LEAN**2)
    mean: NDArray[np.float64] = (use * squares).sum(axis=0) / len(edges)
    return mean
