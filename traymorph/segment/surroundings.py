"""What lies around the subject, learned from the border of the picture."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.model.photo import View

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more


# Width of the border strip and of the middle, as shares of the picture's sides.
_BORDER, _MIDDLE = 0.07, 0.5
_SURROUNDINGS = 10
# A patterned colour is of the surroundings where it is so many times more common at the border
# than in the middle, where photos of trays show the tray; a side view has bench and backdrop in
# the middle too.
_OUTSIDE_RATIO = {View.SIDE: 0.7}
_OUTSIDE_RATIO_ELSE = 2.0
# Leaves of neighbours reach the border too: a patterned colour this green is left out.
_GREEN_A = -12.0


def surroundings(
    seen: Floats, seen_share: Floats, smooth: Floats, view: View
) -> tuple[Floats, Floats, Floats]:
    """Colours of what lies around the subject: bench, wall, backdrop.

    Parameters
    ----------
    seen : ndarray, shape (3, h, w)
        As of :func:`features`.
    seen_share : ndarray, shape (h, w)
        Weight of each pixel.
    smooth : ndarray, shape (h, w)
        How surely a pixel belongs to a smooth surface.

    Returns
    -------
    mean, spread : ndarray, shape (n, 3)
    share : ndarray, shape (n,)
        Of the border strip. Empty where the border looks like the middle.
    """
    border, middle = _border_and_middle(seen_share)
    points = np.ascontiguousarray(seen[:, border].T)
    count = min(_SURROUNDINGS, len(points))
    if count < _SURROUNDINGS:
        empty = np.empty((0, 3), dtype=np.float32)
        return empty, empty, np.empty(0, dtype=np.float32)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 15, 0.5)
    cv2.setRNGSeed(0)
    start = np.zeros((len(points), 1), dtype=np.int32)
    _, label, mean = cv2.kmeans(points, count, start, stop, 1, cv2.KMEANS_PP_CENTERS)
    groups = [label.ravel() == k for k in range(count)]
    spread = np.stack([points[g].std(axis=0) for g in groups])
    spread = np.maximum(1.3 * spread, np.array([4.0, 1.5, 1.5]))
    flat = np.array([smooth[border][g].mean() for g in groups])
    inner = _share_like(seen[:, middle].T, mean, spread)
    ratio = _share_like(points, mean, spread) / np.maximum(inner, 1e-4)
    outside = ratio > _OUTSIDE_RATIO.get(view, _OUTSIDE_RATIO_ELSE)
    kept = (flat > 0.5) | (outside & (mean[:, 1] > _GREEN_A))
    size = np.array([g.mean() for g in groups])
    return mean[kept], spread[kept].astype(np.float32), size[kept].astype(np.float32)


def _share_like(points: Floats, mean: Floats, spread: Floats) -> Floats:
    """Share of the points (m, 3) within two standard deviations of each of n colours."""
    shares = [
        np.mean(np.sum(((points - m) / s) ** 2, axis=1) < 4.0) if len(points) else 0.0
        for m, s in zip(mean, spread, strict=True)
    ]
    return np.array(shares, dtype=np.float32)


def _border_and_middle(seen_share: Floats) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    height, width = seen_share.shape
    rows, columns = max(int(_BORDER * height), 1), max(int(_BORDER * width), 1)
    border = seen_share > 0.5
    middle = np.zeros_like(border)
    inset_rows, inset_columns = (int((1 - _MIDDLE) / 2 * n) for n in (height, width))
    box = (slice(inset_rows, height - inset_rows), slice(inset_columns, width - inset_columns))
    middle[box] = border[box]
    border[rows : height - rows, columns : width - columns] = False
    return border, middle
