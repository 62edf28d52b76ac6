"""Soft outlines: a coarse probability brought to the edges of a finer picture.

Around an outline the share of plant in a pixel is close to a linear function of its colour: the
colour of a mixed pixel lies on the line between plant and ground. The guided filter (He, Sun &
Tang 2013, IEEE Trans. PAMI 35(6):1397-1409) fits that function in every window by regularised
least squares; it is also the first step of closed-form matting. It is fitted at the coarse scale
and applied at the fine one (He & Sun 2015, arXiv:1505.00996).
"""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more


def soften(probability: Floats, coarse: Floats, fine: Floats, window_px: int) -> Floats:
    """Share of plant at the fine scale.

    Parameters
    ----------
    probability : ndarray of float32, shape (h, w)
        Of plant, 0..1, at the coarse scale.
    coarse : ndarray of float32, shape (h, w, 3)
        The picture at the coarse scale, values about 0..1.
    fine : ndarray of float32, shape (h', w', 3)
        The picture at the fine scale, same values.
    window_px : int
        Side of the window in pixels of the coarse scale; odd.

    Returns
    -------
    ndarray of float32, shape (h', w')
        0..1.
    """
    slope, offset = _local_line(probability, coarse, window_px)
    size = (fine.shape[1], fine.shape[0])
    share: Floats = cv2.resize(offset, size, interpolation=cv2.INTER_LINEAR)
    for channel in range(3):
        part = cv2.resize(slope[..., channel], size, interpolation=cv2.INTER_LINEAR)
        share += part * fine[..., channel]
    return np.clip(share, 0.0, 1.0)


# Variance of colour (values 0..1) below which a window says nothing about an outline.
_FLAT = 4e-4


def _local_line(probability: Floats, picture: Floats, window_px: int) -> tuple[Floats, Floats]:
    """Slope (h, w, 3) and offset (h, w) of probability against colour around each pixel."""
    window = (window_px, window_px)

    def mean(image: Floats) -> Floats:
        return cv2.blur(image, window, borderType=cv2.BORDER_REFLECT_101).astype(np.float32)

    colour, level = mean(picture), mean(probability)
    cross = mean(picture * probability[..., None]) - colour * level[..., None]
    pairs = [(0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)]
    xx, xy, xz, yy, yz, zz = (
        mean(picture[..., i] * picture[..., j])
        - colour[..., i] * colour[..., j]
        + np.float32(_FLAT if i == j else 0.0)
        for i, j in pairs
    )
    # Inverse of the symmetric 3 x 3 covariance by cofactors.
    c00, c01, c02 = yy * zz - yz * yz, xz * yz - xy * zz, xy * yz - xz * yy
    c11, c12, c22 = xx * zz - xz * xz, xy * xz - xx * yz, xx * yy - xy * xy
    determinant = xx * c00 + xy * c01 + xz * c02
    u, v, w = cross[..., 0], cross[..., 1], cross[..., 2]
    slope = np.stack(
        [
            c00 * u + c01 * v + c02 * w,
            c01 * u + c11 * v + c12 * w,
            c02 * u + c12 * v + c22 * w,
        ],
        axis=-1,
    )
    slope /= np.maximum(determinant, np.float32(1e-12))[..., None]
    offset = level - np.sum(slope * colour, axis=-1)
    return mean(slope), mean(offset)


# Half-width of the band around an outline within which pixels may be mixed.
_BAND_PX = 2
# Side of the window that plant and ground beside the outline are averaged over.
_BESIDE_PX = 11
# Squared distance of plant and ground colour (linear light 0..1) at which their mixture can be
# told as well as the colour model tells the class.
_TELLABLE = 0.004
# Rows and columns worked on at once: their planes fit into a processor's cache, and parts that
# show no outline are passed over.
_PART_PX = (96, 256)


def unmix(share: Floats, rgb: NDArray[np.uint8]) -> Floats:
    """Share of plant in the pixels of an outline, from the colours on its two sides.

    Light adds up in a mixed pixel, so its colour in linear light lies between the mean colours
    of the plant and of the ground beside it, as far along as the plant's share.

    Parameters
    ----------
    share : ndarray of float32, shape (h, w)
        A first share of plant.
    rgb : ndarray of uint8, shape (h, w, 3)
        The picture, sRGB-encoded.

    Returns
    -------
    ndarray of float32, shape (h, w)
        Changed only within two pixels of the outline, and the less, the more alike plant and
        ground are.
    """
    refined: Floats = share.copy()
    rows, columns = share.shape
    margin = _BAND_PX + _BESIDE_PX // 2
    for top in range(0, rows, _PART_PX[0]):
        for left in range(0, columns, _PART_PX[1]):
            bottom, right = min(top + _PART_PX[0], rows), min(left + _PART_PX[1], columns)
            part = (slice(top, bottom), slice(left, right))
            first = (max(top - margin, 0), max(left - margin, 0))
            window = (slice(first[0], bottom + margin), slice(first[1], right + margin))
            within = (
                slice(top - first[0], bottom - first[0]),
                slice(left - first[1], right - first[1]),
            )
            _unmix_part(refined[part], share[window], rgb[window], within)
    return refined


def _unmix_part(
    refined: Floats, share: Floats, rgb: NDArray[np.uint8], within: tuple[slice, slice]
) -> None:
    """Refine one part in place; ``share`` and ``rgb`` reach beyond it, ``within`` says where."""
    inside = (share > 0.5).astype(np.uint8)
    core = cv2.erode(inside, _BAND, borderType=cv2.BORDER_REPLICATE)
    ground = cv2.erode(1 - inside, _BAND, borderType=cv2.BORDER_REPLICATE)
    asked = np.zeros(share.shape, np.bool_)
    asked[within] = (core + ground)[within] == 0
    band = np.flatnonzero(asked)
    if not len(band):
        return
    # linear light, with a fourth channel of ones by which pixels are counted
    linear = cv2.cvtColor(cv2.LUT(rgb, _LINEAR), cv2.COLOR_RGB2RGBA)
    plant_colour, plant_near = _mean_where(core, linear, band)
    ground_colour, ground_near = _mean_where(ground, linear, band)
    across = plant_colour - ground_colour
    length = np.einsum("ij,ij->i", across, across)
    mixed = np.einsum("ij,ij->i", _at(linear, band)[:, :3] - ground_colour, across)
    mixed /= length + np.float32(1e-6)
    trust = length / (length + np.float32(_TELLABLE))
    trust *= plant_near & ground_near
    first = _at(share, band)
    refined[asked[within]] = first + trust * (np.clip(mixed, 0.0, 1.0) - first)


_BAND = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * _BAND_PX + 1, 2 * _BAND_PX + 1))


def _decoded() -> Floats:
    """Linear light of the 256 sRGB-encoded values (IEC 61966-2-1)."""
    v = np.arange(256, dtype=np.float64) / 255.0
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)


_LINEAR = _decoded()


def _mean_where(
    chosen: NDArray[Any], picture: Floats, band: NDArray[np.intp]
) -> tuple[Floats, NDArray[np.bool_]]:
    """Mean colour, (n, 3), of the chosen pixels around those of the band, and if there are any."""
    sums = _at(cv2.blur(cv2.copyTo(picture, chosen), (_BESIDE_PX, _BESIDE_PX)), band)
    near = sums[:, 3]
    return sums[:, :3] / np.maximum(near, np.float32(1e-6))[:, None], near > 1.5 / _BESIDE_PX**2


def _at(layer: Floats, places: NDArray[np.intp]) -> Floats:
    """Values of a layer, shape (n, ...), at flat places, which are read faster than by a mask."""
    return layer.reshape(-1, *layer.shape[2:]).take(places, axis=0)
