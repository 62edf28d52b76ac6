"""Leaf, stem and the rest in one photo: two witnesses heard together.

The learned model knows the forms of seedlings and tells leaf from stem, but was trained on rendered
trays alone: outdoors it takes bare soil for plant. The colour-and-shape model fits itself to each
photo and holds outdoors, but loses crops that are coloured like what they stand on. Each view
hears both with the weights that did best on photos that neither was made from (docs/accuracy.md).
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.model.masks import PlantMasks
from traymorph.model.photo import View
from traymorph.segment import edges
from traymorph.segment.learned import tissue_shares, tissue_version
from traymorph.segment.plants import METHOD as COLOUR_METHOD
from traymorph.segment.plants import segment_plants

Share = NDArray[np.float32]

_UNCALIBRATED_PX = 800
"""Width at which the learned model sees a photo of unknown scale."""
_SURE = 0.005
"""Neither witness is believed beyond these odds."""


@dataclass(frozen=True, slots=True)
class _Weights:
    """How much each witness's log-odds count."""

    learned: float
    colour: float


_OVERHEAD = _Weights(learned=1.0, colour=0.0)
_SIDE = _Weights(learned=2.0, colour=1.0)
_WITHOUT_CARD = _Weights(learned=1.0, colour=2.0)


def segment_tissue(
    rgb: NDArray[np.uint8],
    view: View,
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
    view : View
        From where it was taken.
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
    weights = _weights(view, calibrated=mm_per_px is not None)
    leaf, stem = _learned(rgb, calibrated=mm_per_px is not None)
    plant, method = leaf + stem, f"learned {tissue_version()}"
    doubt = np.minimum(plant, 1 - plant)
    if weights.colour > 0:
        colour = segment_plants(
            rgb,
            view,
            scale=scale,
            mm_per_px=mm_per_px,
            calibrated=mm_per_px is not None,
            ignore=ignore,
        )
        odds = weights.learned * _log_odds(plant) + weights.colour * _log_odds(colour.plant)
        # Where the two contradict each other, neither is sure.
        doubt = np.maximum(doubt, np.minimum(0.5, np.abs(plant - colour.plant) / 2))
        plant, method = _share(odds), f"{method} + {COLOUR_METHOD}"
    if mm_per_px is not None:  # light adds up only in linear light, which a card has set
        plant = edges.unmix(plant.astype(np.float32), rgb)
    if ignore is not None:
        # A leaf may lie over the card, but what is printed there is none.
        plant = np.where(ignore & (plant < _OVER_CARD), 0.0, plant)
    stem_part = stem / np.maximum(leaf + stem, 1e-6)
    return PlantMasks(
        leaf=(plant * (1 - stem_part)).astype(np.float32),
        stem=(plant * stem_part).astype(np.float32),
        scale=scale,
        method=method,
        doubt=np.clip(doubt, 0.0, 0.5).astype(np.float32),
    )


_OVER_CARD = 0.9


def _weights(view: View, *, calibrated: bool) -> _Weights:
    if not calibrated:
        return _WITHOUT_CARD
    return _SIDE if view is View.SIDE else _OVERHEAD


def _learned(rgb: NDArray[np.uint8], *, calibrated: bool) -> tuple[Share, Share]:
    """Shares of leaf and stem by the learned model at the scale it knows."""
    if calibrated or rgb.shape[1] <= _UNCALIBRATED_PX:
        return tissue_shares(rgb)
    height, width = rgb.shape[:2]
    size = (_UNCALIBRATED_PX, max(1, round(height * _UNCALIBRATED_PX / width)))
    small = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    leaf, stem = (
        np.asarray(cv2.resize(share, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)
        for share in tissue_shares(small)
    )
    return leaf, stem


def _log_odds(share: Share) -> Share:
    sure = np.clip(share, _SURE, 1 - _SURE)
    return np.asarray(np.log(sure / (1 - sure)), np.float32)


def _share(odds: Share) -> Share:
    return np.asarray(1 / (1 + np.exp(-odds)), np.float32)
