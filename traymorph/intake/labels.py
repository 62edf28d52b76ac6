"""Tray labels in photos: takes an upright photo, gives the trays that its QR codes name."""

from dataclasses import dataclass

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from traymorph.model.labels import tray_of_label
from traymorph.model.photo import Photo

_QR_ONLY = zxingcpp.barcode_formats_from_str("QRCode")


@dataclass(frozen=True, slots=True, eq=False)
class Label:
    """A tray label that was read.

    Parameters
    ----------
    tray_id : str
        The tray that it names.
    outline_px : ndarray, shape (4, 2)
        Corners of its code, (x, y) in pixels of the upright photo, in order round it from the
        code's own top left.
    """

    tray_id: str
    outline_px: NDArray[np.float64]

    @property
    def middle_px(self) -> NDArray[np.float64]:
        """Middle of its code, shape (2,)."""
        return np.asarray(self.outline_px.mean(axis=0))


def read_labels(photo: Photo) -> tuple[Label, ...]:
    """Read every tray label in a photo.

    Parameters
    ----------
    photo : Photo
        Upright, full size.

    Returns
    -------
    tuple of Label
        In the reader's order; QR codes of other things are left out. A code too small, blurred or
        covered is not seen: a photo without labels proves nothing.
    """
    grey = np.ascontiguousarray(cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY))
    found = zxingcpp.read_barcodes(grey, formats=_QR_ONLY)
    labels = []
    for code in found:
        tray_id = tray_of_label(_text(code.bytes))
        if tray_id is not None:
            labels.append(Label(tray_id, _outline(code.position)))
    return tuple(labels)


def _text(content: bytes) -> str:
    """Give the code's text; labels are UTF-8, and what is not was not printed here."""
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        return ""


def _outline(position: zxingcpp.Position) -> NDArray[np.float64]:
    corners = (
        position.top_left,
        position.top_right,
        position.bottom_right,
        position.bottom_left,
    )
    return np.array([[corner.x, corner.y] for corner in corners], dtype=np.float64)
