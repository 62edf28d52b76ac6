"""Which plants are the measured tray's own from above.

Plants joined to those over the opening are its own as far as leaves overhang. Where another tray
stands beside, the two are parted by their colours if those differ, and else along the thinnest
foliage between them.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.model.masks import PlantMasks
from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.tray import TrayOpening
from traymorph.model.viewpoint import Viewpoint
from traymorph.tray.behind import chance_there, majority
from traymorph.tray.own_plants import (
    CELL_MM,
    CUT_BAND_MM,
    JOINS_FROM,
    MARGIN_MM,
    NEIGHBOUR_BAND_MM,
    held_on,
    joined_to,
    kept_pixels,
    lab_on,
    neighbour_share,
    plant_on,
    unusual_seam,
)

_OVERHANG_MM = 60.0
"""Leaves do not reach farther over the rim than this; what does is another plant."""
_SURELY_OWN_MM = 15.0
"""A leaf this near the opening belongs to the tray even where its stem is not seen."""
_LEAST_OF_BAND_MM = 10.0
"""With less of the neighbours' band in the photo, as much of the last that it shows is asked."""
_NEAREST_MM = 25.0
"""Nearer to the opening a neighbour is neither looked for nor are its colours learnt."""
_SMOOTH_ALONG_MM = 15.0
_SHORTEST_MM = 60.0
"""A neighbouring tray stands along more of a side than single leaves of the tray itself reach."""
_WITHIN_MM = 10.0
"""So far inside the opening plants are the tray's own whatever hangs in from beside."""
_LEARNT_FROM = 0.6
_FEWEST_CELLS = 500
_ROUNDS = 2
_TOLD_APART, _HINTED = 0.75, 0.05
"""Mean chance of being told rightly, of either stand, from which on colour parts them leaf by leaf,
and from which on it says where along a side the one stand ends and the other begins."""
_COLOUR_PER_MM = 0.4
"""Share of plant that a seam may be thicker by, per mm that it leaves less on the wrong side, to
tell by a chance of being told rightly of 1."""
_INNER_MM = 30.0


def own_overhead(
    rgb: NDArray[np.uint8],
    masks: PlantMasks,
    viewpoint: Viewpoint,
    opening: TrayOpening,
    leaf_height_mm: float,
) -> PlantMasks:
    """Keep the plants of the tray seen from above.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        Colour-corrected picture on the pixel grid of the masks.
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
    plant = plant_on(masks, x, y)
    held = held_on(masks.leaf.shape, x, y)
    outside, side, along = _from_outline(grid.shape, size)
    allowed = outside <= _OVERHANG_MM
    lab = None  # read once, and only where another tray stands on some side
    for k in range(4):
        on_side = side == k
        cut, beside = _cut_line(plant, held, (outside, along), on_side)
        beside &= on_side
        if not beside.any():
            continue
        lab = lab_on(rgb, x, y) if lab is None else lab
        likely, apart = _chance_of_neighbour(lab, plant, outside, beside)
        seen = plant > JOINS_FROM
        if apart <= _TOLD_APART:
            own_colour = _own_colour(likely, seen, outside, beside)
            cut, _ = _cut_line(plant, held, (outside, along), on_side, own_colour)
        within = outside <= cut
        if apart > _TOLD_APART:
            within = (within & ~majority(seen, likely)) | majority(seen, 1.0 - likely)
            within |= outside < 0
        allowed = np.where(beside, within, allowed)
    own = joined_to(plant, allowed, outside <= _SURELY_OWN_MM)
    return kept_pixels(masks, viewpoint, grid, own, (x, y))


def _chance_of_neighbour(
    lab: NDArray[np.float32],
    plant: NDArray[np.float32],
    outside: NDArray[np.float32],
    beside: NDArray[np.bool_],
) -> tuple[NDArray[np.float32], float]:
    """Chance, by its colour, that a cell belongs to the neighbour on one side.

    With it comes the mean chance of being told rightly, of either stand: 0.5 where the two look
    alike, 0 where too little of either is seen.
    """
    likely = np.full_like(plant, 0.5)
    surely = plant > _LEARNT_FROM
    here, shown = surely & (outside < -_WITHIN_MM), surely & beside
    there = shown & (outside > _OVERHANG_MM)
    if there.sum() < _FEWEST_CELLS:  # the photo ends before
        there = shown & (outside > _NEAREST_MM)
    for _ in range(_ROUNDS):  # leaves of the tray itself that reach so far do not teach
        if min(there.sum(), here.sum()) < _FEWEST_CELLS:
            return likely, 0.0
        likely = chance_there(lab, there, here)
        there = there & (likely > 0.5)
    return likely, float(min(likely[there].mean(), 1.0 - likely[here].mean()))


def _own_colour(
    likely: NDArray[np.float32],
    seen: NDArray[np.bool_],
    outside: NDArray[np.float32],
    beside: NDArray[np.bool_],
) -> NDArray[np.float32]:
    """How much nearer a plant's colour is to the tray's own than to the neighbour's, per cell.

    0 where the colours of the two stands do not differ more than `_HINTED`.
    """
    here, there = seen & (outside < -_WITHIN_MM), seen & beside & (outside > _OVERHANG_MM)
    if not (here.any() and there.any()):
        return np.zeros_like(likely)
    own, other = float(likely[here].mean()), float(likely[there].mean())
    if other - own < _HINTED:
        return np.zeros_like(likely)
    return np.where(seen, np.float32((own + other) / 2.0) - likely, np.float32(0.0))


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
    own_colour: NDArray[np.float32] | None = None,
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Say how far outside the opening foliage is thinnest, and where a neighbour stands, per cell.

    ``held`` is 1 where the photo shows a cell, ``place`` the distance outside and along the side,
    ``own_colour`` half where plants look like the tray's own, minus half where like the
    neighbour's: then the seam also has as much as may be of the former within and the latter
    beyond.
    """
    outside, along = place
    layers = [plant, held] if own_colour is None else [plant, held, own_colour]
    smooth, in_photo, *colour = (
        cv2.GaussianBlur(
            _strip(layer, outside, on_side, along),
            (0, 0),
            sigmaX=2.0,
            sigmaY=_SMOOTH_ALONG_MM / CELL_MM,
        ).astype(np.float32)
        for layer in layers
    )
    full = _goes_on(smooth, in_photo).astype(np.uint8)
    length = np.ones((round(_SHORTEST_MM / CELL_MM), 1), np.uint8)
    beside = cv2.morphologyEx(full[:, None], cv2.MORPH_OPEN, length).ravel() > 0
    first = _column(CUT_BAND_MM[0])
    seam = slice(first, _column(CUT_BAND_MM[1] if own_colour is None else _OVERHANG_MM))
    valley = smooth[:, seam] + (in_photo[:, seam] < 0.5)  # beyond the photo nothing parts them
    reach = np.arange(valley.shape[1], dtype=np.float64) * CELL_MM + CUT_BAND_MM[0]
    cost = valley + unusual_seam(reach)
    for own in colour:
        cost = cost - _COLOUR_PER_MM * 2.0 * np.cumsum(own[:, seam], axis=1) * CELL_MM
    cut = reach[np.argmin(cost, axis=1)].astype(np.float32)
    index = np.clip(((along + MARGIN_MM) / CELL_MM).astype(int), 0, len(cut) - 1)
    return cut[index], beside[index]


def _goes_on(strip: NDArray[np.float32], in_photo: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Tell where along a side plants go on farther than the tray's own reach."""
    inner = np.maximum(strip[:, _column(-25.0) : _column(-2.0)].mean(1), 0.3)
    band = slice(_column(NEIGHBOUR_BAND_MM[0]), _column(NEIGHBOUR_BAND_MM[1]))
    shown = in_photo[:, band].sum(1)
    far = strip[:, band].sum(1) / np.maximum(shown, _LEAST_OF_BAND_MM)
    full: NDArray[np.bool_] = far > neighbour_share(NEIGHBOUR_BAND_MM[0]) * inner
    # Where the photo ends before that band, the last that it shows is asked.
    ends = (in_photo[:, _column(0.0) :] > 0.5).sum(1)
    for row in np.flatnonzero((shown < _LEAST_OF_BAND_MM) & (ends >= _NEAREST_MM)):
        last = slice(_column(ends[row] - _LEAST_OF_BAND_MM), _column(ends[row]))
        least = neighbour_share(float(ends[row]) - _LEAST_OF_BAND_MM / 2)
        full[row] = strip[row, last].mean() > least * inner[row]
    return full


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
