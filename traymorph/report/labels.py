"""Tray labels and the map of the rack as a PDF at true scale.

A label must be read in an overhead photo from 500 to 700 mm. The main camera of a phone (26 mm as
35 mm equivalent, 4000 x 3000 pixels) has a focal length of 26 / 43.27 x 5000 = 3004 pixels, so that
700 mm away a pixel covers 0.233 mm. Codes are read safely from 3.4 pixels a module on, that is
0.79 mm; the smallest module printed here is 1.17 mm, 5.0 pixels. That leaves room for 8 megapixels
(4.1 pixels), a slant and a little blur.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import segno
from reportlab.lib.pagesizes import A4, letter
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from traymorph.errors import ListError
from traymorph.model.labels import label_text

PAPERS = {"a4": A4, "letter": letter}

_WIDTH, _HEIGHT = 90.0, 50.0
_COLUMNS, _ROWS = 2, 5
_CODE = 48.0
"""Side of the code with its quiet zone, mm."""
_QUIET = 4
"""Modules left white round a code (ISO/IEC 18004)."""
_MOST_MODULES = 33
"""Version 4: more would make modules smaller than photos show."""
_TEXT_LEFT = 50.0
_TEXT_WIDTH = _WIDTH - _TEXT_LEFT - 2.0
_LARGEST, _SMALLEST = 15.0, 4.0
_CAPITALS = 0.72
"""Height of a capital letter over the font's size."""
_LINE = 4.6
MOST_LINES = 6
"""Small lines that a label has room for."""
_BOLD, _PLAIN, _EVEN = "Helvetica-Bold", "Helvetica", "Courier"
_MARK = 4.0
_GREY = 0.55


@dataclass(frozen=True, slots=True)
class TrayLabel:
    """What one label says.

    Parameters
    ----------
    tray_id : str
        In its code and in large letters.
    lines : tuple of str
        Small lines below, six at most.
    """

    tray_id: str
    lines: tuple[str, ...] = ()


def write_labels(
    out: Path, labels: Sequence[TrayLabel], *, paper: str = "a4", rack_map: Sequence[str] = ()
) -> None:
    """Write a PDF of labels that asks not to be scaled.

    Parameters
    ----------
    out : Path
        File to write.
    labels : sequence of TrayLabel
        Ten to a page.
    paper : str
        ``a4`` or ``letter``.
    rack_map : sequence of str
        Lines of the map for the one who sows, on a page of its own before the labels; none without.

    Raises
    ------
    ListError
        Names are too long for a code that photos show; all are named.
    """
    codes = _codes(labels)
    size = PAPERS[paper]
    canvas = Canvas(str(out), pagesize=size, invariant=1, pageCompression=1)
    canvas.setTitle("Traymorph tray labels")
    canvas.setViewerPreference("PrintScaling", "None")
    if rack_map:
        _draw_map(canvas, size, rack_map)
        canvas.showPage()
    left, top = (size[0] - _COLUMNS * _WIDTH * mm) / 2, (size[1] + _ROWS * _HEIGHT * mm) / 2
    for place, (label, code) in enumerate(zip(labels, codes, strict=True)):
        row, column = divmod(place % (_COLUMNS * _ROWS), _COLUMNS)
        if place and not (row or column):
            canvas.showPage()
        if not (row or column):
            _cut_marks(canvas, left, top)
        canvas.saveState()
        canvas.translate(left + column * _WIDTH * mm, top - (row + 1) * _HEIGHT * mm)
        _draw_label(canvas, label, code)
        canvas.restoreState()
    canvas.showPage()
    canvas.save()


def module_mm(tray_id: str) -> float:
    """Width of a module of a tray's code as printed, mm."""
    (code,) = _codes([TrayLabel(tray_id)])
    return _module(code)


def _module(code: segno.QRCode) -> float:
    return _CODE / (len(code.matrix) + 2 * _QUIET)


def _codes(labels: Sequence[TrayLabel]) -> list[segno.QRCode]:
    codes, too_long = [], []
    for label in labels:
        code = _code(label_text(label.tray_id))
        if code is None:
            too_long.append(label.tray_id)
        else:
            codes.append(code)
    if too_long:
        msg = f"Too long for a label that photos show: {', '.join(too_long)}."
        raise ListError(msg, hint="Give these trays names of at most 40 plain letters.")
    return codes


def _code(text: str) -> segno.QRCode | None:
    """Encode with the most repair that the size allows; None where nothing fits."""
    for level in ("q", "m", "l"):
        try:
            code = segno.make_qr(
                text, error=level, boost_error=False, mode="byte", encoding="utf-8", version=None
            )
        except segno.DataOverflowError:
            continue
        if len(code.matrix) <= _MOST_MODULES:
            return code
    return None


def _draw_label(canvas: Canvas, label: TrayLabel, code: segno.QRCode) -> None:
    """Draw within the label's own corner, points from its bottom left."""
    canvas.setFillGray(0.0)
    module = _module(code)
    low = (_HEIGHT - _CODE) / 2 + _QUIET * module
    path = canvas.beginPath()  # one path, so that no hairlines part the modules
    for row, cells in enumerate(reversed(code.matrix)):
        for start, stop in _runs(cells):
            x = 1.0 + (_QUIET + start) * module
            path.rect(x * mm, (low + row * module) * mm, (stop - start) * module * mm, module * mm)
    canvas.drawPath(path, stroke=0, fill=1)
    words = printable(label.tray_id)
    wide = stringWidth(words, _BOLD, 1.0)
    size = max(_SMALLEST, min(_LARGEST, _TEXT_WIDTH / wide if wide else _LARGEST))
    y = _HEIGHT - 5.0 - _CAPITALS * size
    canvas.setFont(_BOLD, size * mm)
    canvas.drawString(_TEXT_LEFT * mm, y * mm, _fitted(words, _BOLD, size))
    canvas.setFont(_PLAIN, 3.4 * mm)
    for number, line in enumerate(label.lines[:MOST_LINES], start=1):
        words = _fitted(printable(line), _PLAIN, 3.4)
        canvas.drawString(_TEXT_LEFT * mm, (y - 1.5 - number * _LINE) * mm, words)


def _runs(cells: bytearray) -> list[tuple[int, int]]:
    """Stretches of dark modules in a row, as (start, stop)."""
    runs, start = [], None
    for place, dark in enumerate([*cells, 0]):
        if dark and start is None:
            start = place
        elif not dark and start is not None:
            runs.append((start, place))
            start = None
    return runs


def _fitted(words: str, font: str, size: float) -> str:
    """Cut words that are wider than the label."""
    if stringWidth(words, font, size) <= _TEXT_WIDTH + 0.01:
        return words
    while words and stringWidth(words + "...", font, size) > _TEXT_WIDTH:
        words = words[:-1]
    return words + "..."


def printable(text: str) -> str:
    """Bring a text to signs that the page's fonts draw; others become question marks."""
    return text.encode("cp1252", errors="replace").decode("cp1252")


def _cut_marks(canvas: Canvas, left: float, top: float) -> None:
    """Short lines outside the labels, and small crosses where four of them meet."""
    canvas.setStrokeGray(_GREY)
    canvas.setLineWidth(0.2 * mm)
    right, bottom = left + _COLUMNS * _WIDTH * mm, top - _ROWS * _HEIGHT * mm
    for column in range(_COLUMNS + 1):
        x = left + column * _WIDTH * mm
        canvas.line(x, top + 1 * mm, x, top + (1 + _MARK) * mm)
        canvas.line(x, bottom - 1 * mm, x, bottom - (1 + _MARK) * mm)
    for row in range(_ROWS + 1):
        y = top - row * _HEIGHT * mm
        canvas.line(left - 1 * mm, y, left - (1 + _MARK) * mm, y)
        canvas.line(right + 1 * mm, y, right + (1 + _MARK) * mm, y)
        for column in range(1, _COLUMNS):
            x = left + column * _WIDTH * mm
            canvas.line(x - 1 * mm, y, x + 1 * mm, y)
            canvas.line(x, y - 1 * mm, x, y + 1 * mm)


def _draw_map(canvas: Canvas, size: tuple[float, float], lines: Sequence[str]) -> None:
    """Write the map in even letters, as large as page and longest line allow."""
    margin = 15 * mm
    widest = max(stringWidth(printable(line), _EVEN, 1.0) for line in lines) or 1.0
    letters = min(
        10.0, (size[0] - 2 * margin) / widest, (size[1] - 2 * margin - 12 * mm) / len(lines) / 1.3
    )
    canvas.setFillGray(0.0)
    canvas.setFont(_BOLD, 12)
    head = "Where each tray stands: for the one who sows"
    canvas.drawString(margin, size[1] - margin, head)
    canvas.setFont(_EVEN, letters)
    for number, line in enumerate(lines):
        y = size[1] - margin - 10 * mm - number * letters * 1.3
        canvas.drawString(margin, y, printable(line))
