"""What qualifies single blades, told by comparing the blades of one photo."""

from collections import Counter
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.cut_plants.forms import PlantForm
from traymorph.model.cut_plants import LEFT_OUT, Blade, CutPlant

_SHRED_SHARE = 0.03
"""Share of a plant's leaf below which a blade is a shred of another's edge."""
_TRUE_LEAF_SHARE = 0.6
"""Area of a true leaf over the mean of the two largest blades, at most, on young plants."""
_PAIR = 2
"""Seed leaves of a plant of the pair form, at least."""
_FEWEST = 6
"""Blades of a photo from which their usual form is known."""
_FOLDED_RATIO = 0.68
"""Width over length, in units of the photo's usual, below which a blade is folded or on edge."""
_ONE_BLADE_AREA = 0.7
"""Area, over the usual blade's, from which a plant's only blade covers another rather than being
alone."""


def with_blade_flags(plants: list[CutPlant], form: PlantForm) -> list[CutPlant]:
    """Tell true leaves, folded and overlapping blades.

    Parameters
    ----------
    plants : list of CutPlant
        All of one photo.
    form : PlantForm
        How they are built.

    Returns
    -------
    list of CutPlant
        With them; a plant carries the flags of its blades.
    """
    plants = [replace(p, blades=_told_apart(_without_shreds(p.blades), form)) for p in plants]
    if form is not PlantForm.PAIR:
        return [_flagged(plant, {}) for plant in plants]
    of_plants = [
        [blade for blade in plant.blades if not blade.true_leaf]
        for plant in plants
        if plant.stands_alone
    ]
    seed_leaves = [blade for of_one in of_plants if len(of_one) >= _PAIR for blade in of_one]
    if len(seed_leaves) < _FEWEST:
        return [_flagged(plant, _flags_of_lone(plant)) for plant in plants]
    area = float(np.median([blade.area_cells for blade in seed_leaves]))
    ratio = float(np.median([blade.width_cells / blade.length_cells for blade in seed_leaves]))
    number = max(Counter(len(of_one) for of_one in of_plants).most_common(1)[0][0], _PAIR)
    return [_flagged(plant, _flags_of(plant, area, ratio, number)) for plant in plants]


def touching(one: NDArray[np.bool_], other: NDArray[np.bool_], cells: float) -> bool:
    """Whether two regions share a border of at least so many cells."""
    near = cv2.dilate(one.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    return bool(np.count_nonzero(near & other) >= cells)


def _without_shreds(blades: tuple[Blade, ...]) -> tuple[Blade, ...]:
    total = sum(blade.area_cells for blade in blades)
    return tuple(blade for blade in blades if blade.area_cells >= _SHRED_SHARE * total)


def _told_apart(blades: tuple[Blade, ...], form: PlantForm) -> tuple[Blade, ...]:
    """Seed leaves and true leaves, in the order of their area."""
    ordered = sorted(blades, key=lambda blade: -blade.area_cells)
    if form is PlantForm.HYPOGEAL:
        return tuple(replace(blade, true_leaf=True) for blade in ordered)
    if len(ordered) <= 2:
        return tuple(ordered)
    seed_leaf = (ordered[0].area_cells + ordered[1].area_cells) / 2.0
    return tuple(
        replace(blade, true_leaf=i > 1 and blade.area_cells < _TRUE_LEAF_SHARE * seed_leaf)
        for i, blade in enumerate(ordered)
    )


def _flags_of_lone(plant: CutPlant) -> dict[int, tuple[str, ...]]:
    """Where nothing tells the size of one seed leaf: a plant's only blade may be both."""
    return {0: ("blades_overlap",)} if len(plant.blades) == 1 else {}


def _flags_of(
    plant: CutPlant, area: float, ratio: float, number: int
) -> dict[int, tuple[str, ...]]:
    """Find new flags of each blade, by its place."""
    seed_leaves = sum(not blade.true_leaf for blade in plant.blades)
    flags: dict[int, tuple[str, ...]] = {}
    for i, blade in enumerate(plant.blades):
        if blade.true_leaf:
            continue
        if seed_leaves < number and blade.area_cells > _ONE_BLADE_AREA * area:
            flags[i] = ("blades_overlap",)
        elif blade.width_cells / blade.length_cells < _FOLDED_RATIO * ratio:
            flags[i] = ("blade_folded",)
    return flags


def _flagged(plant: CutPlant, new: dict[int, tuple[str, ...]]) -> CutPlant:
    blades = tuple(
        replace(blade, flags=tuple(dict.fromkeys((*blade.flags, *new.get(i, ())))))
        for i, blade in enumerate(plant.blades)
    )
    if LEFT_OUT.intersection(plant.flags):
        return replace(plant, blades=blades)
    of_blades = [flag for blade in blades for flag in blade.flags]
    return replace(plant, blades=blades, flags=tuple(dict.fromkeys((*plant.flags, *of_blades))))
