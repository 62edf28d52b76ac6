"""Size of single leaf blades."""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.cut_plants.forms import PlantForm

Floats = NDArray[Any]
Mask = NDArray[np.bool_]
Points = NDArray[np.float64]

_SLICES = 24
_FEWEST_CELLS = 12
_STRIP = 0.05
"""Half width, over the blade's, of the strip in which its base is looked for."""
_OVAL, _LOBED = 0.88, 0.6
"""Share of its hull that a leaflet, and a lobed or notched blade, covers at least."""
_NOTCH_FROM = 0.8
"""Share of the length from which a notched blade has two middles."""


@dataclass(frozen=True, slots=True, eq=False)
class BladeShape:
    """A blade's size, cells.

    Parameters
    ----------
    area, length, width : float
        As in :class:`traymorph.model.cut_plants.Blade`.
    tip : ndarray, shape (2,)
        (x, y) of the far end of its middle.
    """

    area: float
    length: float
    width: float
    tip: Points


def blade_shape(share: Floats, region: Mask, base: Points) -> BladeShape | None:
    """Area, length and width of one blade.

    Parameters
    ----------
    share : ndarray of float32, shape (h, w)
        Share of leaf.
    region : ndarray of bool, shape (h, w)
        Cells of the blade, its soft edge included.
    base : ndarray, shape (2,)
        (x, y) of where the stalk joins.

    Returns
    -------
    BladeShape or None
        None where the region holds next to no leaf.

    Notes
    -----
    The axis runs from the base through the blade's centroid. Length is that of the middles of
    slices across the axis, so that a bent blade reads its own length; width is the greatest
    distance of the outline across the axis.
    """
    area = float(share[region].sum())
    rows, columns = np.nonzero(region & (share >= 0.5))
    if len(rows) < _FEWEST_CELLS:
        return None
    cells = np.column_stack([columns, rows]).astype(np.float64)
    axis = cells.mean(axis=0) - base
    reach = float(np.hypot(*axis))
    if reach < 1.0:
        return None
    axis /= reach
    along = (cells - base) @ axis
    aside = (cells - base) @ np.array([-axis[1], axis[0]])
    start, end = float(along.min()), float(along.max())
    middles, width = _slices(along, aside, start, end)
    strip = np.abs(aside) <= max(_STRIP * width, 1.5)
    first = float(along[strip].min(initial=0.0)) - 0.5  # the stalk's end; lobes may lie behind it
    line = _bent_middle(middles, first, end + 0.5)
    length = float(np.hypot(*np.diff(line, axis=0).T).sum())
    tip = base + line[-1, 0] * axis + line[-1, 1] * np.array([-axis[1], axis[0]])
    return BladeShape(area, length, width, tip)


def is_one_blade(share: Floats, region: Mask, form: PlantForm) -> bool:
    """Whether a region has the outline of a single blade.

    The hull of one blade holds little else, that of several together the gaps between them.

    Parameters
    ----------
    share : ndarray of float32, shape (h, w)
        Share of leaf.
    region : ndarray of bool, shape (h, w)
        Cells of the blade.
    form : PlantForm
        Leaflets and stipules of peas are oval; other blades may have notches and lobes.
    """
    inside = region & (share >= 0.5)
    rows = np.flatnonzero(inside.any(axis=1))
    if len(rows) == 0:
        return True
    first = inside[rows].argmax(axis=1)
    last = inside.shape[1] - 1 - inside[rows, ::-1].argmax(axis=1)
    ends = np.column_stack([np.concatenate([first, last]), np.concatenate([rows, rows])])
    hull = float(cv2.contourArea(cv2.convexHull(ends.astype(np.int32))))
    least = _OVAL if form is PlantForm.HYPOGEAL else _LOBED
    return bool(np.count_nonzero(inside) >= least * hull)


def _bent_middle(middles: Points, first: float, end: float) -> Points:
    """Parabola through the base along the middles; lobes beside a notch do not bend it."""
    inner = middles[(middles[:, 0] > 0.1 * end) & (middles[:, 0] < _NOTCH_FROM * end)]
    places = np.linspace(first, end, _SLICES)
    if len(inner) < 3:
        return np.column_stack([places, np.zeros_like(places)])
    terms = np.column_stack([inner[:, 0], inner[:, 0] ** 2])
    slope, bend = np.linalg.lstsq(terms, inner[:, 1], rcond=None)[0]
    return np.column_stack([places, slope * places + bend * places**2])


def _slices(along: Points, aside: Points, start: float, end: float) -> tuple[Points, float]:
    """Middles (along, aside) of slices across the axis, and the greatest width."""
    count = max(min(_SLICES, int((end - start) / 2.0)), 2)
    edges = np.linspace(start, end, count + 1)
    which = np.clip(np.searchsorted(edges, along, side="right") - 1, 0, count - 1)
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, which, aside)
    np.maximum.at(high, which, aside)
    filled = np.isfinite(low)
    places = (edges[:-1] + edges[1:])[filled] / 2.0
    low, high = low[filled], high[filled]
    return np.column_stack([places, (low + high) / 2.0]), float((high - low).max()) + 0.5
