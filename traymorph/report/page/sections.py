"""Plates, charts of metrics, map and batches, as the templates take them."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from markupsafe import Markup, escape

from traymorph.model.comparison import Difference, TrayTable, plural
from traymorph.model.metrics import METRICS
from traymorph.model.plates import Plate
from traymorph.model.report import GroupValues, TrialReport
from traymorph.report.findings import surety
from traymorph.report.page import svg, told, wording
from traymorph.report.page.batches import batch_chart, shown_events
from traymorph.report.page.dots import dot_chart
from traymorph.report.page.numbers import Numbers
from traymorph.report.page.spans import LINES, span_chart
from traymorph.report.page.thumbnails import data_url
from traymorph.report.sentences import decimals_for


@dataclass(frozen=True, slots=True)
class PlateShown:
    """One picture among plates, or the reason why there is none."""

    treatment: str
    mark: Markup
    src: str = ""
    size: tuple[int, int] = (0, 0)
    width_pct: float = 100.0
    alt: str = ""
    tray_id: str = ""
    values: tuple[tuple[str, str, str], ...] = ()
    colour_note: str = ""
    gap: str = ""


@dataclass(frozen=True, slots=True)
class PlateRow:
    """Plates of one view."""

    title: str
    note: str
    plates: tuple[PlateShown, ...]


@dataclass(frozen=True, slots=True)
class MetricChart:
    """One metric with its chart and what it says."""

    ident: str
    name: str
    column: str
    chart: Markup
    said: tuple[Markup, ...]


def treatment_marks(report: TrialReport) -> dict[str, Markup]:
    """Give the mark of each treatment as a small picture; the names stand beside it."""
    return {name: small_mark(kind) for kind, name in enumerate(treatments_of(report))}


def treatments_of(report: TrialReport) -> tuple[str, ...]:
    """Treatments in the order shown."""
    for groups in report.groups.values():
        return tuple(one.treatment for one in groups if one.treatment)
    return tuple(dict.fromkeys(one for one in report.table.text(report.treatment_column) if one))


def small_mark(kind: int) -> Markup:
    """Draw a treatment's mark to stand in a line of text."""
    return Markup(
        '<svg class="mark" viewBox="0 0 14 14" width="14" height="14" aria-hidden="true">{}</svg>'
    ).format(svg.mark(kind, (7.0, 7.0), 4.4))


def plate_rows(report: TrialReport, numbers: Numbers) -> tuple[PlateRow, ...]:
    """Lay plates out: treatments side by side, one row for each view."""
    marks = treatment_marks(report)
    rows = []
    for view in wording.SCALE_OF_VIEW:
        shown = [one for one in report.plates.shown if one.view == view]
        gaps = {one.treatment: one.reason for one in report.plates.gaps if one.view == view}
        if not shown:
            continue
        widest = max(_width_mm(one) for one in shown)
        held = {one.treatment: one for one in shown}
        order = [*marks, *(name for name in (*held, *gaps) if name not in marks)]
        plates = tuple(
            _plate(held[name], marks.get(name, Markup()), widest, report, numbers)
            if name in held
            else PlateShown(name, marks.get(name, Markup()), gap=numbers.sentence(gaps[name]))
            for name in dict.fromkeys(order)
            if name in held or name in gaps
        )
        note = wording.TRUE_COLOUR if all(one.true_colour for one in shown) else ""
        rows.append(PlateRow(wording.SCALE_OF_VIEW[view], note, plates))
    return tuple(rows)


def _width_mm(plate: Plate) -> float:
    scale = plate.px_per_mm
    return plate.width_px / scale if math.isfinite(scale) else float(plate.width_px)


def _plate(
    plate: Plate, mark: Markup, widest: float, report: TrialReport, numbers: Numbers
) -> PlateShown:
    rows = [k for k, name in enumerate(report.table.text("tray_id")) if name == plate.tray_id]
    values = tuple(
        (wording.metric_name(name), written, range_of(report, name, plate.treatment, numbers))
        for name in wording.OF_PLATES[plate.view]
        for written in [_of_tray(report, name, rows, numbers)]
        if written
    )
    return PlateShown(
        treatment=plate.treatment,
        mark=mark,
        src=data_url(plate.jpeg),
        size=(plate.width_px, plate.height_px),
        width_pct=100.0 * _width_mm(plate) / widest,
        alt=wording.plate_alt(plate.tray_id, plate.treatment, plate.view),
        tray_id=plate.tray_id,
        values=values,
        colour_note="" if plate.true_colour else wording.AS_TAKEN,
    )


def range_of(report: TrialReport, name: str, treatment: str, numbers: Numbers) -> str:
    """Write the lowest and highest replicate of a treatment; "" of fewer than two."""
    held = [one for one in report.groups.get(name, ()) if one.treatment == treatment]
    if not held or len(held[0].values) < 2:
        return ""
    low, high = float(held[0].values.min()), float(held[0].values.max())
    decimals = decimals_for(low, high)
    span = wording.RANGE.format(
        low=numbers.plain(low, decimals), high=numbers.plain(high, decimals)
    )
    return numbers.with_unit(span, report.table.units.get(name, ""))


def plates_said(report: TrialReport, numbers: Numbers) -> tuple[Markup, ...]:
    """Say above the pictures what the declared metric answers, so that one tray argues nothing."""
    if report.comparison is None:
        return ()
    said = []
    for row in told.compared(report.comparison):
        if row.family != "primary":
            continue
        spans = [
            escape(wording.RANGE_AT).format(treatment=told.at(name), span=span)
            for name in (row.treatment, row.control)
            if (span := range_of(report, row.metric, name, numbers))
        ]
        verdict = escape(told.sentence(row, report.replicate, numbers))
        ranges = escape(wording.LOWEST_TO_HIGHEST).format(
            metric=wording.capital(wording.metric_name(row.metric)), spans=Markup("; ").join(spans)
        )
        said.append(Markup(" ").join([verdict, ranges] if spans else [verdict]))
    return tuple(said)


def _of_tray(report: TrialReport, name: str, rows: Sequence[int], numbers: Numbers) -> str:
    """Write a tray's last measured value with its doubt; "" without one."""
    if name not in report.table.values:
        return ""
    values, doubts = report.table.values[name], report.table.doubts[name]
    known = [row for row in rows if np.isfinite(values[row])]
    if not known:
        return ""
    row = known[-1]
    return numbers.measured(float(values[row]), float(doubts[row]), report.table.units[name])


def metric_charts(
    report: TrialReport, names: Sequence[str], numbers: Numbers
) -> tuple[MetricChart, ...]:
    """Draw metrics, each with the sentences on its differences."""
    by_metric: dict[str, list[Difference]] = {}
    if report.comparison is not None:
        for row in report.comparison.differences:
            by_metric.setdefault(row.metric, []).append(row)
    charts = []
    for name in names:
        groups = report.groups[name]
        if not _has_chart(groups):
            continue
        title = wording.capital(wording.metric_name(name))
        rows = by_metric.get(name, [])
        said = _said(rows, report.replicate, numbers)
        described = " ".join(wording.group_said(one.treatment, one.values.tolist(), numbers.rough)
                             for one in groups)  # fmt: skip
        ident = f"metric-{_slug(name)}"
        unit = report.table.units.get(name, "")
        chart = dot_chart(groups, unit, numbers, (ident, title, described))
        charts.append(MetricChart(ident, title, name, chart, said))
    return tuple(charts)


def _has_chart(groups: Sequence[GroupValues]) -> bool:
    """Single replicates are numbers, no chart."""
    return max(len(one.values) for one in groups) > 1


@dataclass(frozen=True, slots=True)
class SingleRow:
    """A metric of which each treatment has one replicate at most."""

    name: str
    values: tuple[str, ...]


def single_rows(
    report: TrialReport, names: Sequence[str], numbers: Numbers
) -> tuple[SingleRow, ...]:
    """Write the metrics that have no chart, a value for each treatment."""
    rows = []
    for name in names:
        groups = report.groups[name]
        if _has_chart(groups):
            continue
        unit = report.table.units.get(name, "")
        values = tuple(
            _single(replace(group, doubt=_own_doubt(report.table, name, group)), unit, numbers)
            for group in groups
        )
        rows.append(SingleRow(wording.capital(wording.metric_name(name)), values))
    return tuple(rows)


def _own_doubt(table: TrayTable, name: str, group: GroupValues) -> float:
    """Uncertainty of a treatment's only value: its tray's own, where one row holds it."""
    held = [
        doubt
        for tray, value, doubt in zip(
            table.text("tray_id"), table.values[name], table.doubts[name], strict=True
        )
        if tray in group.names[:1] and np.isfinite(value)
    ]
    return float(held[0]) if len(held) == 1 else group.doubt


def _single(group: GroupValues, unit: str, numbers: Numbers) -> str:
    if not len(group.values):
        return "–"
    written = numbers.measured(float(group.values[0]), group.doubt, unit)
    return wording.OF_TRAY.format(value=written, tray=group.names[0])


def _said(rows: Sequence[Difference], kind: str, numbers: Numbers) -> tuple[Markup, ...]:
    """Say what a metric's differences show; once, where none can be told."""
    said = [_one_said(row, kind, numbers) for row in rows if surety(row)]
    note = wording.NOTES_OF_METRICS.get(rows[0].metric) if rows else None
    said += [escape(note)] if note else []
    refused = [escape(wording.refusal(row.flags, kind)) for row in rows if not surety(row)]
    return tuple(said or dict.fromkeys(refused))


def _one_said(row: Difference, kind: str, numbers: Numbers) -> Markup:
    if surety(row) != "untold":
        return told.sentence(row, kind, numbers, short=True)
    span = told.interval_said(row, numbers)
    return escape(wording.NOT_TOLD_RANGE).format(
        span=span, replicates=plural(kind), treatment=told.at(row.treatment),
        control=told.at(row.control),
    )  # fmt: skip


def _slug(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "x"


def ordered_metrics(report: TrialReport) -> tuple[list[str], list[str]]:
    """Split metrics into those that stand in the open, the declared one first, and the others."""
    wanted = ([report.primary] if report.primary else []) + list(wording.FOREMOST)
    first = [name for name in dict.fromkeys(wanted) if name in report.metrics]
    return first, [name for name in report.metrics if name not in first]


@dataclass(frozen=True, slots=True)
class PairCharts:
    """Differences of one pair: per cent and points on an axis each, the others below."""

    treatment: str
    control: str
    charts: tuple[tuple[str, Markup], ...]
    others: tuple[tuple[str, str, str], ...]


def pair_charts(report: TrialReport, numbers: Numbers) -> tuple[PairCharts, ...]:
    """Draw differences, an axis for points and one for per cent, for each pair."""
    if report.comparison is None:
        return ()
    pairs = told.rows_by_pair(told.compared(report.comparison))
    charts = []
    for place, ((treatment, control), found) in enumerate(pairs.items(), 1):
        rows = told.one_finding(found)
        held = {row.metric: told.reading(row) for row in rows}
        sides = (wording.less_of(treatment), wording.more_of(treatment))
        drawn: list[tuple[str, Markup]] = []
        for unit, heading in wording.AXES.items():
            spans = [told.span_of(row, numbers) for row in rows
                     if held[row.metric].unit == unit and _matters(row)]  # fmt: skip
            if spans:
                names = (f"pair-{place}-{len(drawn)}",
                         wording.pair_title(heading, treatment, control),
                         "; ".join(f"{one.name} {one.said}" for one in spans))  # fmt: skip
                drawn.append((heading, span_chart(spans, sides, unit, numbers, names)))
        others = tuple(
            (wording.capital(wording.metric_name(row.metric)), held[row.metric].signed(numbers),
             surety(row))
            for row in rows if held[row.metric].unit not in wording.AXES and _matters(row)
        )  # fmt: skip
        charts.append(PairCharts(treatment, control, tuple(drawn), others))
    return tuple(charts)


def _matters(row: Difference) -> bool:
    """Tell whether a difference stands in the open; all stand in the table of numbers."""
    foremost = row.family == "primary" or row.metric in wording.FOREMOST
    return foremost or surety(row) != "untold"


def surety_key() -> tuple[tuple[Markup, str], ...]:
    """Draw what the marks of differences mean, each beside its words."""
    key = []
    for how_sure, said in wording.SURETY.items():
        thick, dash = LINES[how_sure]
        drawn = svg.line((2.0, 8.0), (30.0, 8.0), width=thick, dash=dash)
        key.append((_key(drawn + svg.surety_mark(how_sure, (16.0, 8.0))), said))
    arrow = svg.line((2.0, 8.0), (30.0, 8.0), width=1.6) + svg.path(
        [(23.0, 4.0), (30.0, 8.0), (23.0, 12.0)], width=1.6
    )
    return (*key, (_key(arrow), wording.GOES_ON))


def _key(drawn: Markup) -> Markup:
    return Markup(
        '<svg class="key" viewBox="0 0 32 16" width="32" height="16" aria-hidden="true">{}</svg>'
    ).format(drawn)


@dataclass(frozen=True, slots=True)
class BatchShown:
    """The batches of a metric."""

    name: str
    chart: Markup
    wide: bool
    sentences: tuple[Markup, ...]
    events: tuple[tuple[int, str, str], ...]
    few: str
    link: str


def batch_charts(
    report: TrialReport, names: Sequence[str], numbers: Numbers
) -> tuple[BatchShown, ...]:
    """Draw the batches of each metric that is watched."""
    shown = []
    for one in report.drift:
        title = wording.capital(wording.metric_name(one.drift.metric))
        ident = f"batches-{_slug(one.drift.metric)}"
        chart = batch_chart(one.drift, report.events, numbers,
                            (ident, title, " ".join(one.sentences)))  # fmt: skip
        few = wording.FEW_BATCHES.format(n=int(one.drift.baseline.sum())) if one.drift.few else ""
        events = tuple(
            (k, event.what, numbers.day(event.on))
            for k, event in enumerate(shown_events(one.drift, report.events), 1)
        )
        sentences = tuple(numbers.sentence(said, [*names, *one.drift.names])
                          for said in one.sentences)  # fmt: skip
        wide = len(one.drift.names) > 24
        shown.append(BatchShown(title, chart, wide, sentences, events, few, one.link))
    return tuple(shown)


def definitions(report: TrialReport, numbers: Numbers) -> list[tuple[str, str, str, str, str]]:
    """Name, column, unit, definition and source of every metric of the page."""
    return [
        (wording.capital(wording.metric_name(name)), name, numbers.unit(METRICS[name].unit),
         METRICS[name].definition, METRICS[name].source)
        for name in report.metrics
    ]  # fmt: skip
