"""A photo to draw on: faded where nothing was measured, with lines, words and a caption strip.

The picture language is one for all overlays: measured plants keep their full colour, everything
else is faded; what the program decided is drawn in two colours that colour-blind people tell apart
(Okabe & Ito 2008: blue for the tray's geometry, orange for stems), each named in the strip below.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from traymorph.report.lettering import draw_text, font, legible, text_length

BLUE = (0, 114, 178)
ORANGE = (230, 159, 0)
WHITE = (255, 255, 255)
INK = (32, 34, 36)
_PAPER = (247, 246, 242)
_FADE_TO_GREY = 0.75
_FADE_TO_PAPER = 0.42
_SHIFT = 4  # sub-pixel bits of cv2's drawing calls
_CUT_OUT = " … "
_SMOOTH_DOWN_TO = 0.6  # zoom down to which masks, being soft, need no means over areas
_NARROWEST = 0.4  # width of a canvas over its height


@dataclass(frozen=True, slots=True)
class Legend:
    """One entry of the strip: a swatch and what it stands for; a line when ``line`` is set."""

    colour: tuple[int, int, int]
    words: str
    line: bool = False


@dataclass(frozen=True, slots=True)
class Swatch:
    """A measured colour in a row of its own in the strip; None is an empty frame."""

    colour: tuple[int, int, int] | None
    words: str


class Canvas:
    """A cropped, enlarged or reduced photo with drawing calls in photo pixels.

    Parameters
    ----------
    picture : ndarray of uint8, shape (h, w, 3)
        The reduced, colour-corrected photo.
    scale : float
        Photo pixels per picture pixel.
    crop_px : tuple of float
        (left, top, right, bottom) in photo pixels: what to show.
    width : int
        Width of the canvas, pixels.
    """

    def __init__(
        self,
        picture: NDArray[np.uint8],
        scale: float,
        crop_px: tuple[float, float, float, float],
        width: int = 1600,
    ) -> None:
        height, full = picture.shape[:2]
        left = int(np.clip((crop_px[0] + 0.5) / scale, 0, full - 2))
        top = int(np.clip((crop_px[1] + 0.5) / scale, 0, height - 2))
        right = int(np.clip(np.ceil((crop_px[2] + 0.5) / scale), left + 2, full))
        bottom = int(np.clip(np.ceil((crop_px[3] + 0.5) / scale), top + 2, height))
        # A sliver would be enlarged beyond all measure.
        lacking = max(0, round(_NARROWEST * (bottom - top)) - (right - left))
        left, right = max(0, left - lacking), min(full, right + lacking)
        self._window = (slice(top, bottom), slice(left, right))
        self._zoom = width / (right - left)
        self._offset = np.array([left, top], dtype=np.float64)
        self._scale = scale
        self._size = (width, max(2, round((bottom - top) * self._zoom)))
        self.rgb = self._fit(picture)

    @property
    def unit(self) -> float:
        """Thickness of a thin line, canvas pixels."""
        return self._size[0] / 800

    def _fit(self, layer: NDArray[np.generic], area_below: float = 1.0) -> NDArray[np.uint8]:
        cut = np.ascontiguousarray(layer[self._window])
        way = cv2.INTER_AREA if self._zoom < area_below else cv2.INTER_LINEAR
        return np.asarray(cv2.resize(cut, self._size, interpolation=way))

    def layer(self, mask: NDArray[np.float32]) -> NDArray[np.float32]:
        """Bring a mask of the picture's grid, shape (h, w), to the canvas."""
        return self._fit(mask, _SMOOTH_DOWN_TO).astype(np.float32)

    def to_canvas(self, points_px: NDArray[np.float64]) -> NDArray[np.float64]:
        """Photo pixels to canvas pixels, shape (n, 2)."""
        picture = (points_px + 0.5) / self._scale - self._offset
        return np.asarray(picture * self._zoom - 0.5)

    def fade_all_but(self, keep: NDArray[np.float32]) -> None:
        """Fade everything where ``keep`` (canvas grid, 0 to 1) is 0."""
        left = 1.0 - _FADE_TO_PAPER
        mix = np.eye(3, 4) * (1.0 - _FADE_TO_GREY) * left
        mix[:, :3] += _FADE_TO_GREY * left / 3.0
        mix[:, 3] = _FADE_TO_PAPER * np.array(_PAPER)
        faded = np.asarray(cv2.transform(self.rgb, mix.astype(np.float32)), dtype=np.uint8)
        self.rgb = _blended(self.rgb, faded, 1.0 - keep)

    def tint(
        self, where: NDArray[np.float32], colour: tuple[int, int, int], strength: float
    ) -> None:
        """Mix a colour in where ``where`` (canvas grid) is 1."""
        self.rgb = _blended(self.rgb, np.full_like(self.rgb, colour), where * strength)

    def room_below(self, units: float) -> None:
        """Add a band of paper below the photo, so that the scale bar hides nothing in it."""
        band = np.full((round(units * self.unit), self._size[0], 3), _PAPER, dtype=np.uint8)
        self.rgb = np.vstack([self.rgb, band])

    def hatch(self, where: NDArray[np.bool_], colour: tuple[int, int, int]) -> None:
        """Slanted lines over an area (canvas grid)."""
        rows, columns = np.nonzero(where)
        period = max(6, round(9 * self.unit))
        stripes = (rows + columns) % period < max(1, round(self.unit * 1.2))
        self.rgb[rows[stripes], columns[stripes]] = colour

    def contour(
        self, mask: NDArray[np.float32], colour: tuple[int, int, int], units: float
    ) -> None:
        """Outline the half level of a mask (canvas grid)."""
        level = (mask >= 0.5).astype(np.uint8)
        lines, _ = cv2.findContours(level, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
        thickness = max(1, round(units * self.unit))
        cv2.drawContours(self.rgb, lines, -1, colour, thickness, cv2.LINE_AA)

    def path(
        self,
        points_px: NDArray[np.float64],
        colour: tuple[int, int, int],
        units: float = 1.5,
        *,
        closed: bool = False,
        dashed: bool = False,
        edged: bool = True,
    ) -> None:
        """Draw a line through photo pixels, with a thin white edge so that it shows on anything.

        On what is hardly wider than the line (a stem) the edge is left out with ``edged=False``.
        """
        points = self.to_canvas(points_px)
        if closed:
            points = np.vstack([points, points[:1]])
        pieces = _dashes(points, 14 * self.unit) if dashed else [points]
        strokes = ((WHITE, 1.4), (colour, 0.0)) if edged else ((colour, 0.0),)
        for tone, wider in strokes:
            thickness = max(1, round((units + wider) * self.unit))
            for piece in pieces:
                fixed = np.round(piece * (1 << _SHIFT)).astype(np.int32)
                cv2.polylines(
                    self.rgb,
                    [fixed],
                    isClosed=False,
                    color=tone,
                    thickness=thickness,
                    lineType=cv2.LINE_AA,
                    shift=_SHIFT,
                )

    def write(
        self, text: str, at: NDArray[np.float64], *, size: float = 11, anchor: str = "la"
    ) -> None:
        """Write words at a canvas position, on a light plate so that they can be read anywhere."""
        words = legible(text)
        face = font(size * self.unit)
        pad = 3 * self.unit
        # Only what lies round the plate is drawn on: copies of the whole canvas take long.
        bounds = ImageDraw.Draw(Image.new("RGB", (1, 1))).textbbox(
            (float(at[0]), float(at[1])), words, font=face, anchor=anchor
        )
        height, width = self.rgb.shape[:2]
        x, y = (max(0, int(edge - pad) - 2) for edge in bounds[:2])
        end_x, end_y = (int(edge + pad) + 3 for edge in bounds[2:])
        part = np.s_[y : min(end_y, height), x : min(end_x, width)]
        if self.rgb[part].size == 0:
            return
        image = Image.fromarray(np.ascontiguousarray(self.rgb[part]))
        draw = ImageDraw.Draw(image, "RGBA")
        place = (float(at[0]) - x, float(at[1]) - y)
        left, top, right, bottom = draw.textbbox(place, words, font=face, anchor=anchor)
        draw.rectangle((left - pad, top - pad, right + pad, bottom + pad), fill=(*_PAPER, 215))
        draw.text(place, words, font=face, fill=INK, anchor=anchor)
        self.rgb[part] = np.asarray(image)

    def scale_bar(
        self, canvas_px_per_mm: float, length_mm: float, beside_px: NDArray[np.float64]
    ) -> None:
        """Draw a bar of a round length at the lower left, or right where it would hide the card.

        Parameters
        ----------
        canvas_px_per_mm : float
            Canvas pixels that a millimetre covers.
        length_mm : float
            Length of the bar, mm.
        beside_px : ndarray, shape (n, 2)
            Outline of the card, photo pixels.
        """
        unit = self.unit
        length = canvas_px_per_mm * length_mm
        left, bottom = 16 * unit, self.rgb.shape[0] - 16 * unit
        card = self.to_canvas(beside_px)
        if card[:, 0].min() < left + length + 8 * unit and card[:, 1].max() > bottom - 30 * unit:
            left = self._size[0] - 16 * unit - length
        plate = (int(left - 8 * unit), int(bottom - 30 * unit))
        edge = (int(left + length + 8 * unit), int(bottom + 8 * unit))
        cv2.rectangle(self.rgb, plate, edge, _PAPER, -1)
        cv2.rectangle(
            self.rgb,
            (int(left), int(bottom - 5 * unit)),
            (int(left + length), int(bottom)),
            INK,
            -1,
        )
        at = np.array([left, bottom - 9 * unit])
        self.write(f"{length_mm:g} mm", at, size=11, anchor="ld")

    def finish(
        self, title: str, values: list[str], legend: list[Legend], swatch: Swatch | None = None
    ) -> Image.Image:
        """Add the strip below: what it is, what was read, the leaf's colour, what lines mean."""
        unit, width = self.unit, self._size[0]
        line = 17 * unit
        columns = 3
        rows = -(-len(values) // columns)
        legend_rows = _legend_rows(legend, width, unit)
        swatch_row = 0.0 if swatch is None else 1.5 * line
        height = round(line * (rows + len(legend_rows) + 1) + swatch_row + 34 * unit)
        image = Image.new("RGB", (width, self.rgb.shape[0] + height), _PAPER)
        image.paste(Image.fromarray(self.rgb), (0, 0))
        draw = ImageDraw.Draw(image)
        top = self.rgb.shape[0] + 10 * unit
        words = _shortened(title, 13 * unit, width - 32 * unit)
        draw_text(draw, (16 * unit, top), words, 13 * unit, INK)
        top += 1.3 * line
        for place, words in enumerate(values):
            column, row = place % columns, place // columns
            at = (16 * unit + column * (width - 32 * unit) / columns, top + row * line)
            draw_text(draw, at, words, 11.5 * unit, INK)
        top += rows * line + 6 * unit
        if swatch is not None:
            _measured_colour(draw, swatch, top, width, unit)
        top += swatch_row
        for legend_row in legend_rows:
            left = 16 * unit
            for entry, wide in legend_row:
                _swatch(draw, entry, left, top, unit)
                draw_text(draw, (left + 24 * unit, top), entry.words, 10 * unit, INK)
                left += wide
            top += line
        return image


def _blended(
    below: NDArray[np.uint8], above: NDArray[np.uint8], share: NDArray[np.floating[Any]]
) -> NDArray[np.uint8]:
    """Mix pictures of shape (h, w, 3), as much of the one above as its share, shape (h, w)."""
    weight = share.astype(np.float32)
    return np.asarray(cv2.blendLinear(below, above, 1 - weight, weight), dtype=np.uint8)


def _measured_colour(
    draw: ImageDraw.ImageDraw, swatch: Swatch, top: float, width: int, unit: float
) -> None:
    left, wide, high = 16 * unit, 62 * unit, 18 * unit
    draw.rectangle((left, top, left + wide, top + high), fill=swatch.colour, outline=INK)
    begin = left + wide + 8 * unit
    words = _shortened(swatch.words, 11.5 * unit, width - begin - 16 * unit)
    draw_text(draw, (begin, top + 3.5 * unit), words, 11.5 * unit, INK)


def _shortened(text: str, size: float, width: float) -> str:
    """Cut a line out in its middle until it fits: names of trays and photos may be long."""
    kept, half = text, len(text) // 2
    while half > 1 and text_length(kept, size) > width:
        half -= 1
        kept = text[:half] + _CUT_OUT + text[-half:]
    return kept


def _legend_rows(legend: list[Legend], width: int, unit: float) -> list[list[tuple[Legend, float]]]:
    """Break the legend into rows that fit the canvas."""
    rows: list[list[tuple[Legend, float]]] = [[]]
    used = 0.0
    for entry in legend:
        wide = text_length(entry.words, 10 * unit) + 44 * unit
        if rows[-1] and used + wide > width - 32 * unit:
            rows.append([])
            used = 0.0
        rows[-1].append((entry, wide))
        used += wide
    return rows


def _swatch(draw: ImageDraw.ImageDraw, entry: Legend, left: float, top: float, unit: float) -> None:
    if entry.line:
        middle = top + 6.5 * unit
        draw.line(
            (left, middle, left + 18 * unit, middle), fill=entry.colour, width=round(2.5 * unit)
        )
    else:
        draw.rectangle(
            (left, top + unit, left + 18 * unit, top + 12 * unit), fill=entry.colour, outline=INK
        )


def _dashes(points: NDArray[np.float64], length: float) -> list[NDArray[np.float64]]:
    """Cut a line into dashes of one length with gaps as long."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    pieces = []
    for start in np.arange(0.0, along[-1], 2 * length):
        stations = np.linspace(start, min(start + length, along[-1]), 6)
        pieces.append(
            np.column_stack([np.interp(stations, along, points[:, axis]) for axis in (0, 1)])
        )
    return pieces
