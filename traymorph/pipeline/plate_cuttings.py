"""Where a plate is cut out of its photo: the tray, the plants on the board, the pack.

Only places are wanted here, so plants are told in a picture coarser than the one that is measured:
a quarter of the time, and the same place to a millimetre.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.card.colour import correct
from traymorph.card.transfer import decode_srgb
from traymorph.config.settings import Settings
from traymorph.errors import TrayNotFoundError
from traymorph.measure.plane import leaf_plane
from traymorph.measure.side import column_tops_mm, front_view
from traymorph.model.masks import PlantMasks
from traymorph.model.photo import View
from traymorph.model.results import Measured
from traymorph.model.tray import TrayOpening, TraySide
from traymorph.model.trial import TraySize
from traymorph.pipeline.pack import own_pack_plants
from traymorph.pipeline.seen import SeenPhoto, SegmentedPhoto, card_area, reduce
from traymorph.report.plates import Cutting
from traymorph.segment.board import segment_board
from traymorph.segment.tissue import segment_tissue
from traymorph.tray.front_wall import find_front_wall
from traymorph.tray.opening import find_opening, rim_above_card
from traymorph.tray.own_overhead import own_overhead
from traymorph.tray.own_plants import largest_plants
from traymorph.tray.own_side import own_side

_COARSE_MM = {View.OVERHEAD: 0.5, View.SIDE: 0.8, View.BOARD: 0.4, View.PACK: 0.5}
"""Scale at which places are sought. Rendered trays: tray and plants lie where the full scale puts
them to about a millimetre; at 0.9 mm an opening was 3 mm off."""
_ROUND_OPENING_MM = 14.0
_MOST_OVERHANG_MM = 66.0
"""Shown round the opening at least and at most: leaves hang over by up to 60 mm."""
_SQUARE = 0.05
"""Trays whose sides differ by less than this share stand as the photo shows them."""
_BESIDE_MM = 22.0
_BELOW_MEDIUM_MM = 12.0
"""Shown below the medium's surface, which the wall hides: a strip of wall, and room for the bar."""
_ABOVE_CANOPY_MM = 6.0
_MOST_OVER_MEDIAN, _MOST_OVER_P95 = 1.6, 1.25
"""Single plants rise to these multiples of the canopy's median and 95th percentile at the most."""
_ROUND_PLANTS_MM = 7.0
_USUAL_FILL_MM = 20.0
"""How far rims stand above the medium where nobody says. Common practice, no source."""
_PLANT_FROM = 0.5
_ALL_COLUMNS = (-math.inf, math.inf)
_BRIGHTEST_PCT = 98.0
_DARKEST_EXPOSURE = 0.4
_HEADROOM = 0.25
"""Exposure at which light up to four times that of white paper can still be told."""


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """Where a plate is, and how bright its plants are.

    Parameters
    ----------
    cutting : Cutting
        What to show.
    exposure : float
        By which light has to be multiplied so that the plants do not burn out, at most 1.
    """

    cutting: Cutting
    exposure: float = 1.0


@dataclass(frozen=True, slots=True)
class TrayFacts:
    """What is known of the tray before its photo is opened.

    Parameters
    ----------
    size : TraySize
        Its sizes.
    settings : Settings
        Of the trial.
    canopy_height, canopy_p95, leaf_layer : Measured
        As measured in the side photo; NaN without.
    """

    size: TraySize
    settings: Settings
    canopy_height: Measured = field(default_factory=Measured)
    canopy_p95: Measured = field(default_factory=Measured)
    leaf_layer: Measured = field(default_factory=Measured)


def place_of(seen: SeenPhoto, tray: TrayFacts) -> Place:
    """Find what the plate of a photo has to show.

    Parameters
    ----------
    seen : SeenPhoto
        The photo and its card.
    tray : TrayFacts
        What is known of the tray.

    Returns
    -------
    Place
        Overhead: opening and overhang in the plane of the mean leaf height, from the opening's
        middle. Side: the front in the plane of its wall, from the middle of the medium's surface;
        lamps shine on leaves from above and less on a card that stands upright, so that leaves may
        be brighter than its white, and no colour is measured there: exposure may be lowered.
        Board and pack: plants in the plane of the card, from their middle.

    Raises
    ------
    TrayNotFoundError, BoardError
        The tray or its plants are not found, or heights are stated that reach the camera.
    """
    place = _FINDERS[seen.view](seen, tray)
    cutting = place.cutting
    below_camera = cutting.height_mm < cutting.viewpoint.position_mm[2]
    if not below_camera or not np.isfinite(cutting.box_mm).all():
        msg = f"{seen.entry.path.name}: with the heights stated, the plants would reach the camera."
        raise TrayNotFoundError(msg, hint="Check heights in trial.toml and trays.csv.")
    return place


def _coarse(seen: SeenPhoto) -> tuple[NDArray[np.uint8], float]:
    """Reduce the photo and set its colours right; photo pixels per pixel of it too."""
    reduced = reduce(seen.photo.rgb, max(1.0, _COARSE_MM[seen.view] / seen.mm_per_px))
    scale = seen.photo.size_px[0] / reduced.shape[1]
    return correct(reduced, seen.sighting.colour), scale


def _segmented(seen: SeenPhoto) -> SegmentedPhoto:
    rgb, scale = _coarse(seen)
    card = card_area(seen.sighting, scale, rgb.shape[:2])
    masks = segment_tissue(rgb, scale=scale, mm_per_px=seen.mm_per_px * scale, ignore=card)
    return SegmentedPhoto(rgb, masks)


def _overhead(seen: SeenPhoto, tray: TrayFacts) -> Place:
    size, plane_name = tray.size, tray.settings.card.plane
    viewpoint, picture = seen.sighting.viewpoint, _segmented(seen)
    plane, _ = leaf_plane(
        size,
        rim_above_card(size, plane_name),
        tray.canopy_height,
        tray.settings.canopy.height_above_medium_mm,
        leaf_layer=tray.leaf_layer,
    )
    if size.inside_length_mm is None or size.inside_width_mm is None:
        own = largest_plants(picture.masks)
        return _round_plants(seen, own.plant, own.scale, plane.height_mm)
    above_rim = tray.canopy_height.value - (size.rim_above_medium_mm or math.nan)
    extra = {"canopy_above_rim_mm": above_rim} if math.isfinite(above_rim) else {}
    opening = find_opening(picture.rgb, picture.masks, seen.sighting, size, plane_name, **extra)
    own = own_overhead(picture.rgb, picture.masks, viewpoint, opening, plane.height_mm)
    axes = _axes_as_photographed(seen, opening)
    middle = opening.corners_mm.mean(axis=0)
    half = np.abs((opening.corners_mm - middle) @ axes).max(axis=0)
    least, most = half + _ROUND_OPENING_MM, half + _MOST_OVERHANG_MM
    low, high = -least, least
    outline = _outline_px(own.plant, own.scale)
    if len(outline):
        reach = (viewpoint.on_plane(outline, plane.height_mm) - middle) @ axes
        low = np.clip(reach.min(axis=0) - _ROUND_PLANTS_MM, -most, -least)
        high = np.clip(reach.max(axis=0) + _ROUND_PLANTS_MM, least, most)
    box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    return Place(Cutting(viewpoint, middle, axes[:, 0], plane.height_mm, box))


def _axes_as_photographed(seen: SeenPhoto, opening: TrayOpening) -> NDArray[np.float64]:
    """Axes of the plate as columns, shape (2, 2): along the tray, as upright as the photo allows.

    The tray's length runs to the right, or from top to bottom of a photo that it stands upright in;
    a square tray is turned the way the photo shows it.
    """
    a, b, _, d = opening.corners_mm
    length, width = math.hypot(*(b - a)), math.hypot(*(d - a))
    along = (b - a) / length
    across = np.array([-along[1], along[0]])
    middle = opening.corners_mm.mean(axis=0)
    ends = np.column_stack(
        [middle + np.array([[0.0, 0.0], along, across]), np.full(3, opening.rim_height_mm)]
    )
    at, along_px, across_px = seen.sighting.viewpoint.project(ends)
    steps = {0: along_px - at, 1: across_px - at}
    square = abs(length - width) < _SQUARE * length
    chosen = max((0, 1) if square else (0,), key=lambda one: abs(steps[one][0]))
    right, down = steps[chosen]
    ahead = right if abs(right) > abs(down) else down
    axis = (along, across)[chosen] * (1.0 if ahead > 0 else -1.0)
    return np.column_stack([axis, [-axis[1], axis[0]]])


def _side(seen: SeenPhoto, tray: TrayFacts) -> Place:
    size, viewpoint, picture = tray.size, seen.sighting.viewpoint, _segmented(seen)
    if size.inside_length_mm is None and size.inside_width_mm is None:
        own = largest_plants(picture.masks)
        place = _round_plants(seen, own.plant, own.scale, 0.0)
        return replace(place, exposure=_exposure(seen, own))
    wall = find_front_wall(
        picture.rgb,
        picture.masks,
        viewpoint,
        size,
        tray.settings.card.plane,
        seen.sighting.outline_px,
    )
    own = own_side(picture.masks, viewpoint, wall, picture.rgb).masks
    tops = column_tops_mm(front_view(TraySide(own, viewpoint, size, wall)))
    slope = math.hypot(1.0, wall.rim_slope)
    along = np.array([1.0, wall.rim_slope]) / slope
    fill = _USUAL_FILL_MM if size.rim_above_medium_mm is None else size.rim_above_medium_mm
    half = (wall.right_x_mm - wall.left_x_mm) / 2
    rim = np.array([wall.left_x_mm + half, wall.rim_y_mm + wall.rim_slope * half])
    top = canopy_top_mm(tops + fill, tray.canopy_p95.value) + _ABOVE_CANOPY_MM
    reach = half * slope + _BESIDE_MM
    medium = rim + fill * np.array([-along[1], along[0]])
    cutting = Cutting(viewpoint, medium, along, 0.0, (-reach, -top, reach, _BELOW_MEDIUM_MM))
    return Place(cutting, _exposure(seen, own))


def canopy_top_mm(tops: NDArray[np.float64], measured_p95: float) -> float:
    """Height up to which plants stand; a green backdrop is none of them.

    Coarse masks may take greenery behind the tray for plants where the finer ones do not.

    Parameters
    ----------
    tops : ndarray, shape (n,)
        Highest plant of each column as seen, mm above the medium; NaN where none is seen.
    measured_p95 : float
        ``canopy_height_p95_mm`` as measured; NaN without.

    Returns
    -------
    float
        mm above the medium; 0 where nothing is known.
    """
    if not np.isfinite(tops).any():
        return measured_p95 if math.isfinite(measured_p95) else 0.0
    believed = [float(np.nanmax(tops)), _MOST_OVER_MEDIAN * float(np.nanmedian(tops))]
    if math.isfinite(measured_p95):
        believed.append(_MOST_OVER_P95 * measured_p95)
    return min(believed)


def _exposure(seen: SeenPhoto, own: PlantMasks) -> float:
    """Exposure at which the brightest leaves are as bright as white paper."""
    colour = seen.sighting.colour
    size = (own.leaf.shape[1], own.leaf.shape[0])
    small = np.asarray(cv2.resize(seen.photo.rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    dimmed = correct(small, replace(colour, matrix=_HEADROOM * colour.matrix))
    leaves = dimmed[own.leaf >= _PLANT_FROM]
    if not colour.shows_colour or len(leaves) == 0:
        return 1.0
    code = float(np.percentile(leaves.max(axis=1), _BRIGHTEST_PCT))
    light = float(decode_srgb(code / 255.0)) / _HEADROOM
    return float(np.clip(1.0 / max(light, 1e-6), _DARKEST_EXPOSURE, 1.0))


def _board(seen: SeenPhoto, _tray: TrayFacts) -> Place:
    rgb, scale = _coarse(seen)
    card = card_area(seen.sighting, scale, rgb.shape[:2])
    found = segment_board(rgb, mm_per_px=seen.mm_per_px * scale, ignore=card)
    return _round_plants(seen, found.plant, scale, 0.0)


def _pack(seen: SeenPhoto, _tray: TrayFacts) -> Place:
    own = own_pack_plants(seen, _segmented(seen))
    return _round_plants(seen, own.plant, own.scale, 0.0)


def _round_plants(
    seen: SeenPhoto, plant: NDArray[np.float32], scale: float, height_mm: float
) -> Place:
    """Cut round the plants of the photo's part, with the photo's own right and left."""
    first, last = _columns_of_part(seen)
    outline = _outline_px(plant, scale, (first, last))
    if len(outline) == 0:
        msg = f"{seen.entry.path.name} shows no plant of {seen.entry.tray_id}."
        raise TrayNotFoundError(msg, hint="Look at its overlay, and check light and photo.")
    viewpoint = seen.sighting.viewpoint
    middle = outline.mean(axis=0)
    at, right = viewpoint.on_plane(middle + np.array([[0.0, 0.0], [scale, 0.0]]), height_mm)
    along = (right - at) / math.hypot(*(right - at))
    axes = np.column_stack([along, [-along[1], along[0]]])
    met = viewpoint.on_plane(outline, height_mm)
    places = met[np.isfinite(met).all(axis=1)] @ axes
    low, high = places.min(axis=0), places.max(axis=0)
    across, down = (float(span) / 2 + _ROUND_PLANTS_MM for span in high - low)
    box = (-across, -down, across, down)
    return Place(
        Cutting(viewpoint, axes @ ((low + high) / 2), along, height_mm, box, (first, last))
    )


def _outline_px(
    plant: NDArray[np.float32], scale: float, columns_px: tuple[float, float] = _ALL_COLUMNS
) -> NDArray[np.float64]:
    """Convex outline of the plants between two columns, photo pixels (x, y), shape (n, 2)."""
    rows, columns = np.nonzero(plant >= _PLANT_FROM)
    photo = (np.column_stack([columns, rows]) + 0.5) * scale - 0.5
    photo = photo[(photo[:, 0] >= columns_px[0]) & (photo[:, 0] <= columns_px[1])]
    if len(photo) == 0:
        return np.empty((0, 2))
    hull = cv2.convexHull(photo.astype(np.float32)).reshape(-1, 2)
    return np.asarray(hull, dtype=np.float64)


def _columns_of_part(seen: SeenPhoto) -> tuple[float, float]:
    """Columns of the upright photo that are this sample's: those left or right of the card."""
    middle = float(seen.sighting.outline_px[:, 0].mean())
    known = {"left": (-math.inf, middle), "right": (middle, math.inf)}
    return known.get(seen.entry.part, _ALL_COLUMNS)


_FINDERS: dict[View, Callable[[SeenPhoto, TrayFacts], Place]] = {
    View.OVERHEAD: _overhead,
    View.SIDE: _side,
    View.BOARD: _board,
    View.PACK: _pack,
}
