"""Plates, charts of metrics, map and batches, as the templates take them."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup, escape

from traymorph.model.comparison import Difference, plural
from traymorph.model.metrics import METRICS
from traymorph.model.plates import Plate
from traymorph.model.report import TrialReport
from traymorph.report.page import svg, told, wording
from traymorph.report.page.batches import batch_chart, shown_events
from traymorph.report.page.dots import dot_chart
from traymorph.report.page.numbers import Numbers
from traymorph.report.page.spans import span_chart
from traymorph.report.page.thumbnails import data_url


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
    values: tuple[tuple[str, str], ...] = ()
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
        (wording.metric_name(name), written)
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


def _said(rows: Sequence[Difference], kind: str, numbers: Numbers) -> tuple[Markup, ...]:
    """Say what a metric's differences show; once, where none can be told."""
    said = [_one_said(row, kind, numbers) for row in rows if told.surety(row)]
    refused = [escape(wording.refusal(row.flags, kind)) for row in rows if not told.surety(row)]
    return tuple(said or dict.fromkeys(refused))


def _one_said(row: Difference, kind: str, numbers: Numbers) -> Markup:
    if told.surety(row) != "untold":
        return told.sentence(row, kind, numbers, short=True)
    span = told.interval_said(row, numbers)
    return escape(wording.NOT_TOLD_RANGE.format(span=span, replicates=plural(kind)))


def _slug(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "x"


def ordered_metrics(report: TrialReport) -> tuple[list[str], list[str]]:
    """Split metrics into those that stand in the open, the declared one first, and the others."""
    wanted = ([report.primary] if report.primary else []) + list(wording.FOREMOST)
    first = [name for name in dict.fromkeys(wanted) if name in report.metrics]
    return first, [name for name in report.metrics if name not in first]


@dataclass(frozen=True, slots=True)
class PairCharts:
    """Differences of one pair of treatments: per cent on one axis, the others that matter below."""

    treatment: str
    control: str
    chart: Markup | None
    others: tuple[tuple[str, str, str], ...]


def pair_charts(report: TrialReport, numbers: Numbers) -> tuple[PairCharts, ...]:
    """Draw per cent differences, one chart for each pair."""
    if report.comparison is None:
        return ()
    pairs = told.rows_by_pair(told.compared(report.comparison))
    charts = []
    for place, ((treatment, control), rows) in enumerate(pairs.items(), 1):
        held = {row.metric: told.reading(row) for row in rows}
        spans = [told.span_of(row, numbers) for row in rows if held[row.metric].unit == "%"]
        sides = (wording.less_of(treatment), wording.more_of(treatment))
        title = wording.pair_title(treatment, control)
        chart = (
            span_chart(spans, sides, "%", numbers,
                       (f"pair-{place}", title, "; ".join(f"{s.name} {s.said}" for s in spans)))
            if spans else None
        )  # fmt: skip
        others = tuple(
            (wording.capital(wording.metric_name(row.metric)), held[row.metric].signed(numbers),
             told.surety(row))
            for row in rows if held[row.metric].unit != "%" and _matters(row)
        )  # fmt: skip
        charts.append(PairCharts(treatment, control, chart, others))
    return tuple(charts)


def _matters(row: Difference) -> bool:
    """Tell whether a difference stands in the open; all stand in the table of numbers."""
    return row.metric in wording.FOREMOST or told.surety(row) != "untold"


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
