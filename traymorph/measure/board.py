"""Cut plants on a board: every plant by itself, and leaf colour of them together."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from traymorph.measure.colour import colour_metrics
from traymorph.measure.cut_plant_losses import missing_cells
from traymorph.measure.cut_plant_readings import BoardView, PlantReading
from traymorph.measure.cut_plant_sizes import PlantSizes
from traymorph.model.cut_plants import CutPlant
from traymorph.model.photo import View
from traymorph.model.results import Measured

Plane = NDArray[np.float32]

# Share of plants without a stem above which, on a board of their colour, blades lie there whose
# stems were lost: what is found is then not plants, and neither their number nor a mean is true.
# Of plants that are seen well fewer lose their stem.
_STEMS_LOST = 1.0 / 3.0


def measure_cut_plants(
    view: BoardView, plants: Sequence[CutPlant]
) -> tuple[tuple[PlantReading, ...], dict[str, Measured], tuple[str, ...]]:
    """Measure the cut plants of one sample in one board photo.

    Parameters
    ----------
    view : BoardView
        The photo, carried to the board's plane.
    plants : sequence of CutPlant
        Those of the sample.

    Returns
    -------
    readings : tuple of PlantReading
        One per plant, in their order. None counts where the board is of their colour and more
        than a third of them lack a stem.
    colours : dict of str to Measured
        Leaf colour of all plants that stand alone and whose leaves are told from their stem, by
        the board's columns; NaN where the light shows no colours or too little leaf is seen.
    flags : tuple of str
        What qualifies the photo's plants together.
    """
    missing = missing_cells(plants, faint=view.too_alike)
    readings = tuple(_read(view, *one) for one in zip(plants, missing, strict=True))
    if view.too_alike and _stems_are_lost(plants):
        readings = tuple(replace(one, counts=False, number_is_told=False) for one in readings)
    sure = [plant for plant in plants if plant.stands_alone and plant.leaf_is_told]
    leaf, _ = together(view.grid.shape, sure)
    colours, flags = colour_metrics(view.rgb, leaf, view.colour, View.BOARD)
    return readings, colours, flags if plants else (*flags, "no_plants_on_board")


def together(shape: tuple[int, int], plants: Sequence[CutPlant]) -> tuple[Plane, Plane]:
    """Draw plants on one grid.

    Parameters
    ----------
    shape : tuple of int
        (rows, columns) of the grid.
    plants : sequence of CutPlant
        Any.

    Returns
    -------
    tuple of ndarray of float32, both of the given shape
        Share of leaf and of stem.
    """
    leaf, stem = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    for plant in plants:
        leaf[plant.box] = np.maximum(leaf[plant.box], plant.leaf)
        stem[plant.box] = np.maximum(stem[plant.box], plant.stem)
    return leaf, stem


def _stems_are_lost(plants: Sequence[CutPlant]) -> bool:
    without = sum(not plant.leaf_is_told for plant in plants)
    return without > _STEMS_LOST * len(plants)


def _read(view: BoardView, plant: CutPlant, missing: float) -> PlantReading:
    sizes = PlantSizes(view, plant, missing)
    areas = sizes.areas()
    x_mm, y_mm = (float(value) for value in sizes.place_mm)
    of_blades = (flag for blade in plant.blades for flag in blade.flags)
    lost = ("leaf_incomplete",) if missing > 0.0 else ()
    colours, _ = colour_metrics(view.rgb[plant.box], plant.leaf, view.colour, View.BOARD)
    return PlantReading(
        x_mm=x_mm,
        y_mm=y_mm,
        readings={
            "stem_length_mm": sizes.stem_length(),
            "stem_width_mm": sizes.stem_width(),
            "stem_area_mm2": sizes.stem_area(areas),
            "leaf_area_mm2": sizes.leaf_area(areas),
            "blade_count": sizes.blade_count(),
            "blade_length_mm": sizes.blade_length(),
            "board_blade_width_mm": sizes.blade_width(),
        },
        colours=colours,
        areas=areas,
        flags=tuple(dict.fromkeys((*plant.flags, *of_blades, *lost))),
        counts=plant.stands_alone,
        leaf_is_whole=missing <= 0.0,
    )
