"""Where outlines of cut plants truly lie: a last, small step along their normals.

A stem darkens towards its flanks, a blade's shadow starts right at its edge, sharpening and JPEG
leave halos: the middle of the fall of light is up to half a pixel off, one way or the other. How
far is read off the profile of light and chroma across the outline by a small network (two hidden
layers of rectified linear units), fitted to drawn and rendered boards whose outlines are known
(learned boundary operators, after Martin, Fowlkes & Malik 2004, IEEE Trans. PAMI 26(5):530-549).
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.segment.board_rim_weights import SIZES, WEIGHTS

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more

# Positions across the outline at which the picture is read, pixels, outwards; those inside and
# outside whose means stand for plant and board.
AWAY_PX = np.arange(-5.0, 5.01, 0.5, dtype=np.float32)
_INSIDE, _OUTSIDE = slice(2, 7), slice(15, 21)
# Blur of the outline before it is read and after, and of profiles and steps along it, pixels.
_SMOOTH_PX, _ALONG_PX, _STEADY_PX = 1.0, 2.0, 3.0
# Codes added before light is compared in proportion, codes of chroma that count as one.
_FOOT, _CHROMA = 12.0, 20.0
# Half-width beyond which a plant counts as wide, and the longest step believed, pixels.
_WIDE_PX, _LONGEST_PX = 10.0, 1.5
_LEAST_POINTS = 24
# Positions right inside and right outside, contrast of the two, in the noise, below which an
# outline is faint, and noise (codes: lightness, chroma) that is believed at least.
_BESIDE, _FAINT, _UNSEEN = (slice(5, 8), slice(13, 16)), 6.0, (2.0, 1.2)
# How far from outlines depths matter, pixels, and tiles in which they are worked out.
_FAR_PX, _TILE_PX = 12, 128
# Most rows and columns that OpenCV samples at once.
_ROW = 16_384


@dataclass(frozen=True, slots=True, eq=False)
class Rims:
    """Points on outlines, one row each.

    Parameters
    ----------
    at : ndarray of float32, shape (n, 2)
        Where they lie, pixels.
    normal : ndarray of float32, shape (n, 2)
        Outwards, length 1.
    features : ndarray of float32, shape (n, k)
        What the picture looks like across the outline there.
    ends : ndarray of int, shape (m,)
        Row after the last one of each closed outline.
    """

    at: Floats
    normal: Floats
    features: Floats
    ends: NDArray[np.int64]


def settle_rims(share: Floats, rgb: NDArray[np.uint8]) -> tuple[Floats, Rims]:
    """Share of plant per pixel with the outlines put where they truly lie.

    Parameters
    ----------
    share : ndarray of float32, shape (h, w)
        Share of plant per pixel, 0..1.
    rgb : ndarray of uint8, shape (h, w, 3)
        The picture, sRGB-encoded.

    Returns
    -------
    settled : ndarray of float32, shape (h, w)
        0..1; 0.5 on the outline.
    rims : Rims
        The outlines as they were.
    """
    depth = signed_depth(share)
    rims = read_rims(depth, rgb)
    if not len(rims.at):
        return share, rims
    steps = _along(np.clip(_steps(rims.features), -_LONGEST_PX, _LONGEST_PX), rims, _STEADY_PX)
    return _moved(share > 0.5, depth, steps, rims), rims


def faint_share(rims: Rims, noise: tuple[float, float]) -> float:
    """Share of the outlines along which plant and board hardly differ.

    Parameters
    ----------
    rims : Rims
        As from `settle_rims`.
    noise : tuple of float
        Of the board's light and chroma, 8-bit codes.

    Returns
    -------
    float
        0..1; NaN where there are no outlines.
    """
    if not len(rims.at):
        return float("nan")
    count = len(AWAY_PX)
    ratio, toward = rims.features[:, :count], rims.features[:, count : 2 * count]
    board = np.float32(255) * rims.features[:, 2 * count + 1] + np.float32(_FOOT)
    inner, outer = (np.exp(ratio[:, part].mean(axis=1)) for part in _BESIDE)
    light = (inner - outer) * board / max(noise[0], _UNSEEN[0])
    chroma = np.float32(_CHROMA) * (toward[:, _BESIDE[0]] - toward[:, _BESIDE[1]]).mean(axis=1)
    return float(np.mean(np.hypot(light, chroma / max(noise[1], _UNSEEN[1])) < _FAINT))


def signed_depth(share: Floats) -> Floats:
    """Distance to the outline, pixels, positive inside, up to ``_FAR_PX``; without its stairs."""
    inside = share > 0.5
    signed = np.where(inside, np.float32(_FAR_PX), np.float32(-_FAR_PX))
    for place, around, within in _near_outlines(inside):
        mask = inside[around].view(np.uint8)
        inner = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
        outer = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5)
        part = np.where(mask > 0, inner - np.float32(0.5), np.float32(0.5) - outer)
        signed[place] = cv2.GaussianBlur(part.astype(np.float32), (0, 0), _SMOOTH_PX)[within]
    return signed


Window = tuple[slice, slice]


def _near_outlines(inside: NDArray[np.bool_]) -> Iterator[tuple[Window, Window, Window]]:
    """Places up to ``_FAR_PX`` from outlines.

    Yields
    ------
    tuple of windows
        A place, what is looked at round it, and where the place lies in that.
    """
    edge = cv2.morphologyEx(inside.view(np.uint8), cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    for top in range(0, inside.shape[0], _TILE_PX):
        for left in range(0, inside.shape[1], _TILE_PX):
            tile = edge[top : top + _TILE_PX, left : left + _TILE_PX]
            x, y, wide, high = cv2.boundingRect(tile)
            if wide == 0:
                continue
            begin = np.maximum([top + y - _FAR_PX, left + x - _FAR_PX], 0)
            end = np.minimum([top + y + high + _FAR_PX, left + x + wide + _FAR_PX], inside.shape)
            outer = np.maximum(begin - _FAR_PX - 1, 0)
            around = np.minimum(end + _FAR_PX + 1, inside.shape)
            yield _window(begin, end), _window(outer, around), _window(begin - outer, end - outer)


def _window(begin: NDArray[np.intp], end: NDArray[np.intp]) -> Window:
    return slice(int(begin[0]), int(end[0])), slice(int(begin[1]), int(end[1]))


def read_rims(depth: Floats, rgb: NDArray[np.uint8]) -> Rims:
    """Read the picture across every outline.

    Parameters
    ----------
    depth : ndarray of float32, shape (h, w)
        As from `signed_depth`.
    rgb : ndarray of uint8, shape (h, w, 3)
        The picture, sRGB-encoded.

    Returns
    -------
    Rims
    """
    contours, _ = cv2.findContours(
        (depth > 0).astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE
    )
    kept = [c[:, 0].astype(np.float32) for c in contours if len(c) >= _LEAST_POINTS]
    if not kept:
        none = np.zeros((0, 2), np.float32)
        return Rims(none, none, none, np.zeros(0, np.int64))
    points = np.concatenate(kept)
    ends = np.cumsum([len(c) for c in kept])
    normal = -_slope(depth, points.astype(np.intp))
    normal /= np.maximum(np.hypot(normal[:, :1], normal[:, 1:]), np.float32(1e-3))
    at = points
    for _ in range(3):
        at = at + np.clip(_sampled(depth, at), -1.0, 1.0)[:, None] * normal
    rims = Rims(at, normal, np.zeros((len(at), 0), np.float32), ends)
    return Rims(at, normal, _features(rims, depth, rgb), ends)


def _slope(depth: Floats, points: NDArray[np.intp]) -> Floats:
    """Slope (x, y) at pixels (x, y), both of shape (n, 2), by the kernels of Sobel."""
    height, width = depth.shape
    x, y = (
        [np.abs(last - np.abs(last - (at + step))) for step in (-1, 0, 1)]  # mirrored at the border
        for at, last in zip(points.T, (width - 1, height - 1), strict=True)
    )
    seen = [[depth[row, column] for column in x] for row in y]
    across = sum(w * (row[2] - row[0]) for w, row in zip((1, 2, 1), seen, strict=True))
    down = sum(w * (low - high) for w, high, low in zip((1, 2, 1), seen[0], seen[2], strict=True))
    return np.stack([across, down], axis=-1).astype(np.float32) / np.float32(8)


def _features(rims: Rims, depth: Floats, rgb: NDArray[np.uint8]) -> Floats:
    """Light and chroma across the outline, less the board's, and how wide the plant is."""
    across = rims.at[:, None, :] + AWAY_PX[None, :, None] * rims.normal[:, None, :]
    read = _colours(rgb, across, rims)
    coded = cv2.cvtColor(read / np.float32(255), cv2.COLOR_RGB2YCrCb) * np.float32(255)
    light, red, blue = (_along(coded[..., k], rims, _ALONG_PX) for k in range(3))
    ratio = np.log(np.maximum(light, 0) + np.float32(_FOOT))
    ratio -= ratio[:, _OUTSIDE].mean(axis=1, keepdims=True)
    chroma = np.stack([red, blue])
    chroma -= chroma[:, :, _OUTSIDE].mean(axis=2, keepdims=True)
    axis = chroma[:, :, _INSIDE].mean(axis=2, keepdims=True)
    toward = (chroma * axis).sum(axis=0) / (np.hypot(axis[0], axis[1]) + np.float32(1e-3))
    wide = cv2.dilate(np.minimum(depth, np.float32(_WIDE_PX)), np.ones((13, 13), np.uint8))
    level = [light[:, part].mean(axis=1) / np.float32(255) for part in (_INSIDE, _OUTSIDE)]
    width = _sampled(wide, rims.at) / np.float32(_WIDE_PX)
    return np.column_stack([ratio, toward / np.float32(_CHROMA), *level, width]).astype(np.float32)


def _steps(features: Floats) -> Floats:
    """How far outwards the true outline lies, pixels, shape (n,)."""
    value = features
    layers = _network()
    for number, (weight, shift) in enumerate(layers):
        value = value @ weight + shift
        if number < len(layers) - 1:
            value = np.maximum(value, 0)
    return np.asarray(value[:, 0])


@lru_cache(maxsize=1)
def _network() -> tuple[tuple[Floats, Floats], ...]:
    """Weights and shifts of the layers."""
    numbers = np.array(WEIGHTS.split(), np.float32)
    layers = []
    for inputs, outputs in pairwise(SIZES):
        size = inputs * outputs
        layers.append((numbers[:size].reshape(inputs, outputs), numbers[size : size + outputs]))
        numbers = numbers[size + outputs :]
    return tuple(layers)


def _along(values: Floats, rims: Rims, sigma: float) -> Floats:
    """Gaussian mean along each closed outline."""
    result = np.empty_like(values, np.float32)
    start = 0
    for end in rims.ends:
        part = values[start:end].reshape(end - start, -1)
        reach = min(math.ceil(3 * sigma), len(part))
        padded = np.concatenate([part[-reach:], part, part[:reach]]).astype(np.float32)
        blurred = cv2.GaussianBlur(padded, (1, 2 * reach + 1), sigmaX=0.1, sigmaY=sigma)
        result[start:end] = blurred.reshape(padded.shape)[reach:-reach].reshape(
            values[start:end].shape
        )
        start = int(end)
    return result


def _moved(inside: NDArray[np.bool_], depth: Floats, steps: Floats, rims: Rims) -> Floats:
    """Share of plant per pixel after steps, carried to pixels near by normalised convolution."""
    shape = depth.shape
    total, weight = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    column = np.clip(np.round(rims.at[:, 0]).astype(int), 0, shape[1] - 1)
    row = np.clip(np.round(rims.at[:, 1]).astype(int), 0, shape[0] - 1)
    pixel, which = np.unique(row * shape[1] + column, return_inverse=True)
    total.ravel()[pixel] = np.bincount(which, steps)
    weight.ravel()[pixel] = np.bincount(which)
    share = inside.astype(np.float32)
    for place, around, within in _near_outlines(inside):
        near, some = (cv2.GaussianBlur(p[around], (0, 0), 1.5)[within] for p in (total, weight))
        spread = near / (some + np.float32(1e-3))
        share[place] = np.clip(depth[place] + spread + np.float32(0.5), 0.0, 1.0)
    return share


def _colours(rgb: NDArray[np.uint8], at: Floats, rims: Rims) -> Floats:
    """Colours of a picture between its pixels, shape of ``at`` with 3 for its last axis."""
    read = np.empty((*at.shape[:-1], 3), np.float32)
    start = 0
    for end in rims.ends:
        own = at[start:end]
        low = np.maximum(np.floor(own.min(axis=(0, 1))).astype(int) - 2, 0)
        low = np.minimum(low, np.array(rgb.shape[1::-1]) - 1)
        high = np.ceil(own.max(axis=(0, 1))).astype(int) + 3
        part = rgb[low[1] : max(high[1], low[1] + 1), low[0] : max(high[0], low[0] + 1)]
        part = part.astype(np.float32)
        near = own - low.astype(np.float32)
        for begin in range(0, len(near), _ROW):
            x, y = (np.ascontiguousarray(near[begin : begin + _ROW, :, k]) for k in (0, 1))
            read[start + begin : start + begin + len(x)] = cv2.remap(
                part, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
            )
        start = int(end)
    return read


def _sampled(plane: Floats, at: Floats) -> Floats:
    """Values of a plane between its pixels, in rows that OpenCV can take at once."""
    points = np.ascontiguousarray(at, np.float32).reshape(-1, 2)
    flat = np.pad(points, ((0, -len(points) % _ROW), (0, 0))).reshape(-1, _ROW, 2)
    source = np.asarray(plane, np.float32)
    parts: list[Floats] = []
    for start in range(0, len(flat), _ROW):
        x, y = (np.ascontiguousarray(flat[start : start + _ROW, :, k]) for k in (0, 1))
        parts.append(cv2.remap(source, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    count = math.prod(at.shape[:-1])
    return np.concatenate(parts).reshape(-1)[:count].reshape(at.shape[:-1])
