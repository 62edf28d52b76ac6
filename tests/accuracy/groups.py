"""Groups of crops by what makes their masks hard, so that a mean error shows where it comes from.

A tray belongs to the first group that it fits. Young and sparse stands come first: what one sees
there is ground between pale, small leaves, whatever the crop. Tendrils, folded leaflets and long
leaf stalks set pea-like crops apart, whatever their colour. Red, purple and brown leaves look like
media and benches. Narrow blades are hardly wider than stems. What is left is the usual green tray.
"""

from __future__ import annotations

import numpy as np

from tests.scenes import crops
from tests.scenes.colour import linear_to_lab
from tests.scenes.tray import crop_of

YOUNG_OR_SPARSE = "young or sparse"
PEA_LIKE = "pea-like"
RED = "red, purple or brown"
NARROW = "green, narrow blades"
WIDE = "green, wide blades"
GROUPS = (WIDE, NARROW, RED, PEA_LIKE, YOUNG_OR_SPARSE)

_SPARSE_BELOW_PCT = 60.0
"""Cover below which two fifths of the tray and more are ground seen between plants."""
_REDDER = 0.0
"""CIELAB a* of the blade: leaves are green below, red, purple or brown above."""
_NARROW_BELOW_MM = 6.0
"""Mean width of the seed leaves; stems are 1 to 3 mm wide."""


def group_of(record: dict) -> str:
    """Name of the group that a rendered tray belongs to.

    Parameters
    ----------
    record : dict
        Its `truth.json`.
    """
    crop = crop_of(record["spec"])
    sparse = record["truth"]["canopy_cover_pct"] < _SPARSE_BELOW_PCT
    if record["spec"].get("age") is not None or sparse:
        return YOUNG_OR_SPARSE
    if crop.form == "pea":
        return PEA_LIKE
    if redness(crop) > _REDDER:
        return RED
    return NARROW if crop.blade[1] < _NARROW_BELOW_MM else WIDE


def redness(crop: crops.Crop) -> float:
    """CIELAB a* of a crop's mean leaf."""
    mean = 0.5 * (np.asarray(crop.leaf, float) + np.asarray(crop.leaf_other, float))
    return float(linear_to_lab(mean)[1])
