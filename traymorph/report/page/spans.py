"""Differences on one axis: a bar for each interval, a mark for the estimate, a line at nought."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from traymorph.report.page import svg, wording
from traymorph.report.page.numbers import Numbers

WIDTH = 360.0
_SIDE, _ROW, _BARE_ROW, _TOP, _FOOT = 14.0, 40.0, 24.0, 30.0, 24.0
_END = 6.5
"""Half the height of an interval's ends: seen above a mark that hides the interval itself."""
_OTHER_SIDE = 0.25
"""A difference by itself leaves so much of its length free beyond nought, for words."""
_FAR = 4.0
"""Intervals beyond so many times the median extent end in an arrow."""

LINES = {"shown": (3.0, ""), "hint": (1.6, ""), "untold": (1.4, "3 3")}
"""Width and dash of the bar of an interval, by how sure it is."""


@dataclass(frozen=True, slots=True)
class Span:
    """One difference.

    Parameters
    ----------
    name : str
        What differs.
    said : str
        The difference with its interval, as written.
    value, low, high : float
        Where mark and bar lie.
    surety : str
        ``shown``, ``hint`` or ``untold``.
    """

    name: str
    said: str
    value: float
    low: float
    high: float
    surety: str


def span_chart(
    spans: Sequence[Span], sides: tuple[str, str], unit: str, numbers: Numbers,
    names: tuple[str, str, str],
) -> Markup:  # fmt: skip
    """Draw differences, one below the other.

    Parameters
    ----------
    spans : sequence of Span
        At least one.
    sides : pair of str
        What lies left and right of nought, in words.
    unit : str
        Of the axis.
    numbers : Numbers
        How they are written.
    names : tuple of str
        Id, title and description of the chart.
    """
    low, high = _reach(spans)
    room = 0.06 * (high - low)
    least = 0.0 if spans[0].name else _OTHER_SIDE * (high - low)
    axis = svg.Axis(min(low - room, -least), max(high + room, least), _SIDE, WIDTH - _SIDE)
    row = _ROW if spans[0].name else _BARE_ROW
    bottom = _TOP + row * len(spans)
    zero = axis.x(0.0)
    body = _sides(sides, zero)
    lanes = [_lane(one, _TOP + k * row) for k, one in enumerate(spans)]
    ticks = _ticks(axis, unit, numbers, alone=not spans[0].name)
    for x, text, anchor, shown in ticks:
        body += [svg.line((x, start), (x, end), colour=svg.RULE) for start, end in lanes]
        if shown:
            body.append(
                svg.words((x, bottom + 15.0), text, colour=svg.QUIET, anchor=anchor, size=11)
            )
    body += [svg.line((zero, start), (zero, end), width=1.4) for start, end in lanes]
    for k, one in enumerate(spans):
        body += _row(one, axis, _TOP + k * row)
    return svg.whole((WIDTH, bottom + _FOOT), names, body)


def _reach(spans: Sequence[Span]) -> tuple[float, float]:
    """Span all intervals but those that lie so far off that they would flatten the others."""
    extents = sorted(max(abs(one.low), abs(one.high)) for one in spans)
    most = _FAR * extents[len(extents) // 2]
    low = min(0.0, *(max(one.low, -most) for one in spans))
    return low, max(0.0, *(min(one.high, most) for one in spans))


def _sides(sides: tuple[str, str], zero: float) -> list[Markup]:
    """Name both sides of nought; where one has no room, both stand at the outer edges."""
    half = (WIDTH - 2.0 * _SIDE - 12.0) / 2.0
    less, more = svg.cut(f"← {sides[0]}", half), svg.cut(f"{sides[1]} →", half)
    left, right = svg.width_of(less), svg.width_of(more)
    middle = min(max(zero, _SIDE + left + 6.0), WIDTH - _SIDE - right - 6.0)
    return [
        svg.words((middle - 6.0, 14.0), less, colour=svg.QUIET, anchor="end", size=11),
        svg.words((middle + 6.0, 14.0), more, colour=svg.QUIET, anchor="start", size=11),
    ]


def _lane(one: Span, top: float) -> tuple[float, float]:
    """From where to where bars of a row are drawn: never through its words."""
    return (top + 16.0, top + 33.0) if one.name else (top - 6.0, top + _BARE_ROW)


def _ticks(
    axis: svg.Axis, unit: str, numbers: Numbers, *, alone: bool
) -> list[tuple[float, str, str, bool]]:
    """Write the round numbers; the outermost has the unit, a difference alone names nought.

    Place, words, anchor, and whether there is room.
    """
    texts = {value: numbers.plain(value, axis.decimals, sign=True) for value in axis.ticks}
    farthest = max(texts, key=lambda value: (abs(value), value))
    texts[farthest] = numbers.with_unit(texts[farthest], unit)
    if alone and farthest != 0.0:
        texts[0.0] = wording.NO_DIFFERENCE
    labels = []
    for value, text in texts.items():
        x = axis.x(value)
        anchor = "end" if x > WIDTH - 34 else "start" if x < 34 else "middle"
        labels.append((x, text, anchor))
    order = list(texts)
    fits = svg.apart(labels, [order.index(value) for value in (farthest, 0.0) if value in order])
    return [(*label, shown) for label, shown in zip(labels, fits, strict=True)]


def _row(one: Span, axis: svg.Axis, top: float) -> list[Markup]:
    body = []
    if one.name:
        name = svg.cut(one.name, WIDTH - 2 * _SIDE - svg.width_of(one.said) - 8.0)
        body.append(svg.words((_SIDE, top + 12.0), name, bold=one.surety == "shown"))
        body.append(svg.words((WIDTH - _SIDE, top + 12.0), one.said, anchor="end"))
    y = top + (25.0 if one.name else 14.0)
    low, high = (axis.x(min(max(edge, axis.low), axis.high)) for edge in (one.low, one.high))
    thick, dash = LINES[one.surety]
    body.append(svg.line((low, y), (high, y), width=thick, dash=dash))
    body += _end(axis, one.low, (low, y), thick)
    body += _end(axis, one.high, (high, y), thick)
    if axis.low <= one.value <= axis.high:
        body.append(svg.surety_mark(one.surety, (axis.x(one.value), y)))
    return body


def _end(axis: svg.Axis, edge: float, place: tuple[float, float], width: float) -> list[Markup]:
    """End an interval with a tick, or with an arrow where it goes on beyond the axis."""
    x, y = place
    if axis.low <= edge <= axis.high:
        return [svg.line((x, y - _END), (x, y + _END), width=width)]
    back = -7.0 if edge > axis.high else 7.0
    return [svg.path([(x + back, y - 4.0), (x, y), (x + back, y + 4.0)], width=1.6)]
