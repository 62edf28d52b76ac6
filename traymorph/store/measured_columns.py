"""Columns of what ``measure`` writes: trays, cut plants, photos."""

from collections.abc import Sequence

from traymorph.model.metrics import METRICS, PER_PLANT
from traymorph.model.metrics.colour import COLOUR
from traymorph.model.photo import View
from traymorph.store.columns import Column, Type, count, number, quality_flags, text

WEIGHED_TOGETHER = ("plant_weight_mg", "leaf_area_per_gram_cm2")
OF_PLANTS = tuple(
    name
    for name, spec in METRICS.items()
    if spec.view is View.BOARD and name not in WEIGHED_TOGETHER
)
"""Metrics that each cut plant has for itself."""
_TOGETHER = frozenset(spec.name for spec in COLOUR if spec.view is View.BOARD)
_OF_ONE_PLANT = {
    "board_stem_to_leaf_ratio": "Area of the plant's stem and leaf stalks over that of its blades.",
}
"""Definitions that speak of several plants, for a single one."""

TRAY_ID = text("tray_id", "Name of the tray or pack, as the lists call it.")
PHOTO = text("photo", "The photo, relative to photos/; its file name where photos are loose.")
_DAY = Column("photographed_on", "Day on which the photos were taken.", Type.DATE)
_SIZE = "overrides trial.toml for this tray."
_LISTED = (
    text("crop", "What grows in it, as trays.csv says."),
    text("treatment", "What was done to it, as trays.csv says."),
    text("block", "Trays that were grown and handled alike, as trays.csv says."),
    text("batch", "Name of its sowing, as trays.csv says."),
    text("kind", "What the sample is; a tray unless told.", "tray", "pack"),
    Column("sown_on", "Day of sowing, as trays.csv says.", Type.DATE),
    Column("harvested_on", "Day of harvest, as trays.csv says.", Type.DATE),
    _DAY,
    text("seed_lot", "Lot of the seed, as trays.csv says."),
    text("shelf", "Shelf where it stood, as trays.csv says."),
    text("position", "Place on the shelf from the left, as trays.csv says."),
    text("at_edge", "Whether it stood at an end of its shelf, as trays.csv says."),
    text("lot", "Trays or packs that were weighed or analysed together, as trays.csv says."),
    text("card_id", "Which registered print of the card stands in its photos."),
    text("repeat_of", "Tray that this row measures again, in a study of the measuring."),
    text("operator", "Person or phone that took the photos, in a study of the measuring."),
    number("rim_above_medium_mm", f"From the rim down to the medium; {_SIZE}", "mm"),
    number("rim_above_bench_mm", f"Height of the rim above the bench; {_SIZE}", "mm"),
    number("inside_length_mm", f"Length of the tray's opening; {_SIZE}", "mm"),
    number("inside_width_mm", f"Width of the tray's opening; {_SIZE}", "mm"),
    number("cut_above_medium_mm", "Height above the medium at which the plants were cut.", "mm"),
)
_LISTED_BY_NAME = {column.name: column for column in _LISTED}

AFTER_METRICS = (
    count("n_plants", "Cut plants behind the board columns; empty without a board photo."),
    quality_flags("What qualifies the numbers of the row, or why they are empty."),
    text("program_version", "Version of traymorph that measured the row."),
    text("mask_method", "Which model told plants from the rest, with its version."),
)
_CHECK_NUMBERS = (
    number("mm_per_px", "Millimetres that a pixel of the photo covers at the card.", "mm/px"),
    number("tilt_deg", "Angle between the line of sight and the normal of the card's plane.",
           "deg"),
    number("card_residual_px", "Root mean square distance of the card's marker corners from where "
           "a flat card would show them.", "px"),
    number("colour_error_de00", "Mean CIEDE2000 between the card's patches, corrected without "
           "each in turn, and what they should be.", "1"),
    number("sharpness", "1 / (10 to 90 % rise of the card's edges in mm); larger is sharper.",
           "1/mm"),
    number("clipped_pct", "Share of the plants' pixels with a burnt-out channel; of the photo's "
           "where it shows no plants.", "%"),
)  # fmt: skip
CHECK_NUMBERS = tuple(column.name for column in _CHECK_NUMBERS)
PHOTO_CHECKS = (
    PHOTO,
    text("tray_id", "Tray that it shows; empty where nothing says so."),
    text("view", "From where it was taken; empty where nothing says so.",
         *(view.value for view in View)),
    *_CHECK_NUMBERS,
    quality_flags("What qualifies numbers from the photo."),
    text("error", "Why nothing could be measured in it; empty where something was."),
    text("sha256", "SHA-256 of the file, hexadecimal."),
)  # fmt: skip


def tray_columns(listed: Sequence[str]) -> tuple[Column, ...]:
    """Describe the columns of ``tray_metrics.csv``.

    Parameters
    ----------
    listed : sequence of str
        Columns of trays.csv in their order, without ``tray_id``; ``photographed_on`` is put
        before them where it is not among them.
    """
    names = [*listed] if _DAY.name in listed else [_DAY.name, *listed]
    return (
        TRAY_ID,
        *(_LISTED_BY_NAME.get(name) or _own(name) for name in names),
        *(column for name in METRICS for column in _metric_columns(name)),
        *AFTER_METRICS,
    )


def plant_columns() -> tuple[Column, ...]:
    """Describe the columns of ``plants.csv``."""
    return (
        PHOTO,
        TRAY_ID,
        _DAY,
        count("plant", "Number of the plant on the photo's overlay, from 1."),
        number("x_mm", "Where it was cut, from the card's top left corner to the right.", "mm"),
        number("y_mm", "Where it was cut, from the card's top left corner down.", "mm"),
        *(column for name in OF_PLANTS for column in _plant_metric_columns(name)),
        quality_flags("What qualifies the plant's numbers, or why it is in no mean."),
    )


def _own(name: str) -> Column:
    return text(name, "Column of your own in trays.csv, kept as it is written there.")


def _metric_columns(metric: str) -> tuple[Column, ...]:
    """Describe a metric's value, doubt and, where plants have it, its spread between plants."""
    columns = _value_and_doubt(metric, f"{METRICS[metric].definition}{_of_tray(metric)}")
    if metric not in OF_PLANTS:
        return columns
    unit = METRICS[metric].unit
    return (
        *columns,
        Column(f"{metric}_sd", f"Standard deviation of {metric} between plants.", Type.NUMBER, unit,
               low=0.0),
        Column(f"{metric}_se", f"Standard error of the mean of {metric} over plants.", Type.NUMBER,
               unit, low=0.0),
    )  # fmt: skip


def _of_tray(metric: str) -> str:
    """Say behind a definition how the value of a tray comes from those of its plants."""
    if metric in PER_PLANT:
        return " Of a tray: mean over plants."
    return " Of a tray: its plants taken together." if metric in _TOGETHER else ""


def _plant_metric_columns(metric: str) -> tuple[Column, Column]:
    return _value_and_doubt(metric, _OF_ONE_PLANT.get(metric, METRICS[metric].definition))


def _value_and_doubt(metric: str, meaning: str) -> tuple[Column, Column]:
    spec = METRICS[metric]
    return (
        Column(
            metric, meaning, Type.NUMBER, spec.unit, low=spec.low, high=spec.high,
            source=spec.source,
        ),
        Column(
            f"{metric}_u", f"Standard uncertainty of measuring {metric} in what was in front of "
            "the camera.", Type.NUMBER, spec.unit, low=0.0, source="JCGM 100:2008, 2.3.1",
        ),
    )  # fmt: skip
