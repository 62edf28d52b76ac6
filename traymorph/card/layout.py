"""What is printed where on the reference card, in mm: the one source for drawing and finding.

The card's frame is that of :mod:`traymorph.model`: origin at the card's top left corner, x right,
y down. A version that has been printed is never edited; a changed layout is a new version and
takes the next block of marker ids, so that a photo always says which layout it shows.
"""

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.model.card import CardRole

VERSION = 1

DICTIONARY = cv2.aruco.DICT_5X5_100
MARKER_CELLS = 7
"""Cells along a marker's side, its black border included."""

_ROLE_ORDER = (CardRole.OVERHEAD, CardRole.SIDE, CardRole.BOARD)
_IDS_PER_ROLE = 10
_IDS_PER_VERSION = _IDS_PER_ROLE * len(_ROLE_ORDER)

_SIZE = (120.0, 90.0)
_MARKER = 15.0
_QUIET = 3.0
_INK = (28, 28, 28)

# Top left corners of the markers, clockwise from the card's top left.
_MARKER_PLACES = (
    (4.0, 4.0),
    (52.5, 4.0),
    (101.0, 4.0),
    (101.0, 33.0),
    (101.0, 71.0),
    (52.5, 71.0),
    (4.0, 71.0),
    (4.0, 33.0),
)


@dataclass(frozen=True, slots=True)
class Patch:
    """A rectangle of one colour.

    Parameters
    ----------
    name : str
        What the colour stands for.
    x, y, width, height : float
        Left, top and size, mm.
    rgb : tuple of int
        Nominal sRGB code values.
    neutral : bool
        True for greys.
    drawn : bool
        False for places where the bare paper is read: nothing is printed there.
    """

    name: str
    x: float
    y: float
    width: float
    height: float
    rgb: tuple[int, int, int]
    neutral: bool
    drawn: bool = True

    @property
    def corners(self) -> NDArray[np.float64]:
        """Corners clockwise from the top left, mm, shape (4, 2)."""
        return _rectangle(self.x, self.y, self.width, self.height)


@dataclass(frozen=True, slots=True)
class Bar:
    """The bar that a person measures to check the print: its ends and tick spacing, mm."""

    x: float
    y: float
    length: float
    tick: float


@dataclass(frozen=True, slots=True)
class Words:
    """One line of text: (x, y) of the baseline's anchor and height of the type, mm."""

    text: str
    x: float
    y: float
    size: float
    anchor: str = "start"
    bold: bool = False


@dataclass(frozen=True, slots=True)
class Shape:
    """A filled polygon of ink, corners in mm."""

    corners: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, eq=False)
class CardLayout:
    """One printed card, all lengths in mm.

    Parameters
    ----------
    role : CardRole
        Which view it is for.
    version : int
        Version of the layout.
    size : tuple of float
        (width, height).
    markers : dict of int to ndarray, shape (4, 2)
        Outer corners of every marker by its id in the dictionary, clockwise from its top left.
    patches : tuple of Patch
        Colours and greys, and places where bare paper is read.
    bar : Bar
        The bar to check the print with.
    words : tuple of Words
        What a person reads.
    shapes : tuple of Shape
        Arrow and pictogram.
    ink : tuple of int
        sRGB code values of words, bar and shapes.
    """

    role: CardRole
    version: int
    size: tuple[float, float]
    markers: dict[int, NDArray[np.float64]]
    patches: tuple[Patch, ...]
    bar: Bar
    words: tuple[Words, ...]
    shapes: tuple[Shape, ...]
    ink: tuple[int, int, int]

    @property
    def outline(self) -> NDArray[np.float64]:
        """The card's corners clockwise from the top left, shape (4, 2)."""
        return _rectangle(0.0, 0.0, *self.size)


def _rectangle(x: float, y: float, width: float, height: float) -> NDArray[np.float64]:
    return np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]])


def marker_dictionary() -> cv2.aruco.Dictionary:
    """Give the marker dictionary that all versions take their ids from."""
    return cv2.aruco.getPredefinedDictionary(DICTIONARY)


def marker_cells(marker_id: int) -> NDArray[np.bool_]:
    """Tell which cells of a marker are black, shape (7, 7), border included."""
    picture = cv2.aruco.generateImageMarker(marker_dictionary(), marker_id, MARKER_CELLS)
    return np.asarray(picture == 0, dtype=np.bool_)


def marker_boxes(layout: CardLayout) -> list[tuple[float, float, float, float]]:
    """Black boxes (x, y, width, height), mm, that together print the markers.

    Runs along rows and along columns overlap, so that no hairline of paper shows between cells.
    """
    boxes = []
    for marker_id, corners in layout.markers.items():
        black = marker_cells(marker_id)
        x, y = (float(value) for value in corners[0])
        cell = float(corners[1, 0] - corners[0, 0]) / MARKER_CELLS
        for row, start, stop in _runs(black):
            boxes.append((x + start * cell, y + row * cell, (stop - start) * cell, cell))
        for column, start, stop in _runs(black.T):
            boxes.append((x + column * cell, y + start * cell, cell, (stop - start) * cell))
    return boxes


def _runs(black: NDArray[np.bool_]) -> list[tuple[int, int, int]]:
    """Line, start and end of every run of black cells along the lines."""
    padded = np.pad(black.astype(int), ((0, 0), (1, 1)))
    change = np.diff(padded, axis=1)
    starts, stops = np.argwhere(change == 1), np.argwhere(change == -1)
    return [(int(a[0]), int(a[1]), int(b[1])) for a, b in zip(starts, stops, strict=True)]


def role_and_version(marker_id: int) -> tuple[CardRole, int] | None:
    """Tell what card a marker id belongs to; None for an id that no version has printed."""
    version, rest = divmod(marker_id, _IDS_PER_VERSION)
    role, place = divmod(rest, _IDS_PER_ROLE)
    if not 0 <= version < VERSION or place >= len(_MARKER_PLACES):
        return None
    return _ROLE_ORDER[role], version + 1


_GREYS = (240, 200, 160, 120, 80, 30)
_GREENS = (
    ("pale green", (204, 224, 168)),
    ("light green", (150, 196, 96)),
    ("yellow-green", (188, 204, 70)),
    ("leaf green", (98, 152, 62)),
    ("deep green", (62, 116, 50)),
    ("dark green", (36, 74, 38)),
    ("yellow", (234, 206, 64)),
    ("cream", (238, 226, 192)),
)
_STRIP_COLOURS = (
    ("pink", (226, 158, 170)),
    ("red", (176, 46, 52)),
    ("purple", (108, 46, 98)),
    ("dark purple", (70, 30, 46)),
    ("brown", (114, 80, 50)),
    ("blue", (52, 86, 156)),
)
# Bare paper, read to see whether light falls evenly: inside the card, because its rim darkens
# where it touches the bench.
_PAPER = (
    (5.0, 19.7, 13.0, 1.6),
    (102.0, 19.7, 13.0, 1.6),
    (5.0, 50.0, 13.0, 4.5),
    (102.0, 50.0, 13.0, 4.5),
    (5.0, 67.2, 13.0, 2.4),
    (102.0, 67.2, 13.0, 2.4),
    (52.0, 20.4, 16.0, 2.4),
    (44.0, 67.4, 8.0, 2.4),
    (68.0, 67.4, 8.0, 2.4),
)


def _strip(
    colours: tuple[tuple[str, tuple[int, int, int]], ...], x: float, y: float
) -> list[Patch]:
    return [
        Patch(
            name,
            round(x + 9.2 * i, 3),
            y,
            8.2,
            _MARKER,
            rgb,
            neutral=rgb[0] == rgb[1] == rgb[2],
        )
        for i, (name, rgb) in enumerate(colours)
    ]


def _patches() -> tuple[Patch, ...]:
    greys = tuple((f"grey {code}", (code, code, code)) for code in _GREYS)
    left, right = 22.7, 70.7
    patches = [
        *_strip(greys[:3], left, 4.0),
        *_strip(greys[3:], right, 4.0),
        *_strip(_STRIP_COLOURS[:3], left, 71.0),
        *_strip(_STRIP_COLOURS[3:], right, 71.0),
        Patch("grey 160", 4.0, 22.0, _MARKER, 8.0, (160, 160, 160), neutral=True),
        Patch("grey 160", 101.0, 22.0, _MARKER, 8.0, (160, 160, 160), neutral=True),
    ]
    patches += [
        Patch(name, round(23.6 + 9.2 * i, 3), 43.0, 8.4, 9.0, rgb, neutral=False)
        for i, (name, rgb) in enumerate(_GREENS)
    ]
    patches += [
        Patch("paper", *place, rgb=(255, 255, 255), neutral=True, drawn=False) for place in _PAPER
    ]
    return tuple(patches)


_TITLES = {
    CardRole.OVERHEAD: (
        "OVERHEAD",
        "Lay flat on the bench beside the tray.",
        "from straight above",
    ),
    CardRole.SIDE: ("SIDE", "Stand upright, level with the tray's front wall.", "from the front"),
    CardRole.BOARD: ("BOARD", "Lay flat on the board among the cut plants.", "from straight above"),
}


def _words(role: CardRole, version: int) -> tuple[Words, ...]:
    title, place, view = _TITLES[role]
    return (
        Words(title, 24.0, 32.4, 9.0, bold=True),
        Words(place, 24.0, 37.2, 2.9),
        Words(f"Photograph {view}, whole card in view, no shadow on it.", 24.0, 41.0, 2.3),
        Words("measure me: 100 mm", 60.0, 65.6, 3.0, anchor="middle"),
        Words(f"Traymorph card {version}", 22.5, 65.6, 2.3),
        Words("print at 100 %", 97.5, 65.6, 2.3, anchor="end"),
    )


def _box(x: float, y: float, width: float, height: float) -> Shape:
    return Shape(((x, y), (x + width, y), (x + width, y + height), (x, y + height)))


def _frame(x: float, y: float, width: float, height: float, line: float) -> list[Shape]:
    return [
        _box(x, y, width, line),
        _box(x, y + height - line, width, line),
        _box(x, y, line, height),
        _box(x + width - line, y, line, height),
    ]


def _up_arrow(x: float, y: float) -> list[Shape]:
    return [
        Shape(((x, y), (x + 3.0, y + 4.0), (x - 3.0, y + 4.0))),
        _box(x - 1.0, y + 3.6, 2.0, 6.0),
    ]


def _pictogram(role: CardRole, x: float, y: float) -> list[Shape]:
    """Phone, lines of sight and what is photographed, within 11 x 11 mm."""
    if role is CardRole.SIDE:
        phone = [_box(x, y + 2.0, 1.2, 6.0)]
        sight = [
            Shape(((x + 1.8, y + 4.6), (x + 6.2, y + 1.6), (x + 6.2, y + 1.9), (x + 1.8, y + 4.9))),
            Shape(((x + 1.8, y + 5.4), (x + 6.2, y + 8.6), (x + 6.2, y + 8.9), (x + 1.8, y + 5.7))),
        ]
        subject = [_box(x + 7.0, y + 6.0, 4.0, 4.0), _box(x, y + 10.4, 11.0, 0.5)]
        plants = [_box(x + 7.3 + 1.1 * i, y + 1.6, 0.4, 4.4) for i in range(4)]
        return [*phone, *sight, *subject, *plants]
    phone = [_box(x + 2.5, y, 6.0, 1.2)]
    sight = [
        Shape(((x + 5.0, y + 1.8), (x + 1.4, y + 6.2), (x + 1.1, y + 6.2), (x + 4.7, y + 1.8))),
        Shape(((x + 6.0, y + 1.8), (x + 9.6, y + 6.2), (x + 9.9, y + 6.2), (x + 6.3, y + 1.8))),
    ]
    subject = [_box(x + 1.2, y + 7.2, 8.6, 2.6)] if role is CardRole.OVERHEAD else []
    return [*phone, *sight, *subject, _box(x, y + 10.4, 11.0, 0.5)]


def _bar_shapes(bar: Bar) -> list[Shape]:
    """Spine from 0 to 100 mm and ticks; the outer edges of the end ticks are 100 mm apart."""
    line = 0.3
    shapes = [_box(bar.x, bar.y, bar.length, 0.8)]
    count = round(bar.length / bar.tick)
    for i in range(count + 1):
        at = bar.x + i * bar.tick - line / 2
        at = min(max(at, bar.x), bar.x + bar.length - line)
        tall = 4.0 if i in (0, count) else 3.0 if i == count // 2 else 2.0
        shapes.append(_box(at, bar.y - tall + 0.8, line, tall))
    return shapes


@cache
def card_layout(role: CardRole) -> CardLayout:
    """Lay out the card of a role in its current version."""
    first = _IDS_PER_VERSION * (VERSION - 1) + _IDS_PER_ROLE * _ROLE_ORDER.index(role)
    markers = {
        first + i: _rectangle(*place, _MARKER, _MARKER) for i, place in enumerate(_MARKER_PLACES)
    }
    for corners in markers.values():
        corners.flags.writeable = False
    bar = Bar(10.0, 59.8, 100.0, 10.0)
    shapes = (*_pictogram(role, 77.0, 23.4), *_up_arrow(94.0, 23.4), *_bar_shapes(bar))
    return CardLayout(
        role, VERSION, _SIZE, markers, _patches(), bar, _words(role, VERSION), shapes, _INK
    )
