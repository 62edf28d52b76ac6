"""Class masks on the upright photo's pixel grid: 0 other, 1 leaf, 2 stem, 3 card."""

import logging
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.config.lists import read_trial
from traymorph.config.settings import Settings, read_settings
from traymorph.errors import CardError, TraymorphError, TrayNotFoundError
from traymorph.intake.photos import read_photo
from traymorph.model.card import CardSighting, RegisteredCard
from traymorph.model.masks import PlantMasks
from traymorph.model.photo import View
from traymorph.model.trial import PhotoEntry, Sample, TraySize
from traymorph.pipeline.board import board_plants_without_card, own_board_plants
from traymorph.pipeline.calibrate import cards_of_samples, read_colours
from traymorph.pipeline.overhead import own_overhead_plants
from traymorph.pipeline.pack import own_pack_plants
from traymorph.pipeline.seen import see, segment, segment_without_card
from traymorph.pipeline.side import own_side_plants

_LEAF, _STEM, _CARD = 1, 2, 3
_log = logging.getLogger("traymorph")


def class_mask(
    masks: PlantMasks, size_px: tuple[int, int], sighting: CardSighting | None
) -> NDArray[np.uint8]:
    """Bring soft masks to full size and decide each pixel.

    Parameters
    ----------
    masks : PlantMasks
        At reduced scale.
    size_px : tuple of int
        (width, height) of the upright photo.
    sighting : CardSighting or None
        The card, if one was seen.

    Returns
    -------
    ndarray of uint8, shape (height, width)
    """
    leaf, stem = (
        cv2.resize(layer, size_px, interpolation=cv2.INTER_LINEAR)
        for layer in (masks.leaf, masks.stem)
    )
    classes = np.zeros(leaf.shape, dtype=np.uint8)
    plant = leaf + stem >= 0.5
    classes[plant] = np.where(stem[plant] > leaf[plant], _STEM, _LEAF)
    if sighting is not None:
        card = np.zeros_like(classes)
        cv2.fillConvexPoly(card, np.round(sighting.outline_px).astype(np.int32), 1)
        # A leaf that lies over the card is still a leaf.
        classes[(card > 0) & (classes == 0)] = _CARD
    return classes


def mask_photo_file(path: Path, view: View) -> NDArray[np.uint8]:
    """Say which pixels of a photo are leaf, stem and card; see :func:`traymorph.mask_photo`."""
    sample, settings, cards = _sample_of(path)
    try:
        seen = see(PhotoEntry(path, None, view, None), settings.card.printed_bar_mm, cards)
    except CardError as err:
        _log.warning("uncalibrated: %s", err.message)
        photo = read_photo(path)
        if view is View.BOARD:
            return class_mask(board_plants_without_card(photo, sample.crop), photo.size_px, None)
        return class_mask(segment_without_card(photo).masks, photo.size_px, None)
    if seen.view is View.BOARD:
        return class_mask(own_board_plants(seen, sample.crop), seen.photo.size_px, seen.sighting)
    segmented = segment(seen)
    if seen.view is View.PACK:
        return class_mask(own_pack_plants(seen, segmented), seen.photo.size_px, seen.sighting)
    find = own_side_plants if view is View.SIDE else own_overhead_plants
    try:
        own = find(seen, segmented, sample.size, settings)
    except TrayNotFoundError as err:
        _log.warning("every plant in the photo counts: %s", err.message)
        own = segmented.masks
    return class_mask(own, seen.photo.size_px, seen.sighting)


def _sample_of(path: Path) -> tuple[Sample, Settings, tuple[RegisteredCard, ...]]:
    """Find the sample, settings and registered print of a photo in the ``photos`` of a trial."""
    folder = next(
        (place.parent for place in path.resolve().parents if place.name == "photos"), None
    )
    unknown = Sample("", "tray", TraySize(), None)
    if folder is None:
        return unknown, Settings(), ()
    try:
        settings = read_settings(folder)
        trial = read_trial(folder, settings)
        cards = cards_of_samples(read_colours(folder), trial.samples)
    except TraymorphError as err:
        _log.warning("the trial's lists are not used: %s", err.message)
        return unknown, Settings(), ()
    tray_id = next((p.tray_id for p in trial.photos if p.path.resolve() == path.resolve()), None)
    unlisted = Sample("", "tray", settings.tray_size(), None)
    samples = {sample.tray_id: sample for sample in trial.samples}
    return samples.get(tray_id or "", unlisted), settings, cards.get(tray_id or "", ())
