"""Regions of boolean rasters, without any imaging library."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def opened(mask: NDArray, radius: float) -> NDArray:
    """Morphological opening by a disc of `radius` px: what a disc inside the mask can reach."""
    r = int(np.ceil(radius))
    dy, dx = np.mgrid[-r : r + 1, -r : r + 1]
    offsets = [(int(a), int(b)) for a, b in zip(dy.ravel(), dx.ravel(), strict=True)
               if a * a + b * b <= radius**2]  # fmt: skip
    padded = np.pad(mask, r)
    height, width = mask.shape
    kept = np.ones_like(mask)
    for a, b in offsets:
        kept &= padded[r + a : r + a + height, r + b : r + b + width]
    padded = np.pad(kept, r)
    out = np.zeros_like(mask)
    for a, b in offsets:
        out |= padded[r + a : r + a + height, r + b : r + b + width]
    return out


def largest_region(mask: NDArray) -> int:
    """Pixels of the largest region of `mask` joined by edges (4-connected)."""
    edge = np.diff(np.pad(mask.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    row, start = np.nonzero(edge == 1)
    end = np.nonzero(edge == -1)[1]
    if len(row) == 0:
        return 0
    parent = np.arange(len(row))

    def root(k: int) -> int:
        while parent[k] != k:
            parent[k] = parent[parent[k]]
            k = parent[k]
        return k

    first = np.searchsorted(row, np.arange(mask.shape[0] + 1))
    for r in range(1, mask.shape[0]):
        i, j = first[r - 1], first[r]
        while i < first[r] and j < first[r + 1]:
            if start[i] < end[j] and start[j] < end[i]:
                a, b = root(i), root(j)
                parent[max(a, b)] = min(a, b)
            if end[i] < end[j]:
                i += 1
            else:
                j += 1
    roots = np.array([root(k) for k in range(len(row))])
    return int(np.bincount(roots, end - start).max())
