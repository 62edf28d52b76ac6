"""Samples along the outline of an opening of one size, at which the evidence is read."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

SQUARE_MM = 5.0
"""Trays whose length and width differ by less look the same after a quarter turn."""


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """Samples along the outline of an opening of one size, about its centre.

    Parameters
    ----------
    points, normals : ndarray, shape (samples, 2)
        Places in mm, x along the length, and outward unit vectors.
    side, halves, sizes : ndarray of int
        As of `Profiles`.
    square : bool
        Whether the opening looks the same after a quarter turn.
    """

    points: NDArray[np.float64]
    normals: NDArray[np.float64]
    side: NDArray[np.int64]
    halves: NDArray[np.int64]
    sizes: NDArray[np.int64]
    square: bool


def outline_of(size_mm: NDArray[np.float64], sample_mm: float) -> Outline:
    """Lay samples along the outline of an opening.

    Parameters
    ----------
    size_mm : ndarray, shape (2,)
        Inside length and width.
    sample_mm : float
        Distance of the samples along the outline.
    """
    half = size_mm / 2
    points, normals, sides = [], [], []
    for side, (axis, sign) in enumerate(((1, -1.0), (0, 1.0), (1, 1.0), (0, -1.0))):
        run = size_mm[1 - axis]
        n = max(2, round(run / sample_mm))
        place = np.empty((n, 2))
        place[:, 1 - axis] = (np.arange(n) + 0.5) / n * run - run / 2
        place[:, axis] = sign * half[axis]
        normal = np.zeros((n, 2))
        normal[:, axis] = sign
        points.append(place)
        normals.append(normal)
        sides.append(np.full(n, side))
    of_side = np.concatenate(sides)
    halves = _halves(of_side)
    return Outline(
        np.concatenate(points),
        np.concatenate(normals),
        of_side,
        halves,
        np.diff([*halves, len(of_side)]),
        abs(size_mm[0] - size_mm[1]) < SQUARE_MM,
    )


def _halves(side: NDArray[np.int64]) -> NDArray[np.int64]:
    ends = np.cumsum(np.bincount(side))
    begins = np.concatenate([[0], ends[:-1]])
    return np.column_stack([begins, (begins + ends + 1) // 2]).ravel()
