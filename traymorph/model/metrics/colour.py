"""Metrics of leaf colour: the same for every view, told apart by a prefix."""

from dataclasses import replace

from traymorph.model.metrics.spec import OWN_DEFINITION, MetricSpec
from traymorph.model.photo import View

_CIELAB = "CIE 015:2018, CIELAB under D65, 2 degree observer"
_UNEVEN_LIGHT = (
    "Light that falls unevenly over the plants, but not on the card, is in the value and not in "
    "its doubt."
)

_OVERHEAD_COLOUR = (
    MetricSpec(
        "leaf_l",
        "1",
        View.OVERHEAD,
        "Lightness L* of the well-lit leaf{whose}. " + _UNEVEN_LIGHT,
        _CIELAB,
        0.0,
        100.0,
    ),
    MetricSpec(
        "leaf_a",
        "1",
        View.OVERHEAD,
        "CIELAB a* of the well-lit leaf{whose}: green is negative, red positive.",
        _CIELAB,
        -130.0,
        130.0,
    ),
    MetricSpec(
        "leaf_b",
        "1",
        View.OVERHEAD,
        "CIELAB b* of the well-lit leaf{whose}: blue is negative, yellow positive.",
        _CIELAB,
        -130.0,
        130.0,
    ),
    MetricSpec(
        "leaf_chroma",
        "1",
        View.OVERHEAD,
        "CIELAB chroma of the well-lit leaf{whose}: distance from grey. " + _UNEVEN_LIGHT,
        _CIELAB,
        0.0,
        180.0,
    ),
    MetricSpec(
        "leaf_hue_deg",
        "deg",
        View.OVERHEAD,
        "CIELAB hue angle of the well-lit leaf{whose}: 90 is yellow, 180 green.",
        _CIELAB,
        0.0,
        360.0,
    ),
    MetricSpec(
        "green_share",
        "1",
        View.OVERHEAD,
        "G/(R+G+B) of the well-lit leaf{whose} on corrected sRGB-encoded values; grey is 0.333.",
        "green chromatic coordinate: Gillespie et al. 1987; Richardson et al. 2007",
        0.0,
        1.0,
    ),
    MetricSpec(
        "excess_green",
        "1",
        View.OVERHEAD,
        "2g - r - b on chromatic coordinates of corrected sRGB-encoded values; grey is 0.",
        "Woebbecke et al. 1995, Trans. ASAE 38(1):259-269",
        -1.0,
        2.0,
    ),
    MetricSpec(
        "greenness_index",
        "1",
        View.OVERHEAD,
        "Dark green colour index, 0 = yellow to 1 = dark green, of the well-lit leaf{whose}; "
        "only where the leaves' hue (hue, saturation, brightness model) is 60 to 120 degrees.",
        "Karcher & Richardson 2003, Crop Science 43(3):943-951",
        0.0,
        1.0,
    ),
    MetricSpec(
        "green_leaf_pct",
        "%",
        View.OVERHEAD,
        "Share of the visible leaf{whose} that is green: CIELAB chroma above 4, hue 95 to 200 "
        "degrees, and not yellowed.",
        OWN_DEFINITION,
        0.0,
        100.0,
    ),
    MetricSpec(
        "purple_leaf_pct",
        "%",
        View.OVERHEAD,
        "Share of the visible leaf{whose} that is purple or red: CIELAB chroma above 4 and hue "
        "from 290 through 0 to 60 degrees.",
        OWN_DEFINITION,
        0.0,
        100.0,
    ),
    MetricSpec(
        "yellowed_pct",
        "%",
        View.OVERHEAD,
        "Share of the visible leaf{whose} that is yellowed: CIELAB chroma above 25 and hue between "
        "60 degrees and a limit 14 degrees yellower than the sample's median green leaf, at least "
        "95 and at most 118 degrees. Empty where the whole sample is yellow.",
        OWN_DEFINITION,
        0.0,
        100.0,
    ),
    MetricSpec(
        "leaf_colour_share_pct",
        "%",
        View.OVERHEAD,
        "Share of the visible leaf{whose} that its colour is read from; the rest lies at an edge, "
        "in deep shade (less than a fifth of the median leaf's luminance), in a highlight, or is "
        "burnt out.",
        OWN_DEFINITION,
        0.0,
        100.0,
    ),
)

PREFIXES = {View.OVERHEAD: "", View.BOARD: "board_", View.PACK: "pack_"}
"""Before the names of colour metrics, by the view that they are read from."""

_WHOSE = {View.OVERHEAD: "", View.BOARD: " of cut plants", View.PACK: " in the pack"}
"""Which leaf it is, behind the word in a definition."""

COLOUR: tuple[MetricSpec, ...] = tuple(
    replace(
        spec,
        name=prefix + spec.name,
        view=view,
        definition=spec.definition.format(whose=_WHOSE[view]),
    )
    for view, prefix in PREFIXES.items()
    for spec in _OVERHEAD_COLOUR
)
