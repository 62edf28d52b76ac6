"""Which plants are the measured tray's own from above, and what the side view does likewise."""

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.errors import TrayNotFoundError
from traymorph.model.masks import PlantMasks
from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.tray import TrayOpening
from traymorph.model.viewpoint import Viewpoint

CELL_MM = 1.0
MARGIN_MM = 100.0
_OVERHANG_MM = 60.0
"""Leaves do not reach farther over the rim than this; what does is another plant."""
_SURELY_OWN_MM = 15.0
"""A leaf this near the opening belongs to the tray even where its stem is not seen."""
RIM_MM = 9.0
"""Usual width of a rim: touching trays part here when leaves hide the seam."""
NEIGHBOUR_BAND_MM = (45.0, 85.0)
"""Where a neighbouring tray's plants would be seen outside the opening."""
NEIGHBOUR_SHARE = 0.3
"""Plants in that band, relative to those just inside the rim, that speak for a neighbour."""
_LEAST_OF_BAND_MM = 10.0
"""With less of that band in the photo, nobody stands there."""
CUT_BAND_MM = (3.0, 45.0)
_SMOOTH_ALONG_MM = 15.0
_BRIDGE_CELLS = 5
JOINS_FROM = 0.3
"""Share of plant in a cell from which on it joins its neighbours."""


def own_overhead(
    masks: PlantMasks, viewpoint: Viewpoint, opening: TrayOpening, leaf_height_mm: float
) -> PlantMasks:
    """Keep the plants of the tray seen from above.

    In the plane of the leaves, plants joined to those over the opening are its own as far as
    leaves overhang. Where plants go on beyond, another tray stands there, and the cut runs along
    the thinnest foliage between the two, or along the rim where the canopies are closed.

    Parameters
    ----------
    masks : PlantMasks
        All plants in the photo.
    viewpoint : Viewpoint
        The camera in the card's frame.
    opening : TrayOpening
        The tray's opening.
    leaf_height_mm : float
        Mean height of the visible leaf above the card's face.

    Returns
    -------
    PlantMasks
        Same grid, plants elsewhere set to 0.
    """
    grid, size = _grid_over(opening, leaf_height_mm)
    x, y = grid.sampling(viewpoint, masks.scale)
    plant = seen_on(masks.plant, x, y)
    held = seen_on(np.ones_like(masks.leaf), x, y)
    outside, side, along = _from_outline(grid.shape, size)
    allowed = outside <= _OVERHANG_MM
    for k in range(4):
        cut = _cut_line(plant, held, (outside, along), side == k)
        allowed &= ~((side == k) & (outside > cut))
    own = joined_to(plant, allowed, outside <= _SURELY_OWN_MM)
    return kept_pixels(masks, viewpoint, grid, own, (x, y))


def largest_plants(masks: PlantMasks) -> PlantMasks:
    """Keep the largest connected region of plants, for trays whose size is not known.

    Parameters
    ----------
    masks : PlantMasks
        All plants in the photo.

    Returns
    -------
    PlantMasks
        Same grid, all but the largest region set to 0.

    Raises
    ------
    TrayNotFoundError
        When the photo shows no plant.
    """
    binary = (masks.plant > JOINS_FROM).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(binary, connectivity=8)
    if count == 1:  # label 0 is the background
        msg = "No plant was found in the photo."
        raise TrayNotFoundError(
            msg,
            hint="Check that the photo shows the tray, in white light and in focus.",
        )
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    near = cv2.dilate((labels == largest).astype(np.uint8), np.ones((5, 5), np.uint8))
    everywhere = (slice(None), slice(None))
    return _masked(masks, everywhere, near.astype(np.float32))


def seen_on(
    layer: NDArray[np.float32], x: NDArray[np.float32], y: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Read a layer of the masks at the cells of a grid; beyond the photo it is 0."""
    read = cv2.remap(layer, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    return read.astype(np.float32)


def _grid_over(opening: TrayOpening, height_mm: float) -> tuple[PlaneGrid, NDArray[np.float64]]:
    a, b, _, d = opening.corners_mm
    size = np.array([np.hypot(*(b - a)), np.hypot(*(d - a))])
    along = (b - a) / size[0]
    across = np.array([-along[1], along[0]])
    origin = a - MARGIN_MM * (along + across)
    columns, rows = np.ceil((size + 2 * MARGIN_MM) / CELL_MM).astype(int) + 1
    return PlaneGrid(origin, along, CELL_MM, (int(rows), int(columns)), height_mm), size


def _from_outline(
    shape: tuple[int, int], size: NDArray[np.float64]
) -> tuple[NDArray[np.float32], NDArray[np.int8], NDArray[np.float32]]:
    """Distance outside the opening, nearest side, and place along that side, per cell."""
    u = (np.arange(shape[1]) * CELL_MM - MARGIN_MM).astype(np.float32)[None, :]
    v = (np.arange(shape[0]) * CELL_MM - MARGIN_MM).astype(np.float32)[:, None]
    length, width = np.float32(size[0]), np.float32(size[1])
    distances = np.stack(np.broadcast_arrays(-v, u - length, v - width, -u))
    side = np.argmax(distances, axis=0).astype(np.int8)
    along = np.where(side % 2 == 0, u, v).astype(np.float32)
    return distances.max(0).astype(np.float32), side, along


def _cut_line(
    plant: NDArray[np.float32],
    held: NDArray[np.float32],
    place: tuple[NDArray[np.float32], NDArray[np.float32]],
    on_side: NDArray[np.bool_],
) -> NDArray[np.float32]:
    """How far outside the opening the tray's plants may reach on one side, per cell.

    ``held`` is 1 where the photo shows a cell, ``place`` the distance outside and along the side.
    """
    outside, along = place
    smooth, in_photo = (
        cv2.GaussianBlur(
            _strip(layer, outside, on_side, along),
            (0, 0),
            sigmaX=2.0,
            sigmaY=_SMOOTH_ALONG_MM / CELL_MM,
        )
        for layer in (plant, held)
    )
    inner = smooth[:, _column(-25.0) : _column(-2.0)].mean(1)
    band = slice(_column(NEIGHBOUR_BAND_MM[0]), _column(NEIGHBOUR_BAND_MM[1]))
    # a neighbour that the photo's edge cuts off fills what is seen of the band
    far = smooth[:, band].sum(1) / np.maximum(in_photo[:, band].sum(1), _LEAST_OF_BAND_MM)
    beside = far > NEIGHBOUR_SHARE * np.maximum(inner, 0.3)
    first = _column(CUT_BAND_MM[0])
    valley = smooth[:, first : _column(CUT_BAND_MM[1])]
    reach = np.arange(valley.shape[1]) * CELL_MM + CUT_BAND_MM[0]
    unusual = 0.1 * ((reach - RIM_MM) / 12.0) ** 2
    cut = reach[np.argmin(valley + unusual, axis=1)]
    limit = np.where(beside, cut, _OVERHANG_MM).astype(np.float32)
    index = np.clip(((along + MARGIN_MM) / CELL_MM).astype(int), 0, len(limit) - 1)
    reach_of_cells: NDArray[np.float32] = limit[index]
    return reach_of_cells


_INNER_MM = 30.0


def _column(outside_mm: float) -> int:
    return round((outside_mm + _INNER_MM) / CELL_MM)


def _strip(
    plant: NDArray[np.float32],
    outside: NDArray[np.float32],
    on_side: NDArray[np.bool_],
    along: NDArray[np.float32],
) -> NDArray[np.float32]:
    """Plant by place along the side (rows) and distance outside, from -30 mm on (columns)."""
    columns = _column(MARGIN_MM)
    rows = int((along[on_side].max(initial=0.0) + MARGIN_MM) / CELL_MM) + 1
    use = on_side & (outside >= -_INNER_MM) & (outside < MARGIN_MM)
    r = np.clip(((along[use] + MARGIN_MM) / CELL_MM).astype(int), 0, rows - 1)
    c = np.clip(((outside[use] + _INNER_MM) / CELL_MM).astype(int), 0, columns - 1)
    strip = np.zeros((rows, columns), np.float32)
    strip[r, c] = plant[use]
    return strip


def joined_to(
    plant: NDArray[np.float32], allowed: NDArray[np.bool_], seed: NDArray[np.bool_]
) -> NDArray[np.float32]:
    """Mark plant joined to cells in ``seed`` through allowed cells; 1 also just around it."""
    binary = (plant > JOINS_FROM).astype(np.uint8)
    # stems thinner than a cell break up: what lies within a few millimetres belongs together
    bridged = cv2.dilate(binary, np.ones((_BRIDGE_CELLS, _BRIDGE_CELLS), np.uint8))
    _, labels = cv2.connectedComponents(bridged * allowed.astype(np.uint8), connectivity=8)
    keep = np.zeros(labels.max() + 1, bool)
    keep[np.unique(labels[seed])] = True
    keep[0] = False
    own: NDArray[np.float32] = ((keep[labels] | seed) & allowed).astype(np.float32)
    return own


def kept_pixels(
    masks: PlantMasks,
    viewpoint: Viewpoint,
    grid: PlaneGrid,
    own: NDArray[np.float32],
    seen_at: tuple[NDArray[np.float32], NDArray[np.float32]],
) -> PlantMasks:
    """Keep the pixels that look at own cells, which lie at ``seen_at`` (x, y) in the picture."""
    cells = own > 0
    if not cells.any():
        return _masked(masks, (slice(0), slice(0)), np.zeros((0, 0), np.float32))
    columns, rows = (
        slice(
            int(np.clip(at[cells].min() - _AROUND_PX, 0, length)),
            int(np.clip(at[cells].max() + _AROUND_PX, 0, length)),
        )
        for at, length in zip(seen_at, masks.leaf.shape[::-1], strict=True)
    )
    shape = (rows.stop - rows.start, columns.stop - columns.start)
    if 0 in shape:  # all of them beyond the photo
        return _masked(masks, (slice(0), slice(0)), np.zeros((0, 0), np.float32))
    share = cv2.remap(
        own,
        *grid.cells_of_pixels(viewpoint, masks.scale, shape, (rows.start, columns.start)),
        cv2.INTER_NEAREST,
        borderMode=cv2.BORDER_CONSTANT,
    )
    return _masked(masks, (rows, columns), np.asarray(share, np.float32))


_AROUND_PX = 16
"""More pixels than lie from a cell's middle to its border, at any scale that plants are told at."""


def _masked(
    masks: PlantMasks, window: tuple[slice, slice], share: NDArray[np.float32]
) -> PlantMasks:
    """Keep a share of the plants in a window, nothing elsewhere."""
    layers = []
    for layer in (masks.leaf, masks.stem, masks.doubt):
        kept = np.zeros(layer.shape, np.float32)  # pages that nothing is written to cost nothing
        np.multiply(layer[window], share, out=kept[window])
        layers.append(kept)
    leaf, stem, doubt = layers
    return PlantMasks(leaf=leaf, stem=stem, scale=masks.scale, method=masks.method, doubt=doubt)
