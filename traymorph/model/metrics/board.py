"""Metrics read from cut plants on a board; a tray's value is the mean over its plants."""

from traymorph.model.metrics.spec import OWN_DEFINITION, MetricSpec
from traymorph.model.photo import View

BOARD = (
    MetricSpec(
        "stem_length_mm",
        "mm",
        View.BOARD,
        "Length of the stem of a cut plant along its centre line, from the cut to the node where "
        "the leaf stalks part (plants whose seed leaves stay below: to the first expanded leaf).",
        OWN_DEFINITION,
        0.0,
        600.0,
    ),
    MetricSpec(
        "stem_width_mm",
        "mm",
        View.BOARD,
        "Mean width of the stem between the cut and the node.",
        OWN_DEFINITION,
        0.0,
        30.0,
    ),
    MetricSpec(
        "stem_area_mm2",
        "mm2",
        View.BOARD,
        "Stem and leaf stalks of a cut plant, seen from straight above.",
        OWN_DEFINITION,
        0.0,
        20000.0,
    ),
    MetricSpec(
        "leaf_area_mm2",
        "mm2",
        View.BOARD,
        "Leaf blades of a cut plant, seen from straight above; what overlaps counts once.",
        OWN_DEFINITION,
        0.0,
        100000.0,
    ),
    MetricSpec(
        "board_stem_to_leaf_ratio",
        "1",
        View.BOARD,
        "Sum of the plants' stem areas over the sum of their leaf areas.",
        OWN_DEFINITION,
        0.0,
        50.0,
    ),
    MetricSpec(
        "blade_count",
        "1",
        View.BOARD,
        "Number of leaf blades of a cut plant that are seen apart.",
        OWN_DEFINITION,
        0.0,
        200.0,
    ),
    MetricSpec(
        "blade_length_mm",
        "mm",
        View.BOARD,
        "Mean length of a plant's blades, from where the stalk joins to the tip; folded and "
        "overlapping blades are left out.",
        OWN_DEFINITION,
        0.0,
        400.0,
    ),
    MetricSpec(
        "board_blade_width_mm",
        "mm",
        View.BOARD,
        "Mean of the greatest width of a plant's blades, at right angles to their length; folded "
        "and overlapping blades are left out.",
        OWN_DEFINITION,
        0.0,
        400.0,
    ),
    MetricSpec(
        "plant_weight_mg",
        "mg",
        View.BOARD,
        "Fresh weight of the sample over the number of its plants.",
        OWN_DEFINITION,
        0.0,
        100000.0,
    ),
    MetricSpec(
        "leaf_area_per_gram_cm2",
        "cm2/g",
        View.BOARD,
        "Leaf area of the sample's plants over their fresh weight.",
        OWN_DEFINITION,
        0.0,
        1000.0,
    ),
)

PER_PLANT = (
    "stem_length_mm",
    "stem_width_mm",
    "stem_area_mm2",
    "leaf_area_mm2",
    "blade_count",
    "blade_length_mm",
    "board_blade_width_mm",
)
"""Those that every plant has for itself, so that they spread between plants."""
