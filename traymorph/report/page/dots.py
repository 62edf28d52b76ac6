"""One chart per metric: each replicate a mark, each treatment a row with its mean and interval."""

import math
from collections.abc import Sequence

import numpy as np
from markupsafe import Markup

from traymorph.model.report import Floats, GroupValues
from traymorph.report.page import svg, wording
from traymorph.report.page.numbers import Numbers
from traymorph.report.sentences import decimals_for

WIDTH = 360.0
_SIDE = 14.0
_RADIUS = 4.0
_LABEL, _STEP, _UNDER, _FOOT = 16.0, 9.0, 22.0, 34.0
_MOST_LEVELS = 7
_MOST_TITLES = 40


def dot_chart(
    groups: Sequence[GroupValues], unit: str, numbers: Numbers, names: tuple[str, str, str]
) -> Markup:
    """Draw one metric.

    Parameters
    ----------
    groups : sequence of GroupValues
        At least one with a value; a row each.
    unit : str
        Of the metric.
    numbers : Numbers
        How they are written.
    names : tuple of str
        Id, title and description of the chart.
    """
    known = np.concatenate([
        *(one.values for one in groups),
        [edge for one in groups for edge in (one.ci_low, one.ci_high) if math.isfinite(edge)],
    ])  # fmt: skip
    axis = svg.Axis(*_with_doubt(known, groups[0].doubt), _SIDE, WIDTH - _SIDE)
    body: list[Markup] = []
    top = 4.0
    rows: list[Markup] = []
    decimals = max(
        (decimals_for(one.ci_low, one.ci_high) for one in groups if math.isfinite(one.ci_low)),
        default=0,
    )
    for kind, group in enumerate(groups):
        drawn, height = _row(kind, group, axis, top, (unit, decimals, numbers))
        rows += drawn
        top += height
    body += _ground(axis, top, unit, numbers)
    return svg.whole((WIDTH, top + _FOOT), names, [*body, *rows])


def _with_doubt(known: Floats, doubt: float) -> tuple[float, float]:
    """Leave the doubt of measuring on both sides, so that less than it does not look much."""
    low, high = float(known.min()), float(known.max())
    if not doubt > 0:
        return low, high
    return (max(low - doubt, 0.0) if low >= 0.0 else low - doubt), high + doubt


def _row(
    kind: int, group: GroupValues, axis: svg.Axis, top: float, writing: tuple[str, int, Numbers]
) -> tuple[list[Markup], float]:
    """Draw a treatment; give its height too."""
    unit, decimals, numbers = writing
    radius = _RADIUS if len(group.values) <= _MOST_TITLES else 2.6
    levels = _levels([axis.x(value) for value in group.values], 2.0 * radius + 1.0)
    height = (max(levels, default=0) + 1) * _STEP
    middle = top + _LABEL + height
    said = _mean(group, unit, decimals, numbers)
    body = [svg.words((WIDTH - _SIDE, top + 12.0), said, anchor="end")]
    if group.treatment:
        left = _SIDE + 15.0
        label = svg.cut(group.treatment, 0.9 * (WIDTH - _SIDE - left - svg.width_of(said)))
        body.append(svg.mark(kind, (_SIDE + 4.0, top + 8.0), 3.6))
        body.append(svg.words((left, top + 12.0), label, bold=True))
    for name, value, level in zip(group.names, group.values, levels, strict=True):
        text = f"{name}: {numbers.with_unit(numbers.rough(float(value)), unit)}"
        title = text if len(group.values) <= _MOST_TITLES else ""
        place = (axis.x(value), middle - level * _STEP)
        body.append(svg.mark(kind, place, radius, title=title))
    return [*body, *_interval(group, axis, middle + 11.0, height)], _LABEL + height + _UNDER


def _mean(group: GroupValues, unit: str, decimals: int, numbers: Numbers) -> str:
    if not len(group.values):
        return "–"
    if not math.isfinite(group.ci_low):
        mean = numbers.with_unit(numbers.like(group.mean, group.doubt), unit)
        return wording.MEAN_ONLY.format(mean=mean) if len(group.values) > 1 else mean
    span = wording.RANGE.format(
        low=numbers.plain(group.ci_low, decimals), high=numbers.plain(group.ci_high, decimals)
    )
    return f"{numbers.with_unit(numbers.plain(group.mean, decimals), unit)} ({span})"


def _interval(group: GroupValues, axis: svg.Axis, y: float, height: float) -> list[Markup]:
    """Draw the mean as a tick and its interval as a bar with ends."""
    if not math.isfinite(group.mean) or len(group.values) < 2:
        return []
    x = axis.x(group.mean)
    body = [svg.line((x, y - height - 8.0), (x, y + 5.0), width=1.6)]
    if math.isfinite(group.ci_low):
        low, high = axis.x(group.ci_low), axis.x(group.ci_high)
        body.append(svg.line((low, y), (high, y), width=1.6))
        body += [svg.line((end, y - 3.5), (end, y + 3.5), width=1.6) for end in (low, high)]
    return body


def _ground(axis: svg.Axis, bottom: float, unit: str, numbers: Numbers) -> list[Markup]:
    """Draw thin lines at round numbers, and the numbers below."""
    ticks = axis.ticks
    texts = [numbers.plain(value, axis.decimals) for value in ticks]
    texts[-1] = numbers.with_unit(texts[-1], unit)
    labels = []
    for value, text in zip(ticks, texts, strict=True):
        x = axis.x(value)
        labels.append((x, text, "end" if x > WIDTH - 40.0 else "start" if x < 30.0 else "middle"))
    body = []
    for (x, text, anchor), fits in zip(labels, svg.apart(labels, [len(labels) - 1]), strict=True):
        body.append(svg.line((x, 2.0), (x, bottom), colour=svg.RULE))
        if not fits:
            continue
        body.append(svg.words((x, bottom + 15.0), text, colour=svg.QUIET, anchor=anchor, size=11))
    return body


def _levels(places: Sequence[float], apart: float) -> list[int]:
    """Stack marks that would cover one another; the order of the values decides, never chance."""
    last = [-math.inf] * _MOST_LEVELS
    levels = [0] * len(places)
    for k in sorted(range(len(places)), key=lambda place: (places[place], place)):
        free = [level for level in range(_MOST_LEVELS) if places[k] - last[level] >= apart]
        level = free[0] if free else min(range(_MOST_LEVELS), key=lambda one: last[one])
        last[level] = places[k]
        levels[k] = level
    return levels
