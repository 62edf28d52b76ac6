"""The line above which leaf stands farther away in a side photo, by how soft its edges are.

A phone focused on the tray draws what stands behind it softer, the more the farther off it is.
Within one stand edges get softer little by little; where another stand shows above the own tops the
depth jumps, and the softness with it. How soft an edge is does not depend on its contrast: it is
read from how much its steepest slope falls when the picture is blurred once more (Zhuo and Sim,
Defocus map estimation from a single image, Pattern Recognition 44, 2011; cited from memory).
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.tray.behind import Plane
from traymorph.tray.best_line import (
    Bins,
    FrontOutline,
    Looks,
    chance_greater,
    settled,
    shows_behind,
)

_NOISE_PX, _BLURRED_PX = 0.7, 1.5
_CANNY = (20.0, 60.0)
_LEAST_SLOPE = 3.0
"""Grey levels per pixel, of 255: below it is noise."""
_CELL_PX, _AMONG_MM = 3, 5
_AROUND_PX = 8
_WINDOW_MM = 9
"""Softness is told from the edges this far around."""
_LEAST_EDGES = 0.02
_LOWEST, _RANGE, _BINS = -0.5, 2.5, 30
_STARTS = (0.5, 0.65, 0.8, 0.9)
_LEARNT_MM = 60.0
_WEIGHT = 0.3
"""Cells within a window share its edges."""
_NEAR_MM, _BLOCK_MM = 20.0, 5
_FEWEST_BLOCKS = 20
_SOFTER_SURE, _SOFTER_MAYBE = 0.76, 0.7
"""Chance, at the least, that a block above the line is softer than one below: two standard errors
below what is found. Lines sought through 60 single stands of rendered trays reach .70; through 11
of 39 with a tray pasted behind that shows by more than 5 mm over .76."""


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """Edges in the picture, per cell of a grid.

    Parameters
    ----------
    sharpness : ndarray of float32, shape (rows, columns)
        Sum over edge pixels, as a share of a cell's pixels, of the logarithm of their slope over
        what is left of it in the blurred picture.
    share : ndarray of float32, shape (rows, columns)
        Share of a cell's pixels that are edges.
    """

    sharpness: Plane
    share: Plane

    def part(self, cells: tuple[slice | NDArray[np.bool_], ...]) -> "Edges":
        """Pick the same of some rows and columns."""
        return Edges(self.sharpness[cells], self.share[cells])


def edges_on(rgb: NDArray[np.uint8], x: Plane, y: Plane, where: NDArray[np.bool_]) -> Edges:
    """Find edges within the plants of a picture and how sharp they are, at the cells of a grid.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        The picture.
    x, y : ndarray of float32, shape (rows, columns)
        Where each cell lies in it.
    where : ndarray of bool, shape (rows, columns)
        Cells of plant; only edges that lie well among them are told, since outlines before a plain
        background fall off otherwise than leaves among leaves.
    """
    nothing = np.zeros(x.shape, np.float32)
    among = cv2.erode(where.astype(np.uint8), np.ones((_AMONG_MM, _AMONG_MM), np.uint8)) > 0
    if not among.any():
        return Edges(nothing, nothing)
    columns, rows = (
        slice(
            int(np.clip(at[among].min() - _AROUND_PX, 0, length)),
            int(np.clip(at[among].max() + _AROUND_PX, 0, length)),
        )
        for at, length in zip((x, y), rgb.shape[1::-1], strict=True)
    )
    if 0 in (columns.stop - columns.start, rows.stop - rows.start):  # all beyond the photo
        return Edges(nothing, nothing)
    grey = cv2.cvtColor(rgb[rows, columns], cv2.COLOR_RGB2GRAY)
    fine = np.asarray(cv2.GaussianBlur(grey.astype(np.float32), (0, 0), _NOISE_PX), np.float32)
    coarse = np.asarray(cv2.GaussianBlur(fine, (0, 0), _BLURRED_PX), np.float32)
    slope, blurred = _slope(fine), _slope(coarse)
    edge = cv2.Canny(cv2.GaussianBlur(grey, (0, 0), 1.0), *_CANNY) > 0
    edge &= slope > _LEAST_SLOPE
    ratio = np.zeros(slope.shape, np.float32)
    ratio[edge] = np.log(slope[edge] / np.maximum(blurred[edge], np.float32(1e-3)))
    here = x - np.float32(columns.start), y - np.float32(rows.start)
    sharpness, share = (
        cv2.remap(
            cv2.blur(layer, (_CELL_PX, _CELL_PX)),
            *here,
            cv2.INTER_NEAREST,
            borderMode=cv2.BORDER_CONSTANT,
        )
        for layer in (ratio, edge.astype(np.float32))
    )
    return Edges(
        np.where(among, sharpness, 0).astype(np.float32),
        np.where(among, share, 0).astype(np.float32),
    )


def _slope(grey: Plane) -> Plane:
    """Grey levels per pixel."""
    across, down = (cv2.Sobel(grey, cv2.CV_32F, *d, ksize=3, scale=1 / 8) for d in ((1, 0), (0, 1)))
    return np.asarray(cv2.magnitude(across, down), np.float32)


def line_by_softness(used: NDArray[np.bool_], edges: Edges, above_mm: Plane) -> FrontOutline | None:
    """Find the line above which leaf is drawn softer.

    Parameters
    ----------
    used : ndarray of bool, shape (rows, columns)
        Cells of leaf above the rim, 1 mm wide.
    edges : Edges
        On the same grid.
    above_mm : ndarray of float32, shape (rows, columns)
        Height above the rim, falling from row to row.

    Returns
    -------
    FrontOutline or None
        None where softness tells no two stands.
    """
    amount = _window_sum(edges.share, used)
    known = used & (amount > _LEAST_EDGES)
    if not known.any():
        return None
    mean = _window_sum(edges.sharpness, used) / np.maximum(amount, np.float32(1e-6))
    bins: Bins = ((mean - _LOWEST) / _RANGE * _BINS).clip(0, _BINS - 1).astype(np.intp)
    looks, heights, found = Looks(bins, _frequencies, _WEIGHT), above_mm[known], []
    for share in _STARTS:
        start = float(np.quantile(heights, share))
        line = settled(known, looks, above_mm, start, _LEARNT_MM)
        shows = None if line is None else shows_behind(used, above_mm, line)
        if line is not None and shows is not None:
            line = np.where(shows, line, np.inf)
            found.append((softer_above(used, edges, above_mm, line), line))
    softer, line = max(found, key=lambda one: one[0], default=(0.0, None))
    if line is None or softer < _SOFTER_MAYBE:
        return None
    return FrontOutline(line, softer > _SOFTER_SURE)


def softer_above(
    used: NDArray[np.bool_], edges: Edges, above_mm: Plane, line: NDArray[np.float64]
) -> float:
    """Chance that leaf just above a line is drawn softer than just below, at the least.

    Parameters
    ----------
    used : ndarray of bool, shape (rows, columns)
        Cells of leaf.
    edges : Edges
        On the same grid.
    above_mm : ndarray of float32, shape (rows, columns)
        Height above the rim.
    line : ndarray, shape (columns,)
        Infinite where nothing shows above.

    Returns
    -------
    float
        Two standard errors below the chance that is found (Hanley and McNeil, Radiology 143, 1982;
        cited from memory); 0 with too few edges on either side.
    """
    shows = np.isfinite(line)
    beyond = above_mm - np.where(shows, line, 0.0)
    near = used & shows & (np.abs(beyond) < _NEAR_MM)
    above, below = (_blocks(edges, near & side) for side in (beyond > 0, beyond <= 0))
    if min(len(above), len(below)) < _FEWEST_BLOCKS:
        return 0.0
    chance = chance_greater(below, above)
    return chance - 2.0 * _standard_error(chance, len(above), len(below))


def _blocks(edges: Edges, where: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Mean sharpness of the edges in each block of cells that has some."""
    rows, columns = (n // _BLOCK_MM for n in where.shape)
    weight = where[: rows * _BLOCK_MM, : columns * _BLOCK_MM]

    def summed(layer: Plane) -> NDArray[np.float64]:
        weighted = layer[: weight.shape[0], : weight.shape[1]] * weight
        split = weighted.reshape(rows, _BLOCK_MM, columns, _BLOCK_MM)
        total: NDArray[np.float64] = split.sum(axis=(1, 3), dtype=np.float64)
        return total

    amount = summed(edges.share)
    some = amount > _LEAST_EDGES * _BLOCK_MM**2
    means: NDArray[np.float64] = summed(edges.sharpness)[some] / amount[some]
    return means


def _standard_error(chance: float, n_one: int, n_other: int) -> float:
    """Of the chance that a value of the one exceeds one of the other."""
    both_one, both_other = chance / (2.0 - chance), 2.0 * chance**2 / (1.0 + chance)
    spread = (
        chance * (1.0 - chance)
        + (n_one - 1) * (both_one - chance**2)
        + (n_other - 1) * (both_other - chance**2)
    )
    return math.sqrt(max(spread, 0.0) / (n_one * n_other))


def _window_sum(layer: Plane, used: NDArray[np.bool_]) -> Plane:
    return np.asarray(
        cv2.blur(layer * used.astype(np.float32), (_WINDOW_MM, _WINDOW_MM)), np.float32
    )


def _frequencies(bins: Bins) -> NDArray[np.float64]:
    counts = np.bincount(bins, minlength=_BINS).astype(np.float64)
    smooth: NDArray[np.float64] = np.convolve(counts, (0.25, 0.5, 0.25), mode="same")
    return smooth / max(len(bins), 1)
