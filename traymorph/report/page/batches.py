"""One chart per metric: the mean of batch after batch between its limits.

Batches stand at equal distances in the order of their days.
"""

import math
from collections.abc import Sequence

import numpy as np
from markupsafe import Markup

from traymorph.model.drift import INDIVIDUALS, STANDARD, Chart, Event, MetricDrift
from traymorph.model.report import Floats
from traymorph.report.page import svg
from traymorph.report.page.numbers import Numbers

_LEFT, _RIGHT, _TOP, _HEIGHT, _FOOT = 46.0, 58.0, 10.0, 150.0, 40.0
_NARROW, _WIDE, _PER_BATCH = 360.0, 1400.0, 11.0
_LABEL = 64.0


def batch_chart(
    one: MetricDrift, events: Sequence[Event], numbers: Numbers, names: tuple[str, str, str]
) -> Markup:
    """Draw the batches of a metric.

    Parameters
    ----------
    one : MetricDrift
        With at least one chart.
    events : sequence of Event
        Those between the first and the last batch are drawn, by their number.
    numbers : Numbers
        How they are written.
    names : tuple of str
        Id, title and description of the chart.
    """
    held = {chart.name: chart for chart in one.charts}
    chart = held.get(INDIVIDUALS) or held.get(STANDARD) or one.charts[0]
    count = len(one.names)
    width = min(max(_NARROW, _LEFT + _RIGHT + _PER_BATCH * count), _WIDE)
    across = svg.Axis(-0.5, count - 0.5, _LEFT, width - _RIGHT)
    lines = (chart.values, chart.centre, chart.lower, chart.upper)
    finite = np.concatenate([line[np.isfinite(line)] for line in lines])
    up = svg.Axis(*_with_room(finite), _TOP + _HEIGHT, _TOP)
    body = [
        *_ground(one, across, up, numbers),
        *_events(one, events, across),
        *_limits(chart, across, up, (one.unit, numbers)),
        *_values(one, chart, across, up),
        *_names(one, chart, across),
    ]
    return svg.whole((width, _TOP + _HEIGHT + _FOOT), names, body)


def _with_room(finite: Floats) -> tuple[float, float]:
    low, high = float(finite.min()), float(finite.max())
    room = 0.08 * (high - low)
    return low - room, high + room


def _ground(one: MetricDrift, across: svg.Axis, up: svg.Axis, numbers: Numbers) -> list[Markup]:
    inside = np.flatnonzero(one.baseline).tolist()
    body = []
    if inside:
        start, end = across.x(inside[0] - 0.5), across.x(inside[-1] + 0.5)
        body.append(svg.box((start, _TOP), (end - start, _HEIGHT), svg.WASH))
    for value in up.ticks:
        y = up.x(value)
        body.append(svg.line((_LEFT, y), (across.x(across.high), y), colour=svg.RULE))
        text = numbers.plain(value, up.decimals)
        body.append(svg.words((_LEFT - 6.0, y + 4.0), text, colour=svg.QUIET, anchor="end",
                              size=11))  # fmt: skip
    return body


def _limits(
    chart: Chart, across: svg.Axis, up: svg.Axis, writing: tuple[str, Numbers]
) -> list[Markup]:
    """Draw centre and limits as steps, each with its last value beside it."""
    unit, numbers = writing
    body = []
    for level, dash in ((chart.centre, ""), (chart.lower, "5 4"), (chart.upper, "5 4")):
        known = np.flatnonzero(np.isfinite(level)).tolist()
        if not known:
            continue
        points = [
            (across.x(k + side), up.x(float(level[k]))) for k in known for side in (-0.5, 0.5)
        ]
        body.append(svg.path(points, dash=dash, colour=svg.QUIET))
        last = float(level[known[-1]])
        text = numbers.with_unit(numbers.rough(last), unit)
        place = (across.x(across.high) + 5.0, up.x(last) + 4.0)
        body.append(svg.words(place, text, colour=svg.QUIET, size=11))
    return body


def _values(one: MetricDrift, chart: Chart, across: svg.Axis, up: svg.Axis) -> list[Markup]:
    known = np.flatnonzero(np.isfinite(chart.values)).tolist()
    places = {k: (across.x(k), up.x(float(chart.values[k]))) for k in known}
    body = [svg.path(list(places.values()), width=0.8)]
    for k, (x, y) in places.items():
        if chart.signals[k]:
            body.append(svg.box((x - 4.5, y - 4.5), (9.0, 9.0), svg.INK))
        else:
            body.append(svg.mark(0, (x, y), 2.6, filled=False, title=one.names[k]))
    return body


def _names(one: MetricDrift, chart: Chart, across: svg.Axis) -> list[Markup]:
    """Name the first and the last batch, and as many in between as find room."""
    y = _TOP + _HEIGHT + 16.0
    span = across.x(across.high) - across.x(across.low)
    every = max(1, math.ceil(_LABEL * len(one.names) / span))
    return [
        svg.words((across.x(k), y), svg.cut(one.names[k], _LABEL), colour=svg.QUIET,
                  anchor="middle", size=11)
        for k in range(0, len(one.names), every)
        if chart.values.size
    ]  # fmt: skip


def _events(one: MetricDrift, events: Sequence[Event], across: svg.Axis) -> list[Markup]:
    body = []
    for number, event in enumerate(shown_events(one, events), 1):
        x = across.x(sum(day < event.on for day in one.days) - 0.5)
        body.append(svg.line((x, _TOP), (x, _TOP + _HEIGHT + 22.0), dash="1 3"))
        body.append(svg.words((x, _TOP + _HEIGHT + 34.0), str(number), anchor="middle", size=11))
    return body


def shown_events(one: MetricDrift, events: Sequence[Event]) -> list[Event]:
    """Events between the first and the last batch."""
    return [event for event in events if one.days[0] <= event.on <= one.days[-1]]
