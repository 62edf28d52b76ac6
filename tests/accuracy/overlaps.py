"""How far the plants of a mask are those of the truth."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from PIL import Image

LEAF, STEM, HULL = 1, 2, 7


def overlap(mask: Path, truth: Path) -> dict[str, float]:
    """Dice of plant, leaf and stem; of leaf and stem also without the truth's outline.

    Parameters
    ----------
    mask, truth : Path
        The program's mask and the scene's, pixel by pixel.
    """
    got, want = np.array(Image.open(mask)), np.array(Image.open(truth))
    judged = want != HULL  # a hull on a leaf is neither plant nor not
    found = {"leaf": judged & (got == LEAF), "stem": judged & (got == STEM)}
    true = {"leaf": want == LEAF, "stem": want == STEM}
    plant, true_plant = found["leaf"] | found["stem"], true["leaf"] | true["stem"]
    figures = {"plant": dice(plant, true_plant)}
    for part, there in true.items():
        figures[part] = dice(found[part], there)
        clear = ~outline_band(there)
        figures[f"{part}_clear"] = dice(found[part] & clear, there & clear)
    figures["plant_area_pct"] = 100 * float(plant.sum() / true_plant.sum() - 1)
    return figures


def outline_band(area: np.ndarray) -> np.ndarray:
    """The band two pixels wide along an area's outline: a pixel within and one without.

    Where an outline runs through a pixel, its class is the toss of a coin.
    """
    whole = area.astype(np.uint8)
    near = np.ones((3, 3), np.uint8)
    return cv2.dilate(whole, near) != cv2.erode(whole, near)


def dice(a: np.ndarray, b: np.ndarray) -> float:
    """Twice the common area over the sum of both."""
    return float(2 * (a & b).sum() / max(a.sum() + b.sum(), 1))
