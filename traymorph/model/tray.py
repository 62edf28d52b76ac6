"""Where the tray is in a photo, in the card's frame."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


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
    """

    corners_mm: NDArray[np.float64]
    rim_height_mm: float
    position_u_mm: float
    scale_ratio: float
    seen_share: float


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
