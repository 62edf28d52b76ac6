"""What measuring one photo hands to its tray."""

from dataclasses import dataclass

from PIL import Image

from traymorph.measure.cut_plant_readings import PlantReading
from traymorph.measure.photo_checks import PhotoQuality
from traymorph.model.masks import PlantMasks
from traymorph.model.results import Measured


@dataclass(frozen=True, slots=True, eq=False)
class PhotoOutcome:
    """One photo, measured.

    Parameters
    ----------
    metrics : dict of str to Measured
        The metrics of the photo's view; NaN where they could not be measured.
    flags : tuple of str
        What qualifies them.
    quality : PhotoQuality
        Checks of the photo itself.
    masks : PlantMasks
        The tray's own plants.
    overlay : Image
        What was measured, to be looked at.
    plants : tuple of PlantReading
        The tray's cut plants, in the order of their numbers on the overlay; empty for other views.
    """

    metrics: dict[str, Measured]
    flags: tuple[str, ...]
    quality: PhotoQuality
    masks: PlantMasks
    overlay: Image.Image
    plants: tuple[PlantReading, ...] = ()
