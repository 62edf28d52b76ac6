"""Two plants seen as one, told by the company of the photo's other plants.

Where a plant lies over another's cut, only one cut is seen and the piece looks like one large
plant. It then holds twice as many full-grown blades as the others, or much more area.
"""

from dataclasses import replace

import numpy as np

from traymorph.cut_plants.centre_line import polyline_length
from traymorph.cut_plants.forms import PlantForm
from traymorph.model.cut_plants import CutPlant

_FEWEST = 4
"""Plants of a photo from which it is known what is usual."""
_FULL_BLADE = 0.5
"""Area over the usual blade's from which a blade counts."""
_USUAL_NUMBER = 2
"""Blades of a young plant, at least."""
_MOST_AREA, _MOST_AREA_AS_BUILT = 1.8, 2.4
"""Area over the usual plant's from which a piece is two: where it has more blades than usual or a
short stem, and where it is built as one plant is. Within a tray, plants differ by a factor of
two."""
_SHORT_STEM = 0.5
"""Length of a stem over the usual, at most, that ends in the crossing with another."""


def with_group_flags(plants: list[CutPlant], form: PlantForm) -> list[CutPlant]:
    """Flag what must be two plants though one cut is seen.

    Parameters
    ----------
    plants : list of CutPlant
        All of one photo.
    form : PlantForm
        How they are built; of the pair form alone the number of blades is known.

    Returns
    -------
    list of CutPlant
        Such plants carry ``plants_touch`` and no stem.
    """
    alone = [plant for plant in plants if plant.stands_alone]
    if form is not PlantForm.PAIR or len(alone) < _FEWEST:
        return plants
    usual_area = float(np.median([_area(plant) for plant in alone]))
    blades = [blade.area_cells for plant in alone for blade in plant.blades if not blade.true_leaf]
    least = _FULL_BLADE * float(np.median(blades)) if blades else 0.0
    usual_number = max(int(np.median([_number(plant, least) for plant in alone])), _USUAL_NUMBER)
    usual_stem = float(np.median([polyline_length(plant.centre_line) for plant in alone]))
    grouped = []
    for plant in plants:
        number = _number(plant, least)
        short = polyline_length(plant.centre_line) < _SHORT_STEM * usual_stem
        most = _MOST_AREA if number > usual_number or short else _MOST_AREA_AS_BUILT
        is_two = number >= 2 * usual_number or _area(plant) > most * usual_area
        grouped.append(_as_group(plant) if plant.stands_alone and is_two else plant)
    return grouped


def _area(plant: CutPlant) -> float:
    return float(plant.leaf.sum() + plant.stem.sum())


def _number(plant: CutPlant, least: float) -> int:
    return sum(blade.area_cells >= least for blade in plant.blades)


def _as_group(plant: CutPlant) -> CutPlant:
    flags = tuple(dict.fromkeys(("plants_touch", *plant.flags)))
    nothing = np.empty((0, 2))
    return replace(plant, centre_line=nothing, stem_width_cells=float("nan"), flags=flags)
