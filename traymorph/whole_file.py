"""A file that is written whole or not at all. Standard library only."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from uuid import uuid4

from traymorph.errors import StoreError


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Give a file beside ``path`` to write, and put it in its place when the block ends well.

    Readers never see half a file, and a block that fails leaves what was there as it was.

    Parameters
    ----------
    path : Path
        Where the file is to stand; folders that lack are made.

    Yields
    ------
    Path
        A hidden name in the same folder with the same ending.

    Raises
    ------
    StoreError
        The file cannot be written.
    """
    partial = path.with_name(f".{path.stem}.{uuid4().hex}.part{path.suffix}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield partial
        _flush_to_disk(partial)
        partial.replace(path)
    except OSError as err:
        msg = f"{path} cannot be written ({err.strerror})."
        hint = "Close it where it is open in another program, and check folder and disk."
        raise StoreError(msg, hint=hint) from err
    finally:
        with suppress(OSError):  # moved to its place, or never there
            partial.unlink()


def _flush_to_disk(file: Path) -> None:
    """Have the content on the disk before the name points to it."""
    with file.open("rb+") as written:
        os.fsync(written.fileno())
