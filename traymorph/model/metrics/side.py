"""Metrics read from the side photo."""

from traymorph.model.metrics.spec import OWN_DEFINITION, MetricSpec
from traymorph.model.photo import View

SIDE = (
    MetricSpec(
        "canopy_height_mm",
        "mm",
        View.SIDE,
        "Mean over 5 mm columns along the tray of the highest plant point in the column at any "
        "depth, above the medium's surface, as a level view from far away would show it; a tenth "
        "of the tray's length at either end is left out.",
        OWN_DEFINITION,
        0.0,
        600.0,
    ),
    MetricSpec(
        "canopy_height_p95_mm",
        "mm",
        View.SIDE,
        "95th percentile of the heights of the 5 mm columns that canopy_height_mm is the mean of.",
        OWN_DEFINITION,
        0.0,
        600.0,
    ),
    MetricSpec(
        "canopy_height_cv_pct",
        "%",
        View.SIDE,
        "Standard deviation of the heights of the 5 mm columns that canopy_height_mm is the mean "
        "of, as per cent of that mean.",
        OWN_DEFINITION,
        0.0,
        1000.0,
    ),
    MetricSpec(
        "stem_to_leaf_ratio",
        "1",
        View.SIDE,
        "Visible stem area over visible leaf area above the rim in this photo, in the plane of "
        "the front wall. It moves with the view; the plants' own ratio is the board's.",
        OWN_DEFINITION,
        0.0,
        50.0,
    ),
    MetricSpec(
        "bare_stem_mm",
        "mm",
        View.SIDE,
        "Height from the rim to the underside of the leaf layer in a level view from far away: per "
        "5 mm column along the tray the height below which 5 % of the visible leaf lies, averaged.",
        OWN_DEFINITION,
        0.0,
        600.0,
    ),
    MetricSpec(
        "leaf_layer_mm",
        "mm",
        View.SIDE,
        "Depth of the leaf layer in a level view from far away: from its underside to the height "
        "below which 95 % of a column's visible leaf lies, averaged over 5 mm columns.",
        OWN_DEFINITION,
        0.0,
        600.0,
    ),
)
