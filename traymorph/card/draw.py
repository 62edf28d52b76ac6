"""Draw the reference card as PDF, SVG or PNG from its layout."""

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from traymorph.card.layout import MARKER_CELLS, CardLayout, Words, card_layout, marker_cells
from traymorph.card.svg import svg_text
from traymorph.card.transfer import decode_srgb, encode_srgb
from traymorph.errors import SettingsError
from traymorph.model.card import CardRole

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
    """
    suffix = out.suffix.lower()
    _check_request(out, suffix, role, paper, dpi)
    if suffix == ".pdf":
        from traymorph.card.pdf import write_pdf  # noqa: PLC0415 - slow import, PDF only

        _write_whole(out, lambda part: write_pdf(part, role, paper))
        return
    if role is None:
        return
    layout = card_layout(role)
    if suffix == ".svg":
        text = svg_text(layout)
        _write_whole(out, lambda part: part.write_text(text, encoding="utf-8"))
        return
    picture = Image.fromarray(card_picture(layout, dpi))
    _write_whole(out, lambda part: picture.save(part, format="PNG", dpi=(dpi, dpi), optimize=True))


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


def _write_whole(out: Path, write: Callable[[Path], object]) -> None:
    """Write beside the target and replace it when complete, so that no half a card is left."""
    try:
        handle, name = tempfile.mkstemp(dir=out.parent, prefix=f".{out.stem}-", suffix=out.suffix)
    except OSError as error:
        message = f"{out}: cannot be written ({error.strerror})."
        raise SettingsError(message, hint="Check that the folder exists and is yours.") from error
    os.close(handle)
    part = Path(name)
    try:
        write(part)
        part.chmod(0o644)
        part.replace(out)
    finally:
        part.unlink(missing_ok=True)


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
    for patch in layout.patches:
        if patch.drawn:
            rows = _coverage(np.array([patch.y, patch.y + patch.height]) * scale, height)
            columns = _coverage(np.array([patch.x, patch.x + patch.width]) * scale, width)
            _lay_over(canvas, rows.T @ columns, patch.rgb)
    for marker_id, corners in layout.markers.items():
        steps = np.linspace(0.0, 1.0, MARKER_CELLS + 1)[:, None]
        edges = corners[0] + steps * (corners[2] - corners[0])
        rows, columns = (
            _coverage(edges[:, 1] * scale, height),
            _coverage(edges[:, 0] * scale, width),
        )
        _lay_over(canvas, rows.T @ marker_cells(marker_id).astype(float) @ columns, (0, 0, 0))
    _lay_over(canvas, _ink_coverage(layout, scale, (width, height)), layout.ink)
    return np.round(np.clip(encode_srgb(canvas), 0.0, 1.0) * 255.0).astype(np.uint8)


def _coverage(edges: NDArray[np.float64], length: int) -> NDArray[np.float64]:
    """Share of each pixel that lies between consecutive edges, shape (n - 1, length)."""
    pixel = np.arange(length)
    start, stop = edges[:-1, None], edges[1:, None]
    return np.clip(np.minimum(stop, pixel + 1) - np.maximum(start, pixel), 0.0, 1.0)


def _lay_over(
    canvas: NDArray[np.float64], share: NDArray[np.float64], rgb: tuple[int, int, int]
) -> None:
    colour = decode_srgb(np.array(rgb) / 255.0)
    rows, columns = np.flatnonzero(share.any(axis=1)), np.flatnonzero(share.any(axis=0))
    window = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
    cut = share[window][:, :, None]
    canvas[window] = canvas[window] * (1.0 - cut) + colour * cut


def _ink_coverage(layout: CardLayout, scale: float, size: tuple[int, int]) -> NDArray[np.float64]:
    fine = 4
    mask = Image.new("L", (size[0] * fine, size[1] * fine), 0)
    pen = ImageDraw.Draw(mask)
    for words in layout.words:
        _write_words(pen, words, scale * fine)
    share = np.asarray(mask.reduce(fine), dtype=np.float64) / 255.0
    for shape in layout.shapes:
        np.maximum(share, _shape_coverage(np.array(shape.corners) * scale, size), out=share)
    return share


def _shape_coverage(corners: NDArray[np.float64], size: tuple[int, int]) -> NDArray[np.float64]:
    low, high = corners.min(axis=0), corners.max(axis=0)
    if all(np.all((corner == low) | (corner == high)) for corner in corners):
        return np.asarray(
            _coverage(np.array([low[1], high[1]]), size[1]).T
            @ _coverage(np.array([low[0], high[0]]), size[0])
        )
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
