"""Checks of one photo: focus, burnt-out parts, light, tilt, resolution, fit of the card."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from traymorph.model.card import CardRole, CardSighting
from traymorph.model.masks import PlantMasks

BLURRED_RISE_MM = 0.9
"""An edge that takes longer than this to rise hides stems, which are 1 to 2 mm wide."""
CLIPPED_PCT = 3.0
"""With more of the plants burnt out, the mean leaf colour moves by about 1 CIEDE2000."""
CLIPPED_FROM = 253
DARK_FROM = 60
"""Encoded value below which the brighter tenth of the plants lies in a dark photo: noise of a
phone then exceeds 3 % of the signal."""
TILTED_DEG = 15.0
"""From here on 1 degree of doubt in the tilt costs over 0.5 % of scale across a tray."""
COARSE_MM_PER_PX = 0.45
"""A stem of 1 mm needs two pixels to be seen at all."""
RESIDUAL_PX_PER_MPX = 0.35
"""Corners of a flat card in a sharp photo of one megapixel fit to well under this; the limit
grows with the photo's width."""
COLOUR_DOUBTFUL_DE00 = 4.0
"""Twice what a fresh print under one lamp leaves; a colour difference anybody sees."""

_FEWEST_PLANT_PIXELS = 500
_MARKER_FEATURE_MM = 3.0
_STRONG_EDGES = 0.02
_RISE_PER_SPREAD = 2.563
"""10 to 90 % rise of a normal edge over its standard deviation: tables of the normal."""


@dataclass(frozen=True, slots=True)
class PhotoQuality:
    """What the checks of one photo gave.

    Parameters
    ----------
    mm_per_px : float
        Millimetres per pixel of the photo at the card.
    sharpness : float
        1 / (10 to 90 % rise of the card's edges in mm), per mm; larger is sharper, NaN when
        the card shows no clear edge.
    clipped_pct : float
        Share of the plants' pixels with a burnt-out channel, per cent; of the whole photo where
        it shows no plants.
    flags : tuple of str
        Names of ``FLAGS``.
    """

    mm_per_px: float
    sharpness: float
    clipped_pct: float
    flags: tuple[str, ...]


def check_photo(
    rgb: NDArray[np.uint8], sighting: CardSighting, masks: PlantMasks | None = None
) -> PhotoQuality:
    """Check one photo before its numbers are trusted.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (height, width, 3)
        The upright photo as taken, before colour correction.
    sighting : CardSighting
        The card found in it.
    masks : PlantMasks or None
        Its plants, if they were found.

    Returns
    -------
    PhotoQuality
        Figures and flags.
    """
    viewpoint = sighting.viewpoint
    middle = sighting.outline_px.mean(axis=0, keepdims=True)
    at_card = viewpoint.on_plane(middle, 0.0)[0]
    mm_per_px = viewpoint.mm_per_px(np.array([*at_card, 0.0]))
    sharpness = _sharpness(rgb, sighting.outline_px, mm_per_px)
    pixels = _plant_pixels(rgb, masks)
    clipped = 100.0 * float((pixels.max(axis=1) >= CLIPPED_FROM).mean())
    bright = float(np.percentile(pixels.max(axis=1), 90))
    found = {
        "blurred": sharpness < 1.0 / BLURRED_RISE_MM,
        "clipped": clipped > CLIPPED_PCT,
        "dark": bright < DARK_FROM,
        "low_resolution": mm_per_px > COARSE_MM_PER_PX,
        "tilted": viewpoint.tilt_deg > TILTED_DEG,
        "card_residual": sighting.residual_px > _residual_limit(rgb),
        "card_partly_hidden": sighting.markers_seen < sighting.markers_printed,
        "card_shaded": sighting.shaded,
        "focal_assumed": not viewpoint.focal_from_exif,
        "light_unfit_for_colour": not sighting.colour.shows_colour,
        "card_nominal": sighting.colour.shows_colour
        and sighting.colour.card_id is None
        and sighting.role is not CardRole.SIDE,  # no colour is taken from side photos
        "colour_doubtful": sighting.colour.shows_colour
        and sighting.colour.error_de00 > COLOUR_DOUBTFUL_DE00,
    }
    return PhotoQuality(
        mm_per_px=mm_per_px,
        sharpness=sharpness,
        clipped_pct=clipped,
        flags=tuple(name for name, raised in found.items() if raised),
    )


def _residual_limit(rgb: NDArray[np.uint8]) -> float:
    return RESIDUAL_PX_PER_MPX * math.sqrt(rgb.shape[0] * rgb.shape[1] / 1e6)


def _plant_pixels(rgb: NDArray[np.uint8], masks: PlantMasks | None) -> NDArray[np.uint8]:
    """Every few-th plant pixel of the photo, shape (n, 3); of the whole photo without plants."""
    step = 4
    thinned = rgb[step // 2 :: step, step // 2 :: step]
    if masks is not None:
        rows, columns = (np.arange(n) * step + step // 2 for n in thinned.shape[:2])
        r, c = (
            np.clip(((at + 0.5) / masks.scale - 0.5).round().astype(int), 0, n - 1)
            for at, n in zip((rows, columns), masks.leaf.shape, strict=True)
        )
        seen = np.ix_(r, c)
        plants = thinned[masks.leaf[seen] + masks.stem[seen] > 0.5]
        if len(plants) >= _FEWEST_PLANT_PIXELS:
            return plants
    return thinned.reshape(-1, 3)


def _sharpness(rgb: NDArray[np.uint8], outline_px: NDArray[np.float64], mm_per_px: float) -> float:
    """Steepness of the card's strongest edges over the contrast beside them, per mm."""
    height, width = rgb.shape[:2]
    low = np.clip(np.floor(outline_px.min(axis=0)).astype(int), 0, [width - 1, height - 1])
    high = np.clip(np.ceil(outline_px.max(axis=0)).astype(int) + 1, low + 1, [width, height])
    grey = cv2.cvtColor(rgb[low[1] : high[1], low[0] : high[0]], cv2.COLOR_RGB2GRAY)
    # half a printed feature on either side: wide enough for soft edges, too narrow for the next
    reach = max(1, round(0.5 * _MARKER_FEATURE_MM / mm_per_px))
    window = np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)
    contrast = cv2.subtract(cv2.dilate(grey, window), cv2.erode(grey, window))
    slope = cv2.magnitude(
        cv2.Scharr(grey, cv2.CV_32F, 1, 0, scale=1 / 32),
        cv2.Scharr(grey, cv2.CV_32F, 0, 1, scale=1 / 32),
    )
    dark, bright = np.percentile(grey, (5, 95))
    whole = float(bright - dark)
    edges = contrast > 0.6 * max(whole, 1.0)
    if edges.sum() < 100 or whole < 10:
        return math.nan
    steepness = slope[edges] / contrast[edges]
    steepest = float(np.quantile(steepness, 1.0 - _STRONG_EDGES))
    # over two pixels a normal edge of standard deviation s rises by 2 normal(1 / s) - 1
    spread_px = 1.0 / float(ndtri(min(steepest + 0.5, 0.999)))
    return 1.0 / (_RISE_PER_SPREAD * spread_px * mm_per_px)
