"""A tray's values from its cut plants: which count, how they spread, what they weigh."""

import math

import pytest

from traymorph.measure.cut_plant_means import FEW_PLANTS, tray_of_plants
from traymorph.measure.cut_plant_readings import Areas, PlantReading, Reading, ratio_of
from traymorph.model.metrics import PER_PLANT
from traymorph.model.results import Measured
from traymorph.model.trial import SampleWeight


def plant(length=math.nan, leaf=100.0, stem=math.nan, *, shared=0.0, own=0.0, **more):
    readings = {name: Reading() for name in PER_PLANT}
    readings["leaf_area_mm2"] = Reading(leaf, shared, own)
    if math.isfinite(length):
        readings["stem_length_mm"] = Reading(length, shared, own)
    areas = Areas(stem, leaf, 0.0, 0.0, 0.0, 0.0, 0.0)
    held = {"colours": {}, "flags": (), "counts": True} | more
    return PlantReading(
        0.0, 0.0, readings, held["colours"], areas, tuple(held["flags"]), held["counts"]
    )


def test_mean_and_spread_of_a_worked_example():
    # JCGM 100:2008, 4.4.3, table 1: 20 readings with mean 100.145, s = 1.489, s / sqrt(20) = 0.333
    lengths = [
        *(96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07),
        *(100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72),
    ]
    got = tray_of_plants([plant(length) for length in lengths])
    spread = got.spread["stem_length_mm"]
    assert got.metrics["stem_length_mm"].value == pytest.approx(100.145, abs=5e-4)
    assert spread.sd == pytest.approx(1.489, abs=5e-4)
    assert spread.standard_error == pytest.approx(0.333, abs=5e-4)
    assert (got.n_plants, spread.n_plants) == (20, 20)
    assert got.flags == ()


def test_a_plant_without_a_stem_is_left_out_of_the_stem_alone():
    plants = [plant(40.0), plant(50.0), plant(leaf=400.0, flags=["stem_unclear"])]
    got = tray_of_plants(plants)
    assert got.metrics["stem_length_mm"].value == 45.0
    assert got.spread["stem_length_mm"].n_plants == 2
    assert got.metrics["leaf_area_mm2"].value == 200.0
    assert got.n_plants == 3
    assert "stem_unclear" in got.flags


@pytest.mark.parametrize("flag", ["plants_touch", "plant_cut_off", "heap"])
def test_what_is_not_one_whole_plant_does_not_count(flag):
    got = tray_of_plants([plant(40.0), plant(400.0, leaf=900.0, flags=[flag], counts=False)])
    assert got.metrics["stem_length_mm"].value == 40.0
    assert got.metrics["leaf_area_mm2"].value == 100.0
    assert got.n_plants == 1
    assert flag in got.flags


def test_nothing_that_counts_leaves_all_empty_and_flagged():
    got = tray_of_plants([plant(40.0, flags=["heap"], counts=False)])
    assert all(math.isnan(one.value) for one in got.metrics.values())
    assert got.n_plants == 0
    assert {"heap", "few_plants"} <= set(got.flags)


def test_few_plants_are_flagged_and_enough_are_not():
    few = [plant(40.0)] * (FEW_PLANTS - 1)
    assert "few_plants" in tray_of_plants(few).flags
    assert "few_plants" not in tray_of_plants([*few, plant(40.0)]).flags


def test_a_single_plant_has_no_spread():
    spread = tray_of_plants([plant(40.0)]).spread["stem_length_mm"]
    assert math.isnan(spread.sd)
    assert math.isnan(spread.standard_error)


def test_what_plants_share_does_not_average_out_and_their_own_does():
    # shared 3, own 8 of each of 4 plants: sqrt(3^2 + (8 / sqrt(4))^2) = 5 (JCGM 100:2008, 5.2.2)
    got = tray_of_plants([plant(40.0, shared=3.0, own=8.0)] * 4)
    assert got.metrics["stem_length_mm"].u == pytest.approx(5.0)


def test_the_ratio_is_that_of_the_sums():
    got = tray_of_plants([plant(40, leaf=100, stem=60), plant(50, leaf=300, stem=40)])
    assert got.metrics["board_stem_to_leaf_ratio"].value == pytest.approx(0.25)


def test_the_spread_about_a_ratio_by_hand():
    # R = 100 / 400; residuals 60 - 25 and 40 - 75; s = sqrt(2 * 35^2) = 49.497; over a mean of 200
    got = tray_of_plants([plant(40, leaf=100, stem=60), plant(50, leaf=300, stem=40)])
    assert got.spread["board_stem_to_leaf_ratio"].sd == pytest.approx(49.4975 / 200, rel=1e-5)


def test_what_moves_the_ratio():
    areas = Areas(100.0, 400.0, 10.0, 8.0, 0.0, 0.0, 0.0)
    # outlines move together: 10 % of the stem and 2 % of the leaf leave 8 % of 0.25
    assert ratio_of([areas]).u == pytest.approx(0.02)
    parted = Areas(100.0, 400.0, 0.0, 0.0, 0.0, 0.0, 4.0)
    # 4 mm2 more stem is 4 mm2 less leaf: 4 % and 1 % add up
    assert ratio_of([parted]).u == pytest.approx(0.25 * 0.05)
    # what all plants share does not average out: 2 x 4 mm2 of 200 and of 800
    shared = Areas(100.0, 400.0, 0.0, 0.0, 0.0, 0.0, 0.0, 4.0)
    assert ratio_of([shared, shared]).u == pytest.approx(0.25 * 0.05)
    assert math.isnan(ratio_of([]).value)


def test_hues_on_both_sides_of_zero_lie_together():
    plants = [plant(colours={"board_leaf_hue_deg": Measured(hue, 1.0)}) for hue in (359.0, 1.0)]
    assert tray_of_plants(plants).spread["board_leaf_hue_deg"].sd == pytest.approx(math.sqrt(2))


# --- weights


def test_weight_per_plant_and_leaf_area_per_gram():
    # 10 plants of 100 mm2 each weigh 0.5 g: 50 mg a plant, 10 cm2 / 0.5 g = 20 cm2 / g
    got = tray_of_plants([plant(leaf=100.0)] * 10, SampleWeight(0.5)).metrics
    assert got["plant_weight_mg"].value == pytest.approx(50.0)
    assert got["leaf_area_per_gram_cm2"].value == pytest.approx(20.0)
    # 0.01 g / sqrt(12), twice: 0.00408 g of 0.5 g
    assert got["plant_weight_mg"].u == pytest.approx(50 * 0.00408 / 0.5, rel=0.01)
    assert got["leaf_area_per_gram_cm2"].u == pytest.approx(20 * 0.00408 / 0.5, rel=0.01)


def test_plants_cut_off_by_the_photo_were_weighed_too():
    plants = [plant(leaf=100.0)] * 9 + [plant(flags=["plant_cut_off"], counts=False)]
    got = tray_of_plants(plants, SampleWeight(0.5)).metrics
    assert got["plant_weight_mg"].value == pytest.approx(50.0)
    assert got["leaf_area_per_gram_cm2"].value == pytest.approx(20.0)


def test_a_touching_group_leaves_the_number_unknown_unless_it_is_told():
    plants = [plant(leaf=100.0)] * 8 + [plant(flags=["plants_touch"], counts=False)]
    unknown = tray_of_plants(plants, SampleWeight(0.5))
    assert "plant_weight_mg" not in unknown.metrics
    assert "weight_not_used" in unknown.flags
    told = tray_of_plants(plants, SampleWeight(0.5, None, 10))
    assert told.metrics["plant_weight_mg"].value == pytest.approx(50.0)
    assert "weight_not_used" not in told.flags


def test_plants_that_were_not_measured_widen_the_doubt():
    plants = [plant(leaf=leaf) for leaf in (80.0, 120.0) * 5]
    seen, guessed = (
        tray_of_plants(plants, SampleWeight(0.5, None, n)).metrics["leaf_area_per_gram_cm2"]
        for n in (10, 20)
    )
    assert guessed.u / guessed.value > 2 * seen.u / seen.value


def test_a_weight_without_plants_gives_nothing():
    got = tray_of_plants([], SampleWeight(0.5))
    assert "plant_weight_mg" not in got.metrics
    assert got.flags == ("weight_not_used",)
