"""The opened pack: colour of its leaves and how much of them is yellowed, day by day."""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.measure.colour import colour_metrics
from traymorph.model.card import ColourFit
from traymorph.model.masks import PlantMasks
from traymorph.model.photo import View
from traymorph.model.results import Measured

_APART_MM = 15.0
"""What lies further from the rest than this is not in the pack: another pack, a pot plant."""


def pack_contents(masks: PlantMasks, mm_per_px: float) -> PlantMasks:
    """Keep the largest group of plants that lie no further apart than 15 mm.

    Parameters
    ----------
    masks : PlantMasks
        All plants in the photo.
    mm_per_px : float
        Millimetres per pixel of the masks.

    Returns
    -------
    PlantMasks
        Same grid, all but that group set to 0; unchanged where there are no plants.
    """
    plant = masks.rather_plant.astype(np.uint8)
    across = 2 * max(1, round(0.5 * _APART_MM / mm_per_px)) + 1
    grown = cv2.dilate(plant, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across)))
    count, groups = cv2.connectedComponents(grown, connectivity=8)
    if count == 1:  # label 0 is the background
        return masks
    sizes = np.bincount(groups.ravel(), weights=plant.ravel(), minlength=count)
    sizes[0] = 0
    kept = (groups == int(np.argmax(sizes))).astype(np.float32)
    return replace(
        masks,
        leaf=masks.leaf * kept,
        stem=masks.stem * kept,
        doubt=masks.doubt * kept,
    )


def measure_pack(
    rgb: NDArray[np.uint8], masks: PlantMasks, colour: ColourFit
) -> tuple[dict[str, Measured], tuple[str, ...]]:
    """Measure the photo of an opened pack.

    Leaves in a pack lie at any angle and over each other, so nothing is said of sizes. Stems do
    not count.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        Corrected picture on the pixel grid of the masks.
    masks : PlantMasks
        What the pack holds.
    colour : ColourFit
        How the picture's colours were corrected.

    Returns
    -------
    tuple of (dict of str to Measured, tuple of str)
        Every ``pack_`` metric of ``METRICS``, NaN where it could not be measured, and the flags
        that say why.
    """
    metrics, flags = colour_metrics(rgb, masks.leaf, colour, View.PACK)
    if not masks.rather_plant.any():
        flags = (*flags, "no_plants")
    return metrics, flags
