"""What a scene shows that a training run can go without: a crop, a form of leaf or a colour."""

import numpy as np

from tests.scenes import board, crops, tray
from tests.scenes.colour import linear_to_lab

PEA_LIKE, RED, BROWN = "pea-like", "red", "brown"
_REDDER, _LIGHTER = 0.0, 55.0
"""CIELAB a* below which leaves are green, and L* above which those with more b* than a* are yellow
and not brown."""


def kinds_of(spec: dict) -> frozenset[str]:
    """Names of the crops in a scene, neighbours included, and what they are: pea-like, red, brown.

    Parameters
    ----------
    spec : dict
        The scene's specification as `truth.json` holds it.
    """
    kinds: set[str] = set()
    of = board.crop_of if "board" in spec["views"] else tray.crop_of
    beside = [n["plants"] for n in spec.get("neighbours", ())]
    for crop, name in [(of(spec), spec["crop"]), *((tray.crop_of(p), p["crop"]) for p in beside)]:
        kinds |= {name} | _looks(crop)
    return frozenset(kinds)


def _looks(crop: crops.Crop) -> set[str]:
    looks = {PEA_LIKE} if crop.form == "pea" else set()
    light, a, b = linear_to_lab(np.asarray(0.5 * (crop.leaf + crop.leaf_other), np.float64))
    if a > _REDDER and b <= a:
        looks.add(RED)
    elif a > _REDDER and light < _LIGHTER:
        looks.add(BROWN)
    return looks
