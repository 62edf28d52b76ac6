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
_SPREAD_RATIO = 3.0
_SPREAD_CODES = 6.0


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
    neutral, paper : ndarray of bool, shape (n,)
        Greys with the bare paper; the bare paper alone.
    place : ndarray, shape (n, 2)
        Middle of the patch as a share of the card's size, 0 at the card's middle.
    """

    seen: Floats
    nominal: Floats
    usable: NDArray[np.bool_]
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
    middle = np.append(np.mean(layout.outline, axis=0) * print_scale, 0.0)
    mm_per_px = viewpoint.mm_per_px(middle) / print_scale
    points = np.concatenate([_grid(patch, mm_per_px) for patch in layout.patches])
    flat = np.column_stack([points * print_scale, np.zeros(len(points))])
    pixel = np.rint(viewpoint.project(flat)).astype(np.intp)
    height, width = rgb.shape[:2]
    inside = np.all((pixel >= 0) & (pixel < (width, height)), axis=1).reshape(-1, _GRID**2)
    x, y = np.clip(pixel[:, 0], 0, width - 1), np.clip(pixel[:, 1], 0, height - 1)
    codes = rgb[y, x].reshape(-1, _GRID**2, 3)
    clipped = (codes >= _CLIPPED_CODE).any(axis=2).mean(axis=1) > _CLIPPED_SHARE
    seen = _middle_light(codes)
    patches = layout.patches
    return Readings(
        seen=seen,
        nominal=np.array([_printed_light(patch, registered) for patch in patches]),
        usable=inside.all(axis=1) & ~clipped & (seen.max(axis=1) > DARKEST) & _plain(codes),
        neutral=np.array([patch.neutral for patch in patches]),
        paper=np.array([not patch.drawn for patch in patches]),
        place=np.array([patch.corners.mean(axis=0) for patch in patches]) / layout.size - 0.5,
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


def _middle_light(codes: NDArray[np.uint8]) -> Floats:
    """Mean light of the middle 60 % of pixels by brightness: glints and crumbs fall away."""
    order = np.argsort(codes.sum(axis=2, dtype=np.int64), axis=1)[:, :, None]
    ranked = np.take_along_axis(codes, order, axis=1)
    fifth = codes.shape[1] // 5
    light = LINEAR_OF_CODE[ranked[:, fifth:-fifth]].mean(axis=1, dtype=np.float64)
    return np.asarray(light)


def _plain(codes: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Patches of one colour: what lies half under a leaf spreads more than the photo's noise."""
    low, high = np.percentile(codes, (20, 80), axis=1)
    spread = (high - low).max(axis=1)
    return np.asarray(spread < _SPREAD_RATIO * float(np.median(spread)) + _SPREAD_CODES)
