"""One photo on its way to being measured: read, its card found, colours set right, plants told."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.card.colour import correct
from traymorph.card.detect import sight_card
from traymorph.errors import PhotoContradictionError, WrongCardRoleError
from traymorph.intake.photos import read_photo
from traymorph.model.card import CardRole, CardSighting, RegisteredCard
from traymorph.model.masks import PlantMasks
from traymorph.model.photo import Photo, View
from traymorph.model.trial import PhotoEntry
from traymorph.segment.tissue import segment_tissue

WORKING_MM_PER_PX = 0.3
"""Scale at which plants are told apart: a 1 mm stem is three pixels wide, and a 12 MP photo of a
full tray comes down to about 3 MP."""

_UNCALIBRATED_WIDTH_PX = 1600
"""Width to which a photo without a card is brought: near the scale above if a tray fills it."""


@dataclass(frozen=True, slots=True, eq=False)
class SeenPhoto:
    """A photo read and its card found.

    Parameters
    ----------
    entry : PhotoEntry
        What the lists say of it.
    photo : Photo
        Upright, full size.
    view : View
        From the card's markers, agreeing with the list.
    sighting : CardSighting
        The card.
    """

    entry: PhotoEntry
    photo: Photo
    view: View
    sighting: CardSighting

    @property
    def card_mm(self) -> NDArray[np.float64]:
        """The card's middle in its own frame, shape (2,)."""
        middle = self.sighting.outline_px.mean(axis=0, keepdims=True)
        return self.sighting.viewpoint.on_plane(middle, 0.0).reshape(2)

    @property
    def mm_per_px(self) -> float:
        """Millimetres that a pixel of the photo covers at the card."""
        return self.sighting.viewpoint.mm_per_px(np.array([*self.card_mm, 0.0]))


@dataclass(frozen=True, slots=True, eq=False)
class SegmentedPhoto:
    """The same photo, reduced and colour-corrected, with its plants told from the rest.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        Reduced and corrected.
    masks : PlantMasks
        Every plant in the photo, of whichever tray, on the same pixel grid.
    """

    rgb: NDArray[np.uint8]
    masks: PlantMasks


def see(
    entry: PhotoEntry, printed_bar_mm: float, registered: Sequence[RegisteredCard] = ()
) -> SeenPhoto:
    """Read a photo and find the card that its view needs.

    Parameters
    ----------
    entry : PhotoEntry
        What the lists say of it.
    printed_bar_mm : float
        What the card's 100 mm bar measures on the print.
    registered : sequence of RegisteredCard
        Colours of the print in the photo, for each role; none where it is not registered.

    Raises
    ------
    PhotoError, CardError
        Whatever keeps the photo from being measured, in one sentence.
    """
    photo = read_photo(entry.path)
    expected = CardRole(entry.view.value) if entry.view in _ROLE_VIEWS else None
    try:
        sighting = sight_card(photo, expected, printed_bar_mm=printed_bar_mm, registered=registered)
    except WrongCardRoleError as err:
        name = entry.path.name
        seen = err.message.removeprefix(f"{name}: ")
        message = f"{name}: the list calls this the {entry.view} view, but {seen}"
        raise PhotoContradictionError(
            message,
            hint="Correct the view in photos.csv, or photograph with the card of that view.",
        ) from err
    view = View(sighting.role.value) if entry.view is not View.PACK else View.PACK
    return SeenPhoto(entry, photo, view, sighting)


_ROLE_VIEWS = {View.OVERHEAD, View.SIDE, View.BOARD}


def segment(seen: SeenPhoto) -> SegmentedPhoto:
    """Reduce a photo to the working scale, set its colours right and tell its plants."""
    mm_per_px = seen.mm_per_px
    wanted = max(1.0, WORKING_MM_PER_PX / mm_per_px)
    rgb = correct(reduce(seen.photo.rgb, wanted), seen.sighting.colour)
    scale = seen.photo.size_px[0] / rgb.shape[1]
    masks = segment_tissue(
        rgb,
        scale=scale,
        mm_per_px=mm_per_px * scale,
        ignore=card_area(seen.sighting, scale, rgb.shape[:2]),
    )
    return SegmentedPhoto(rgb, masks)


def segment_without_card(photo: Photo) -> SegmentedPhoto:
    """Tell the plants of a photo that shows no card: nothing is calibrated."""
    reduced = reduce(photo.rgb, max(1.0, photo.size_px[0] / _UNCALIBRATED_WIDTH_PX))
    masks = segment_tissue(
        reduced,
        scale=photo.size_px[0] / reduced.shape[1],
        mm_per_px=None,
        ignore=None,
    )
    return SegmentedPhoto(reduced, masks)


def reduce(rgb: NDArray[np.uint8], scale: float) -> NDArray[np.uint8]:
    """Bring a picture to ``1 / scale`` of its size by averaging areas."""
    if scale <= 1.0:
        return rgb
    size = (round(rgb.shape[1] / scale), round(rgb.shape[0] / scale))
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA))


def card_area(sighting: CardSighting, scale: float, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Where the card lies in the reduced picture."""
    area = np.zeros(shape[:2], dtype=np.uint8)
    outline = np.round((sighting.outline_px + 0.5) / scale - 0.5).astype(np.int32)
    cv2.fillConvexPoly(area, outline, 1)
    return area.astype(bool)
