"""The photo of an opened pack from its card to its colours."""

from dataclasses import replace

import numpy as np

from traymorph.measure.pack import measure_pack, pack_contents
from traymorph.measure.photo_checks import check_photo
from traymorph.model.masks import PlantMasks
from traymorph.pipeline.outcome import PhotoOutcome
from traymorph.pipeline.seen import SeenPhoto, SegmentedPhoto
from traymorph.report.overlays import pack_overlay


def measure_pack_photo(seen: SeenPhoto, segmented: SegmentedPhoto) -> PhotoOutcome:
    """Measure one photo of an opened pack; the card lies flat beside it.

    Parameters
    ----------
    seen, segmented : SeenPhoto, SegmentedPhoto
        The photo, its card, its plants.

    Returns
    -------
    PhotoOutcome
        Every ``pack_`` metric; no plant at all is a flag, not an error.
    """
    outline = seen.sighting.outline_px
    own = own_pack_plants(seen, segmented)
    metrics, flags = measure_pack(segmented.rgb, own, seen.sighting.colour)
    title = f"{seen.entry.tray_id}  ·  {seen.entry.path.name}  ·  opened pack"
    return PhotoOutcome(
        metrics,
        flags,
        check_photo(seen.photo.rgb, seen.sighting, own),
        own,
        pack_overlay(segmented.rgb, own, outline, title, metrics),
    )


def own_pack_plants(seen: SeenPhoto, segmented: SegmentedPhoto) -> PlantMasks:
    """Keep what the photo's pack holds: the left or right one where two share the photo."""
    masks = segmented.masks
    part = seen.entry.part
    if part != "whole":
        columns = (np.arange(masks.leaf.shape[1]) + 0.5) * masks.scale - 0.5
        is_left = columns < seen.sighting.outline_px[:, 0].mean()
        own = (is_left if part == "left" else ~is_left).astype(np.float32)
        masks = replace(
            masks, leaf=masks.leaf * own, stem=masks.stem * own, doubt=masks.doubt * own
        )
    return pack_contents(masks, seen.mm_per_px * masks.scale)
