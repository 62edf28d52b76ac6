"""Control charts as SVG text: one picture per metric, its charts one under the other.

Batches stand at equal distances in the order of their days.
"""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from html import escape
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from traymorph.errors import StoreError
from traymorph.model.drift import Chart, Event, MetricDrift

Floats = NDArray[np.float64]

_LEFT, _RIGHT, _TOP, _GAP = 70.0, 90.0, 62.0, 46.0
_HEIGHT = 130.0
_PER_BATCH, _NARROWEST, _WIDEST = 18.0, 480.0, 1600.0
_LABEL_WIDTH, _LINE = 52.0, 16.0
_INK, _QUIET, _GROUND, _LIMIT, _SIGNAL, _STANDARD, _EVENT = (
    "#222222", "#8a8a8a", "#f0efe9", "#5b6b7a", "#b3361f", "#7a5c00", "#4a4a8a",
)  # fmt: skip
_KEY = "Grey ground: baseline. Dashed: limits. Red squares: signals. Dotted: events, by number."
_PANELS = (
    ("Mean of each batch", ("individuals",)),
    ("Step from the batch before", ("moving_range",)),
    ("Moving average (EWMA)", ("ewma",)),
    ("Cumulative sums above and below", ("cusum_up", "cusum_down")),
    ("Self-starting sums, in standard deviations", ("self_starting_up", "self_starting_down")),
    ("Standard deviation between the trays of a batch", ("within_s",)),
)


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


def drift_svg(one: MetricDrift, events: Sequence[Event]) -> str:
    """Draw the charts of a metric.

    Parameters
    ----------
    one : MetricDrift
        With at least one chart.
    events : sequence of Event
        Those between the first and the last batch are drawn.

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
    ] or [("Mean of each batch", [held["standard"]])]
    body: list[str] = []
    for k, (title, charts) in enumerate(panels):
        standard = held.get("standard") if charts[0].name == "individuals" else None
        frame = _frame(_TOP + k * (_HEIGHT + _GAP), width, [*charts, *filter(None, [standard])])
        body += _panel(one, frame, f"{title}{_unit(one, charts[0])}", shown)
        for chart in charts:
            body += _drawn(chart, frame)
        body += _standard_lines(standard, frame) if standard is not None else []
    legend = _TOP + len(panels) * (_HEIGHT + _GAP)
    body += _legend(shown, legend)
    return _page(one, (_LEFT + width + _RIGHT, legend + _LINE * (len(shown) + 2)), body)


def save_drift_svg(path: Path, one: MetricDrift, events: Sequence[Event]) -> None:
    """Write the charts of a metric beside their place, then put them there.

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
    partial = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        partial.write_text(drift_svg(one, events), encoding="utf-8")
        partial.replace(path)
    except OSError as err:
        with suppress(OSError):  # gone already, or its folder never was one
            partial.unlink()
        msg = f"{path} cannot be written ({err.strerror})."
        raise StoreError(msg, hint="Check the folder and the free space of the disk.") from err


def _page(one: MetricDrift, size: tuple[float, float], body: Sequence[str]) -> str:
    head = f"{one.metric}, {len(one.names)} batches, {one.days[0]} to {one.days[-1]}"
    few = f"Limits rest on {int(one.baseline.sum())} batches, which are few." if one.few else ""
    box = f"{size[0]:.0f} {size[1]:.0f}"
    extent = f'width="{size[0]:.0f}" height="{size[1]:.0f}" viewBox="0 0 {box}"'
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" {extent} font-family="sans-serif">',
        f"<title>{escape(head)}</title>",
        f'<rect width="{size[0]:.0f}" height="{size[1]:.0f}" fill="#ffffff"/>',
        _text((_LEFT, 18.0), head, size=14),
        _text((_LEFT, 34.0), few, colour=_SIGNAL),
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
    """Ground, baseline, events and names of the batches."""
    inside = np.flatnonzero(one.baseline).tolist()
    lines = []
    if len(inside):
        step = frame.width / frame.n
        start, end = frame.x(inside[0]) - step / 2.0, frame.x(inside[-1]) + step / 2.0
        lines.append(f'<rect x="{start:.1f}" y="{frame.top:.1f}" width="{end - start:.1f}" '
                     f'height="{_HEIGHT:.1f}" fill="{_GROUND}"/>')  # fmt: skip
    lines.append(_text((_LEFT, frame.top - 6.0), title))
    for number, event in enumerate(events, 1):
        after = sum(day < event.on for day in one.days)
        x = frame.x(after - 0.5)
        lines.append(_line((x, frame.top), (x, frame.bottom), _EVENT, dash="1 3"))
        lines.append(_text((x + 3.0, frame.bottom - 4.0), str(number), colour=_EVENT))
    lines.append(_line((_LEFT, frame.bottom), (_LEFT + frame.width, frame.bottom), _QUIET))
    every = max(1, int(np.ceil(_LABEL_WIDTH * frame.n / frame.width)))
    lines += [
        _text((frame.x(k), frame.bottom + 14.0), one.names[k], colour=_QUIET, anchor="middle")
        for k in range(0, frame.n, every)
    ]
    return lines


def _drawn(chart: Chart, frame: _Frame) -> list[str]:
    """Lines and points of one chart."""
    lines = []
    for level, colour, dash in (
        (chart.centre, _QUIET, ""), (chart.lower, _LIMIT, "5 4"), (chart.upper, _LIMIT, "5 4"),
    ):  # fmt: skip
        lines += _level(level, frame, colour, dash)
    held = np.flatnonzero(np.isfinite(chart.values)).tolist()
    path = " ".join(f"{frame.x(k):.1f},{frame.y(chart.values[k]):.1f}" for k in held)
    lines.append(f'<polyline points="{path}" fill="none" stroke="{_INK}" stroke-width="0.8"/>')
    for k in held:
        x, y = frame.x(k), frame.y(chart.values[k])
        if chart.signals[k]:
            lines.append(f'<rect x="{x - 4:.1f}" y="{y - 4:.1f}" width="8" height="8" '
                         f'fill="{_SIGNAL}"/>')  # fmt: skip
        else:
            lines.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.4" fill="{_INK}"/>')
    return lines


def _standard_lines(chart: Chart, frame: _Frame) -> list[str]:
    return [
        line
        for level in (chart.lower, chart.upper)
        for line in _level(level, frame, _STANDARD, "", "standard ")
    ]


def _level(level: Floats, frame: _Frame, colour: str, dash: str, word: str = "") -> list[str]:
    """Draw a line as steps where it changes from batch to batch, with its last value beside it."""
    held = np.flatnonzero(np.isfinite(level)).tolist()
    if not len(held):
        return []
    level = level[held]
    firsts = np.flatnonzero(np.diff(level, prepend=np.nan) != 0.0).tolist()
    lasts = [*(k - 1 for k in firsts[1:]), len(held) - 1]
    steps = " ".join(
        f"{frame.x(held[k] + side):.1f},{frame.y(level[k]):.1f}"
        for pair in zip(firsts, lasts, strict=True)
        for k, side in zip(pair, (-0.5, 0.5), strict=True)
    )
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    last = float(level[-1])
    place = (_LEFT + frame.width + 4.0, frame.y(last) + 4.0)
    return [
        f'<polyline points="{steps}" fill="none" stroke="{colour}"{dashed}/>',
        _text(place, f"{word}{last:.4g}", colour=colour),
    ]


def _legend(events: Sequence[Event], top: float) -> list[str]:
    named = [f"{k}  {event.what} ({event.on})" for k, event in enumerate(events, 1)]
    return [
        _text((_LEFT, top + _LINE * k), words, colour=_EVENT if k else _QUIET)
        for k, words in enumerate([_KEY, *named])
    ]


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
    size: int = 11,
) -> str:  # fmt: skip
    return (
        f'<text x="{place[0]:.1f}" y="{place[1]:.1f}" fill="{colour}" text-anchor="{anchor}" '
        f'font-size="{size}">{escape(words)}</text>'
    )
