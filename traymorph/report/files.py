"""Picture files, written whole or not at all."""

import io
from contextlib import suppress
from pathlib import Path

from PIL import Image

from traymorph.errors import StoreError

_OPTIONS: dict[str, dict[str, int | bool]] = {
    "JPEG": {"quality": 88, "optimize": True},
    "PNG": {"compress_level": 6},
}
_KINDS = {".jpg": "JPEG", ".png": "PNG"}


def save_picture(image: Image.Image, path: Path) -> None:
    """Write a picture beside its place, then put it there: readers never see half a file.

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
    partial = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        partial.write_bytes(buffer.getvalue())
        partial.replace(path)
    except OSError as err:
        with suppress(OSError):  # gone already, or its folder never was one
            partial.unlink()
        msg = f"{path} cannot be written ({err.strerror})."
        raise StoreError(msg, hint="Check the folder and the free space of the disk.") from err
