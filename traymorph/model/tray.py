"""Where the tray is in a photo, in the card's frame."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traymorph.model.card import ColourFit
from traymorph.model.masks import PlantMasks
from traymorph.model.trial import TraySize
from traymorph.model.viewpoint import Viewpoint


@dataclass(frozen=True, slots=True, eq=False)
class TrayOpening:
    """The tray's opening as found in an overhead photo.

    Parameters
    ----------
    corners_mm : ndarray, shape (4, 2)
        The inside corners at rim height, (x, y) in the card's frame, clockwise as seen from
        above; the first edge runs along the tray's length.
    rim_height_mm : float
        Height of the rim above the card's face, mm.
    position_u_mm : float
        Standard uncertainty of the opening's place, mm.
    scale_ratio : float
        Size of the opening read from the photo with the card's scale over its stated size; NaN
        when too little of the rim is seen to tell.
    seen_share : float
        Share of the opening's outline along which an edge of the rim was seen.
    in_photo_share : float
        Share of the opening that lies within the photo.
    fit : float
        How well rim and canopy agree with it: about 0 for not at all, 2 for perfectly.
    canopy_above_rim_mm : float
        At what height above the rim the canopy's top was taken to stand.
    """

    corners_mm: NDArray[np.float64]
    rim_height_mm: float
    position_u_mm: float
    scale_ratio: float
    seen_share: float
    in_photo_share: float
    fit: float = math.nan
    canopy_above_rim_mm: float = math.nan


@dataclass(frozen=True, slots=True, eq=False)
class FrontWall:
    """The tray's front wall as found in a side photo.

    Coordinates are those of the side card's frame: x right, y down, mm, height 0 = front wall.

    Parameters
    ----------
    rim_y_mm : float
        The y of the wall's upper edge at ``left_x_mm`` (larger is lower).
    rim_slope : float
        Change of y per mm of x along the upper edge.
    left_x_mm, right_x_mm : float
        The inside ends of the tray, mm.
    position_u_mm : float
        Standard uncertainty of the rim's height, mm.
    seen_share : float
        Share of the wall's upper edge along which an edge was seen.
    """

    rim_y_mm: float
    rim_slope: float
    left_x_mm: float
    right_x_mm: float
    position_u_mm: float
    seen_share: float


@dataclass(frozen=True, slots=True)
class LeafPlane:
    """The plane in which overhead areas are taken: the mean height of the visible leaf.

    Parameters
    ----------
    height_mm : float
        Above the card's face, mm.
    u_mm : float
        Its standard uncertainty, mm.
    """

    height_mm: float
    u_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class TrayOverhead:
    """An overhead photo with its tray found, ready to be measured.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        Colour-corrected, sRGB-encoded picture on the pixel grid of the masks.
    masks : PlantMasks
        The tray's own plants.
    viewpoint : Viewpoint
        The camera in the card's frame.
    size : TraySize
        Stated sizes.
    opening : TrayOpening or None
        None where the tray's size is not known.
    colour : ColourFit
        How the picture's colours were corrected.
    """

    rgb: NDArray[np.uint8]
    masks: PlantMasks
    viewpoint: Viewpoint
    size: TraySize
    opening: TrayOpening | None
    colour: ColourFit


@dataclass(frozen=True, slots=True, eq=False)
class TraySide:
    """A side photo with its front wall found, ready to be measured.

    Parameters
    ----------
    masks : PlantMasks
        The tray's own plants.
    viewpoint : Viewpoint
        The camera in the side card's frame.
    size : TraySize
        Stated sizes.
    wall : FrontWall
        Where the front wall is.
    at_least : PlantMasks or None
        The own plants without those that may as well stand behind the tray.
    behind : bool
        Other plants show above the own ones.
    """

    masks: PlantMasks
    viewpoint: Viewpoint
    size: TraySize
    wall: FrontWall
    at_least: PlantMasks | None = None
    behind: bool = False
