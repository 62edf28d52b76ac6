"""``repeatability.csv``: one row per metric; ``repeatability_parts.csv``: one per source of spread.

Standard deviations and differences are in the metric's unit; ``_low`` and ``_high`` are 95 %
intervals.
"""

from collections.abc import Iterable, Sequence
from pathlib import Path

from traymorph.model.repeatability import (
    BATCH,
    MEASURING,
    ONE_OPERATOR,
    OPERATOR,
    REPEAT,
    TRAY,
    TRAYS,
    MetricRepeatability,
    Part,
    RangeFigures,
    Ratio,
)
from traymorph.store.csvfiles import number_cell
from traymorph.store.dictionary import write_described
from traymorph.store.textcells import guarded
from traymorph.store.watched_columns import PARTS, repeatability_columns


def write_repeatability(path: Path, studied: Sequence[MetricRepeatability], crop: str) -> None:
    """Write what a grower and a plan need of each metric.

    Parameters
    ----------
    path : Path
        Where to.
    studied : sequence of MetricRepeatability
        What was found.
    crop : str
        Of the trays.

    Raises
    ------
    StoreError
        The file cannot be written; what was there stays as it was.
    """
    photos = [one.photos for one in studied[0].smallest]
    rows = (_cells(one, crop) for one in studied)
    write_described(path, repeatability_columns(photos), rows)


def write_parts(path: Path, studied: Sequence[MetricRepeatability]) -> None:
    """Write the sources of each metric's spread, and their sums.

    Parameters
    ----------
    path : Path
        Where to.
    studied : sequence of MetricRepeatability
        What was found.

    Raises
    ------
    StoreError
        The file cannot be written; what was there stays as it was.
    """
    rows = (_part_cells(one, part) for one in studied for part in (*one.parts, *one.sums))
    write_described(path, PARTS, rows)


def method_of(one: MetricRepeatability) -> str:
    """Name the analysis in words."""
    held = {
        "kept": "tray_by_operator kept",
        "pooled": "tray_by_operator pooled",
        "inseparable": "repeat holds tray_by_operator",
    }.get(one.interaction, "")
    nested = [name for name in (BATCH, OPERATOR, TRAY) if name in {p.source for p in one.parts}]
    ways = {
        "crossed": "tray x operator",
        "nested": " > ".join([*nested, REPEAT]),
        "one_operator": " > ".join([*nested, REPEAT]),
    }
    analysis = "analysis of variance" if one.balanced else "fitting of constants (unequal numbers)"
    return "; ".join(part for part in (analysis, ways[one.design], held) if part)


def _cells(one: MetricRepeatability, crop: str) -> list[str]:
    measuring, doubt = one.sum_of(MEASURING), one.doubt
    several = one.n_operators > 1
    return [
        one.metric,
        one.unit,
        guarded(crop),
        *(str(n) for n in (one.n_trays, one.n_operators, one.n_measurements)),
        number_cell(one.mean),
        number_cell(one.sum_of(TRAYS).sd),
        *_three(one.sum_of(ONE_OPERATOR)),
        *(_three(measuring) if several else ("", "", "")),
        number_cell(measuring.share_pct),
        number_cell(measuring.share_low_pct),
        number_cell(measuring.share_high_pct),
        number_cell(measuring.spread_pct),
        "" if one.steps is None else str(one.steps),
        *(number_cell(held.same_operator) for held in one.smallest),
        *(number_cell(held.other_operator) for held in one.smallest),
        number_cell(doubt.u),
        *_ratio(doubt.one_operator),
        *(_ratio(doubt.measuring) if several else ("", "", "")),
        doubt.verdict,
        method_of(one),
    ]


def _three(part: Part) -> Iterable[str]:
    return (number_cell(number) for number in (part.sd, part.sd_low, part.sd_high))


def _ratio(ratio: Ratio) -> Iterable[str]:
    return (number_cell(number) for number in (ratio.value, ratio.low, ratio.high))


def _part_cells(one: MetricRepeatability, part: Part) -> list[str]:
    return [
        one.metric,
        one.unit,
        part.source,
        *_three(part),
        number_cell(part.share_pct),
        number_cell(part.share_low_pct),
        number_cell(part.share_high_pct),
        number_cell(part.spread_pct),
        str(part.df) if part.df else "",
        "1" if part.below_zero else "0",
        _by_ranges(one.ranges, part.source),
    ]


def _by_ranges(ranges: RangeFigures | None, source: str) -> str:
    if ranges is None:
        return ""
    held = {
        REPEAT: ranges.repeat,
        OPERATOR: ranges.operator,
        MEASURING: ranges.measuring,
        TRAYS: ranges.trays,
        "all": ranges.total,
    }
    return number_cell(held[source]) if source in held else ""
