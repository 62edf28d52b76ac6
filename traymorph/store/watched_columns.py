"""Columns of what ``drift`` and ``repeatability`` write."""

from collections.abc import Sequence

from traymorph.store.columns import (
    Column,
    Type,
    count,
    interval,
    number,
    text,
    yes_or_no,
)

_CHARTS = (
    "individuals", "moving_range", "within_s", "ewma", "cusum_up", "cusum_down",
    "self_starting_up", "self_starting_down", "standard",
)  # fmt: skip
_ON_CHART = "in the metric's unit, in standard deviations on self-starting charts"

DRIFT = (
    text("metric", "Metric that is watched."),
    text("chart", "Control chart that the row is of.", *_CHARTS),
    text("batch", "Name of the batch."),
    number("value", f"What the chart shows for the batch, {_ON_CHART}."),
    number("centre", f"Centre line, {_ON_CHART}."),
    number("lower", f"Lower limit, {_ON_CHART}; empty where there is none."),
    number("upper", f"Upper limit, {_ON_CHART}; empty where there is none."),
    text("signal", "What the batch signals: above, below, or run rules broken; empty = nothing."),
    text("few", "The limits rest on fewer batches than the baseline should have.", "few"),
    Column("day", "First day on which the batch was photographed, else sown.", Type.DATE),
    yes_or_no("in_baseline", "Whether the limits rest on this batch too.", "1", "0"),
)

_SOURCES = ("batch", "tray", "operator", "tray_by_operator", "repeat")
_SUMS = ("trays", "one_operator", "measuring", "all")
_IN_UNIT = "in the unit that the column unit names"

PARTS = (
    text("metric", "Metric that was studied."),
    text("unit", "Unit of the metric, 1 for a plain number."),
    text("source", "Where the spread comes from, or a sum of such sources.", *_SOURCES, *_SUMS),
    number("sd", f"Standard deviation that comes from it, {_IN_UNIT}."),
    *interval("sd", f"sd, {_IN_UNIT}"),
    number("share_pct", "Its share of the variance of all measurements.", "%"),
    number("share_low_pct", "Lower end of the 95 % interval of share_pct.", "%"),
    number("share_high_pct", "Upper end of the 95 % interval of share_pct.", "%"),
    number("spread_pct", "Its standard deviation over that of all measurements.", "%"),
    count("df", "Degrees of freedom behind it; empty for sums."),
    yes_or_no("set_to_zero", "Estimated below zero and set to 0.", "1", "0"),
    number("sd_by_ranges", f"The same by averages and ranges, {_IN_UNIT}."),
)


def repeatability_columns(photos: Sequence[int]) -> tuple[Column, ...]:
    """Describe the columns of ``repeatability.csv``.

    Parameters
    ----------
    photos : sequence of int
        Numbers of photos of a tray that smallest differences are told for.
    """
    return (
        text("metric", "Metric that was studied."),
        text("unit", "Unit of the metric, 1 for a plain number."),
        text("crop", "Crop of the trays; empty where none is named."),
        count("trays", "Trays that were measured again."),
        count("operators", "People or phones that took part; 1 where none is stated."),
        count("measurements", "Measurements of them all."),
        number("mean", f"Mean of all measurements, {_IN_UNIT}."),
        number("trays_sd", f"Standard deviation between trays, batches included, {_IN_UNIT}."),
        *_sd("one_operator", "one person and phone from photo to photo"),
        *_sd("measuring", "measuring by whoever takes part; empty with one person and phone"),
        number("measuring_share_pct", "Share of measuring in the variance of all.", "%"),
        number("measuring_share_low_pct", "Lower end of its 95 % interval.", "%"),
        number("measuring_share_high_pct", "Upper end of its 95 % interval.", "%"),
        number("measuring_spread_pct", "Standard deviation of measuring over that of all.", "%"),
        count("steps", "Sizes among these trays that the set-up tells apart."),
        *(_smallest("difference", n, "by one person and phone") for n in photos),
        *(_smallest("other_operator_difference", n, "each by another") for n in photos),
        number("stated_u", f"Root mean square of the doubts that measure states, {_IN_UNIT}."),
        *_ratio("one_operator"),
        *_ratio("measuring"),
        text(
            "stated_doubt",
            "Whether stated doubts hold against the scatter that was found; empty where none is "
            "stated.",
            "covers", "covers_one_operator", "too_small", "undecided",
        ),
        text("method", "How the spread was taken apart."),
    )  # fmt: skip


def _sd(name: str, of: str) -> tuple[Column, ...]:
    return (
        number(f"{name}_sd", f"Standard deviation of {of}, {_IN_UNIT}."),
        *interval(f"{name}_sd", f"{name}_sd, {_IN_UNIT}"),
    )


def _ratio(name: str) -> tuple[Column, ...]:
    return (
        number(f"{name}_ratio", f"{name}_sd over stated_u.", "1"),
        *interval(f"{name}_ratio", f"{name}_ratio", "1"),
    )


def _smallest(name: str, photos: int, whose: str) -> Column:
    plural = "s" if photos > 1 else ""
    return number(
        f"{name}_{photos}_photo{plural}",
        "Difference of two trays that noise of measuring exceeds once in twenty, with "
        f"{photos} photo{plural} of each, {whose}, {_IN_UNIT}.",
    )
