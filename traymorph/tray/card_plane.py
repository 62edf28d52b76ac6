"""Checks that the overhead card lies at the height that the settings say, by the tray itself.

The same tray looks 5 to 12 per cent larger with the card on the bench than with the card at the
height of the rim. So the opening, whose inside size is known, is sought under both and the fits
are compared. Foliage often hides the rim; then what the card lies on is the better witness: the
bench goes on round it, an upturned tray is black.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.model.card import CardSighting
from traymorph.model.masks import PlantMasks
from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.tray import TrayOpening
from traymorph.model.trial import TraySize
from traymorph.tray.evidence import Plane, blackness, view_of_rim
from traymorph.tray.opening import opening_fits_better, rim_above_card
from traymorph.tray.own_plants import plant_on

_MARGIN = 0.05
"""The other height must fit better by this much: as much as a twentieth of a clear rim."""
_GROUND_WEIGHT = 0.1
"""What the ground under the card counts beside the fit, whose difference is off by about as much
on rendered trays where leaves hide the rim."""
_NEAR_MM, _FAR_MM = (2.0, 7.0), (25.0, 58.0)
"""Distances from the card at which it is looked at what lies under it and what lies beyond."""
_DARK_L, _BLACK_L = 40.0, 32.0
_ALIKE_DE = 10.0
_GOES_ON, _ENDS = 0.6, 0.4
_MOSTLY_BLACK = 0.4
_FEWEST_CELLS = 200
_BARE = 0.3
"""Share of plant below which a place shows the ground."""


def other_plane_fits_better(
    rgb: NDArray[np.uint8],
    masks: PlantMasks,
    sighting: CardSighting,
    size: TraySize,
    opening: TrayOpening,
    canopy_above_rim_mm: float | None = None,
) -> bool:
    """Tell whether the card rather lies at the height that the settings do not say.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        Colour-corrected picture on the pixel grid of the masks.
    masks : PlantMasks
        All plants in the photo.
    sighting : CardSighting
        The card and the camera.
    size : TraySize
        Inside length and width must be known; without the rim's height nothing can be told.
    opening : TrayOpening
        What was found with the card at the height that the settings say.
    canopy_above_rim_mm : float or None
        What it was found with; see `find_opening`.
    """
    if size.rim_above_bench_mm is None:
        return False
    other = "bench" if opening.rim_height_mm == 0.0 else "rim"
    ground = ground_under_card(rgb, masks, sighting)
    if ground == (1 if other == "bench" else -1):
        return False  # the search is long, and what the card lies on agrees with the settings
    witness = _GROUND_WEIGHT * (ground if other == "rim" else -ground)
    view = view_of_rim(
        rgb, masks, sighting.viewpoint, rim_above_card(size, other), sighting.outline_px
    )
    than = opening.fit + _MARGIN - witness
    return opening_fits_better(view, size, canopy_above_rim_mm, than)


def ground_under_card(rgb: NDArray[np.uint8], masks: PlantMasks, sighting: CardSighting) -> int:
    """Tell on what the card lies.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        Colour-corrected picture on the pixel grid of the masks.
    masks : PlantMasks
        All plants in the photo.
    sighting : CardSighting
        The card and the camera.

    Returns
    -------
    int
        1 on something dark that is not the bench, -1 on the bench, 0 where it does not show.
    """
    lab, away = _round_card(rgb, masks, sighting)
    near = lab[(away > _NEAR_MM[0]) & (away < _NEAR_MM[1])]
    far = lab[(away > _FAR_MM[0]) & (away < _FAR_MM[1])]
    if min(len(near), len(far)) < _FEWEST_CELLS:
        return 0
    ground = np.median(near, axis=0)
    alike = float((np.linalg.norm(far - ground, axis=1) < _ALIKE_DE).mean())
    if alike < _ENDS:
        return 1 if ground[0] < _DARK_L else 0
    if alike < _GOES_ON:
        return 0
    if ground[0] > _BLACK_L:
        return -1
    # black as far as one looks: a large upturned tray on a bench that is not black, or the bench
    return 1 if _black_share(rgb, masks) < _MOSTLY_BLACK else 0


def _round_card(
    rgb: NDArray[np.uint8], masks: PlantMasks, sighting: CardSighting
) -> tuple[Plane, Plane]:
    """L*, a*, b* per cell of bare ground round the card, and distance from the card, mm."""
    viewpoint = sighting.viewpoint
    card = viewpoint.on_plane(sighting.outline_px, 0.0)
    low, high = card.min(axis=0) - _FAR_MM[1], card.max(axis=0) + _FAR_MM[1]
    columns, rows = np.ceil(high - low).astype(int)
    grid = PlaneGrid(low, np.array([1.0, 0.0]), 1.0, (int(rows), int(columns)), 0.0)
    x, y = grid.sampling(viewpoint, masks.scale)
    height, width = rgb.shape[:2]
    bare = plant_on(masks, x, y) < _BARE
    shown = (x >= 0) & (y >= 0) & (x < width) & (y < height) & bare
    area = np.ones(grid.shape, np.uint8)
    cv2.fillConvexPoly(area, np.round(grid.cells(card)).astype(np.int32), 0)
    away = np.asarray(cv2.distanceTransform(area, cv2.DIST_L2, 5), np.float32)
    seen = np.asarray(cv2.remap(rgb, x, y, cv2.INTER_LINEAR), np.uint8)
    return _lab(seen)[shown], away[shown]


def _black_share(rgb: NDArray[np.uint8], masks: PlantMasks) -> float:
    """Share of all that is not plant which looks like black plastic."""
    size = (max(1, rgb.shape[1] // 4), max(1, rgb.shape[0] // 4))
    small = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    leaf, stem = (
        cv2.resize(layer, size, interpolation=cv2.INTER_AREA) for layer in (masks.leaf, masks.stem)
    )
    bare = leaf + stem < _BARE
    black = blackness(_lab(small)[..., 0])[bare]
    return float((black > 0.5).mean()) if len(black) else 1.0


def _lab(rgb: NDArray[np.uint8]) -> Plane:
    unit = rgb.astype(np.float32) / np.float32(255.0)
    return np.asarray(cv2.cvtColor(unit, cv2.COLOR_RGB2LAB), np.float32)
