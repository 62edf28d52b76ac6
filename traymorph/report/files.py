"""Picture files, written whole or not at all."""

import io
from pathlib import Path

from PIL import Image

from traymorph.whole_file import whole_file

_OPTIONS: dict[str, dict[str, int | bool]] = {
    "JPEG": {"quality": 88, "optimize": True},
    "PNG": {"compress_level": 6},
}
_KINDS = {".jpg": "JPEG", ".png": "PNG"}


def save_picture(image: Image.Image, path: Path) -> None:
    """Write a picture, whole or not at all.

    Parameters
    ----------
    image : Image
        Any.
    path : Path
        Where to; ``.jpg`` or ``.png``. Folders that lack are made.

    Raises
    ------
    StoreError
        It cannot be written; what was there stays as it was.
    """
    kind = _KINDS[path.suffix]
    buffer = io.BytesIO()
    image.save(buffer, kind, **_OPTIONS[kind])
    with whole_file(path) as part:
        part.write_bytes(buffer.getvalue())
