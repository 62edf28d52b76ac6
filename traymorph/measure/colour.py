"""Colour of the visible leaf after the card's correction: CIELAB, greenness indices, yellowing.

:func:`colour_metrics` is the one way in, for every view: it takes the corrected picture, the share
of leaf of each pixel, the colour fit and the view, and gives ``(metrics, flags)`` with the names
that the view's columns carry (``leaf_l`` from above, ``board_leaf_l``, ``pack_leaf_l``). It serves
a whole tray, a whole board and a single cut plant alike; below fifty pixels all is empty.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.color import rgb2hsv, rgb2lab

from traymorph.model.card import ColourFit
from traymorph.model.metrics.colour import COLOUR, PREFIXES
from traymorph.model.photo import View
from traymorph.model.results import Measured

_LEAF_FROM, _SURELY_LEAF_FROM = 0.5, 0.8
"""Rather leaf than not, and surely leaf. The surest leaves of a tray are its lightest and greenest
ones, so colour is read from all that is rather leaf, and the difference of both is a doubt."""
_CLIPPED = 250
"""From this value on a channel may have been cut off."""
_FEWEST_PIXELS, _MOST_PIXELS = 50, 200_000
"""Fewer pixels say nothing of a tray; more, evenly thinned, say nothing new."""
_GREEN_HUE_DEG = (60.0, 120.0)
"""Hue between which Karcher & Richardson (2003) define their index."""
_YELLOW_FROM_DEG, _GREEN_FROM_DEG = 60.0, 100.0
_YELLOWER_BY_DEG = 12.0
"""How much yellower than its neighbours a blade must be: healthy blades of one tray lie within
about 10 degrees of hue of their median."""
_YELLOW_LIMITS_DEG = (95.0, 112.0)
"""Pure yellow has a CIELAB hue of 103 degrees, fresh yellow-green leaf 108 to 115."""
_YELLOW_CHROMA = 25.0
_GREEN_SHARE = 0.2
_LEAST_YELLOW_U_PCT = 0.4
_SHADE_U = 0.3
"""Share of the yellowed leaf that shade hides or lends: rendered trays."""
_LIGHT_U_L = 2.0
"""Leaves stand nearer the lamp than the card, and the light's fall-off is known only roughly."""
_LEAST_DE00 = 0.7
"""No printed card is better than this."""

Colours = NDArray[np.float64]
Shares = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class LeafColours:
    """Colours of unclipped leaf pixels that have leaf all around them.

    Parameters
    ----------
    encoded : ndarray, shape (n, 3)
        Corrected sRGB-encoded values, 0 to 1.
    lab : ndarray, shape (n, 3)
        CIELAB under D65.
    """

    encoded: Colours
    lab: Colours


def colour_metrics(
    rgb: NDArray[np.uint8], leaf: Shares, colour: ColourFit, view: View = View.OVERHEAD
) -> tuple[dict[str, Measured], tuple[str, ...]]:
    """All colour columns of one tray, board, plant or pack, and the flags that go with them.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        Corrected picture.
    leaf : ndarray of float32, shape (h, w)
        Share of each pixel that is leaf of what is measured, on the same grid: ``masks.leaf`` of
        a tray's own plants; for one plant on a board the same, 0 outside that plant.
    colour : ColourFit
        How the picture's colours were corrected (``sighting.colour``).
    view : View
        Overhead, board or pack: gives the columns their prefix.

    Returns
    -------
    metrics : dict of str to Measured
        Every colour column of the view by its full name (``leaf_l``, ``board_leaf_l``, ...), NaN
        where it could not be read: under light unfit for colour, or with fewer than fifty pixels
        that show nothing but leaf.
    flags : tuple of str
        ``light_unfit_for_colour``, ``hue_outside_index``.
    """
    prefix = PREFIXES[view]
    empty = {spec.name: Measured() for spec in COLOUR if spec.view is view}
    if not colour.shows_colour:
        return empty, ("light_unfit_for_colour",)
    surer = leaf_colours(rgb, leaf, _SURELY_LEAF_FROM)
    likely = leaf_colours(rgb, leaf)
    if surer is None or likely is None:
        return empty, ()
    of_surer = _of_leaves(surer, colour.error_de00)
    found = {
        prefix + name: Measured(got.value, math.hypot(got.u, _apart(name, got, of_surer[name])))
        for name, got in _of_leaves(likely, colour.error_de00).items()
    }
    outside = math.isnan(found[prefix + "greenness_index"].value)
    return empty | found, ("hue_outside_index",) if outside else ()


def _of_leaves(colours: LeafColours, error_de00: float) -> dict[str, Measured]:
    return {
        **lab_metrics(colours, error_de00),
        **index_metrics(colours, error_de00),
        "yellowed_pct": yellowed_pct(colours, error_de00),
    }


def _apart(name: str, one: Measured, other: Measured) -> float:
    """Difference of two values, the short way round for an angle; 0 where one is missing."""
    away = abs(one.value - other.value)
    if math.isnan(away):
        return 0.0
    return min(away, 360.0 - away) if name == "leaf_hue_deg" else away


def leaf_colours(
    rgb: NDArray[np.uint8], leaf: Shares, leaf_from: float = _LEAF_FROM
) -> LeafColours | None:
    """Collect the colours of the tray's leaves.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        Corrected picture.
    leaf : ndarray of float32, shape (h, w)
        Share of each pixel that is leaf.
    leaf_from : float
        Share of leaf from which on a pixel counts. Its eight neighbours must count too: at the
        edge of a leaf a pixel carries the colour of what lies beside it.

    Returns
    -------
    LeafColours or None
        None where fewer than fifty pixels show nothing but unclipped leaf.
    """
    counted = (leaf >= leaf_from).astype(np.uint8)
    inner = cv2.erode(counted, np.ones((3, 3), np.uint8)) > 0
    pixels = rgb[inner]
    pixels = pixels[pixels.max(axis=1) < _CLIPPED]
    if len(pixels) < _FEWEST_PIXELS:
        return None
    pixels = pixels[:: -(-len(pixels) // _MOST_PIXELS)]
    encoded = pixels.astype(np.float64) / 255.0
    return LeafColours(encoded, rgb2lab(encoded[None])[0])


def lab_metrics(colours: LeafColours, error_de00: float) -> dict[str, Measured]:
    """Mean L*, a*, b* over leaf pixels, and chroma and hue of that mean.

    Parameters
    ----------
    colours : LeafColours
        Leaf pixels.
    error_de00 : float
        What the card's correction leaves, CIEDE2000.

    Returns
    -------
    dict of str to Measured
        ``leaf_l``, ``leaf_a``, ``leaf_b``, ``leaf_chroma``, ``leaf_hue_deg``.
    """
    lightness, a, b = (float(v) for v in colours.lab.mean(axis=0))
    chroma = math.hypot(a, b)
    error = max(error_de00, _LEAST_DE00) if math.isfinite(error_de00) else 5.0
    # CIEDE2000 weighs chroma by 1 + 0.045 C and hue by 1 + 0.015 C: undo that for a* and b*
    u_chroma = error * (1.0 + 0.045 * chroma) / math.sqrt(3.0)
    u_hue_mm = error * (1.0 + 0.015 * chroma) / math.sqrt(3.0)
    cos, sin = a / max(chroma, 1e-9), b / max(chroma, 1e-9)
    u_hue = math.degrees(u_hue_mm / chroma) if chroma > u_hue_mm else 104.0
    return {
        "leaf_l": Measured(lightness, math.hypot(_LIGHT_U_L, error / math.sqrt(3.0))),
        "leaf_a": Measured(a, math.hypot(cos * u_chroma, sin * u_hue_mm)),
        "leaf_b": Measured(b, math.hypot(sin * u_chroma, cos * u_hue_mm)),
        "leaf_chroma": Measured(chroma, u_chroma),
        "leaf_hue_deg": Measured(math.degrees(math.atan2(b, a)) % 360.0, min(u_hue, 104.0)),
    }


def green_share(encoded: Colours) -> float:
    """G / (R + G + B) of an sRGB-encoded colour, shape (3,)."""
    return float(encoded[1] / encoded.sum()) if encoded.sum() > 0 else math.nan


def excess_green(encoded: Colours) -> float:
    """2g - r - b on chromatic coordinates of an sRGB-encoded colour, shape (3,)."""
    return 3.0 * green_share(encoded) - 1.0


def greenness_index(encoded: Colours) -> float:
    """Dark green colour index of an sRGB-encoded colour; NaN outside hues of 60 to 120 degrees.

    Source: Karcher & Richardson 2003, Crop Science 43(3):943-951.
    """
    hue, saturation, brightness = rgb2hsv(np.asarray(encoded, dtype=np.float64)[None, None])[0, 0]
    degrees = 360.0 * float(hue)
    low, high = _GREEN_HUE_DEG
    if saturation <= 0 or not low - 1e-9 <= degrees <= high + 1e-9:
        return math.nan
    return ((degrees - 60.0) / 60.0 + (1.0 - float(saturation)) + (1.0 - float(brightness))) / 3.0


_INDICES = {
    "green_share": green_share,
    "excess_green": excess_green,
    "greenness_index": greenness_index,
}


def index_metrics(colours: LeafColours, error_de00: float) -> dict[str, Measured]:
    """Greenness indices of the mean leaf colour, with the doubt of each channel carried through.

    Parameters
    ----------
    colours : LeafColours
        Leaf pixels.
    error_de00 : float
        What the card's correction leaves, CIEDE2000.

    Returns
    -------
    dict of str to Measured
        ``green_share``, ``excess_green``, ``greenness_index``.
    """
    mean = colours.encoded.mean(axis=0)
    error = max(error_de00, _LEAST_DE00) if math.isfinite(error_de00) else 5.0
    channel_u = 0.006 * error  # one CIEDE2000 is about 1.5 of 255 in each channel of a mid green
    result = {}
    for name, index in _INDICES.items():
        value = index(mean)
        changes = [index(mean + channel_u * axis) - value for axis in np.eye(3)]
        result[name] = Measured(value, math.sqrt(float(np.nansum(np.square(changes)))))
        if math.isnan(value):
            result[name] = Measured()
    return result


def yellowed_pct(colours: LeafColours, error_de00: float) -> Measured:
    """Share of leaf pixels that are yellowed, per cent.

    The doubt is the change when the limit of hue moves by what the correction leaves. Where the
    crop itself is nearly yellow, so that its own hue sets the limit, how much yellower a blade
    must be is a matter of half that step more.
    """
    chroma = np.hypot(colours.lab[:, 1], colours.lab[:, 2])
    hue = np.degrees(np.arctan2(colours.lab[:, 2], colours.lab[:, 1]))

    green = hue[(hue > _GREEN_FROM_DEG) & (chroma > _YELLOW_CHROMA)]
    usual = float(np.median(green)) if len(green) > _GREEN_SHARE * len(hue) else math.inf
    limit = float(np.clip(usual - _YELLOWER_BY_DEG, *_YELLOW_LIMITS_DEG))

    def share(shift_deg: float) -> float:
        yellow = (hue > _YELLOW_FROM_DEG) & (hue < limit + shift_deg) & (chroma > _YELLOW_CHROMA)
        return 100.0 * float(yellow.mean())

    shift = 2.0 + (error_de00 if math.isfinite(error_de00) else 5.0)
    if limit < _YELLOW_LIMITS_DEG[1]:
        shift = math.hypot(shift, 0.5 * _YELLOWER_BY_DEG)
    value = share(0.0)
    by_hue = max(share(shift) - value, value - share(-shift))
    return Measured(value, math.hypot(by_hue, _SHADE_U * value, _LEAST_YELLOW_U_PCT))
