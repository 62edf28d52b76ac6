"""The card as PDF pages at true scale.

The only module that knows the PDF library. All lengths are mm from the page's top left corner, y
down, as in the layout.
"""

from pathlib import Path

from reportlab.lib.pagesizes import A4, letter
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from traymorph.card.layout import CardLayout, card_layout, marker_boxes
from traymorph.model.card import CardRole

_PAPERS = {"a4": A4, "letter": letter}
_FOLD_GAP = 10.0
"""From the fold to the cards on either side, mm."""
_GREY = 0.55
_TEXT = 0.2


class _Page:
    """A sheet under the pen, mm from its top left corner."""

    def __init__(self, canvas: Canvas, size_pt: tuple[float, float]) -> None:
        self.canvas = canvas
        self.width, self.height = size_pt[0] / mm, size_pt[1] / mm

    def box(self, x: float, y: float, width: float, height: float) -> None:
        self.canvas.rect(
            x * mm, (self.height - y - height) * mm, width * mm, height * mm, stroke=0, fill=1
        )

    def polygon(self, corners: tuple[tuple[float, float], ...], *, outline: bool = False) -> None:
        path = self.canvas.beginPath()
        for number, (x, y) in enumerate(corners):
            step = path.lineTo if number else path.moveTo
            step(x * mm, (self.height - y) * mm)
        path.close()
        self.canvas.drawPath(path, stroke=int(outline), fill=int(not outline))

    def line(self, start: tuple[float, float], stop: tuple[float, float]) -> None:
        (x0, y0), (x1, y1) = start, stop
        self.canvas.line(x0 * mm, (self.height - y0) * mm, x1 * mm, (self.height - y1) * mm)

    def text(self, text: str, at: tuple[float, float], size: float, anchor: str = "start") -> None:
        self._write("Helvetica", text, at, size, anchor)

    def bold(self, text: str, at: tuple[float, float], size: float, anchor: str = "start") -> None:
        self._write("Helvetica-Bold", text, at, size, anchor)

    def _write(
        self, font: str, text: str, at: tuple[float, float], size: float, anchor: str
    ) -> None:
        self.canvas.setFont(font, size * mm)
        place = (at[0] * mm, (self.height - at[1]) * mm)
        write = {
            "start": self.canvas.drawString,
            "middle": self.canvas.drawCentredString,
            "end": self.canvas.drawRightString,
        }
        write[anchor](*place, text)


def write_pdf(out: Path, role: CardRole | None, paper: str) -> None:
    """Write one card, or all of them, as a PDF that asks not to be scaled.

    Parameters
    ----------
    out : Path
        File to write.
    role : CardRole or None
        Which card; None gives the sheet that folds into an L and the board card on a second page.
    paper : str
        ``a4`` or ``letter``.
    """
    size = _PAPERS[paper]
    # Invariant: no date and no random id, so that the same card gives the same bytes.
    canvas = Canvas(str(out), pagesize=size, invariant=1, pageCompression=1)
    canvas.setTitle("Traymorph reference card")
    canvas.setViewerPreference("PrintScaling", "None")
    page = _Page(canvas, size)
    if role is None:
        _folding_sheet(page)
        canvas.showPage()
        _single_sheet(page, CardRole.BOARD)
    else:
        _single_sheet(page, role)
    canvas.showPage()
    canvas.save()


def _draw_card(page: _Page, layout: CardLayout, x: float, y: float) -> None:
    canvas = page.canvas
    for patch in layout.patches:
        if patch.drawn:
            canvas.setFillColorRGB(*(code / 255.0 for code in patch.rgb))
            page.box(x + patch.x, y + patch.y, patch.width, patch.height)
    canvas.setFillColorRGB(0.0, 0.0, 0.0)
    for left, top, width, height in marker_boxes(layout):
        page.box(x + left, y + top, width, height)
    canvas.setFillColorRGB(*(code / 255.0 for code in layout.ink))
    for shape in layout.shapes:
        page.polygon(tuple((x + px, y + py) for px, py in shape.corners))
    for words in layout.words:
        write = page.bold if words.bold else page.text
        write(words.text, (x + words.x, y + words.y), words.size, words.anchor)


def _crop_marks(page: _Page, layout: CardLayout, x: float, y: float) -> None:
    """Short lines outside the four corners, along which to cut."""
    page.canvas.setStrokeGray(_GREY)
    page.canvas.setLineWidth(0.2 * mm)
    width, height = layout.size
    for along in (x, x + width):
        page.line((along, y - 6.0), (along, y - 2.0))
        page.line((along, y + height + 2.0), (along, y + height + 6.0))
    for down in (y, y + height):
        page.line((x - 6.0, down), (x - 2.0, down))
        page.line((x + width + 2.0, down), (x + width + 6.0, down))


def _lines(page: _Page, lines: tuple[str, ...], at: tuple[float, float]) -> None:
    page.canvas.setFillGray(_TEXT)
    for number, line in enumerate(lines):
        page.text(line, (at[0], at[1] + 5.0 * number), 3.3)


def _folding_sheet(page: _Page) -> None:
    """Side card above the fold, overhead card below it, each with its top away from the reader."""
    side, overhead = card_layout(CardRole.SIDE), card_layout(CardRole.OVERHEAD)
    x = (page.width - side.size[0]) / 2.0
    fold = page.height / 2.0
    _draw_card(page, side, x, fold - _FOLD_GAP - side.size[1])
    _draw_card(page, overhead, x, fold + _FOLD_GAP)
    canvas = page.canvas
    canvas.setStrokeGray(_GREY)
    canvas.setLineWidth(0.3 * mm)
    canvas.setDash(3 * mm, 2 * mm)
    page.line((8.0, fold), (page.width - 8.0, fold))
    canvas.setDash()
    canvas.setFillGray(_TEXT)
    page.text("fold to a right angle, print inside", (x, fold - 1.5), 2.8)
    page.text("upright half", (page.width - x, fold - 1.5), 2.8, "end")
    page.text("flat half", (page.width - x, fold + 4.0), 2.8, "end")
    top = fold - _FOLD_GAP - side.size[1] - 30.0
    page.bold("Make the card", (x, top), 4.2)
    _lines(
        page,
        (
            "1. Print at 100 % on matt white paper and measure both 100 mm bars.",
            "2. Glue each half flat on stiff board, leaving a narrow gap along the fold.",
            "3. Fold, and fix a block or a bookend behind the upright half so that it stands.",
        ),
        (x, top + 6.5),
    )
    bottom = fold + _FOLD_GAP + overhead.size[1] + 10.0
    page.canvas.setFillGray(_TEXT)
    page.bold("Set it up", (x, bottom), 4.2)
    _lines(
        page,
        (
            "Beside the tray, fold in line with the",
            "tray's front wall, flat half towards you.",
            "Same light on card and tray; no shadow.",
        ),
        (x, bottom + 6.5),
    )
    _sketch(page, x + 70.0, bottom - 4.0)


def _sketch(page: _Page, x: float, y: float) -> None:
    """Draw the L beside a tray, seen from above the bench, within 58 x 26 mm."""
    canvas = page.canvas
    canvas.setLineWidth(0.3 * mm)
    canvas.setStrokeGray(_TEXT)
    canvas.setFillGray(0.85)
    front = ((22.0, 8.0), (48.0, 8.0), (48.0, 17.0), (22.0, 17.0))
    top = ((22.0, 8.0), (28.0, 2.0), (54.0, 2.0), (48.0, 8.0))
    end = ((48.0, 8.0), (54.0, 2.0), (54.0, 11.0), (48.0, 17.0))
    upright = ((3.0, 4.0), (19.0, 4.0), (19.0, 17.0), (3.0, 17.0))
    flat = ((3.0, 17.0), (19.0, 17.0), (13.0, 25.0), (-3.0, 25.0))
    for corners in (front, top, end, upright, flat):
        placed = tuple((x + px, y + py) for px, py in corners)
        if corners is front:
            page.polygon(placed)
        page.polygon(placed, outline=True)
    canvas.setFillGray(_TEXT)
    page.text("tray", (x + 35.0, y + 13.8), 3.0, "middle")
    page.text("SIDE", (x + 11.0, y + 11.5), 3.0, "middle")
    page.text("OVERHEAD", (x + 8.0, y + 22.2), 2.2, "middle")


def _single_sheet(page: _Page, role: CardRole) -> None:
    layout = card_layout(role)
    x, y = (page.width - layout.size[0]) / 2.0, 40.0
    _draw_card(page, layout, x, y)
    _crop_marks(page, layout, x, y)
    page.canvas.setFillGray(_TEXT)
    below = y + layout.size[1] + 18.0
    page.bold("Make the card", (x, below), 4.2)
    _lines(
        page,
        (
            "1. Print at 100 % on matt white paper.",
            "2. Measure the bar. If it is not 100 mm, print again without scaling, or write",
            "    what it measures into trial.toml as printed_bar_mm.",
            _MOUNT[role],
            f"4. {_USE[role]}",
        ),
        (x, below + 6.5),
    )


_STIFF = "3. Glue the print flat on stiff board and cut along the marks at its corners."
_MOUNT = {
    CardRole.OVERHEAD: _STIFF,
    CardRole.SIDE: _STIFF,
    CardRole.BOARD: "3. Cut along the marks at its corners. Leave it thin: glue it on nothing.",
}
_USE = {
    CardRole.OVERHEAD: "Lay it flat on the bench beside the tray, in the same light.",
    CardRole.SIDE: "Stand it upright beside the tray, level with the tray's front wall.",
    CardRole.BOARD: "Lay it flat on the board among the cut plants, in the same light.",
}
