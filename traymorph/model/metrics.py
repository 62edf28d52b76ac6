"""METRICS: the one list of what is measured; CSV headers, docs and commands all read it."""

from dataclasses import dataclass

from traymorph.model.photo import View


@dataclass(frozen=True, slots=True)
class MetricSpec:
    """One column of ``results/tray_metrics.csv``.

    Parameters
    ----------
    name : str
        Column name; ``<name>_u`` holds its standard uncertainty.
    unit : str
        Unit symbol, ``1`` for a plain ratio.
    view : View
        The photo that it is read from.
    definition : str
        What the number is, in words that stand alone.
    source : str
        Published definition, or ``own definition``.
    low, high : float
        Values outside these limits cannot be meant.
    """

    name: str
    unit: str
    view: View
    definition: str
    source: str
    low: float
    high: float


_OWN = "own definition"
_CIELAB = "CIE 015:2018, CIELAB under D65, 2 degree observer"

_OVERHEAD = (
    MetricSpec(
        "canopy_cover_pct",
        "%",
        View.OVERHEAD,
        "Share of the tray's opening covered by leaf or stem, as seen vertically from above.",
        _OWN,
        0.0,
        100.0,
    ),
    MetricSpec(
        "projected_leaf_area_cm2",
        "cm2",
        View.OVERHEAD,
        "Leaf seen vertically from above within the tray's opening; leaves below others do not "
        "count.",
        _OWN,
        0.0,
        5000.0,
    ),
    MetricSpec(
        "overhang_area_cm2",
        "cm2",
        View.OVERHEAD,
        "The tray's plants seen vertically from above outside its opening.",
        _OWN,
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
        _OWN,
        0.0,
        5000.0,
    ),
    MetricSpec(
        "yellowed_pct",
        "%",
        View.OVERHEAD,
        "Share of the visible leaf that is yellowed: in corrected colour CIELAB chroma above 25 "
        "and hue between 60 degrees and a limit 12 degrees yellower than the tray's median green "
        "leaf, at least 95 and at most 112 degrees.",
        _OWN,
        0.0,
        100.0,
    ),
    MetricSpec(
        "blade_width_mm",
        "mm",
        View.OVERHEAD,
        "Typical width of the visible blades, from how far apart the edges between them lie; ranks "
        "trays, its size is good to about 30 %.",
        _OWN,
        0.0,
        100.0,
    ),
)

_SIDE = (
    MetricSpec(
        "canopy_height_mm",
        "mm",
        View.SIDE,
        "Mean over 5 mm columns along the tray of the highest plant point in the column at any "
        "depth, above the medium's surface, as a level view from far away would show it.",
        _OWN,
        0.0,
        600.0,
    ),
    MetricSpec(
        "canopy_height_p95_mm",
        "mm",
        View.SIDE,
        "95th percentile of the same column heights.",
        _OWN,
        0.0,
        600.0,
    ),
    MetricSpec(
        "canopy_height_cv_pct",
        "%",
        View.SIDE,
        "Standard deviation of the same column heights as per cent of their mean.",
        _OWN,
        0.0,
        1000.0,
    ),
    MetricSpec(
        "stem_to_leaf_ratio",
        "1",
        View.SIDE,
        "Visible stem area over visible leaf area above the rim in this photo, in the plane of "
        "the front wall. It moves with the view; the plants' own ratio is the board's.",
        _OWN,
        0.0,
        50.0,
    ),
    MetricSpec(
        "bare_stem_mm",
        "mm",
        View.SIDE,
        "Height from the rim to the underside of the leaf layer in a level view from far away: per "
        "5 mm column along the tray the height below which 5 % of the visible leaf lies, averaged.",
        _OWN,
        0.0,
        600.0,
    ),
    MetricSpec(
        "leaf_layer_mm",
        "mm",
        View.SIDE,
        "Depth of the leaf layer in a level view from far away: from its underside to the height "
        "below which 95 % of a column's visible leaf lies, averaged over 5 mm columns.",
        _OWN,
        0.0,
        600.0,
    ),
)

_COLOUR = (
    MetricSpec(
        "leaf_l", "1", View.OVERHEAD, "Lightness L* of the visible leaf.", _CIELAB, 0.0, 100.0
    ),
    MetricSpec(
        "leaf_a",
        "1",
        View.OVERHEAD,
        "CIELAB a* of the visible leaf: green is negative, red positive.",
        _CIELAB,
        -130.0,
        130.0,
    ),
    MetricSpec(
        "leaf_b",
        "1",
        View.OVERHEAD,
        "CIELAB b* of the visible leaf: blue is negative, yellow positive.",
        _CIELAB,
        -130.0,
        130.0,
    ),
    MetricSpec(
        "leaf_chroma",
        "1",
        View.OVERHEAD,
        "CIELAB chroma of the visible leaf: distance from grey.",
        _CIELAB,
        0.0,
        180.0,
    ),
    MetricSpec(
        "leaf_hue_deg",
        "deg",
        View.OVERHEAD,
        "CIELAB hue angle of the visible leaf: 90 is yellow, 180 green.",
        _CIELAB,
        0.0,
        360.0,
    ),
    MetricSpec(
        "green_share",
        "1",
        View.OVERHEAD,
        "G/(R+G+B) of the visible leaf on corrected sRGB-encoded values; grey is 0.333.",
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
        "Dark green colour index, 0 = yellow to 1 = dark green; only where the leaves' hue "
        "(hue, saturation, brightness model) is 60 to 120 degrees.",
        "Karcher & Richardson 2003, Crop Science 43(3):943-951",
        0.0,
        1.0,
    ),
)

METRICS: dict[str, MetricSpec] = {spec.name: spec for spec in (*_OVERHEAD, *_SIDE, *_COLOUR)}
