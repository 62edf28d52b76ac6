"""Leaf, stem and the rest in one photo: witnesses heard together.

The learned model knows the forms of seedlings and tells leaf from stem: it is the first witness.
The second are the colours of that photo, taught by what the first is sure of. Without a card
neither scale nor light is known and the learned model takes bare soil for plant: there the
colour-and-shape model is heard too, which fits itself to each photo, as far as it is to be
believed. All weights are those that did best on photos that no witness was made from
(docs/tissue-model.md).
"""

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.model.masks import PlantMasks
from traymorph.segment import edges
from traymorph.segment.learned import (
    may_hold_plants,
    release_model,
    tissue_shares,
    tissue_version,
    window_of,
)
from traymorph.segment.plants import METHOD as COLOUR_METHOD
from traymorph.segment.plants import plant_share
from traymorph.segment.taught_colours import METHOD as TAUGHT_METHOD
from traymorph.segment.taught_colours import (
    colour_bins,
    log_odds,
    taught_evidence,
    taught_log_odds,
)

Share = NDArray[np.float32]

_TAUGHT_WEIGHT = 0.5
"""How much the colours of the photo count beside the learned model, in log-odds."""
_TAUGHT_WEIGHT_WITHOUT_CARD = 1.0
COLOUR_MODEL_WEIGHT = 3.0
"""The same of the colour-and-shape model without a card, at most: see `colour_model_weight`."""
_OWN_DOUBT = 2.0
"""How many times larger than it says the colour-and-shape model's doubt is taken to be: it fits
itself to whatever parts a photo in two, a backdrop and a tray as well."""
_PLANT_FROM = 0.5
_OVER_CARD = 0.9
_SURELY = 0.2
"""A witness is sure of plant from a half and this on, of none from a half less this."""
_CONTRADICTED_DOUBT = 0.25
"""Least chance of a mistake where two sure witnesses contradict each other: a third of such pixels
are told wrongly on rendered trays."""


@dataclass(frozen=True, slots=True)
class _Told:
    """Share of plant in each pixel, the stem's share of that plant, and chance of a mistake.

    Where both witnesses are sure and contradict each other, ``contradicted`` is True.
    """

    plant: Share
    stem: Share
    doubt: Share
    contradicted: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class _FirstTold:
    """What the learned model says alone: share of plant, and the stem's share of that plant."""

    plant: Share
    stem: Share


def segment_tissue(
    rgb: NDArray[np.uint8],
    *,
    scale: float,
    mm_per_px: float | None,
    ignore: NDArray[np.bool_] | None,
) -> PlantMasks:
    """Tell leaf, stem and the rest apart in one photo.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        The upright photo, sRGB-encoded and reduced by area averaging: with a card in view to
        about 0.3 mm per pixel and corrected for the light, else to about 3 million pixels.
    scale : float
        Pixels of the photo per pixel of ``rgb``; handed on to the masks.
    mm_per_px : float or None
        Size of a pixel of ``rgb`` at the card; None where no card was seen.
    ignore : ndarray of bool, shape (h, w), or None
        True where the card lies.

    Returns
    -------
    PlantMasks
        Every plant in the photo, of whichever tray.
    """
    leaf, stem, window = _learned(rgb, mm_per_px)
    release_model()  # what comes after needs the memory for the photo
    second = f"{TAUGHT_METHOD} + {COLOUR_METHOD}" if mm_per_px is None else TAUGHT_METHOD
    masks = PlantMasks(
        leaf=leaf,
        stem=stem,
        scale=scale,
        method=f"learned {tissue_version()} + {second}",
        doubt=np.zeros(leaf.shape, np.float32),
    )
    if window is None:
        return masks
    learned = _first_told(leaf[window], stem[window])
    if mm_per_px is None:
        # Wholly seen: without a scale the window is the whole photo.
        told = _without_card(learned, rgb, plant_share(rgb, ignore=ignore))
    else:
        told = _by_taught_colours(learned, rgb[window])
    if ignore is not None:
        # A leaf may lie over the card, but what is printed there is none.
        told.plant[ignore[window] & (told.plant < _OVER_CARD)] = 0.0
        told.contradicted[ignore[window]] = False
    np.multiply(told.plant, told.stem, out=stem[window])
    np.subtract(told.plant, stem[window], out=leaf[window])
    np.clip(told.doubt, 0.0, 0.5, out=masks.doubt[window])
    return replace(masks, contradicted=_contradicted_share(told))


def _first_told(leaf: Share, stem: Share) -> _FirstTold:
    """Take over the planes of the learned model, which are changed in place to save memory."""
    leaf += stem
    stem /= np.maximum(leaf, np.float32(1e-6))
    return _FirstTold(leaf, stem)


def _heard_together(learned: _FirstTold, odds: Share, weight: float) -> _Told:
    """Add the second witness's log-odds of plant to what the learned model says, in place.

    The chance of a mistake is that of what both say together, and at least half of how far the
    second has moved the first: where the two contradict each other, neither is sure.
    """
    contradicted = _contradicted(learned.plant, odds)
    odds *= np.float32(weight)
    odds += log_odds(learned.plant)
    plant = _share(odds)
    apart = learned.plant - plant
    np.abs(apart, out=apart)
    apart /= 2
    doubt = 1 - plant
    np.minimum(plant, doubt, out=doubt)
    np.maximum(doubt, apart, out=doubt)
    doubt[contradicted] = np.maximum(doubt[contradicted], np.float32(_CONTRADICTED_DOUBT))
    return _Told(plant, learned.stem, doubt, contradicted)


def _contradicted(plant: Share, odds: Share) -> NDArray[np.bool_]:
    """Where share and log-odds of two witnesses are both sure, one of plant and one of none."""
    low, high = 0.5 - _SURELY, 0.5 + _SURELY
    sure_odds = math.log(high / low)
    found = (plant < low) & (odds > sure_odds)
    found |= (plant > high) & (odds < -sure_odds)
    return found


def _contradicted_share(told: _Told) -> float:
    """Contradicted area over the area of plant, at most 1."""
    area = float(told.contradicted.sum())
    return min(1.0, area / max(1.0, float((told.plant > _PLANT_FROM).sum())))


def _without_card(learned: _FirstTold, rgb: NDArray[np.uint8], colour: Share) -> _Told:
    """Hear colours that plants have in this photo, and the colour-and-shape model."""
    plants = learned.plant > _PLANT_FROM
    odds = taught_log_odds(colour_bins(rgb), plants)
    odds *= np.float32(_TAUGHT_WEIGHT_WITHOUT_CARD)
    odds += log_odds(colour) * np.float32(colour_model_weight(learned.plant, colour))
    told = _heard_together(learned, odds, 1.0)
    # Little as one may have been believed: where the two contradict each other neither is sure.
    np.maximum(told.doubt, np.abs(learned.plant - colour) / 2, out=told.doubt)
    return told


def colour_model_weight(learned: Share, colour: Share) -> float:
    """Give weight to the colour-and-shape model by agreement and by the doubts of the two.

    The learned model is unsure on soil that it takes for plant, where the other one is sure: there
    the other counts, as the inverse squares of their doubts say. Where the two find quite
    different things, the learned model is right: a backdrop is no seedling, whatever its colour.

    Parameters
    ----------
    learned, colour : ndarray of float32, shape (h, w)
        Share of plant as each of them tells it.

    Returns
    -------
    float
        0 to ``COLOUR_MODEL_WEIGHT``.
    """
    found, other = learned > _PLANT_FROM, colour > _PLANT_FROM
    either = np.count_nonzero(found | other)
    if either == 0:
        return 0.0
    agreement = np.count_nonzero(found & other) / either
    doubts = np.array([_doubt_share(learned), _OWN_DOUBT * _doubt_share(colour)])
    precise = 1.0 / np.maximum(doubts, _SURE_SHARE) ** 2
    return float(COLOUR_MODEL_WEIGHT * agreement * precise[1] / precise.sum())


_SURE_SHARE = 1e-3
"""No witness is surer than this of the area it finds."""


def _doubt_share(plant: Share) -> float:
    """Area expected to be told wrongly, relative to the area found."""
    wrong = np.minimum(plant, 1 - plant).sum(dtype=np.float64)
    return float(wrong / max(np.count_nonzero(plant > _PLANT_FROM), 1))


def _by_taught_colours(learned: _FirstTold, rgb: NDArray[np.uint8]) -> _Told:
    """Colours that plants, and stems among them, have in this photo; outlines refined."""
    bins, plants = colour_bins(rgb), learned.plant > _PLANT_FROM
    odds = taught_log_odds(bins, plants)
    told = _heard_together(learned, odds, _TAUGHT_WEIGHT)
    odds = taught_evidence(bins, learned.stem > _PLANT_FROM, plants)
    del bins, plants  # here the memory is at its fullest
    odds *= np.float32(_TAUGHT_WEIGHT)
    odds += log_odds(learned.stem)
    # Light adds up only in linear light, which a card has set.
    return _Told(edges.unmix(told.plant, rgb), _share(odds), told.doubt, told.contradicted)


def _learned(
    rgb: NDArray[np.uint8], mm_per_px: float | None
) -> tuple[Share, Share, tuple[slice, slice] | None]:
    """Shares of leaf and stem by the learned model, and the window where there may be any.

    At the scale that a card sets, a first look at a coarse one finds that window. A photo of
    unknown scale is told as a whole, as it comes and at half that width, and the two answers are
    heard alike: a tray far away fills it with thin stems, a close view with wide blades.
    """
    height, width = rgb.shape[:2]
    if mm_per_px is not None:
        wanted = may_hold_plants(rgb, mm_per_px)
        return *tissue_shares(rgb, wanted), window_of(wanted, (height, width))
    half = np.asarray(cv2.resize(rgb, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), np.uint8)
    fine, coarse = _first_told(*tissue_shares(rgb)), _first_told(*tissue_shares(half))
    coarse_plant, coarse_stem = (
        np.asarray(cv2.resize(share, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)
        for share in (coarse.plant, coarse.stem)
    )
    odds = log_odds(fine.plant)
    odds += log_odds(coarse_plant)
    odds /= 2
    plant = _share(odds)
    stem: Share = plant * (fine.stem + coarse_stem) * np.float32(0.5)
    leaf: Share = plant - stem
    return leaf, stem, (slice(0, height), slice(0, width))


def _share(odds: Share) -> Share:
    """Give 1 / (1 + exp(-odds)), in place."""
    np.negative(odds, out=odds)
    np.exp(odds, out=odds)
    odds += 1
    return np.divide(1, odds, out=odds)
