"""Outlines of cut plants to parts of a pixel, from the colours on their two sides.

Light adds up in a mixed pixel, so in linear light its colour lies on the line between plant and
board as far along as the plant's share. Colours of plant and board are means over a few pixels
beside the outline, weighted by how surely a pixel is one or the other, and found together with
the shares in a few rounds (local matting; Sun et al. 2006, ACM Trans. Graph. 25(3):772-778 use
the same weighted means). Lightness leads where it tells the two apart: phones and JPEG store
chroma at half the resolution and smear it.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.segment.board_flank import with_flanks

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more
Flags = NDArray[np.bool_]

# Half-width of the band in which pixels may be mixed, mm: where the first outline is only known
# roughly, and once it is found. Radius of the means in both, mm.
_ROUGH_MM, _BAND_MM = 0.7, 0.3
_ROUGH_BESIDE_MM, _BESIDE_MM = 0.6, 0.2
_ROUNDS = 2
# Noise of linear light and of coded chroma.
_LIGHT_NOISE, _CHROMA_NOISE = 0.006, 0.012
# Change of codes with light, relative to both.
_CODED = np.float32(1 / 2.2)
# Half-width below which a plant is a rod, mm, and pixels in which that is judged, mm.
_ROD_MM, _ROD_PX_MM = 1.8, 0.4
# Where rods are judged by light alone: chroma, coded, that plant and board differ by.
_ROD_SHARE, _PALE = 0.5, 0.1


@dataclass(frozen=True, slots=True)
class _Trust:
    """How far lightness and chroma tell plant from board.

    Parameters
    ----------
    shade : float
        Share of its light that a shadow beside a plant takes from the board.
    light : float
        Share of the light by which shading and blur mislead lightness.
    chroma : float
        Share of the difference by which smear misleads chroma.
    """

    shade: float
    light: float
    chroma: float


# Until the outline is nearly found shadows and the shading of stems mislead lightness most.
_ROUGH, _FINE = _Trust(0.2, 0.3, 0.1), _Trust(0.1, 0.1, 0.15)


def refine(
    inside: Flags, reduced: NDArray[np.uint8], rgb: NDArray[np.uint8], mm_per_px: float
) -> Floats:
    """Share of plant per pixel.

    Parameters
    ----------
    inside : ndarray of bool, shape (h', w')
        A first mask, right to about half a millimetre.
    reduced : ndarray of uint8, shape (h', w', 3)
        The picture at the scale of that mask.
    rgb : ndarray of uint8, shape (h, w, 3)
        The picture, sRGB-encoded.
    mm_per_px : float
        Size of a pixel of the picture.

    Returns
    -------
    ndarray of float32, shape (h, w)
        0..1.
    """
    height, width = rgb.shape[:2]
    rough, rod, pale = _rough(inside, reduced, mm_per_px * width / reduced.shape[1])
    share = cv2.resize(rough, (width, height), interpolation=cv2.INTER_LINEAR)
    rod = cv2.resize(rod, (width, height), interpolation=cv2.INTER_LINEAR)
    first = share > 0.5
    result = first.astype(np.float32)
    near = cv2.morphologyEx(first.view(np.uint8), cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    mixed = near.view(bool)
    moved = math.ceil(_ROUNDS * (_BAND_MM / mm_per_px + 0.5))
    for place, around, within in _windows(mixed, _TILE_PX, _BESIDE_MM / mm_per_px, moved):
        result[place] = _fine(share[around], rod[around], rgb[around], mm_per_px)[within]
    alike = cv2.resize(pale.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST)
    with_flanks(result, (rod > _ROD_SHARE) & (alike > 0), rgb, mm_per_px)
    return result


# Tiles in which outlines are found.
_TILE_PX, _ROUGH_TILE_MM = 128, 16.0
# How far from outlines it is told where rods are brighter than the board.
_SEEN_MM = 1.5

Window = tuple[slice, ...]


def _windows(
    mixed: Flags, tile_px: int, sigma: float, moved: int = 0
) -> Iterator[tuple[Window, Window, Window]]:
    """Places that hold mixed pixels, no larger than a tile.

    Yields
    ------
    tuple of windows
        The place, as far as its outlines may move by some pixels; what is looked at round it for
        means of a radius; and where the place lies in that.
    """
    side = _side(sigma)
    margin = moved + side - 1 + 3 * side // 2
    for top in range(0, mixed.shape[0], tile_px):
        for left in range(0, mixed.shape[1], tile_px):
            tile = mixed[top : top + tile_px, left : left + tile_px]
            x, y, width, height = cv2.boundingRect(tile.view(np.uint8))
            if width == 0:
                continue
            spans = ((top, y, height, tile.shape[0]), (left, x, width, tile.shape[1]))
            place, around, within = [], [], []
            for start, low, extent, side in spans:
                begin = start + max(low - moved, 0)
                end = start + min(low + extent + moved, side)
                outer = max(begin - margin, 0)
                place.append(slice(begin, end))
                around.append(slice(outer, end + margin))
                within.append(slice(begin - outer, end - outer))
            yield tuple(place), tuple(around), tuple(within)


def _rough(inside: Flags, rgb: NDArray[np.uint8], mm_per_px: float) -> tuple[Floats, Floats, Flags]:
    """First shares at the coarse scale, where plants are bright rods, 0..1, and where pale."""
    reach = _ROUGH_MM / mm_per_px
    signed = _distance(inside)
    share = np.clip(0.5 + signed / np.float32(reach), 0.0, 1.0)
    found, brighter, pale = share.copy(), np.zeros_like(inside), np.zeros_like(inside)
    tile = round(_ROUGH_TILE_MM / mm_per_px)
    sigma = _ROUGH_BESIDE_MM / mm_per_px
    looked_at = np.abs(signed) < reach + np.float32(_SEEN_MM / mm_per_px)
    for place, around, within in _windows(looked_at, tile, sigma):
        near, planes = share[around].copy(), opponent(rgb[around])
        band = np.abs(signed[around]) < reach
        for _ in range(_ROUNDS):
            sides = _settle(near, band, planes, sigma, _ROUGH)
        found[place] = near[within]
        plant, board = (_means(cv2.split(side[within])) for side in sides)
        brighter[place] = plant[0] > board[0]
        pale[place] = cv2.magnitude(plant[1] - board[1], plant[2] - board[2]) < _PALE
    return found, _rods(found > 0.5, mm_per_px) * brighter, pale


def _fine(share: Floats, rod: Floats, rgb: NDArray[np.uint8], mm_per_px: float) -> Floats:
    """Shares at the fine scale."""
    planes = opponent(rgb)
    planes[0] += rod * (cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY) / np.float32(255) - planes[0])
    for _ in range(_ROUNDS):
        signed = _distance(share > 0.5)
        band = np.abs(signed) < _BAND_MM / mm_per_px + 0.5
        share = np.where(band, share, (signed > 0).astype(np.float32))
        _settle(share, band, planes, _BESIDE_MM / mm_per_px, _FINE)
    return share


def _distance(inside: Flags) -> Floats:
    """Distance from the outline, pixels; positive inside."""
    mask = inside.astype(np.uint8)
    within = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    beyond = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 3)
    return np.asarray(within - beyond)


def _rods(inside: Flags, mm_per_px: float) -> Floats:
    """Where plants are stems rather than blades, 0..1.

    A rod darkens towards its sides, and a bright one on a dark board so much that light alone
    would put its outline too far in; codes, which stretch the dark, put it right.
    """
    height, width = inside.shape
    factor = max(_ROD_PX_MM / mm_per_px, 1.0)
    size = (max(round(width / factor), 1), max(round(height / factor), 1))
    small = (cv2.resize(inside.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.5) * 1
    reach = max(round(_ROD_MM / (mm_per_px * factor)), 1)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 5, 2 * reach + 5))
    blade = cv2.dilate(cv2.erode(small.astype(np.uint8), disc), kernel)
    soft = cv2.GaussianBlur(1 - blade.astype(np.float32), (0, 0), 1.0)
    return np.asarray(cv2.resize(soft, (width, height), interpolation=cv2.INTER_LINEAR))


def _purity(share: Floats) -> Floats:
    """Fourth power: mixed pixels say little of either colour."""
    square: Floats = share * share
    return np.asarray(square * square)


def opponent(rgb: NDArray[np.uint8]) -> list[Floats]:
    """Linear light, and chroma as it is coded: Cr and Cb (ITU-R BT.601), about 0..1 and +-0.5.

    Blur of the lens mixes light; the halved resolution of chroma mixes codes.
    """
    light = cv2.LUT(rgb, _LINEAR)
    y = cv2.cvtColor(light, cv2.COLOR_RGB2GRAY)
    coded = cv2.cvtColor(rgb.astype(np.float32) / np.float32(255), cv2.COLOR_RGB2YCrCb)
    _, red, blue = cv2.split(coded)
    return [y, red - np.float32(0.5), blue - np.float32(0.5)]


def _beside(planes: list[Floats], weight: Floats, sigma: float) -> Floats:
    """Weighted sums near each pixel and sum of weights; farther ones where none is near.

    Returns
    -------
    ndarray of float32, shape (h, w, 4)
    """
    side = _side(sigma)
    box = np.full(side, 1.0 / side)
    twice = np.convolve(box, box).astype(np.float32)
    weighted = cv2.merge([*(plane * weight for plane in planes), weight])
    near = cv2.sepFilter2D(weighted, -1, twice, twice)
    wide = cv2.blur(near, (3 * side, 3 * side))
    return cv2.scaleAdd(wide, 0.02, near)


def _means(sums: Sequence[Floats]) -> list[Floats]:
    """Weighted means of three planes from their sums and that of the weights."""
    *planes, total = sums
    total = total + np.float32(1e-9)
    return [plane / total for plane in planes]


def _side(sigma: float) -> int:
    return 2 * round(sigma) + 1


def _settle(
    share: Floats, band: Flags, planes: list[Floats], sigma: float, trust: _Trust
) -> tuple[Floats, Floats]:
    """Find the shares in a band anew, in place.

    Returns
    -------
    tuple of ndarray
        Sums of the colours of plant and of board beside each pixel, as from `_beside`.
    """
    sides = (
        _beside(planes, _purity(share), sigma),
        _beside(planes, _purity(1 - share), sigma),
    )
    places = np.flatnonzero(band)
    seen = [plane.ravel()[places] for plane in planes]
    plant, board = (_means([*side.reshape(-1, 4)[places].T.copy()]) for side in sides)
    share.ravel()[places] = _share(seen, plant, board, trust)
    return sides


def _share(planes: list[Floats], plant: list[Floats], board: list[Floats], trust: _Trust) -> Floats:
    """Least-squares share of plant in a mixture with board that may lie in shade.

    The covariance of what the mixture leaves over is diagonal (noise, blur, smear) plus what
    shade does to all planes together; its inverse is by Sherman and Morrison's formula.
    """
    across = [f - b for f, b in zip(plant, board, strict=True)]
    light = np.float32(trust.light) * np.maximum(plant[0], board[0])
    smear = np.float32(trust.chroma**2) * (across[1] ** 2 + across[2] ** 2)
    chroma = 1 / (np.float32(_CHROMA_NOISE**2) + smear)
    weight = [1 / (np.float32(_LIGHT_NOISE**2) + light**2), chroma, chroma]
    off = [p - b for p, b in zip(planes, board, strict=True)]
    dim = [board[0], board[1] * _CODED, board[2] * _CODED]
    shade = _dot(weight, dim, dim) + np.float32(1 / trust.shade**2)
    along = _dot(weight, dim, across)
    above = _dot(weight, across, off) - along * _dot(weight, dim, off) / shade
    below = _dot(weight, across, across) - along**2 / shade
    return np.clip(above / (below + np.float32(1e-6)), 0.0, 1.0)


def _dot(weight: list[Floats], one: list[Floats], other: list[Floats]) -> Floats:
    total: Floats = weight[0] * one[0] * other[0]
    for w, a, b in zip(weight[1:], one[1:], other[1:], strict=True):
        total += w * a * b
    return total


def _decoded() -> Floats:
    """Linear light of the 256 sRGB-encoded values (IEC 61966-2-1)."""
    v = np.arange(256, dtype=np.float64) / 255.0
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)


_LINEAR = _decoded()
