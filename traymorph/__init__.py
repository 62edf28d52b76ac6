"""Traymorph: true measurements of microgreens trays from phone photos with a reference card."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from os import PathLike

    import numpy as np
    from numpy.typing import NDArray

__version__ = "0.1.0"

__all__ = ["__version__", "mask_photo"]


def mask_photo(path: str | PathLike[str], view: str = "overhead") -> NDArray[np.uint8]:
    """Say which pixels of a photo are leaf, stem and card.

    Parameters
    ----------
    path : path-like
        A photo. If it lies in the ``photos`` folder of a trial, the trial's tray sizes are used.
    view : str
        ``overhead`` or ``side``: from where the photo was taken; ``board``: cut plants on a board;
        ``pack``: an opened pack.

    Returns
    -------
    ndarray of uint8, shape (height, width)
        On the upright photo's pixel grid: 0 other, 1 leaf, 2 stem, 3 card. With a card in view,
        leaf and stem are the measured tray's plants; without one every plant counts and a warning
        is logged that nothing is calibrated.

    Raises
    ------
    traymorph.errors.PhotoError
        The file cannot be read as a photo.
    ValueError
        There is no such view.
    """
    from pathlib import Path  # noqa: PLC0415 - `import traymorph` stays light

    from traymorph.model.photo import View  # noqa: PLC0415
    from traymorph.pipeline.mask_photo import mask_photo_file  # noqa: PLC0415

    if view not in set(View):
        msg = f"view = {view!r} is not known; write {', '.join(View)}."
        raise ValueError(msg)
    return mask_photo_file(Path(path), View(view))
