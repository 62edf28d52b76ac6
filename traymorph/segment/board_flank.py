"""The shaded flank of bright stems, which falls to the lightness of the board beside it.

A stem is a rod: where light comes from one side, its far flank darkens steadily to about the
board's lightness, and a share found from lightness ends on the way. But there the stem keeps the
light from the board too: right beside it the board is darker still. So the outline lies where,
going outwards from the lit part, light falls most steeply in proportion before it rises again
(contact shadow; steepest descent along the normal as in active contours, Kass et al. 1988,
Int. J. Comput. Vision 1:321-331).
"""

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more
Flags = NDArray[np.bool_]

# How far beyond the first outline the flank may reach, mm.
_REACH_MM = 1.1
# Samples per pixel along the normal, and half the distance over which a fall is taken, pixels.
_PER_PX, _HALF_PX = 2, 1.0
# Lengths of outline, mm, over which profiles are averaged and the outline is smoothed.
_ALONG_MM, _SMOOTH_MM = 0.8, 1.5
# Codes added before light is compared in proportion: below, noise decides.
_FOOT = 12.0
# Least fall, as a logarithm, at the flank's outline, and how much steeper than at the first one.
_LEAST_FALL, _STEEPER = 0.25, 1.0
# Rise, as a logarithm, at which the shadow beside the stem ends.
_RISE = 0.08
# Least shift that is believed, pixels, and least length of an outline, pixels.
_LEAST_SHIFT_PX, _LEAST_POINTS = 0.75, 24
# Subdivision of pixels in which the flank is drawn.
_FINER = 4


def with_flanks(share: Floats, pale_rod: Flags, rgb: NDArray[np.uint8], mm_per_px: float) -> None:
    """Add the shaded flanks of bright stems to the share of plant, in place.

    Parameters
    ----------
    share : ndarray of float32, shape (h, w)
        Share of plant per pixel, 0..1.
    pale_rod : ndarray of bool, shape (h, w)
        Where plants are stems that are lighter than the board and of about its chroma.
    rgb : ndarray of uint8, shape (h, w, 3)
        The picture, sRGB-encoded.
    mm_per_px : float
        Size of a pixel.
    """
    contours, _ = cv2.findContours(
        (share > 0.5).astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE
    )
    for contour in contours:
        points = contour[:, 0].astype(np.float32)
        own = pale_rod[contour[:, 0, 1], contour[:, 0, 0]]
        if len(points) < _LEAST_POINTS or not own.any():
            continue
        outline, normal = _outline(points)
        corner, light = _light_round(rgb, points, mm_per_px)
        shift = _shifts(light, outline - corner, normal, mm_per_px)
        shift = np.where(own, shift, np.float32(0.0))
        shift = _steady(shift, mm_per_px)
        _draw(share, outline, normal, shift)


def _light_round(rgb: NDArray[np.uint8], points: Floats, mm_per_px: float) -> tuple[Floats, Floats]:
    """Logarithm of the light round an outline, and (x, y) of its first pixel."""
    margin = math.ceil(_REACH_MM / mm_per_px + _HALF_PX) + 8
    low = np.maximum(points.min(axis=0).astype(int) - margin, 0)
    high = points.max(axis=0).astype(int) + margin
    part = rgb[low[1] : high[1], low[0] : high[0]]
    light = cv2.cvtColor(part, cv2.COLOR_RGB2GRAY).astype(np.float32)
    return low.astype(np.float32), np.log(light + np.float32(_FOOT))


def _outline(points: Floats) -> tuple[Floats, Floats]:
    """Smooth outline and its outward normals."""
    outline = _along(points, 2.0)
    smooth = _along(points, 4.0)
    tangent = np.roll(smooth, -2, axis=0) - np.roll(smooth, 2, axis=0)
    tangent /= np.maximum(np.hypot(tangent[:, :1], tangent[:, 1:]), np.float32(1e-3))
    return outline, np.stack([-tangent[:, 1], tangent[:, 0]], axis=-1)


def _along(values: Floats, sigma: float) -> Floats:
    """Gaussian mean along a closed outline."""
    reach = min(math.ceil(3 * sigma), len(values))
    padded = np.concatenate([values[-reach:], values, values[:reach]]).astype(np.float32)
    return np.asarray(
        cv2.GaussianBlur(padded, (1, 2 * reach + 1), sigmaX=0.1, sigmaY=sigma)[reach:-reach]
    )


def _shifts(light: Floats, outline: Floats, normal: Floats, mm_per_px: float) -> Floats:
    """How far outwards the steepest fall of light lies, pixels; 0 where the outline is right."""
    half = round(_HALF_PX * _PER_PX)
    steps = np.arange(-3 * _PER_PX, round(_REACH_MM / mm_per_px * _PER_PX) + half + 1)
    away = (steps / np.float32(_PER_PX)).astype(np.float32)
    profile = _sampled(light, outline[:, None, :] + away[None, :, None] * normal[:, None, :])
    profile = _along(profile, _ALONG_MM / mm_per_px / 2)
    lowest = np.minimum.accumulate(profile, axis=1)
    risen = np.maximum.accumulate(profile > lowest + np.float32(_RISE), axis=1)
    fall = profile[:, : -2 * half] - profile[:, 2 * half :]
    fall = np.where(risen[:, half:-half], np.float32(0.0), fall)
    away = away[half:-half]
    first = fall[:, np.abs(away) <= 1.0].max(axis=1)
    outer = np.where(away > 0, fall, np.float32(0.0))
    best = outer.argmax(axis=1)
    steepest = outer[np.arange(len(best)), best]
    moved = (steepest > _LEAST_FALL) & (steepest > _STEEPER * first)
    return np.asarray(np.where(moved, away[best], np.float32(0.0)), np.float32)


def _sampled(plane: Floats, at: Floats) -> Floats:
    x, y = (np.ascontiguousarray(at[..., k], np.float32) for k in (0, 1))
    found = cv2.remap(plane, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(found.reshape(at.shape[:-1]))


def _steady(shift: Floats, mm_per_px: float) -> Floats:
    """Median along the outline: single places do not jut out."""
    reach = max(round(_SMOOTH_MM / mm_per_px / 2), 1)
    padded = np.concatenate([shift[-reach:], shift, shift[:reach]])
    if len(padded) < len(shift) + 2 * reach:
        return np.zeros_like(shift)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    middle = np.median(windows, axis=1).astype(np.float32)
    middle[middle < _LEAST_SHIFT_PX] = 0.0
    return np.asarray(middle)


def _draw(share: Floats, outline: Floats, normal: Floats, shift: Floats) -> None:
    """Fill between the outline and where it has moved to."""
    moved = np.flatnonzero((shift > 0) & (np.roll(shift, -1) > 0))
    if not len(moved):
        return
    following = (moved + 1) % len(outline)
    inner, outer = outline - normal, outline + shift[:, None] * normal
    quads = np.stack([inner[moved], outer[moved], outer[following], inner[following]], axis=1)
    low = np.maximum(np.floor(quads.min(axis=(0, 1))).astype(int) - 1, 0)
    high = np.minimum(np.ceil(quads.max(axis=(0, 1))).astype(int) + 2, share.shape[::-1])
    finer = (quads - low + 0.5) * _FINER - 0.5
    canvas = np.zeros(((high - low)[::-1] * _FINER).tolist(), np.uint8)
    for quad in np.round(finer * 16).astype(np.int32):
        cv2.fillConvexPoly(canvas, quad, 255, cv2.LINE_8, 4)
    drawn = cv2.resize(canvas, (high - low).tolist(), interpolation=cv2.INTER_AREA)
    part = share[low[1] : high[1], low[0] : high[0]]
    np.maximum(part, drawn.astype(np.float32) / np.float32(255), out=part)
