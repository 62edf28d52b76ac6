"""Read the card's colour patches and bare paper off the photo."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from skimage.color import lab2xyz

from traymorph.card.layout import CardLayout, Patch
from traymorph.card.transfer import LINEAR_OF_CODE, XYZ_OF_LINEAR, decode_srgb
from traymorph.model.card import RegisteredCard
from traymorph.model.viewpoint import Viewpoint

Floats = NDArray[np.float64]

DARKEST = 5e-4
"""Linear light below which a reading is noise."""

_GRID = 16
_INSET_MM = 1.0
_INSET_PX = 2.5
_CLIPPED_CODE = 252
_CLIPPED_SHARE = 0.2
_CUT_CODE, _CUT_SHARE = 0, 0.2
_BLOCKS = 3
_NEAR_RATIO, _NEAR_CODES = 2.0, 2.0
_FAR_RATIO = 3.0
_FEWEST_BLOCKS = 5


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """What the photo shows of a card's patches, in the layout's order.

    Parameters
    ----------
    seen : ndarray, shape (n, 3)
        Linear light by the sRGB curve.
    nominal : ndarray, shape (n, 3)
        Linear light as printed.
    usable : ndarray of bool, shape (n,)
        Within the photo, neither clipped nor black, and of one colour all over.
    cut : ndarray of bool, shape (n, 3)
        Channels that the phone cut off at nought in a good part of the patch: what is seen of them
        is the most that they can be.
    neutral, paper : ndarray of bool, shape (n,)
        Greys with the bare paper; the bare paper alone.
    place : ndarray, shape (n, 2)
        Middle of the patch from the card's middle, mm as laid out.
    """

    seen: Floats
    nominal: Floats
    usable: NDArray[np.bool_]
    cut: NDArray[np.bool_]
    neutral: NDArray[np.bool_]
    paper: NDArray[np.bool_]
    place: Floats

    @property
    def printed(self) -> NDArray[np.bool_]:
        """Usable patches that are printed, shape (n,)."""
        return self.usable & ~self.paper


def read_patches(
    rgb: NDArray[np.uint8],
    layout: CardLayout,
    viewpoint: Viewpoint,
    print_scale: float,
    registered: RegisteredCard | None = None,
) -> Readings:
    """Read all patches.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (height, width, 3)
        The upright photo.
    layout : CardLayout
        The card in it.
    viewpoint : Viewpoint
        Where the camera stood.
    print_scale : float
        Printed size over nominal size.
    registered : RegisteredCard or None
        The colours that this print has; None for the nominal ones.
    """
    middle_mm = layout.outline.mean(axis=0)
    middle = np.append(middle_mm * print_scale, 0.0)
    mm_per_px = viewpoint.mm_per_px(middle) / print_scale
    points = np.concatenate([_grid(patch, mm_per_px) for patch in layout.patches])
    flat = np.column_stack([points * print_scale, np.zeros(len(points))])
    pixel = np.rint(viewpoint.project(flat)).astype(np.intp)
    height, width = rgb.shape[:2]
    inside = np.all((pixel >= 0) & (pixel < (width, height)), axis=1).reshape(-1, _GRID**2)
    x, y = np.clip(pixel[:, 0], 0, width - 1), np.clip(pixel[:, 1], 0, height - 1)
    codes = rgb[y, x].reshape(-1, _GRID**2, 3)
    paper = np.array([not patch.drawn for patch in layout.patches])
    clean = _clean(codes, paper)
    seen = _middle_light(codes, clean)
    patches = layout.patches
    return Readings(
        seen=seen,
        nominal=np.array([_printed_light(patch, registered) for patch in patches]),
        usable=inside.all(axis=1)
        & clean.any(axis=1)
        & ~_clipped(codes)
        & (seen.max(axis=1) > DARKEST),
        cut=(codes <= _CUT_CODE).mean(axis=1) > _CUT_SHARE,
        neutral=np.array([patch.neutral for patch in patches]),
        paper=paper,
        place=np.array([patch.corners.mean(axis=0) for patch in patches]) - middle_mm,
    )


def _printed_light(patch: Patch, registered: RegisteredCard | None) -> Floats:
    """Linear sRGB of a patch: as registered, else as the layout means it."""
    if registered is None or patch.name not in registered.lab:
        return decode_srgb(np.array(patch.rgb) / 255.0)
    xyz = lab2xyz(np.array(registered.lab[patch.name]), illuminant="D65", observer="2")
    return np.asarray(np.linalg.solve(XYZ_OF_LINEAR, xyz))


def _grid(patch: Patch, mm_per_px: float) -> Floats:
    """Points spread over a patch, away from its edges, shape (_GRID ** 2, 2), mm."""
    wanted = max(_INSET_MM, _INSET_PX * mm_per_px)
    share = (np.arange(_GRID) + 0.5) / _GRID
    lines = []
    for start, length in ((patch.x, patch.width), (patch.y, patch.height)):
        inset = min(wanted, 0.3 * length)
        lines.append(start + inset + (length - 2.0 * inset) * share)
    return np.stack(np.meshgrid(*lines), axis=-1).reshape(-1, 2)


def _clipped(codes: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Patches of which a channel is cut off above in a good part of the pixels."""
    return np.asarray((codes >= _CLIPPED_CODE).mean(axis=1).max(axis=1) > _CLIPPED_SHARE)


def _middle_light(codes: NDArray[np.uint8], clean: NDArray[np.bool_]) -> Floats:
    """Mean light of the middle 60 % of clean pixels by brightness: glints and crumbs fall away."""
    light = np.zeros((len(codes), 3))
    for patch, (pixels, keep) in enumerate(zip(codes, clean, strict=True)):
        kept = pixels[keep] if keep.any() else pixels
        fifth = len(kept) // 5
        order = np.argsort(kept.sum(axis=1, dtype=np.int64))[fifth:-fifth]
        light[patch] = LINEAR_OF_CODE[kept[order]].mean(axis=0, dtype=np.float64)
    return light


def _clean(codes: NDArray[np.uint8], paper: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Pixels of each patch that show nothing but the patch, shape (n, _GRID ** 2).

    None where the patch is not of one colour. What print, noise and blur do to all patches is
    allowed for. A corner under a leaf is far off the rest and is cut away; a shadow's edge or a
    glint differs little from one third of the patch to the next and spoils all of it.
    """
    square = codes.reshape(-1, _GRID, _GRID, 3)
    blocks = np.array_split(np.arange(_GRID), _BLOCKS)
    means = np.array([[square[:, i][:, :, j].mean(axis=(1, 2)) for j in blocks] for i in blocks])
    off = np.abs(means - np.median(means, axis=(0, 1))).max(axis=-1)  # rows, columns, patches
    clean = np.zeros(square.shape[:3], dtype=np.bool_)
    for kind in (paper, ~paper):  # the paper's places are so narrow that print beside them shows
        usual = np.median(off[..., kind].max(axis=(0, 1)))
        near = off < _NEAR_RATIO * usual + _NEAR_CODES
        far = off > _FAR_RATIO * (_NEAR_RATIO * usual + _NEAR_CODES)
        plain = kind & (near | far).all(axis=(0, 1)) & (near.sum(axis=(0, 1)) >= _FEWEST_BLOCKS)
        for patch in np.flatnonzero(plain):
            for i, j in np.argwhere(near[..., patch]):
                clean[patch][np.ix_(blocks[i], blocks[j])] = True
    return clean.reshape(len(codes), -1)
