"""What the finding of the card gives: where it lies, what the camera is, what its colours say."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from traymorph.model.viewpoint import Viewpoint


class CardRole(StrEnum):
    """Which view a card is printed for; its markers say so."""

    OVERHEAD = "overhead"
    SIDE = "side"
    BOARD = "board"


@dataclass(frozen=True, slots=True, eq=False)
class ColourFit:
    """Turns what the photo shows into what an ideal camera under daylight would have shown.

    Parameters
    ----------
    matrix : ndarray, shape (3, 3)
        From the photo's linear RGB to linear sRGB (D65); white balance and exposure included.
    gain : ndarray, shape (3,)
        Coefficients (a, b, c) of the light's fall-off over the photo: the linear RGB is divided
        by ``a x + b y + c``, x and y being pixel coordinates over the photo's width.
    error_de00 : float
        Mean CIEDE2000 between corrected and nominal patches, each patch left out of its own fit.
    shows_colour : bool
        False under light that lacks part of the spectrum: colours must not be given.
    """

    matrix: NDArray[np.float64]
    gain: NDArray[np.float64]
    error_de00: float
    shows_colour: bool


@dataclass(frozen=True, slots=True, eq=False)
class CardSighting:
    """The card as found in one photo.

    Parameters
    ----------
    role : CardRole
        From the markers' ids.
    version : int
        Version of the printed layout.
    viewpoint : Viewpoint
        The camera in the card's frame.
    outline_px : ndarray, shape (4, 2)
        The printed card's corners in the photo, clockwise from its top left.
    residual_px : float
        Root mean square distance of marker corners from where the pose puts them.
    markers_seen, markers_printed : int
        How many of the card's markers were found.
    colour : ColourFit
        From the card's patches.
    shaded : bool
        Light falls unevenly over the card itself.
    """

    role: CardRole
    version: int
    viewpoint: Viewpoint
    outline_px: NDArray[np.float64]
    residual_px: float
    markers_seen: int
    markers_printed: int
    colour: ColourFit
    shaded: bool
