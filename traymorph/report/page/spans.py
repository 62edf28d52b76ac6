"""Differences on one axis: a bar for each interval, a mark for the estimate, a line at nought."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from traymorph.report.page import svg, wording
from traymorph.report.page.numbers import Numbers

WIDTH = 360.0
_SIDE, _ROW, _BARE_ROW, _TOP, _FOOT = 14.0, 36.0, 24.0, 30.0, 24.0
_OTHER_SIDE = 0.25
"""A difference by itself leaves so much of its length free beyond nought, for words."""
_FAR = 4.0
"""Intervals beyond so many times the median extent end in an arrow."""


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
    for value, text in _ticks(axis, unit, numbers, alone=not spans[0].name).items():
        x = axis.x(value)
        anchor = "end" if x > WIDTH - 34 else "start" if x < 34 else "middle"
        body.append(svg.line((x, _TOP - 6.0), (x, bottom), colour=svg.RULE))
        body.append(svg.words((x, bottom + 15.0), text, colour=svg.QUIET, anchor=anchor, size=11))
    body.append(svg.line((zero, _TOP - 6.0), (zero, bottom), width=1.4))
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
    less, more = sides
    body = []
    for text, room, anchor, x in (
        (f"← {less}", zero - _SIDE - 6.0, "end", zero - 6.0),
        (f"{more} →", WIDTH - _SIDE - zero - 6.0, "start", zero + 6.0),
    ):
        if room >= 40.0:
            body.append(
                svg.words((x, 14.0), svg.cut(text, room), colour=svg.QUIET, anchor=anchor, size=11)
            )
    return body


def _ticks(axis: svg.Axis, unit: str, numbers: Numbers, *, alone: bool) -> dict[float, str]:
    """Write the round numbers; the outermost has the unit, a difference alone names nought."""
    texts = {value: numbers.plain(value, axis.decimals, sign=True) for value in axis.ticks}
    farthest = max(texts, key=lambda value: (abs(value), value))
    texts[farthest] = numbers.with_unit(texts[farthest], unit)
    if alone and farthest != 0.0:
        texts[0.0] = wording.NO_DIFFERENCE
    return texts


def _row(one: Span, axis: svg.Axis, top: float) -> list[Markup]:
    body = []
    if one.name:
        name = svg.cut(one.name, WIDTH - 2 * _SIDE - svg.width_of(one.said) - 8.0)
        body.append(svg.halo((_SIDE, top + 12.0), name, bold=one.surety == "shown"))
        body.append(svg.halo((WIDTH - _SIDE, top + 12.0), one.said, anchor="end"))
    y = top + (23.0 if one.name else 14.0)
    low, high = (axis.x(min(max(edge, axis.low), axis.high)) for edge in (one.low, one.high))
    thick, dash = {"shown": (3.0, ""), "hint": (1.6, ""), "untold": (1.4, "3 3")}[one.surety]
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
        return [svg.line((x, y - 3.5), (x, y + 3.5), width=width)]
    back = -7.0 if edge > axis.high else 7.0
    return [svg.path([(x + back, y - 4.0), (x, y), (x + back, y + 4.0)], width=1.6)]
