"""Find the card in a photo: which one it is, where the camera stood, what light fell on it."""

from collections.abc import Sequence
from math import ceil

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.card.colour import fit_colour
from traymorph.card.edges import Corners, measure_corners
from traymorph.card.layout import CardLayout, card_layout
from traymorph.card.pose import fit_pose
from traymorph.card.search import Group, find_markers, group_markers, to_photo
from traymorph.card.transfer import LINEAR_OF_CODE
from traymorph.errors import (
    CardNotFoundError,
    CardPartlyHiddenError,
    CardTooTiltedError,
    TwoCardsError,
    WrongCardRoleError,
)
from traymorph.model.card import CardRole, CardSighting, RegisteredCard
from traymorph.model.photo import Photo

Floats = NDArray[np.float64]

_FIRST_LOOK_PX = 2000
"""Longer side of the picture that is searched first."""
_ENOUGH_MARKERS = 5
_SOME_MARKERS = 2
_CUT_OFF_MARKERS = 2
_SECOND_CARD_MARKERS = 3
_LARGEST_TILT_DEG = 60.0
_FEW_MEGAPIXELS = 1.0
"""Below this a photo was shrunk on its way: no phone stores so few pixels."""
_NAMES = {
    CardRole.OVERHEAD: "overhead card",
    CardRole.SIDE: "side card",
    CardRole.BOARD: "board card",
}
_LEAST_CHANNEL_SHARE = 0.5


def sight_card(
    photo: Photo,
    expected: CardRole | None = None,
    *,
    printed_bar_mm: float = 100.0,
    registered: Sequence[RegisteredCard] = (),
) -> CardSighting:
    """Find the reference card and pose the camera by it.

    Parameters
    ----------
    photo : Photo
        The upright photo.
    expected : CardRole or None
        The card that belongs to the view; None takes the one that is seen largest, which on the
        folded sheet is the half that faces the camera.
    printed_bar_mm : float
        What the card's 100 mm bar measures on the print.
    registered : sequence of RegisteredCard
        The colours of this print; those of the card seen are used, none where it is of another
        role or layout.

    Returns
    -------
    CardSighting
        All lengths true to the print.

    Raises
    ------
    CardNotFoundError
        No card is seen.
    WrongCardRoleError
        A card is seen, but for another view than expected.
    TwoCardsError
        Two cards of the role lie in the photo.
    CardPartlyHiddenError
        Fewer than five of its eight markers can be measured, or the photo's edge cuts off two.
    CardTooTiltedError
        The card is seen at more than 60 degrees.
    """
    name = photo.path.name
    role, group = _choose(_search(photo.rgb, expected), expected, photo)
    layout = card_layout(role)
    corners = _measure(photo.rgb, layout, group.homography)
    _check_whole(name, role, corners, photo.size_px)
    print_scale = printed_bar_mm / layout.bar.length
    pose = fit_pose(
        corners.places.reshape(-1, 2) * print_scale,
        corners.points.reshape(-1, 2),
        photo.size_px,
        photo.camera.focal_35mm,
    )
    viewpoint = pose.viewpoint
    if viewpoint.tilt_deg > _LARGEST_TILT_DEG:
        message = f"{name}: the camera sees the {_NAMES[role]} at {viewpoint.tilt_deg:.0f} degrees."
        hint = f"Hold the phone square to the card, within {_LARGEST_TILT_DEG:.0f} degrees at most."
        raise CardTooTiltedError(message, hint=hint)
    known = next((card for card in registered if card.is_for(role, layout.version)), None)
    colour, shaded = fit_colour(photo.rgb, layout, viewpoint, print_scale, known)
    outline = np.column_stack([layout.outline * print_scale, np.zeros(4)])
    return CardSighting(
        role=role,
        version=layout.version,
        viewpoint=viewpoint,
        outline_px=viewpoint.project(outline),
        residual_px=pose.residual_px,
        markers_seen=len(corners.places),
        markers_printed=len(layout.markers),
        colour=colour,
        shaded=shaded,
    )


def _search(rgb: NDArray[np.uint8], expected: CardRole | None) -> dict[CardRole, list[Group]]:
    """Group the markers by role, in a reduced picture first, then in ever finer ones."""
    grey = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    reduction = max(1, ceil(max(grey.shape) / _FIRST_LOOK_PX))
    wanted = CardRole if expected is None else (expected,)
    best: dict[CardRole, list[Group]] = {}
    most = -1
    while True:
        picture, scale = _reduced(grey, reduction)
        found = find_markers(picture, scale)
        groups = {role: group_markers(found[role], card_layout(role)) for role in CardRole}
        count = max((len(g.markers) for role in wanted for g in groups[role]), default=0)
        if count > most:  # a blurred card is found better in the reduced picture
            best, most = groups, count
        if most >= _ENOUGH_MARKERS or reduction == 1:
            return best
        reduction //= 2


def _reduced(grey: NDArray[np.uint8], reduction: int) -> tuple[NDArray[np.uint8], float]:
    if reduction == 1:
        return grey, 1.0
    # Whole blocks only, so that one reduced pixel is exactly `reduction` photo pixels wide.
    height, width = (side // reduction * reduction for side in grey.shape)
    size = (width // reduction, height // reduction)
    small = cv2.resize(grey[:height, :width], size, interpolation=cv2.INTER_AREA)
    return np.asarray(small, dtype=np.uint8), float(reduction)


def _choose(
    groups: dict[CardRole, list[Group]], expected: CardRole | None, photo: Photo
) -> tuple[CardRole, Group]:
    name = photo.path.name
    seen = {role: found for role, found in groups.items() if found}
    if not seen:
        raise _not_found(name, photo.size_px)
    if expected is None:
        role = max(seen, key=lambda candidate: _area(seen[candidate][0], card_layout(candidate)))
    elif expected in seen:
        role = expected
    else:
        other = max(seen, key=lambda candidate: len(seen[candidate][0].markers))
        message = f"{name}: the {_NAMES[other]} is seen where the {_NAMES[expected]} is expected."
        hint = f"Use the card for the {expected} view, or correct the view in photos.csv."
        raise WrongCardRoleError(message, hint=hint)
    if len(seen[role]) > 1 and len(seen[role][1].markers) >= _SECOND_CARD_MARKERS:
        message = f"{name}: two {_NAMES[role]}s are seen."
        raise TwoCardsError(message, hint="Leave one of them in the picture.")
    return role, seen[role][0]


def _not_found(name: str, size_px: tuple[int, int]) -> CardNotFoundError:
    message = f"{name}: no reference card is seen."
    hint = "Lay the card in view, printed side up, whole, sharp and without glare."
    megapixels = size_px[0] * size_px[1] / 1e6
    if megapixels < _FEW_MEGAPIXELS:
        few = f"The photo has only {megapixels:.1f} megapixels: send the original."
        return CardNotFoundError(message, hint=f"{few} {hint}")
    return CardNotFoundError(message, hint=hint)


def _area(group: Group, layout: CardLayout) -> float:
    outline = to_photo(group.homography, layout.outline)
    return float(cv2.contourArea(outline.astype(np.float32)))


def _measure(rgb: NDArray[np.uint8], layout: CardLayout, homography: Floats) -> Corners:
    """Measure the corners within the part of the photo that holds the card."""
    outline = to_photo(homography, layout.outline)
    size = np.array(rgb.shape[1::-1])
    low = np.clip(np.floor(outline.min(axis=0)) - 20, 0, size - 2).astype(int)
    high = np.clip(np.ceil(outline.max(axis=0)) + 20, low + 2, size).astype(int)
    part = rgb[low[1] : high[1], low[0] : high[0]]
    move = np.array([[1.0, 0.0, low[0]], [0.0, 1.0, low[1]], [0.0, 0.0, 1.0]])
    linear = LINEAR_OF_CODE[_channel(part)]
    corners = measure_corners(linear, layout, np.linalg.inv(move) @ homography)
    return Corners(corners.places, corners.points + low, corners.seen, move @ corners.homography)


def _channel(rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Green, the sharpest channel of a phone, unless the light leaves it too little contrast."""
    step = max(1, max(rgb.shape) // 300)
    spread = np.ptp(np.percentile(rgb[::step, ::step], (10, 90), axis=(0, 1)), axis=0)
    strongest = int(np.argmax(spread))
    chosen = 1 if spread[1] >= _LEAST_CHANNEL_SHARE * spread[strongest] else strongest
    return rgb[:, :, chosen]


def _check_whole(name: str, role: CardRole, corners: Corners, size_px: tuple[int, int]) -> None:
    """Refuse a card of which too little is seen, and say why it is not."""
    layout = card_layout(role)
    places = np.array(list(layout.markers.values()))
    points = to_photo(corners.homography, places.reshape(-1, 2)).reshape(places.shape)
    within = (points > -0.5) & (points < np.array(size_px) - 0.5)
    cut_off = int(np.sum(~within.all(axis=(1, 2)) & ~corners.seen))
    measured = len(corners.places)
    seen = f"{measured} of {len(layout.markers)} markers of the {_NAMES[role]}"
    if measured < _SOME_MARKERS:
        raise _not_found(name, size_px)
    if cut_off >= _CUT_OFF_MARKERS:
        message = f"{name}: the photo's edge cuts the card off; {seen} can be read."
        hint = "Step back until the whole card is in the picture."
        raise CardPartlyHiddenError(message, hint=hint)
    if measured < _ENOUGH_MARKERS:
        message = f"{name}: only {seen} can be read; the rest is covered, blurred or in glare."
        raise CardPartlyHiddenError(message, hint="Clear the card, and focus on tray and card.")
