"""What the finding of the card gives: where it lies, what the camera is, what its colours say."""

import hashlib
from dataclasses import dataclass, field
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
class RegisteredCard:
    """The colours that one print of the card really has.

    Parameters
    ----------
    card_id : str
        What the grower calls this print.
    role : CardRole
        The card it is.
    version : int
        Version of the printed layout.
    lab : dict of str to tuple of float
        CIELAB (D65, 2 degrees) by the patch's name in the layout; a patch that is not in it keeps
        its nominal colour.
    u_de00 : float
        Standard uncertainty of these colours, CIEDE2000, mean over the patches: alike in all photos
        of the print, so it drops out of differences between them.
    """

    card_id: str
    role: CardRole
    version: int
    lab: dict[str, tuple[float, float, float]]
    u_de00: float = 0.0

    def fingerprint(self) -> str:
        """SHA-256 of its colours, hexadecimal; a print that is registered anew gets another."""
        facts = (sorted(self.lab.items()), self.u_de00)
        return hashlib.sha256(repr(facts).encode()).hexdigest()

    def is_for(self, role: CardRole, version: int) -> bool:
        """Whether these are colours of a card of this role and layout."""
        return self.role is role and self.version == version


def _srgb_tone() -> NDArray[np.float64]:
    """Linear light of each 8-bit code by the sRGB curve (IEC 61966-2-1)."""
    value = np.arange(256) / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


@dataclass(frozen=True, slots=True, eq=False)
class ColourFit:
    """Turns what the photo shows into what an ideal camera under daylight would have shown.

    A code value becomes linear light by ``tone``; the light's terms are then multiplied by
    ``matrix``.

    Parameters
    ----------
    matrix : ndarray, shape (3, 3) or (3, 6)
        From the photo's linear RGB to linear sRGB (D65); white balance and exposure included. Six
        terms are R, G, B, sqrt(RG), sqrt(GB), sqrt(RB).
    error_de00 : float
        Mean CIEDE2000 between corrected and nominal patches, each patch left out of its own fit.
    shows_colour : bool
        False under light that lacks part of the spectrum: colours must not be given.
    tone : ndarray, shape (256,)
        Linear light of each 8-bit code value, the same for red, green and blue: the sRGB curve
        unless the card's greys show another.
    card_id : str or None
        The registered print whose colours were aimed at; None for the card's nominal colours.
    print_u_de00 : float
        Standard uncertainty of the registered colours, CIEDE2000; it is the same in every photo of
        the print.
    light_u : float
        Relative standard uncertainty of the light that colours are relative to, from how unevenly
        it falls over the card.
    """

    matrix: NDArray[np.float64]
    error_de00: float
    shows_colour: bool
    tone: NDArray[np.float64] = field(default_factory=_srgb_tone)
    card_id: str | None = None
    print_u_de00: float = 0.0
    light_u: float = 0.0


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
