"""A side photo from its card to its metrics."""

import numpy as np

from traymorph.config.settings import Settings
from traymorph.measure.mask_doubt import photo_flags
from traymorph.measure.photo_checks import check_photo
from traymorph.measure.side import COLUMN_MM, column_tops_mm, front_view
from traymorph.measure.tray import columns_that_count, measure_side
from traymorph.model.masks import PlantMasks
from traymorph.model.metrics import METRICS
from traymorph.model.photo import View
from traymorph.model.results import Measured
from traymorph.model.tray import FrontWall, TraySide
from traymorph.model.trial import TraySize
from traymorph.pipeline.outcome import PhotoOutcome
from traymorph.pipeline.seen import SeenPhoto, SegmentedPhoto
from traymorph.report.overlays import HeightLine, plain_overlay, side_overlay
from traymorph.tray.front_wall import find_front_wall
from traymorph.tray.own_plants import largest_plants
from traymorph.tray.own_side import OwnSide, own_side


def measure_side_photo(
    seen: SeenPhoto, segmented: SegmentedPhoto, size: TraySize, settings: Settings
) -> PhotoOutcome:
    """Measure one side photo.

    Parameters
    ----------
    seen, segmented : SeenPhoto, SegmentedPhoto
        The photo, its card, its plants.
    size : TraySize
        Sizes of the tray; without any of length and width nothing can be measured.
    settings : Settings
        Of the trial.

    Raises
    ------
    TrayNotFoundError
        No front wall of the tray's size is seen beside the card.
    """
    title = f"{seen.entry.tray_id}  ·  {seen.entry.path.name}  ·  from the side"
    outline = seen.sighting.outline_px
    stand, wall = _own_plants(seen, segmented, size, settings)
    own = stand.masks
    quality = check_photo(seen.photo.rgb, seen.sighting, own)
    if wall is None:
        empty = {name: Measured() for name, spec in METRICS.items() if spec.view is View.SIDE}
        picture = plain_overlay(segmented.rgb, own.scale, own.plant, outline, title)
        return PhotoOutcome(empty, ("tray_size_missing",), quality, own, picture)
    tray = TraySide(
        own, seen.sighting.viewpoint, size, wall, at_least=stand.at_least, behind=stand.behind
    )
    metrics, flags = measure_side(tray)
    picture = side_overlay(tray, segmented.rgb, outline, _height_line(tray), title, metrics)
    flags = (*photo_flags(segmented.masks), *flags)
    return PhotoOutcome(metrics, flags, quality, own, picture)


def own_side_plants(
    seen: SeenPhoto, segmented: SegmentedPhoto, size: TraySize, settings: Settings
) -> PlantMasks:
    """Keep the plants of the photo's tray."""
    return _own_plants(seen, segmented, size, settings)[0].masks


def _own_plants(
    seen: SeenPhoto, segmented: SegmentedPhoto, size: TraySize, settings: Settings
) -> tuple[OwnSide, FrontWall | None]:
    if size.inside_length_mm is None and size.inside_width_mm is None:
        return OwnSide(largest_plants(segmented.masks), None, behind=False), None
    viewpoint = seen.sighting.viewpoint
    wall = find_front_wall(
        segmented.rgb,
        segmented.masks,
        viewpoint,
        size,
        settings.card.plane,
        seen.sighting.outline_px,
    )
    return own_side(segmented.masks, viewpoint, wall, segmented.rgb), wall


def _height_line(tray: TraySide) -> HeightLine:
    """Give the highest plant point of each column, in the plane of the front wall."""
    tops = column_tops_mm(front_view(tray))
    wall = tray.wall
    x = wall.left_x_mm + COLUMN_MM * (np.arange(len(tops)) + 0.5)
    y = wall.rim_y_mm + wall.rim_slope * (x - wall.left_x_mm) - tops
    known = np.isfinite(tops)
    points_px = tray.viewpoint.project(np.column_stack([x, y, np.zeros_like(x)])[known])
    return HeightLine(points_px, columns_that_count(tops)[known])
