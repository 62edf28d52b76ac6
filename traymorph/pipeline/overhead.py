"""An overhead photo from its card to its metrics."""

import math
from dataclasses import dataclass, field

from traymorph.config.settings import Settings
from traymorph.measure.mask_doubt import photo_flags
from traymorph.measure.photo_checks import check_photo
from traymorph.measure.plane import leaf_plane, plane_by_outline
from traymorph.measure.tray import measure_overhead
from traymorph.model.masks import PlantMasks
from traymorph.model.results import Measured
from traymorph.model.tray import LeafPlane, TrayOpening, TrayOverhead
from traymorph.model.trial import TraySize
from traymorph.pipeline.outcome import PhotoOutcome
from traymorph.pipeline.seen import SeenPhoto, SegmentedPhoto
from traymorph.report.overlays import overhead_overlay
from traymorph.tray.card_plane import other_plane_fits_better
from traymorph.tray.opening import find_opening, rim_above_card
from traymorph.tray.own_overhead import own_overhead
from traymorph.tray.own_plants import largest_plants


@dataclass(frozen=True, slots=True)
class SideHeights:
    """What the side photo of the same tray and day tells; NaN where there is none."""

    canopy_height: Measured = field(default_factory=Measured)
    leaf_layer: Measured = field(default_factory=Measured)


_NO_SIDE_PHOTO = SideHeights()


def measure_overhead_photo(
    seen: SeenPhoto,
    segmented: SegmentedPhoto,
    size: TraySize,
    settings: Settings,
    heights: SideHeights = _NO_SIDE_PHOTO,
) -> PhotoOutcome:
    """Measure one overhead photo.

    Parameters
    ----------
    seen, segmented : SeenPhoto, SegmentedPhoto
        The photo, its card, its plants.
    size : TraySize
        Sizes of the tray; without length and width cover, gaps and evenness stay empty.
    settings : Settings
        Of the trial.
    heights : SideHeights
        From the side photo of the same tray and day.

    Raises
    ------
    TrayNotFoundError
        The tray's sizes are known, but no such opening is seen.
    """
    viewpoint = seen.sighting.viewpoint
    opening, own, plane_flags, plane = _own_plants(segmented, seen, size, settings, heights)
    if opening is not None and other_plane_fits_better(
        segmented.rgb,
        segmented.masks,
        seen.sighting,
        size,
        opening,
        _canopy_above_rim_mm(size, settings, heights),
    ):
        plane_flags = (*plane_flags, "card_plane_doubtful")
    tray = TrayOverhead(segmented.rgb, own, viewpoint, size, opening, seen.sighting.colour)
    metrics, flags = measure_overhead(tray, plane)
    return PhotoOutcome(
        metrics,
        (*plane_flags, *photo_flags(segmented.masks), *flags),
        check_photo(seen.photo.rgb, seen.sighting, own),
        own,
        overhead_overlay(
            tray,
            seen.sighting.outline_px,
            plane.height_mm,
            f"{seen.entry.tray_id}  ·  {seen.entry.path.name}  ·  from above",
            metrics,
        ),
    )


def own_overhead_plants(
    seen: SeenPhoto, segmented: SegmentedPhoto, size: TraySize, settings: Settings
) -> PlantMasks:
    """Keep the plants of the photo's tray, at the canopy height that the opening speaks for."""
    return _own_plants(segmented, seen, size, settings, _NO_SIDE_PHOTO)[1]


def _own_plants(
    segmented: SegmentedPhoto,
    seen: SeenPhoto,
    size: TraySize,
    settings: Settings,
    heights: SideHeights,
) -> tuple[TrayOpening | None, PlantMasks, tuple[str, ...], LeafPlane]:
    viewpoint = seen.sighting.viewpoint
    plane_name = settings.card.plane
    rim_height, stated = rim_above_card(size, plane_name), settings.canopy.height_above_medium_mm
    plane, flags = leaf_plane(
        size, rim_height, heights.canopy_height, stated, leaf_layer=heights.leaf_layer
    )
    unknown = "height_assumed" in flags
    if size.rim_above_bench_mm is None and plane_name == "bench":
        flags = (*flags, "rim_height_missing")
    if size.inside_length_mm is None or size.inside_width_mm is None:
        return None, largest_plants(segmented.masks), flags, plane
    above_rim = _canopy_above_rim_mm(size, settings, heights)
    opening = find_opening(
        segmented.rgb, segmented.masks, seen.sighting, size, plane_name, above_rim
    )
    if unknown:
        plane = plane_by_outline(size, rim_height, opening.canopy_above_rim_mm)
    own = own_overhead(segmented.rgb, segmented.masks, viewpoint, opening, plane.height_mm)
    return opening, own, flags, plane


def _canopy_above_rim_mm(size: TraySize, settings: Settings, heights: SideHeights) -> float | None:
    """Height of the canopy above the rim, measured or stated; None where it is not known."""
    canopy, stated = heights.canopy_height.value, settings.canopy.height_above_medium_mm
    if not math.isfinite(canopy) and stated is not None:
        canopy = stated
    fill = size.rim_above_medium_mm
    return canopy - fill if math.isfinite(canopy) and fill is not None else None
