"""Control charts as SVG text: one picture per metric, its charts one under the other.

Batches stand at equal distances in the order of their days.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from textwrap import wrap

import numpy as np
from numpy.typing import NDArray

from traymorph.model.drift import (
    CUSUM_DOWN,
    CUSUM_UP,
    EWMA,
    INDIVIDUALS,
    MOVING_RANGE,
    SELF_DOWN,
    SELF_UP,
    STANDARD,
    WITHIN,
    Chart,
    Event,
    MetricDrift,
)
from traymorph.whole_file import whole_file

Floats = NDArray[np.float64]

_LEFT, _RIGHT, _TOP, _GAP = 70.0, 110.0, 86.0, 56.0
_HEIGHT = 130.0
_PER_BATCH, _NARROWEST, _WIDEST = 18.0, 480.0, 1600.0
_SMALL, _LARGE = 12, 15
_LETTER = 0.6 * _SMALL
"""Width of a letter of small text, about; a little wide, so that words stay apart."""
_LINE = 17.0
_KEY_LETTERS = 80
_LONGEST_NAME = 24
_BETWEEN_NAMES = 14.0
_TICKS = 4
_INK, _QUIET, _GROUND, _LIMIT, _SIGNAL, _STANDARD, _EVENT = (
    "#222222", "#606060", "#efeee8", "#46586a", "#b3261a", "#6b4f00", "#43438c",
)  # fmt: skip
_CENTRE, _MOVED = "#9a9a9a", "#c8503f"
_PANELS = (
    ("Mean of each batch", (INDIVIDUALS,)),
    ("Moving average (EWMA)", (EWMA,)),
    ("Cumulative sums above and below (CUSUM)", (CUSUM_UP, CUSUM_DOWN)),
    ("Self-starting sums above and below, in standard deviations", (SELF_UP, SELF_DOWN)),
    ("Step from the batch before", (MOVING_RANGE,)),
    ("Standard deviation between the trays of a batch", (WITHIN,)),
)
_SUMS = (CUSUM_UP, CUSUM_DOWN, SELF_UP, SELF_DOWN)
_DASHED = 'stroke-dasharray="5 4"'
_THICK = 'stroke-dasharray="9 3 2 3" stroke-width="1.8"'


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where a panel lies and how numbers become places in it."""

    top: float
    width: float
    n: int
    low: float
    high: float

    def x(self, place: float) -> float:
        return _LEFT + self.width * (place + 0.5) / self.n

    def y(self, value: float) -> float:
        return self.top + _HEIGHT * (self.high - value) / (self.high - self.low)

    @property
    def bottom(self) -> float:
        return self.top + _HEIGHT

    @property
    def right(self) -> float:
        return _LEFT + self.width

    def written(self, value: float) -> str:
        """Give a number with the digits that can be seen at this scale."""
        decimals = max(0, 2 - math.floor(math.log10(self.high - self.low)))
        return f"{value:.{decimals}f}" if value else "0"


@dataclass(frozen=True, slots=True)
class _Label:
    """What stands beside a line, at its right end."""

    y: float
    words: str
    colour: str


def drift_svg(one: MetricDrift, events: Sequence[Event]) -> str:
    """Draw the charts of a metric.

    Parameters
    ----------
    one : MetricDrift
        With at least one chart.
    events : sequence of Event
        In the order of their days; those between the first and the last batch are drawn.

    Returns
    -------
    str
        A whole SVG file.
    """
    n = len(one.names)
    width = min(max(_PER_BATCH * n, _NARROWEST), _WIDEST)
    shown = [event for event in events if one.days[0] <= event.on <= one.days[-1]]
    held = {chart.name: chart for chart in one.charts}
    panels = [
        (title, [held[name] for name in names if name in held])
        for title, names in _PANELS
        if any(name in held for name in names)
    ] or [("Mean of each batch", [held[STANDARD]])]
    body: list[str] = []
    for k, (title, charts) in enumerate(panels):
        of_means = charts[0].name == INDIVIDUALS
        standard = held.get(STANDARD) if of_means else None
        frame = _frame(_TOP + k * (_HEIGHT + _GAP), width, [*charts, *filter(None, [standard])])
        body += _panel(one, frame, f"{title}{_unit(one, charts[0])}", shown)
        body += _levels(charts, standard, frame)
        body += _moves(one, frame) if of_means else []
        for chart in charts:
            body += _points(one, chart, frame)
    legend = _TOP + len(panels) * (_HEIGHT + _GAP)
    key = _key(one, held, shown)
    body += [
        _text((_LEFT, legend + _LINE * k), words, colour=colour)
        for k, (words, colour) in enumerate(key)
    ]
    return _page(one, (_LEFT + width + _RIGHT, legend + _LINE * len(key)), body)


def _key(
    one: MetricDrift, held: Mapping[str, Chart], events: Sequence[Event]
) -> list[tuple[str, str]]:
    """Say what the signs mean, those that are there, and what was changed; each with its colour."""
    lines = ["Grey ground: baseline. Dashed: control limits. Square: a signal."]
    if STANDARD in held:
        lines.append("Thick dash and dot: your standard.")
    if any(move.end > move.start for move in one.moves):
        lines.append("Thick line: mean of the batches that moved.")
    if events:
        lines.append("Dotted, by number: what was changed, and when.")
    changed = [
        line
        for k, event in enumerate(events, 1)
        for line in wrap(f"{k}  {event.what} ({event.on})", _KEY_LETTERS, subsequent_indent="    ")
    ]
    return [*((line, _QUIET) for line in lines), *((line, _EVENT) for line in changed)]


def save_drift_svg(path: Path, one: MetricDrift, events: Sequence[Event]) -> None:
    """Write the charts of a metric, whole or not at all.

    Parameters
    ----------
    path : Path
        Where to.
    one, events
        As for :func:`drift_svg`.

    Raises
    ------
    StoreError
        The file cannot be written; what was there stays as it was.
    """
    with whole_file(path) as part:
        part.write_text(drift_svg(one, events), encoding="utf-8")


def _head(one: MetricDrift) -> str:
    return f"{one.metric}, {len(one.names)} batches, {one.days[0]} to {one.days[-1]}"


def _page(one: MetricDrift, size: tuple[float, float], body: Sequence[str]) -> str:
    few = f"Limits rest on {int(one.baseline.sum())} batches, which are few." if one.few else ""
    box = f"{size[0]:.0f} {size[1]:.0f}"
    extent = f'width="{size[0]:.0f}" height="{size[1]:.0f}" viewBox="0 0 {box}"'
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" {extent} font-family="sans-serif" role="img">',
        f"<title>{_escaped(_head(one))}</title>",
        f'<rect width="{size[0]:.0f}" height="{size[1]:.0f}" fill="#ffffff"/>',
        _text((_LEFT, 22.0), _head(one), size=_LARGE),
        _text((_LEFT, 42.0), few, colour=_SIGNAL),
        *body,
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def _unit(one: MetricDrift, chart: Chart) -> str:
    plain = one.unit in {"", "1"} or chart.name.startswith("self_starting")
    return "" if plain else f", {one.unit}"


def _frame(top: float, width: float, charts: Sequence[Chart]) -> _Frame:
    """Span every value and line, with some room."""
    numbers = np.concatenate(
        [line for c in charts for line in (c.values, c.centre, c.lower, c.upper)]
    )
    low, high = float(np.nanmin(numbers)), float(np.nanmax(numbers))
    room = 0.06 * (high - low) or 1.0
    return _Frame(top, width, len(charts[0].values), low - room, high + room)


def _panel(one: MetricDrift, frame: _Frame, title: str, events: Sequence[Event]) -> list[str]:
    """Ground, baseline, scale, events and names of the batches."""
    inside = np.flatnonzero(one.baseline).tolist()
    lines = []
    if len(inside):
        step = frame.width / frame.n
        start, end = frame.x(inside[0]) - step / 2.0, frame.x(inside[-1]) + step / 2.0
        lines.append(f'<rect x="{start:.1f}" y="{frame.top:.1f}" width="{end - start:.1f}" '
                     f'height="{_HEIGHT:.1f}" fill="{_GROUND}"/>')  # fmt: skip
    lines.append(_text((_LEFT, frame.top - 20.0), title))
    lines.append(_line((_LEFT, frame.bottom), (frame.right, frame.bottom), _QUIET))
    lines.append(_line((_LEFT, frame.top), (_LEFT, frame.bottom), _QUIET))
    for tick in _ticks(frame.low, frame.high):
        y = frame.y(tick)
        lines.append(_line((_LEFT - 4.0, y), (_LEFT, y), _QUIET))
        lines.append(_text((_LEFT - 7.0, y + 4.0), f"{tick:g}", colour=_QUIET, anchor="end"))
    return [*lines, *_event_lines(one, frame, events), *_names(one, frame)]


def _ticks(low: float, high: float) -> list[float]:
    """Round numbers between two, a few of them."""
    rough = (high - low) / _TICKS
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(s for s in (power, 2.0 * power, 5.0 * power, 10.0 * power) if s >= rough)
    first, last = math.ceil(low / step), math.floor(high / step)
    return [float(f"{k * step:.10g}") for k in range(first, last + 1)]


def _event_lines(one: MetricDrift, frame: _Frame, events: Sequence[Event]) -> list[str]:
    """Draw a line for each event; numbers that would touch are written as one span."""
    places = [frame.x(sum(day < event.on for day in one.days) - 0.5) for event in events]
    lines = [_line((x, frame.top), (x, frame.bottom), _EVENT, dash="1 3") for x in places]
    groups: list[list[int]] = []
    for number, x in enumerate(places, 1):
        if groups and x - places[groups[-1][0] - 1] < _LETTER * len(f"{number}-{number} "):
            groups[-1].append(number)
        else:
            groups.append([number])
    for group in groups:
        words = f"{group[0]}-{group[-1]}" if len(group) > 1 else str(group[0])
        where = (places[group[0] - 1], frame.top - 4.0)
        lines.append(_text(where, words, colour=_EVENT, anchor="middle"))
    return lines


def _names(one: MetricDrift, frame: _Frame) -> list[str]:
    """Names of batches, the newest and as many before it as there is room for."""
    names = [_cut_short(name) for name in one.names]
    needed = _LETTER * max(map(len, names)) + _BETWEEN_NAMES
    every = max(1, math.ceil(needed * frame.n / frame.width))
    return [
        _text((frame.x(k), frame.bottom + 15.0), names[k], colour=_QUIET, anchor="middle")
        for k in range(frame.n - 1, -1, -every)
    ]


def _cut_short(name: str) -> str:
    """Leave out the middle of a name too long to write."""
    half = _LONGEST_NAME // 2
    return name if len(name) <= _LONGEST_NAME else f"{name[:half]}…{name[1 - half :]}"


def _levels(charts: Sequence[Chart], standard: Chart | None, frame: _Frame) -> list[str]:
    """Centre and limits of a panel's charts, with their last values beside them."""
    lines: list[str] = []
    labels: list[_Label] = []
    styles: list[tuple[Floats, str, str, str]] = []
    for chart in charts:
        held = chart.name == STANDARD
        colour, look = (_STANDARD, _THICK) if held else (_LIMIT, _DASHED)
        styles.append((chart.centre, "", _CENTRE, ""))
        styles += [(level, "", colour, look) for level in (chart.lower, chart.upper)]
    if standard is not None:
        styles += [
            (level, "standard ", _STANDARD, _THICK) for level in (standard.lower, standard.upper)
        ]
    for level, word, colour, look in styles:
        if np.isfinite(level).any():
            last = float(level[np.isfinite(level)][-1])
            lines.append(_steps(level, frame, colour, look))
            ink = _QUIET if colour == _CENTRE else colour
            labels.append(_Label(frame.y(last), f"{word}{frame.written(last)}", ink))
    return [*lines, *_apart(labels, frame)]


def _steps(level: Floats, frame: _Frame, colour: str, look: str) -> str:
    """Draw a line as steps where it changes from batch to batch."""
    held = np.flatnonzero(np.isfinite(level)).tolist()
    level = level[held]
    firsts = np.flatnonzero(np.diff(level, prepend=np.nan) != 0.0).tolist()
    lasts = [*(k - 1 for k in firsts[1:]), len(held) - 1]
    steps = " ".join(
        f"{frame.x(held[k] + side):.1f},{frame.y(level[k]):.1f}"
        for pair in zip(firsts, lasts, strict=True)
        for k, side in zip(pair, (-0.5, 0.5), strict=True)
    )
    return f'<polyline points="{steps}" fill="none" stroke="{colour}" {look}/>'


def _apart(labels: Sequence[_Label], frame: _Frame) -> list[str]:
    """Write labels in the order of their lines, moved apart where they would touch."""
    unlike = {(round(label.y), label.words): label for label in labels}
    ordered = sorted(unlike.values(), key=lambda label: label.y)
    places: list[float] = []
    for label in ordered:
        places.append(max(label.y, places[-1] + _SMALL + 1.0) if places else label.y)
    # What was pushed below the panel is pushed back up, from the lowest on.
    lowest = frame.bottom
    for k in range(len(places) - 1, -1, -1):
        places[k] = min(places[k], lowest)
        lowest = places[k] - _SMALL - 1.0
    return [
        _text((frame.right + 6.0, y + 4.0), label.words, colour=label.colour)
        for label, y in zip(ordered, places, strict=True)
    ]


def _moves(one: MetricDrift, frame: _Frame) -> list[str]:
    """Draw the mean of each stretch of batches that moved."""
    return [
        f'<line x1="{frame.x(move.start - 0.5):.1f}" y1="{frame.y(move.mean):.1f}" '
        f'x2="{frame.x(move.end + 0.5):.1f}" y2="{frame.y(move.mean):.1f}" '
        f'stroke="{_MOVED}" stroke-width="3" stroke-opacity="0.55"/>'
        for move in one.moves
        if move.end > move.start
    ]


def _points(one: MetricDrift, chart: Chart, frame: _Frame) -> list[str]:
    """Points of one chart, and the line that joins them; a sum at zero has no point."""
    held = np.flatnonzero(np.isfinite(chart.values)).tolist()
    path = " ".join(f"{frame.x(k):.1f},{frame.y(chart.values[k]):.1f}" for k in held)
    lines = [f'<polyline points="{path}" fill="none" stroke="{_INK}" stroke-width="0.8"/>']
    for k in held:
        x, y = frame.x(k), frame.y(chart.values[k])
        told = f"{one.names[k]} ({one.days[k]}): {chart.values[k]:.4g} {chart.signals[k]}".strip()
        named = f"<title>{_escaped(told)}</title>"
        if chart.signals[k]:
            lines.append(f'<rect x="{x - 4:.1f}" y="{y - 4:.1f}" width="8" height="8" '
                         f'fill="{_SIGNAL}">{named}</rect>')  # fmt: skip
        elif chart.values[k] != 0.0 or chart.name not in _SUMS:
            lines.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.4" fill="{_INK}">{named}'
                         "</circle>")  # fmt: skip
    return lines


def _line(
    start: tuple[float, float], end: tuple[float, float], colour: str, *, dash: str = ""
) -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{start[0]:.1f}" y1="{start[1]:.1f}" x2="{end[0]:.1f}" y2="{end[1]:.1f}" '
        f'stroke="{colour}"{dashed}/>'
    )


def _text(
    place: tuple[float, float], words: str, *, colour: str = _INK, anchor: str = "start",
    size: int = _SMALL,
) -> str:  # fmt: skip
    return (
        f'<text x="{place[0]:.1f}" y="{place[1]:.1f}" fill="{colour}" text-anchor="{anchor}" '
        f'font-size="{size}">{_escaped(words)}</text>'
    )


def _escaped(words: str) -> str:
    return escape(words, quote=False)
