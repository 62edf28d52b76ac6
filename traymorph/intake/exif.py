"""EXIF data: what a photo says of lens, time and orientation; damaged data say nothing."""

import warnings
from dataclasses import dataclass, field
from datetime import datetime

from PIL import Image

from traymorph.model.photo import CameraInfo

# Tags of Exif 3.0 (CIPA DC-008)
_ORIENTATION = 0x0112
_EXIF_IFD = 0x8769
_TAKEN = 0x9003  # DateTimeOriginal
_FOCAL_35MM = 0xA405  # FocalLengthIn35mmFilm; 0 means unknown
_FOCAL_LIMITS_MM = (4.0, 1200.0)  # no lens of a phone or camera lies outside
_UPRIGHT = 1
_ORIENTATIONS = range(1, 9)


@dataclass(frozen=True, slots=True)
class ExifSummary:
    """What is used of the EXIF data.

    Parameters
    ----------
    orientation : int
        1 to 8 as the standard numbers them; 1 where nothing usable is said.
    camera : CameraInfo
        Lens and time.
    """

    orientation: int = _UPRIGHT
    camera: CameraInfo = field(default_factory=CameraInfo)


def read_exif(picture: Image.Image) -> ExifSummary:
    """Read orientation, focal length and time; never fails."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            exif = picture.getexif()
            details = exif.get_ifd(_EXIF_IFD)
            orientation = exif.get(_ORIENTATION)
            focal, taken = details.get(_FOCAL_35MM), details.get(_TAKEN)
    except Exception:  # noqa: BLE001 - damaged data raise anything, and no photo may fail by them
        return ExifSummary()
    camera = CameraInfo(focal_35mm=_focal(focal), taken_on=_moment(taken))
    if isinstance(orientation, int) and orientation in _ORIENTATIONS:
        return ExifSummary(orientation, camera)
    return ExifSummary(camera=camera)


def _focal(value: object) -> float | None:
    try:
        focal = float(value)  # type: ignore[arg-type]  # int, ratio, or whatever a writer put there
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    low, high = _FOCAL_LIMITS_MM
    return focal if low <= focal <= high else None


def _moment(value: object) -> datetime | None:
    if not isinstance(value, str):
        return None
    try:
        # Local time of the phone, without zone, as the standard has it.
        return datetime.strptime(value.strip("\0 "), "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007
    except ValueError:
        return None
