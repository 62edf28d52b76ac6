"""Charts are made of these pieces: lines, marks and words as SVG, sizes in CSS pixels.

Colours are CSS variables of the page, so that charts follow light, dark and print. No chart tells
anything by colour alone: marks differ in shape and filling, and names stand beside them.
"""

import math
from collections.abc import Sequence

from markupsafe import Markup

INK, QUIET, RULE, WASH = "var(--ink)", "var(--quiet)", "var(--rule)", "var(--wash)"
_TICKS = 5
_LETTER = 6.3
"""Mean width of a letter at 12 px, for cutting words to a width."""
MARKS = ("circle", "square", "triangle", "diamond", "hexagon", "pointer")


def whole(size: tuple[float, float], names: tuple[str, str, str], body: Sequence[Markup]) -> Markup:
    """Put a chart together.

    Parameters
    ----------
    size : pair of float
        Width and height.
    names : tuple of str
        An id unlike any other of the page, title, and description.
    body : sequence of Markup
        What is drawn.
    """
    ident, title, described = names
    return Markup(
        '<svg viewBox="0 0 {w:.0f} {h:.0f}" width="{w:.0f}" height="{h:.0f}" role="img" '
        'aria-labelledby="{i}-t {i}-d"><title id="{i}-t">{title}</title>'
        '<desc id="{i}-d">{desc}</desc>{body}</svg>'
    ).format(
        w=size[0], h=size[1], i=ident, title=title, desc=described, body=Markup("\n").join(body)
    )


def words(
    place: tuple[float, float], text: str, *, colour: str = INK, anchor: str = "start",
    bold: bool = False, size: int = 12,
) -> Markup:  # fmt: skip
    """Write words; their direction is their own."""
    weight = Markup(' font-weight="600"') if bold else ""
    return Markup(
        '<text x="{:.1f}" y="{:.1f}" fill="{}" text-anchor="{}" font-size="{}"{} '
        'class="own-direction">{}</text>'
    ).format(place[0], place[1], colour, anchor, size, weight, text)


def cut(text: str, width: float) -> str:
    """Shorten words to a width in px; what is left out is shown by dots."""
    most = max(4, int(width / _LETTER))
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def width_of(text: str) -> float:
    """Estimate the width of words, px."""
    return _LETTER * len(text)


def line(
    start: tuple[float, float], end: tuple[float, float], *, colour: str = INK,
    width: float = 1.0, dash: str = "",
) -> Markup:  # fmt: skip
    """Draw a line."""
    dashed = Markup(' stroke-dasharray="{}"').format(dash) if dash else ""
    return Markup(
        '<line x1="{:.1f}" y1="{:.1f}" x2="{:.1f}" y2="{:.1f}" stroke="{}" stroke-width="{:g}"{}/>'
    ).format(*start, *end, colour, width, dashed)


def box(corner: tuple[float, float], size: tuple[float, float], colour: str) -> Markup:
    """Draw a filled rectangle."""
    return Markup('<rect x="{:.1f}" y="{:.1f}" width="{:.1f}" height="{:.1f}" fill="{}"/>').format(
        *corner, *size, colour
    )


def path(points: Sequence[tuple[float, float]], *, width: float = 1.0, dash: str = "",
         colour: str = INK) -> Markup:  # fmt: skip
    """Draw an open line through points."""
    held = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    dashed = Markup(' stroke-dasharray="{}"').format(dash) if dash else ""
    return Markup(
        '<polyline points="{}" fill="none" stroke="{}" stroke-width="{:g}"{}/>'
    ).format(held, colour, width, dashed)  # fmt: skip


def mark(kind: int, place: tuple[float, float], radius: float = 4.0, *, filled: bool = True,
         title: str = "") -> Markup:  # fmt: skip
    """Draw the mark of a treatment, one of six shapes.

    Parameters
    ----------
    kind : int
        Number of the treatment; the shapes begin anew after the sixth.
    place : pair of float
        Its middle.
    radius : float
        Half its width.
    filled : bool
        Open marks show the paper through.
    title : str
        Shown where a pointer rests on it.
    """
    x, y = place
    named = Markup("<title>{}</title>").format(title) if title else ""
    fill = INK if filled else "var(--paper)"
    drawn = {
        "circle": f'circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}"',
        "square": f'path d="{_polygon(x, y, radius * 1.25, 4, 45.0)}"',
        "triangle": f'path d="{_polygon(x, y, radius * 1.3, 3, -90.0)}"',
        "diamond": f'path d="{_polygon(x, y, radius * 1.3, 4, 0.0)}"',
        "hexagon": f'path d="{_polygon(x, y, radius * 1.25, 6, 0.0)}"',
        "pointer": f'path d="{_polygon(x, y, radius * 1.3, 3, 0.0)}"',
    }[MARKS[kind % len(MARKS)]]
    # Every piece of `drawn` is a number that this module wrote.
    return Markup("<{} fill=\"{}\" stroke=\"{}\" stroke-width=\"1.3\">{}</{}>").format(
        Markup(drawn), fill, INK, named, drawn.split(" ", 1)[0]  # noqa: S704
    )  # fmt: skip


def _polygon(x: float, y: float, radius: float, corners: int, turn: float) -> str:
    points = [
        (x + radius * math.cos(angle), y + radius * math.sin(angle))
        for angle in (math.radians(turn + 360.0 * k / corners) for k in range(corners))
    ]
    return "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in points) + "Z"


class Axis:
    """Numbers become places from left to right.

    Parameters
    ----------
    low, high : float
        What must find room.
    left, right : float
        Where it does, px.
    """

    def __init__(self, low: float, high: float, left: float, right: float) -> None:
        if not high > low:
            room = max(abs(low) * 0.05, 0.5)
            low, high = low - room, high + room
        self._step = _nice_step((high - low) / _TICKS)
        self.low, self.high, self._left, self._right = low, high, left, right

    def x(self, value: float) -> float:
        """Place of a number."""
        share = (value - self.low) / (self.high - self.low)
        return self._left + share * (self._right - self._left)

    @property
    def ticks(self) -> list[float]:
        """Round numbers within."""
        first = math.ceil(self.low / self._step - 1e-9)
        last = math.floor(self.high / self._step + 1e-9)
        return [k * self._step + 0.0 for k in range(first, last + 1)]

    @property
    def decimals(self) -> int:
        """Of the ticks."""
        return max(0, -math.floor(math.log10(self._step) + 1e-9))


def _nice_step(least: float) -> float:
    size = 10.0 ** math.floor(math.log10(least))
    return next(size * k for k in (1.0, 2.0, 5.0, 10.0) if size * k >= least * (1 - 1e-9))


def surety_mark(surety: str, place: tuple[float, float], radius: float = 4.6) -> Markup:
    """Draw how sure a difference is: filled = shown, half filled = a hint, open = not told."""
    x, y = place
    paper = INK if surety == "shown" else "var(--paper)"
    whole = Markup('<path d="{}" fill="{}" stroke="{}" stroke-width="1.3"/>').format(
        _polygon(x, y, radius, 4, 0.0), paper, INK
    )
    if surety != "hint":
        return whole
    half = Markup('<path d="M{x:.1f} {t:.1f}L{l:.1f} {y:.1f}L{x:.1f} {b:.1f}Z" fill="{c}"/>')
    return whole + half.format(x=x, y=y, l=x - radius, t=y - radius, b=y + radius, c=INK)


def apart(labels: Sequence[tuple[float, str, str]], first: Sequence[int]) -> list[bool]:
    """Tell which words in a line can stand without touching one another.

    Parameters
    ----------
    labels : sequence of tuple
        Place, words and anchor of each.
    first : sequence of int
        Numbers of those that matter most, in their order; the others follow from left to right.
    """
    shown = [False] * len(labels)
    held: list[tuple[float, float]] = []
    for k in dict.fromkeys([*first, *range(len(labels))]):
        x, text, anchor = labels[k]
        width = width_of(text)
        left = x - {"start": 0.0, "middle": width / 2.0, "end": width}[anchor]
        if all(left > right + 5.0 or left + width < start - 5.0 for start, right in held):
            shown[k] = True
            held.append((left, left + width))
    return shown
