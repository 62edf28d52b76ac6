"""The photo of an opened pack from its card to its colours."""

import numpy as np

from traymorph.measure.pack import measure_pack, pack_contents
from traymorph.measure.photo_checks import check_photo
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
    viewpoint, outline = seen.sighting.viewpoint, seen.sighting.outline_px
    on_card = viewpoint.on_plane(outline.mean(axis=0, keepdims=True), 0.0)[0]
    per_px = viewpoint.mm_per_px(np.array([*on_card, 0.0])) * segmented.masks.scale
    own = pack_contents(segmented.masks, per_px)
    metrics, flags = measure_pack(segmented.rgb, own, seen.sighting.colour)
    title = f"{seen.entry.tray_id}  ·  {seen.entry.path.name}  ·  opened pack"
    return PhotoOutcome(
        metrics,
        flags,
        check_photo(seen.photo.rgb, seen.sighting, own),
        own,
        pack_overlay(segmented.rgb, own, outline, title, metrics),
    )
