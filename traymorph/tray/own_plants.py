"""What both views need to tell a tray's own plants from others."""

from collections.abc import Iterable

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.errors import TrayNotFoundError
from traymorph.model.masks import PlantMasks
from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.viewpoint import Viewpoint

CELL_MM = 1.0
MARGIN_MM = 100.0
_RIM_MM = 9.0
"""Usual width of a rim: touching trays part here when leaves hide the seam."""
NEIGHBOUR_BAND_MM = (45.0, 85.0)
"""Where a neighbouring tray's plants would be seen outside the opening."""
_NEIGHBOUR_SHARE = 0.3
"""Plants in that band, relative to those just inside the rim, that speak for a neighbour."""
_SHARE_PER_MM = 0.016
"""So much more plant speaks for a neighbour per mm nearer to the tray: own overhang of rendered
single trays fills at most .71 of the usual at 15 mm, .56 at 25 and .42 at 35; neighbours fill .60
to .91."""
CUT_BAND_MM = (3.0, 45.0)
_LAB_ZERO = np.array([0.0, 128.0, 128.0])
_LAB_UNIT = np.array([100.0 / 255.0, 1.0, 1.0])
"""How the library packs CIELAB into bytes."""
_BRIDGE_CELLS = 5
JOINS_FROM = 0.3
"""Share of plant in a cell from which on it joins its neighbours."""


def neighbour_share(outside_mm: float) -> float:
    """Plants this far outside the opening, relative to those inside, that speak for a neighbour."""
    nearer = max(NEIGHBOUR_BAND_MM[0] - outside_mm, 0.0)
    return _NEIGHBOUR_SHARE + _SHARE_PER_MM * nearer


def unusual_seam(outside_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of plant that a seam between two trays must be thinner by, away from the usual rim."""
    cost: NDArray[np.float64] = 0.1 * ((outside_mm - _RIM_MM) / 12.0) ** 2
    return cost


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
    return _masked(masks, [(everywhere, near.astype(np.float32))])


def seen_on(
    layer: NDArray[np.float32], x: NDArray[np.float32], y: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Read a layer of the masks at the cells of a grid; beyond the photo it is 0."""
    read = cv2.remap(layer, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    return read.astype(np.float32)


def plant_on(
    masks: PlantMasks, x: NDArray[np.float32], y: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Share of plant at the cells of a grid; beyond the photo it is 0."""
    both: NDArray[np.float32] = seen_on(masks.leaf, x, y) + seen_on(masks.stem, x, y)
    return np.minimum(both, np.float32(1.0), out=both)


def held_on(
    shape: tuple[int, ...], x: NDArray[np.float32], y: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Share of the cells of a grid that a picture of that shape holds, as `seen_on` reads it."""
    across, down = (
        np.clip(np.minimum(at + 1.0, length - at), 0.0, 1.0)
        for at, length in ((x, shape[1]), (y, shape[0]))
    )
    held: NDArray[np.float32] = (across * down).astype(np.float32)
    return held


def lab_on(
    rgb: NDArray[np.uint8], x: NDArray[np.float32], y: NDArray[np.float32]
) -> NDArray[np.float32]:
    """CIELAB at the cells of a grid, shape (rows, columns, 3), smoothed over a few pixels."""
    # first to the grid, then to CIELAB: the grid has fewer cells than the picture pixels
    smooth = cv2.GaussianBlur(rgb, (0, 0), 2.0)
    lab = cv2.cvtColor(cv2.remap(smooth, x, y, cv2.INTER_LINEAR), cv2.COLOR_RGB2LAB)
    unpacked: NDArray[np.float32] = ((lab - _LAB_ZERO) * _LAB_UNIT).astype(np.float32)
    return unpacked


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
        return _masked(masks, [])
    columns, rows = (
        slice(
            int(np.clip(at[cells].min() - _AROUND_PX, 0, length)),
            int(np.clip(at[cells].max() + _AROUND_PX, 0, length)),
        )
        for at, length in zip(seen_at, masks.leaf.shape[::-1], strict=True)
    )
    width = columns.stop - columns.start
    if width == 0:  # all of them beyond the photo
        return _masked(masks, [])

    def kept_in(top: int) -> _Part:
        bottom = min(top + _BAND_ROWS, rows.stop)
        at = grid.cells_of_pixels(
            viewpoint, masks.scale, (bottom - top, width), (top, columns.start)
        )
        share = cv2.remap(own, *at, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT)
        return (slice(top, bottom), columns), np.asarray(share, np.float32)

    # in bands, since where all pixels look would take more memory than the masks
    return _masked(masks, map(kept_in, range(rows.start, rows.stop, _BAND_ROWS)))


_Part = tuple[tuple[slice, slice], NDArray[np.float32]]
"""A window of the masks and the share of the plants in it that is kept."""
_BAND_ROWS = 256
_AROUND_PX = 16
"""More pixels than lie from a cell's middle to its border, at any scale that plants are told at."""


def _masked(masks: PlantMasks, parts: Iterable[_Part]) -> PlantMasks:
    """Keep a share of the plants in some windows, nothing elsewhere."""
    layers = (masks.leaf, masks.stem, masks.doubt)
    # pages that nothing is written to cost nothing
    leaf, stem, doubt = kept = [np.zeros(layer.shape, np.float32) for layer in layers]
    for window, share in parts:
        for layer, here in zip(layers, kept, strict=True):
            np.multiply(layer[window], share, out=here[window])
    return PlantMasks(leaf=leaf, stem=stem, scale=masks.scale, method=masks.method, doubt=doubt)
