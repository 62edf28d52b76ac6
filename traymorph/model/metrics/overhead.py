"""Metrics read from the overhead photo, colour apart."""

from traymorph.model.metrics.spec import OWN_DEFINITION, MetricSpec
from traymorph.model.photo import View

OVERHEAD = (
    MetricSpec(
        "canopy_cover_pct",
        "%",
        View.OVERHEAD,
        "Share of the tray's opening covered by leaf or stem, as seen vertically from above.",
        OWN_DEFINITION,
        0.0,
        100.0,
    ),
    MetricSpec(
        "projected_leaf_area_cm2",
        "cm2",
        View.OVERHEAD,
        "Leaf seen vertically from above within the tray's opening; leaves below others do not "
        "count.",
        OWN_DEFINITION,
        0.0,
        5000.0,
    ),
    MetricSpec(
        "overhang_area_cm2",
        "cm2",
        View.OVERHEAD,
        "The tray's plants seen vertically from above outside its opening.",
        OWN_DEFINITION,
        0.0,
        5000.0,
    ),
    MetricSpec(
        "evenness_cv_pct",
        "%",
        View.OVERHEAD,
        "How uneven the stand is: standard deviation of cover over the whole 25 mm cells of the "
        "opening, as per cent of their mean cover. Smaller is more even.",
        "coefficient of variation of quadrat cover",
        0.0,
        1000.0,
    ),
    MetricSpec(
        "largest_gap_cm2",
        "cm2",
        View.OVERHEAD,
        "Area of the largest patch of the opening without plant that a disc 5 mm wide can sweep: "
        "slits between leaves do not join patches.",
        OWN_DEFINITION,
        0.0,
        5000.0,
    ),
    MetricSpec(
        "blade_width_mm",
        "mm",
        View.OVERHEAD,
        "Typical width of the visible blades, from how far apart the edges between them lie; ranks "
        "trays, its size is good to about 25 %.",
        OWN_DEFINITION,
        0.0,
        100.0,
    ),
    MetricSpec(
        "leaf_colour_spread_de00",
        "1",
        View.OVERHEAD,
        "How much leaf colour differs over the tray: mean CIEDE2000 of the mean colours of 10 mm "
        "cells from the tray's mean colour. Uneven light over the tray adds to it.",
        OWN_DEFINITION,
        0.0,
        60.0,
    ),
    MetricSpec(
        "edge_to_middle_de00",
        "1",
        View.OVERHEAD,
        "CIEDE2000 between the mean leaf colour of the opening's outer 20 mm and that of what "
        "they enclose.",
        OWN_DEFINITION,
        0.0,
        100.0,
    ),
)
