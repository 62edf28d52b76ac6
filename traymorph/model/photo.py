"""A photo as the rest of the program sees it: upright, sRGB, with what the phone says of itself."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path

import numpy as np
from numpy.typing import NDArray


class View(StrEnum):
    """From where a photo was taken, and so which card stands in it."""

    OVERHEAD = "overhead"
    SIDE = "side"
    BOARD = "board"
    PACK = "pack"


@dataclass(frozen=True, slots=True)
class CameraInfo:
    """What the photo's EXIF data say of the camera.

    Parameters
    ----------
    focal_35mm : float or None
        Focal length as 35 mm equivalent (by the picture's diagonal), mm; None when not stated.
    taken_on : datetime or None
        When the photo was taken, local time of the phone.
    """

    focal_35mm: float | None = None
    taken_on: datetime | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """One upright photo.

    Parameters
    ----------
    path : Path
        Where it was read from.
    sha256 : str
        Hash of the file's bytes, hexadecimal.
    rgb : ndarray of uint8, shape (height, width, 3)
        sRGB-encoded, upright, read-only.
    camera : CameraInfo
        From the EXIF data.
    """

    path: Path
    sha256: str
    rgb: NDArray[np.uint8]
    camera: CameraInfo

    def __post_init__(self) -> None:
        if self.rgb.ndim != 3 or self.rgb.shape[2] != 3 or self.rgb.dtype != np.uint8:
            msg = f"rgb must be uint8 (height, width, 3), not {self.rgb.dtype} {self.rgb.shape}"
            raise ValueError(msg)
        self.rgb.flags.writeable = False

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height) in pixels."""
        return self.rgb.shape[1], self.rgb.shape[0]
