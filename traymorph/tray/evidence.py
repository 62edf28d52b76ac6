"""What a reduced photo shows in the plane of the tray's rim: lightness, plants, what is in view."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.model.masks import PlantMasks
from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.viewpoint import Viewpoint

FINE_MM = 1.0
"""Cell of the evidence, mm: a rim is 6 to 12 mm wide, so its edges stay apart."""

_FARTHEST_MM = 1200.0
"""No tray is sought farther than this from the point below the camera: at the flat angles beyond,
a pixel covers more than a rim."""

_CARD_MARGIN_MM = 15.0
"""What a card lies on shows round it: its dark edge beside white paper looks like a rim."""

_BLACK_L, _GREY_L = 25.0, 45.0
"""Lightness of a black rim in corrected colour, gloss included, and of what is not black."""

Plane = NDArray[np.float32]
Bytes = NDArray[np.uint8]

SHARE_UNIT, L_UNIT, HUE_ZERO = np.float32(1.0 / 255.0), np.float32(100.0 / 255.0), 128
"""Maps are kept in bytes, which a processor's cache holds whole: what a unit of shares and of L*
is, and which byte stands for a* and b* of 0."""


@dataclass(frozen=True, slots=True, eq=False)
class RimEvidence:
    """Maps on one grid in the plane of the rim, under a canopy of one height.

    Parameters
    ----------
    grid : PlaneGrid
        Cells of 1 mm at rim height.
    lightness : ndarray of uint8, shape (rows, columns)
        CIELAB L* of what is seen through each cell, in units of `L_UNIT`.
    bare : ndarray of uint8, shape (rows, columns)
        Share of the cell that is in the photo and shows no plant, in units of `SHARE_UNIT`.
    canopy_layers : ndarray of uint8, shape (rows, columns, 4)
        Plant, shifted to where it stands if it is seen at the height of the outermost leaves, and
        how much of the cell was looked at, 0 beyond the photo, both in units of `SHARE_UNIT`; and
        a* and b* of what stands there times its share of plant, from `HUE_ZERO` on.
    leaves_above_rim_mm : float
        Height above the rim at which the canopy was read.
    photo_turn_deg : float
        Turn of the photo's longer edges in the grid.
    """

    grid: PlaneGrid
    lightness: Bytes
    bare: Bytes
    canopy_layers: Bytes
    leaves_above_rim_mm: float
    photo_turn_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class RimView:
    """A reduced photo and what it shows in the plane of the rim, whatever the canopy's height.

    Parameters
    ----------
    viewpoint : Viewpoint
        The camera.
    grid : PlaneGrid
        Cells of 1 mm at rim height that hold the whole photo.
    canopy : ndarray of uint8, shape (h, w, 4)
        Share of plant in the photo, reduced to pixels of about 1 mm; all, for they are looked at;
        and CIELAB a* and b* of the same pixels times their share of plant: in the units of
        `RimEvidence`.
    scale : float
        Photo pixels per pixel of it.
    lightness, bare : ndarray of uint8, shape (rows, columns)
        As of `RimEvidence`.
    """

    viewpoint: Viewpoint
    grid: PlaneGrid
    canopy: Bytes
    scale: float
    lightness: Bytes
    bare: Bytes

    def under_canopy(self, leaves_above_rim_mm: float) -> RimEvidence:
        """Say where plants stand if their outermost leaves are so high above the rim.

        Parameters
        ----------
        leaves_above_rim_mm : float
            A guess will do.
        """
        grid = self.grid
        raised = replace(grid, height_mm=grid.height_mm + leaves_above_rim_mm)
        x, y = raised.sampling(self.viewpoint, self.scale)
        canopy = cv2.remap(
            self.canopy,
            x,
            y,
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=(0, 0, HUE_ZERO, HUE_ZERO),
        )
        return RimEvidence(
            grid=grid,
            lightness=self.lightness,
            bare=self.bare,
            canopy_layers=np.asarray(canopy, np.uint8),
            leaves_above_rim_mm=leaves_above_rim_mm,
            photo_turn_deg=_photo_turn(self.viewpoint, grid.height_mm),
        )


def blackness(lightness: Plane) -> Plane:
    """How much a place looks like black plastic, 0 to 1, from its lightness L*."""
    black: Plane = np.clip((_GREY_L - lightness) / (_GREY_L - _BLACK_L), 0.0, 1.0)
    return black


def reduced_to(
    rgb: NDArray[np.uint8], masks: PlantMasks, mm_per_pixel: float, target_mm: float
) -> tuple[NDArray[np.uint8], Plane, float]:
    """Picture and plant mask shrunk so that a pixel covers about ``target_mm``.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        Picture on the pixel grid of the masks.
    masks : PlantMasks
        Soft masks.
    mm_per_pixel : float
        What a pixel of the masks covers now.
    target_mm : float
        What a pixel should cover; finer pictures are averaged, coarser ones left alone.

    Returns
    -------
    tuple of (ndarray, ndarray of float32, float)
        Picture, plant share, and photo pixels per pixel of both.
    """
    factor = target_mm / mm_per_pixel
    plant = masks.plant
    if factor <= 1.0:
        return rgb, plant, masks.scale
    height, width = plant.shape
    size = (max(1, round(width / factor)), max(1, round(height / factor)))
    small = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    share = cv2.resize(plant, size, interpolation=cv2.INTER_AREA)
    return small.astype(np.uint8), share.astype(np.float32), masks.scale * width / size[0]


def view_of_rim(
    rgb: NDArray[np.uint8],
    masks: PlantMasks,
    viewpoint: Viewpoint,
    rim_height_mm: float,
    card_outline_px: NDArray[np.float64],
) -> RimView:
    """Carry a reduced photo to the plane of the rim.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        Colour-corrected picture on the pixel grid of the masks.
    masks : PlantMasks
        Everything green, neighbours too.
    viewpoint : Viewpoint
        The camera.
    rim_height_mm : float
        Height of the rim above the card's face, mm.
    card_outline_px : ndarray, shape (4, 2)
        The card's corners in the photo: no rim is seen on the card or just round it.

    Returns
    -------
    RimView
        Maps of the whole photo.
    """
    grid = _whole_view(viewpoint, rim_height_mm)
    centre = np.array(
        [
            *grid.points_mm(np.array([grid.shape[0] / 2.0]), np.array([grid.shape[1] / 2.0]))[0],
            rim_height_mm,
        ]
    )
    mm_per_pixel = viewpoint.mm_per_px(centre) * masks.scale
    small, plant, scale = reduced_to(rgb, masks, mm_per_pixel, FINE_MM)
    x, y = grid.sampling(viewpoint, scale)
    colour = cv2.remap(small, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    lightness = cv2.extractChannel(cv2.cvtColor(colour, cv2.COLOR_RGB2LAB), 0)
    seen = cv2.remap(plant, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    bare = _in_bytes((1.0 - seen) * _within(x, y, plant.shape))
    bare[_card_cells(card_outline_px, viewpoint, grid)] = 0
    return RimView(
        viewpoint=viewpoint,
        grid=grid,
        canopy=_canopy(small, plant),
        scale=scale,
        lightness=np.asarray(lightness, np.uint8),
        bare=bare,
    )


def _in_bytes(share: Plane) -> Bytes:
    in_bytes: Bytes = np.rint(share * np.float32(255.0)).astype(np.uint8)
    return in_bytes


def _canopy(rgb: Bytes, plant: Plane) -> Bytes:
    """Layers of `RimView.canopy`."""
    lab = cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)
    hue = (lab[:, :, 1:].astype(np.float32) - HUE_ZERO) * plant[..., None]
    full = np.full(plant.shape, 255, np.uint8)
    return np.dstack([_in_bytes(plant), full, np.rint(hue + HUE_ZERO).astype(np.uint8)])


def _card_cells(
    outline_px: NDArray[np.float64], viewpoint: Viewpoint, grid: PlaneGrid
) -> NDArray[np.bool_]:
    """Cells through which the card, or what it lies on, is seen."""
    corners = grid.cells(viewpoint.on_plane(outline_px, grid.height_mm))
    area = np.zeros(grid.shape, np.uint8)
    cv2.fillConvexPoly(area, np.round(corners).astype(np.int32), 1)
    margin = 2 * round(_CARD_MARGIN_MM / grid.step_mm) + 1
    return cv2.dilate(area, np.ones((margin, margin), np.uint8)).astype(bool)


def _photo_turn(viewpoint: Viewpoint, height_mm: float) -> float:
    size = np.array(viewpoint.size_px, float)
    step = 0.1 * size * (size == size.max())
    one, other = viewpoint.on_plane(np.array([0.5 * size - step, 0.5 * size + step]), height_mm)
    return float(np.degrees(np.arctan2(*(other - one)[::-1])))


def _within(x: Plane, y: Plane, shape: tuple[int, ...]) -> Plane:
    held = (x >= 0) & (y >= 0) & (x <= shape[1] - 1) & (y <= shape[0] - 1)
    return held.astype(np.float32)


def _whole_view(viewpoint: Viewpoint, height_mm: float) -> PlaneGrid:
    width, height = viewpoint.size_px
    edge = np.linspace(0.0, 1.0, 9)
    border = np.concatenate(
        [
            np.column_stack([edge * width, np.zeros(9)]),
            np.column_stack([edge * width, np.full(9, float(height))]),
            np.column_stack([np.zeros(9), edge * height]),
            np.column_stack([np.full(9, float(width)), edge * height]),
        ]
    )
    met = viewpoint.on_plane(border, height_mm)
    met = met[np.isfinite(met).all(axis=1)]
    below = viewpoint.position_mm[:2]
    low = np.maximum(met.min(axis=0), below - _FARTHEST_MM)
    high = np.minimum(met.max(axis=0), below + _FARTHEST_MM)
    columns, rows = np.ceil((high - low) / FINE_MM).astype(int) + 1
    return PlaneGrid(low, np.array([1.0, 0.0]), FINE_MM, (int(rows), int(columns)), height_mm)
