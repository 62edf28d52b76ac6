"""Overlays in ``docs/images``, of the sample: ``python -m tests.docs.overlay_pictures FOLDER``."""

import sys
from pathlib import Path

from PIL import Image

from tests.docs.reference_pages import DOCS

_PICTURES = {
    "overhead": "T01_overhead.jpg",
    "side": "T01_side.jpg",
    "board": "T02_board.jpg",
}
_WIDTH, _QUALITY = 1100, 85


def main() -> None:
    overlays = Path(sys.argv[1]) / "results" / "overlays"
    for name, overlay in _PICTURES.items():
        with Image.open(overlays / overlay) as picture:
            size = (_WIDTH, round(picture.height * _WIDTH / picture.width))
            small = picture.convert("RGB").resize(size, Image.Resampling.LANCZOS)
        small.save(DOCS / "images" / f"{name}.jpg", quality=_QUALITY, optimize=True)


if __name__ == "__main__":
    main()
