"""Plants that lack a blade which the other plants of their photo have.

Where a stalk is as pale as the board it is lost, and with it the blade beyond it. Such a plant
looks whole by itself; beside its company it has a blade too few, and no other blade is large enough
to hide it. Where what is seen has no outline of a single blade, the other is rather behind it,
unless the photo's plants hardly differ from their board.
"""

from collections.abc import Sequence

import numpy as np

from traymorph.model.cut_plants import Blade, CutPlant

_FEWEST = 4
"""Whole plants of a photo from which the usual plant is known."""
_SEED_LEAVES = 2
_ALIKE = 0.45
"""Area of one seed leaf over the other's, at least; a true leaf is smaller."""
_ONE_OF_TWO, _COVERED = 0.7, 0.5
"""Area of a plant's seed leaves over that of usual ones, below which one of them is lost: where
what is seen has the outline of a single blade, and where it may cover another. Of two equal blades
one is half."""


def missing_cells(plants: Sequence[CutPlant], *, faint: bool) -> list[float]:
    """Leaf area that each plant lacks.

    Parameters
    ----------
    plants : sequence of CutPlant
        All of one photo.
    faint : bool
        Whether stems or leaves of the photo hardly differ from the board.

    Returns
    -------
    list of float
        Cells, by the usual plant of the photo; 0 where nothing is missing, where too few plants
        are whole, and for peas and grasses, whose number of leaves differs.
    """
    built = [_seed_leaves(plant) for plant in plants]
    whole = [_area(own) for own in built if _present(own) >= _SEED_LEAVES]
    if len(whole) < _FEWEST:
        return [0.0] * len(plants)
    usual = float(np.median(whole))
    return [usual - _area(own) if _is_incomplete(own, usual, faint=faint) else 0.0 for own in built]


def _is_incomplete(blades: list[Blade], usual: float, *, faint: bool) -> bool:
    if not blades or _present(blades) >= _SEED_LEAVES:
        return False
    covers = any("blades_overlap" in blade.flags for blade in blades)
    if covers and not faint:
        return False
    return _area(blades) < (_COVERED if covers else _ONE_OF_TWO) * usual


def _seed_leaves(plant: CutPlant) -> list[Blade]:
    """Blades of a plant that stands alone; none for peas, whose blades are all true leaves."""
    told = plant.stands_alone and plant.leaf_is_told
    if not told or all(blade.true_leaf for blade in plant.blades):
        return []
    return list(plant.blades)


def _present(blades: list[Blade]) -> int:
    """How many blades are as large as a seed leaf beside the plant's largest, or folded."""
    largest = max((blade.area_cells for blade in blades), default=0.0)
    return sum(
        blade.area_cells >= _ALIKE * largest or "blade_folded" in blade.flags for blade in blades
    )


def _area(blades: list[Blade]) -> float:
    """Area of the two largest blades, the seed leaves, cells; true leaves differ in number."""
    return sum(sorted(blade.area_cells for blade in blades)[-_SEED_LEAVES:])
