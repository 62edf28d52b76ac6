"""A tray's values from its cut plants: means over plants, their spread, what was weighed."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from traymorph.measure.cut_plant_readings import PlantReading, Reading, ratio_of
from traymorph.model.metrics import PER_PLANT
from traymorph.model.results import Measured, PlantSpread
from traymorph.model.trial import SampleWeight

FEW_PLANTS = 8
"""With fewer plants the standard error of their mean stem length exceeds 5 % at a usual spread
between plants of 14 %."""
BALANCE_STEP_G = 0.01
"""Resolution of a kitchen or pocket balance; common practice, no source."""
_READINGS_OF_BALANCE = 2
_RATIO = "board_stem_to_leaf_ratio"
_OF_LEAF = frozenset({"leaf_area_mm2", "blade_count"})
_HUE = "board_leaf_hue_deg"
_TOGETHER = frozenset({"plants_touch", "heap"})


@dataclass(frozen=True, slots=True)
class TrayOfPlants:
    """What the cut plants of a tray and day give together.

    Parameters
    ----------
    metrics : dict of str to Measured
        Means by the names of ``METRICS``; their doubt is that of measuring, not of the sample.
    spread : dict of str to PlantSpread
        Between plants.
    n_plants : int
        Plants behind the means.
    flags : tuple of str
        What qualifies them.
    """

    metrics: dict[str, Measured]
    spread: dict[str, PlantSpread]
    n_plants: int
    flags: tuple[str, ...]


def tray_of_plants(
    plants: Sequence[PlantReading], weight: SampleWeight | None = None
) -> TrayOfPlants:
    """Put the plants of all board photos of a tray and day together.

    Parameters
    ----------
    plants : sequence of PlantReading
        Every plant, those that do not count included.
    weight : SampleWeight or None
        What all of them weighed together.

    Returns
    -------
    TrayOfPlants
        Plants whose stem is not told are left out of the stem's means alone, plants that lack a
        blade out of those of leaves.
    """
    counted = [plant for plant in plants if plant.counts]
    whole = [plant for plant in counted if plant.leaf_is_whole]
    behind = {name: whole if name in _OF_LEAF else counted for name in PER_PLANT}
    readings = {name: [one.readings[name] for one in behind[name]] for name in PER_PLANT}
    metrics = {name: _mean(of_name) for name, of_name in readings.items()}
    metrics[_RATIO] = ratio_of([one.areas for one in whole])
    spread = {name: _spread([one.value for one in of_name]) for name, of_name in readings.items()}
    spread[_RATIO] = _spread_of_ratio(whole)
    spread |= _spread_of_colours(counted)
    flags = [flag for plant in plants for flag in plant.flags]
    if plants and len(counted) < FEW_PLANTS:
        flags.append("few_plants")
    if weight is not None:
        weighed = weight.n_plants or _number_on_boards(plants)
        if weighed is None:
            flags.append("weight_not_used")
        elif counted:
            metrics |= _weights(weight.grams, weighed, metrics, spread)
    return TrayOfPlants(metrics, spread, len(counted), tuple(dict.fromkeys(flags)))


def _mean(readings: Sequence[Reading]) -> Measured:
    """Mean over plants; what they share stays, what is each one's own averages out."""
    known = [one for one in readings if math.isfinite(one.value)]
    if not known:
        return Measured()
    n = len(known)
    shared = sum(one.shared_u for one in known) / n
    own = math.sqrt(sum(one.own_u**2 for one in known)) / n
    return Measured(sum(one.value for one in known) / n, math.hypot(shared, own))


def _spread(values: Sequence[float]) -> PlantSpread:
    known = [value for value in values if math.isfinite(value)]
    sd = float(np.std(known, ddof=1)) if len(known) > 1 else math.nan
    return PlantSpread(sd, len(known))


def _spread_of_ratio(plants: Sequence[PlantReading]) -> PlantSpread:
    """Spread of the plants about the ratio of the sums.

    Source: Cochran 1977, Sampling Techniques, 3rd ed., section 6.4: residuals of the ratio over
    the mean of its denominator.
    """
    told = [plant.areas for plant in plants if math.isfinite(plant.areas.stem)]
    ratio = ratio_of(told).value
    if len(told) < 2 or not math.isfinite(ratio):
        return PlantSpread(math.nan, len(told))
    left = np.array([one.stem - ratio * one.leaf for one in told])
    leaf = sum(one.leaf for one in told) / len(told)
    sd = math.sqrt(float((left**2).sum()) / (len(told) - 1)) / leaf
    return PlantSpread(sd, len(told))


def _spread_of_colours(plants: Sequence[PlantReading]) -> dict[str, PlantSpread]:
    names = dict.fromkeys(name for plant in plants for name in plant.colours)
    values = {
        name: [plant.colours[name].value for plant in plants if name in plant.colours]
        for name in names
    }
    if _HUE in values:  # hues on both sides of 0 degrees lie close together
        known = [one for one in values[_HUE] if math.isfinite(one)]
        values[_HUE] = [(one - known[0] + 180.0) % 360.0 for one in known]
    return {name: _spread(of_name) for name, of_name in values.items()}


def _number_on_boards(plants: Sequence[PlantReading]) -> int | None:
    """How many plants the photos show; None where some lie together or none is told."""
    if any(_TOGETHER.intersection(plant.flags) or not plant.number_is_told for plant in plants):
        return None
    return len(plants) or None


def _weights(
    grams: float,
    weighed: int,
    metrics: dict[str, Measured],
    spread: dict[str, PlantSpread],
) -> dict[str, Measured]:
    """Weight per plant, and leaf area per gram of what was weighed.

    The balance is read empty and full, each to half a step either way (rectangular distribution:
    JCGM 100:2008, 4.3.7). Plants that were weighed and not measured are taken to be like the
    others, with the doubt of their spread.
    """
    grams_u = BALANCE_STEP_G / math.sqrt(12.0) * math.sqrt(_READINGS_OF_BALANCE)
    leaf, between = metrics["leaf_area_mm2"], spread["leaf_area_mm2"]
    per_plant = Measured(1000.0 * grams / weighed, 1000.0 * grams_u / weighed)
    if not math.isfinite(leaf.value):
        return {"plant_weight_mg": per_plant}
    unseen = max(0.0, 1.0 - between.n_plants / weighed)
    sampling = between.standard_error * math.sqrt(unseen) if unseen else 0.0
    leaf_u = math.hypot(leaf.u, sampling if math.isfinite(sampling) else leaf.value)
    per_gram = leaf.value * weighed / 100.0 / grams
    relative_u = math.hypot(leaf_u / leaf.value, grams_u / grams) if leaf.value > 0 else math.nan
    return {
        "plant_weight_mg": per_plant,
        "leaf_area_per_gram_cm2": Measured(per_gram, per_gram * relative_u),
    }
