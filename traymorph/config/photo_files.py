"""Files under ``photos/``: which are photos, in an order that people expect."""

import re
import unicodedata
from pathlib import Path

PHOTO_FOLDER = "photos"
_READ = {".jpg", ".jpeg", ".png", ".heic", ".heif"}
# Pictures that are not read: listed all the same, so that nobody wonders where they went.
_REPORTED = {
    *(".webp", ".tif", ".tiff", ".gif", ".bmp", ".avif", ".jxl", ".dng", ".raw", ".cr2", ".cr3"),
    *(".nef", ".arw", ".orf", ".rw2", ".raf", ".mp4", ".mov", ".m4v", ".3gp", ".avi", ".pdf"),
}
PHOTO_SUFFIXES = frozenset(_READ | _REPORTED)


def photo_files(folder: Path) -> dict[str, Path]:
    """Find the photos of a trial.

    Parameters
    ----------
    folder : Path
        The folder ``photos/``.

    Returns
    -------
    dict of str to Path
        By their name relative to the folder, with forward slashes, in natural order. Hidden
        files and folders are left out.
    """
    found = {}
    for path in folder.rglob("*"):
        parts = path.relative_to(folder).parts
        hidden = any(part.startswith(".") for part in parts)
        if not hidden and path.suffix.lower() in PHOTO_SUFFIXES and path.is_file():
            found[unicodedata.normalize("NFC", "/".join(parts))] = path
    return {name: found[name] for name in sorted(found, key=natural_order)}


def natural_order(name: str) -> tuple[tuple[tuple[int, int | str], ...], str]:
    """Sort key under which ``tray 2`` comes before ``tray 10``, whatever the case."""
    pieces = re.split(r"([0-9]+)", name.casefold())
    return tuple((0, int(one)) if one.isdecimal() else (1, one) for one in pieces), name
