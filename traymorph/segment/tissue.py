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
from traymorph.segment.learned import (
    may_hold_plants,
    release_model,
    tissue_shares,
    tissue_version,
    window_of,
)
from traymorph.segment.plants import METHOD as COLOUR_METHOD
from traymorph.segment.plants import plant_share

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
    calibrated = mm_per_px is not None
    weights = _weights(view, calibrated=calibrated)
    method = f"learned {tissue_version()}"
    if weights.colour > 0:
        method = f"{method} + {COLOUR_METHOD}"
    leaf, stem, window = _learned(rgb, mm_per_px)
    release_model()  # what comes after needs the memory for the photo
    masks = PlantMasks(
        leaf=leaf, stem=stem, scale=scale, method=method, doubt=np.zeros(leaf.shape, np.float32)
    )
    if window is None:
        return masks
    plant = leaf[window] + stem[window]
    # From here on the stem is known as a share of the plant.
    stem[window] /= np.maximum(plant, np.float32(1e-6))
    doubt = np.minimum(plant, 1 - plant, out=masks.doubt[window])
    if weights.colour > 0:
        colour, _ = plant_share(
            rgb, view, mm_per_px=mm_per_px, calibrated=calibrated, ignore=ignore, window=window
        )
        odds = weights.learned * _log_odds(plant) + weights.colour * _log_odds(colour)
        # Where the two contradict each other, neither is sure.
        np.maximum(doubt, np.abs(plant - colour) / 2, out=doubt)
        plant = _share(odds)
    if calibrated:  # light adds up only in linear light, which a card has set
        plant = edges.unmix(plant, rgb[window])
    if ignore is not None:
        # A leaf may lie over the card, but what is printed there is none.
        plant[ignore[window] & (plant < _OVER_CARD)] = 0.0
    stem[window] *= plant
    np.subtract(plant, stem[window], out=leaf[window])
    np.clip(doubt, 0.0, 0.5, out=doubt)
    return masks


_OVER_CARD = 0.9


def _weights(view: View, *, calibrated: bool) -> _Weights:
    if not calibrated:
        return _WITHOUT_CARD
    return _SIDE if view is View.SIDE else _OVERHEAD


def _learned(
    rgb: NDArray[np.uint8], mm_per_px: float | None
) -> tuple[Share, Share, tuple[slice, slice] | None]:
    """Shares of leaf and stem by the learned model, and the window where there may be any.

    At the scale that a card sets, a first look at a coarse one finds that window; a photo of
    unknown scale is told as a whole.
    """
    height, width = rgb.shape[:2]
    whole = (slice(0, height), slice(0, width))
    if mm_per_px is not None:
        wanted = may_hold_plants(rgb, mm_per_px)
        return *tissue_shares(rgb, wanted), window_of(wanted, (height, width))
    if width <= _UNCALIBRATED_PX:
        return *tissue_shares(rgb), whole
    size = (_UNCALIBRATED_PX, max(1, round(height * _UNCALIBRATED_PX / width)))
    small = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    leaf, stem = (
        np.asarray(cv2.resize(share, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)
        for share in tissue_shares(small)
    )
    return leaf, stem, whole


def _log_odds(share: Share) -> Share:
    sure = np.clip(share, _SURE, 1 - _SURE)
    return np.asarray(np.log(sure / (1 - sure)), np.float32)


def _share(odds: Share) -> Share:
    return np.asarray(1 / (1 + np.exp(-odds)), np.float32)
