"""Plates: photos cut out and flattened so that two samples can be compared by eye.

All plates of one view have the same frame in millimetres and the same scale. A plate is a photo and
stays one: nothing is masked or painted over, only a bar of a round length stands in a corner.
"""

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.viewpoint import Viewpoint
from traymorph.report.lettering import font

Picture = NDArray[np.uint8]

WIDEST_PX, TALLEST_PX = 860, 640
LARGEST_BYTES = 120_000
_QUALITIES = (82, 78, 74, 70, 65, 60, 54, 48, 40)
_FINEST = 4
"""Cells along a pixel of the plate at the most; more tell nothing and cost time."""
GROUND = (222, 221, 217)
"""What lies beyond the photo: a light neutral grey."""
_BARS_MM = (5.0, 10.0, 20.0, 50.0, 100.0)
_LONGEST_BAR = 0.24  # of the plate's width
_LETTERS = 0.03  # height of the bar's number over the plate's width
_DARK, _LIGHT = (24, 26, 28), (255, 255, 255)
"""Light with a dark edge shows on foliage, on boards of any colour and on paper."""


@dataclass(frozen=True, slots=True, eq=False)
class Cutting:
    """What one plate has to show, in a plane of its photo.

    Parameters
    ----------
    viewpoint : Viewpoint
        The camera in the card's frame.
    anchor_mm : ndarray, shape (2,)
        The point, (x, y) in the card's frame, that plates of a view have in common.
    along : ndarray, shape (2,)
        Unit vector that runs to the right in the plate.
    height_mm : float
        Height of the plane above the card's face.
    box_mm : tuple of float
        (left, top, right, bottom) of what must be seen, from the anchor along the plate's axes.
    columns_px : tuple of float
        (first, last) column of the photo that is this sample's; infinite where all of them are.
    """

    viewpoint: Viewpoint
    anchor_mm: NDArray[np.float64]
    along: NDArray[np.float64]
    height_mm: float
    box_mm: tuple[float, float, float, float]
    columns_px: tuple[float, float] = (-math.inf, math.inf)

    @property
    def photo_px_per_mm(self) -> float:
        """Pixels that the photo has for a millimetre at the anchor."""
        at = np.array([*self.anchor_mm, self.height_mm])
        return 1.0 / self.viewpoint.mm_per_px(at)


@dataclass(frozen=True, slots=True)
class Frame:
    """The frame that all plates of a view have in common.

    Parameters
    ----------
    left_mm, top_mm : float
        Its corner, from the anchor.
    width_px, height_px : int
        Its size.
    px_per_mm : float
        Its scale.
    """

    left_mm: float
    top_mm: float
    width_px: int
    height_px: int
    px_per_mm: float


def common_frame(cuttings: Sequence[Cutting]) -> Frame:
    """Give the smallest frame that holds what every cutting has to show.

    Parameters
    ----------
    cuttings : sequence of Cutting
        Of one view, at least one.

    Returns
    -------
    Frame
        No larger than 860 x 640 pixels and no finer than the coarsest photo.
    """
    left, top = (min(one.box_mm[k] for one in cuttings) for k in (0, 1))
    right, bottom = (max(one.box_mm[k] for one in cuttings) for k in (2, 3))
    scale = min(
        WIDEST_PX / (right - left),
        TALLEST_PX / (bottom - top),
        *(one.photo_px_per_mm for one in cuttings),
    )
    width, height = (max(2, round(span * scale)) for span in (right - left, bottom - top))
    return Frame(left, top, width, height, scale)


class Flattened:
    """A plate on its way: the photo carried to the plane, finer than the plate will be.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        The upright photo, full size.
    cutting : Cutting
        What to show.
    frame : Frame
        The frame of the view.
    """

    def __init__(self, rgb: Picture, cutting: Cutting, frame: Frame) -> None:
        self._frame = frame
        self._fine = int(np.clip(round(cutting.photo_px_per_mm / frame.px_per_mm), 1, _FINEST))
        grid = self._grid(cutting)
        x, y = grid.sampling(cutting.viewpoint, 1.0)
        height, width = rgb.shape[:2]
        first, last = cutting.columns_px
        self._beyond = (
            (x < max(first, -0.5)) | (x > min(last, width - 0.5)) | (y < -0.5) | (y > height - 0.5)
        )
        self.rgb: Picture = np.asarray(
            cv2.remap(rgb, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.uint8
        )
        """The picture as photographed; its colours may be corrected before it is averaged down."""

    def _grid(self, cutting: Cutting) -> PlaneGrid:
        step = 1.0 / (self._frame.px_per_mm * self._fine)
        along = cutting.along
        across = np.array([-along[1], along[0]])
        left, top = self._frame.left_mm + step / 2, self._frame.top_mm + step / 2
        origin = cutting.anchor_mm + left * along + top * across
        shape = (self._frame.height_px * self._fine, self._frame.width_px * self._fine)
        return PlaneGrid(origin, along, step, shape, cutting.height_mm)

    def picture(self, corrected: Picture) -> Picture:
        """Average the corrected picture down to the plate, neutral where the photo ends."""
        filled = corrected.copy()
        filled[self._beyond] = GROUND
        size = (self._frame.width_px, self._frame.height_px)
        return np.asarray(cv2.resize(filled, size, interpolation=cv2.INTER_AREA), np.uint8)


def with_bar(picture: Picture, px_per_mm: float) -> Picture:
    """Draw a bar of a round length at the lower left, its number beside it.

    Parameters
    ----------
    picture : ndarray of uint8, shape (h, w, 3)
        The plate.
    px_per_mm : float
        Its scale.
    """
    height, width = picture.shape[:2]
    fitting = [mm for mm in _BARS_MM if mm * px_per_mm <= _LONGEST_BAR * width]
    length_mm = fitting[-1] if fitting else _BARS_MM[0]
    size = max(10.0, _LETTERS * width)
    edge = max(1, round(size / 9))
    left, middle = round(0.8 * size), height - round(size)
    length, thick = round(length_mm * px_per_mm), max(1, round(size / 7))
    image = Image.fromarray(picture)
    draw = ImageDraw.Draw(image)
    bar = (left, middle - thick, left + length - 1, middle + thick)
    draw.rectangle((bar[0] - edge, bar[1] - edge, bar[2] + edge, bar[3] + edge), fill=_DARK)
    draw.rectangle(bar, fill=_LIGHT)
    draw.text(
        (left + length + 0.5 * size, middle),
        f"{length_mm:g} mm",
        font=font(size),
        fill=_LIGHT,
        anchor="lm",
        stroke_width=edge,
        stroke_fill=_DARK,
    )
    return np.array(image)


def jpeg_of(picture: Picture) -> bytes:
    """Pack a plate as JPEG of at most 120 kB, without any metadata.

    Quality is lowered where a picture full of leaves would be larger; the size in pixels is not,
    since it holds the scale.
    """
    image = Image.fromarray(picture)
    for quality in _QUALITIES:
        buffer = io.BytesIO()
        image.save(buffer, "JPEG", quality=quality, optimize=True)
        if buffer.tell() <= LARGEST_BYTES:
            break
    return buffer.getvalue()
