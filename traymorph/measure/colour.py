"""Colour of the visible leaf after the card's correction: CIELAB, greenness indices, tints.

:func:`colour_metrics` is the one way in, for every view: it takes the corrected picture, the share
of leaf of each pixel, the colour fit and the view, and gives ``(metrics, flags)`` with the names
that the view's columns carry (``leaf_l`` from above, ``board_leaf_l``, ``pack_leaf_l``). It serves
a whole tray, a whole board and a single cut plant alike; below fifty pixels all is empty.

The doubt of a mean colour has seven sources, each a step in CIELAB that is carried through to every
column by the change it makes (JCGM 100:2008, 5.1.3 note 2): the light on leaves that stand nearer
the lamp than the card, or out of the shadow that lies on it; what the card's correction leaves in
lightness, chroma and hue; leaf brighter than the picture can hold; channels that the phone cut off;
what is rather leaf but not surely; where deep shade begins.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from skimage.color import lab2rgb, rgb2lab

from traymorph.measure.cut_channels import cut_off_step
from traymorph.measure.greenness import INDICES
from traymorph.measure.leaf_light import (
    DEEP_SHADE,
    FEWEST_PIXELS,
    Chosen,
    Colours,
    LeafPixels,
    Shares,
    leaf_pixels,
)
from traymorph.measure.leaf_tints import tint_shares
from traymorph.measure.mistaken import SAME_WAY
from traymorph.model.card import ColourFit
from traymorph.model.metrics.colour import COLOUR, PREFIXES
from traymorph.model.photo import View
from traymorph.model.results import Measured

_LIGHT_U = 0.04
"""Relative doubt of the light on the leaves against that on the card."""
_LEAST_DE00, _UNKNOWN_DE00 = 0.7, 5.0
"""No printed card is better than this; where the error is not known it is taken to be large."""
_CUT_OFF_BY = 1.5
"""CIELAB; a step of the mean colour that one begins to see."""
_WHY_EMPTY = {"greenness_index": "hue_outside_index", "yellowed_pct": "yellow_throughout"}
"""Columns that may be empty although colour is read, and the flag that says why."""
_SHADE_LIMITS = (0.5 * DEEP_SHADE, 1.5 * DEEP_SHADE)
_ANY_HUE_DEG = 104.0
"""Standard deviation of an angle of which nothing is known: 360 / sqrt(12)."""


@dataclass(frozen=True, slots=True, eq=False)
class _LeafMean:
    """Mean colour of the leaf.

    Parameters
    ----------
    lab : ndarray, shape (3,)
        Mean CIELAB of the pixels.
    encoded : ndarray, shape (3,)
        Mean of their sRGB-encoded values.
    """

    lab: Colours
    encoded: Colours

    def moved(self, steps: Sequence[Colours]) -> list["_LeafMean"]:
        """Give the means that steps in CIELAB, each of shape (3,), lead to."""
        seen = rgb2lab(self.encoded[None, None])[0, 0]
        encoded = lab2rgb((seen + np.array(steps))[None])[0]
        return [_LeafMean(self.lab + s, e) for s, e in zip(steps, encoded, strict=True)]


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
        ``light_unfit_for_colour``, ``colour_cut_off``, ``hue_outside_index``,
        ``yellow_throughout``.
    """
    return metrics_of_pixels(leaf_pixels(rgb, leaf) if colour.shows_colour else None, colour, view)


def metrics_of_pixels(
    pixels: LeafPixels | None, colour: ColourFit, view: View = View.OVERHEAD
) -> tuple[dict[str, Measured], tuple[str, ...]]:
    """Give what `colour_metrics` gives, from leaf pixels that are at hand; None where none are."""
    empty = {spec.name: Measured() for spec in COLOUR if spec.view is view}
    if not colour.shows_colour:
        return empty, ("light_unfit_for_colour",)
    if pixels is None or (pixels.well_lit() & pixels.surely).sum() < FEWEST_PIXELS:
        return empty, ()
    below = cut_off_step(pixels.encoded[pixels.well_lit()], colour.matrix)
    found = _read(pixels, colour, below)
    flags = ["colour_cut_off"] if np.linalg.norm(below) > _CUT_OFF_BY else []
    flags += [flag for name, flag in _WHY_EMPTY.items() if math.isnan(found[name].value)]
    return empty | {PREFIXES[view] + name: got for name, got in found.items()}, tuple(flags)


def _leaf_mean(pixels: LeafPixels, chosen: Chosen) -> _LeafMean:
    """Average the colour of chosen pixels."""
    weight = chosen.astype(np.float64)
    count = np.count_nonzero(chosen)
    return _LeafMean(weight @ pixels.lab / count, weight @ pixels.encoded / count)


def _card_steps(lab: Colours, error_de00: float) -> tuple[Colours, Colours, Colours]:
    """Step in lightness, chroma and hue by what the card's correction leaves, a third each.

    Parameters
    ----------
    lab : ndarray, shape (3,)
        The colour.
    error_de00 : float
        What the correction leaves, CIEDE2000; NaN where it is not known.

    Returns
    -------
    tuple of ndarray, shape (3,)
        Standard uncertainties as steps in CIELAB.
    """
    error = max(error_de00, _LEAST_DE00) if math.isfinite(error_de00) else _UNKNOWN_DE00
    each = error / math.sqrt(3.0)
    chroma = math.hypot(lab[1], lab[2])
    away = np.array([0.0, lab[1], lab[2]]) / chroma if chroma > 0 else np.array([0.0, 1.0, 0.0])
    round_ = np.array([0.0, -away[2], away[1]])
    # CIEDE2000 weighs chroma by 1 + 0.045 C and hue by about 1 + 0.015 C: undo that
    return (
        np.array([each, 0.0, 0.0]),
        each * (1.0 + 0.045 * chroma) * away,
        each * (1.0 + 0.015 * chroma) * round_,
    )


def _read(pixels: LeafPixels, colour: ColourFit, below: Colours) -> dict[str, Measured]:
    """Every colour column without a prefix."""
    lit = pixels.well_lit()
    mean, surer = _leaf_mean(pixels, lit), _leaf_mean(pixels, lit & pixels.surely)
    shade = [_leaf_mean(pixels, pixels.well_lit(limit)).lab for limit in _SHADE_LIMITS]
    card = _card_steps(mean.lab, math.hypot(colour.error_de00, colour.print_u_de00))
    darker = _leaf_mean(pixels, lit & ~pixels.cut_off).lab
    steps = [
        _light_step(mean, math.hypot(_LIGHT_U, colour.light_u)),
        *card,
        mean.lab - darker,
        below,
        SAME_WAY * (surer.lab - mean.lab),
        0.5 * (shade[1] - shade[0]),
    ]
    values = _columns(mean)
    moved = [_columns(one) for one in mean.moved(steps)]
    found = {name: _with_doubt(name, got, [m[name] for m in moved]) for name, got in values.items()}
    tints = tint_shares(
        pixels.lab[lit], float(np.linalg.norm(card[1])), min(found["leaf_hue_deg"].u, _ANY_HUE_DEG)
    )
    of_surer = tint_shares(pixels.lab[lit & pixels.surely], 0.0, 0.0)
    for name, got in tints.items():
        apart = SAME_WAY * (of_surer[name].value - got.value)
        # Where the surest leaf alone is yellow throughout, the share cannot be told either.
        known = math.isfinite(apart)
        tints[name] = Measured(got.value, math.hypot(got.u, apart)) if known else Measured()
    return {**found, **tints, "leaf_colour_share_pct": _share_used(pixels)}


def _columns(mean: _LeafMean) -> dict[str, float]:
    """Columns that follow from the mean colour."""
    lightness, a, b = (float(v) for v in mean.lab)
    return {
        "leaf_l": lightness,
        "leaf_a": a,
        "leaf_b": b,
        "leaf_chroma": math.hypot(a, b),
        "leaf_hue_deg": math.degrees(math.atan2(b, a)) % 360.0,
        **{name: index(mean.encoded) for name, index in INDICES.items()},
    }


def _light_step(mean: _LeafMean, relative: float) -> Colours:
    """Step in CIELAB from a little more light: lightness and chroma grow, hue stays."""
    # a relative step in linear light takes L* + 16, a* and b* along by a third of it
    grown: Colours = (mean.lab + np.array([16.0, 0.0, 0.0])) * (relative / 3.0)
    return grown


def _with_doubt(name: str, value: float, moved: Sequence[float]) -> Measured:
    """Value with the root of the summed squares of its changes; NaN where it has none itself.

    A change that leaves an index undefined counts nothing.
    """
    if math.isnan(value):
        return Measured()
    changes = [abs(other - value) for other in moved if not math.isnan(other)]
    if name == "leaf_hue_deg":
        return Measured(value, min(math.hypot(*(_turn(c) for c in changes)), _ANY_HUE_DEG))
    return Measured(value, math.hypot(*changes))


def _turn(change_deg: float) -> float:
    """Take the short way round the circle."""
    return min(change_deg, 360.0 - change_deg)


def _share_used(pixels: LeafPixels) -> Measured:
    """Share of the leaf that its colour is read from, per cent."""
    used, more, less = (
        100.0 * pixels.of_leaf * np.count_nonzero(pixels.well_lit(limit)) / len(pixels.lab)
        for limit in (DEEP_SHADE, *_SHADE_LIMITS)
    )
    return Measured(used, max(more - used, used - less))
