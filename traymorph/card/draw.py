"""Draw the reference card as PDF, SVG or PNG from its layout."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from traymorph.card.layout import MARKER_CELLS, CardLayout, Words, card_layout, marker_cells
from traymorph.card.svg import svg_text
from traymorph.card.transfer import decode_srgb, encode_srgb
from traymorph.errors import SettingsError
from traymorph.model.card import CardRole
from traymorph.whole_file import whole_file

MM_PER_INCH = 25.4
PAPERS = ("a4", "letter")
LOWEST_DPI, HIGHEST_DPI = 72, 1200


def draw_card(out: Path, role: CardRole | None, *, paper: str = "a4", dpi: int = 300) -> None:
    """Write the card to a file; the suffix picks the format.

    Parameters
    ----------
    out : Path
        File ending in ``.pdf``, ``.svg`` or ``.png``; replaced only when the drawing is complete.
    role : CardRole or None
        Which card; None draws the sheet with all of them, in a PDF only.
    paper : str
        ``a4`` or ``letter``, PDF only.
    dpi : int
        Pixels per inch, PNG only; stored in the file.

    Raises
    ------
    SettingsError
        The suffix, the paper or the resolution is not one that can be drawn, or a single picture
        was asked for without saying which card.
    StoreError
        The file cannot be written.
    """
    suffix = out.suffix.lower()
    _check_request(out, suffix, role, paper, dpi)
    if suffix == ".pdf":
        from traymorph.card.pdf import write_pdf  # noqa: PLC0415 - slow import, PDF only

        with whole_file(out) as part:
            write_pdf(part, role, paper)
        return
    if role is None:
        return
    layout = card_layout(role)
    if suffix == ".svg":
        with whole_file(out) as part:
            part.write_text(svg_text(layout), encoding="utf-8")
        return
    picture = Image.fromarray(card_picture(layout, dpi))
    with whole_file(out) as part:
        picture.save(part, format="PNG", dpi=(dpi, dpi), optimize=True)


def _check_request(out: Path, suffix: str, role: CardRole | None, paper: str, dpi: int) -> None:
    if suffix not in {".pdf", ".svg", ".png"}:
        message = f"{out.name}: a card can be drawn as .pdf, .svg or .png only."
        raise SettingsError(message, hint="Give the file one of these endings.")
    if role is None and suffix != ".pdf":
        message = f"{out.name}: one picture holds one card, and none was named."
        hint = "Name the role (overhead, side or board), or draw all cards into a .pdf."
        raise SettingsError(message, hint=hint)
    if paper not in PAPERS:
        message = f"Paper {paper!r} is not known."
        raise SettingsError(message, hint="Choose a4 or letter.")
    if not LOWEST_DPI <= dpi <= HIGHEST_DPI:
        message = f"A card cannot be drawn at {dpi} dpi."
        raise SettingsError(
            message, hint=f"Choose {LOWEST_DPI} to {HIGHEST_DPI} dpi; 300 suits most printers."
        )


def card_picture(layout: CardLayout, dpi: float) -> NDArray[np.uint8]:
    """Draw a card as pixels; pixel (0, 0) has its outer corner at the card's top left corner.

    Edges that fall within a pixel are mixed in linear light, so that a camera or a renderer sees
    them where the layout puts them.

    Parameters
    ----------
    layout : CardLayout
        What to draw.
    dpi : float
        Pixels per inch.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        sRGB-encoded.
    """
    scale = dpi / MM_PER_INCH
    width, height = (round(side * scale) for side in layout.size)
    canvas = np.ones((height, width, 3), dtype=np.float64)
    whole = np.ones((1, 1), dtype=np.bool_)
    for patch in layout.patches:
        if patch.drawn:
            _print_cells(canvas, patch.corners[[0, 2]] * scale, whole, patch.rgb)
    steps = np.linspace(0.0, 1.0, MARKER_CELLS + 1)[:, None]
    for marker_id, corners in layout.markers.items():
        edges = corners[0] + steps * (corners[2] - corners[0])
        _print_cells(canvas, edges * scale, marker_cells(marker_id), (0, 0, 0))
    _lay_over(canvas, _ink_coverage(layout, scale, (width, height)), layout.ink)
    return np.round(np.clip(encode_srgb(canvas), 0.0, 1.0) * 255.0).astype(np.uint8)


def _print_cells(
    canvas: NDArray[np.float64],
    edges: NDArray[np.float64],
    cells: NDArray[np.bool_],
    rgb: tuple[int, int, int],
) -> None:
    """Print a grid of cells whose (x, y) edges, px, are given; each pixel exactly by its share."""
    left, top = np.floor(edges[0]).astype(int)
    right, bottom = np.ceil(edges[-1]).astype(int)
    columns = _coverage(edges[:, 0] - left, right - left)
    rows = _coverage(edges[:, 1] - top, bottom - top)
    _lay_over(canvas[top:bottom, left:right], rows.T @ cells.astype(np.float64) @ columns, rgb)


def _coverage(edges: NDArray[np.float64], length: int) -> NDArray[np.float64]:
    """Share of each pixel that lies between consecutive edges, shape (n - 1, length)."""
    pixel = np.arange(length)
    start, stop = edges[:-1, None], edges[1:, None]
    shared = np.minimum(stop, pixel + 1) - np.maximum(start, pixel)
    return np.asarray(np.clip(shared, 0.0, 1.0))


def _lay_over(
    canvas: NDArray[np.float64], share: NDArray[np.float64], rgb: tuple[int, int, int]
) -> None:
    cut = share[:, :, None]
    canvas *= 1.0 - cut
    canvas += decode_srgb(np.array(rgb) / 255.0) * cut


def _ink_coverage(layout: CardLayout, scale: float, size: tuple[int, int]) -> NDArray[np.float64]:
    """Share of each pixel that words and shapes cover, shape (height, width)."""
    fine = 4
    mask = Image.new("L", (size[0] * fine, size[1] * fine), 0)
    pen = ImageDraw.Draw(mask)
    for words in layout.words:
        _write_words(pen, words, scale * fine)
    share = np.asarray(mask.reduce(fine), dtype=np.float64) / 255.0
    for shape in layout.shapes:
        corners = np.array(shape.corners) * scale
        left, top = np.maximum(np.floor(corners.min(axis=0)), 0).astype(int)
        right, bottom = np.minimum(np.ceil(corners.max(axis=0)), size).astype(int)
        window = share[top:bottom, left:right]
        inner = _shape_coverage(corners - (left, top), (right - left, bottom - top))
        np.maximum(window, inner, out=window)
    return share


def _shape_coverage(corners: NDArray[np.float64], size: tuple[int, int]) -> NDArray[np.float64]:
    low, high = corners.min(axis=0), corners.max(axis=0)
    if np.all((corners == low) | (corners == high)):  # an upright rectangle: exact
        rows = _coverage(np.array([low[1], high[1]]), size[1])
        return np.asarray(rows.T @ _coverage(np.array([low[0], high[0]]), size[0]))
    fine = 8
    mask = Image.new("L", (size[0] * fine, size[1] * fine), 0)
    ImageDraw.Draw(mask).polygon([tuple(c) for c in corners * fine - 0.5], fill=255)
    return np.asarray(mask.reduce(fine), dtype=np.float64) / 255.0


def _write_words(pen: ImageDraw.ImageDraw, words: Words, scale: float) -> None:
    font = ImageFont.load_default(size=words.size * scale)
    anchor = {"start": "ls", "middle": "ms", "end": "rs"}[words.anchor]
    stroke = round(0.025 * words.size * scale) if words.bold else 0
    place = (words.x * scale, words.y * scale)
    pen.text(place, words.text, fill=255, font=font, anchor=anchor, stroke_width=stroke)
