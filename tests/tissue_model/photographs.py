"""A gate of real photographs: how well plants are found in pictures that nobody rendered.

The photographs lie outside the project, in a folder with ``photos/NAME.jpg`` and ``masks/NAME.png``
(any colour is plant, black is ground). They show no card, so they are seen as they came.
"""

from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np

from tests.tissue_model.judge import Predict

WIDTHS_PX = (560, 800, 960)


def gate(predict: Predict, folder: Path) -> dict[str, dict[str, float]]:
    """Overlap (intersection over union) of plant, mean and worst, by width in pixels.

    ``2G-R-B`` is the same for excess green, clipped at 0, with Otsu's threshold (Woebbecke et al.
    1995, Trans. ASAE 38:259-269; Otsu 1979, IEEE Trans. SMC 9:62-66).
    """
    overlaps: dict[str, list[float]] = {str(width): [] for width in WIDTHS_PX} | {"2G-R-B": []}
    for rgb, plant in _pairs(folder):
        for width in WIDTHS_PX:
            size = (width, round(rgb.shape[0] * width / rgb.shape[1]))
            shares = predict(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA))
            found = cv2.resize(shares[1] + shares[2], rgb.shape[1::-1]) > 0.5
            overlaps[str(width)].append(_overlap(found, plant))
        overlaps["2G-R-B"].append(_overlap(_excess_green(rgb), plant))
    return {
        name: {
            "photos": len(some),
            "mean": round(float(np.mean(some)), 4),
            "worst": round(min(some), 4),
        }
        for name, some in overlaps.items()
    }


def _pairs(folder: Path) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    found = sorted((folder / "photos").glob("*.jpg"))
    if not found:
        msg = f"{folder} holds no photos/*.jpg; the masks are looked for in masks/*.png"
        raise SystemExit(msg)
    for photo in found:
        mask = cv2.imread(str(folder / "masks" / f"{photo.stem}.png"), cv2.IMREAD_COLOR)
        if mask is None:
            msg = f"{photo} has no mask {photo.stem}.png in {folder / 'masks'}"
            raise SystemExit(msg)
        rgb = cv2.imread(str(photo), cv2.IMREAD_COLOR)[..., ::-1]
        yield np.ascontiguousarray(rgb), mask.max(2) > 0


def _overlap(found: np.ndarray, true: np.ndarray) -> float:
    return float((found & true).sum() / max((found | true).sum(), 1))


def _excess_green(rgb: np.ndarray) -> np.ndarray:
    red, green, blue = (rgb[..., k].astype(int) for k in range(3))
    index = np.clip(2 * green - red - blue, 0, 255).astype(np.uint8)
    return cv2.threshold(index, 0, 1, cv2.THRESH_BINARY + cv2.THRESH_OTSU)[1] > 0
