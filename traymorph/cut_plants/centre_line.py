"""Middle line of a stem to a fraction of a cell.

A skeleton runs in stair-steps and reads up to 8 % long. Here it only says where to look: at right
angles to it the two edges are found where the share of plant crosses one half, their midpoints
are smoothed by local cubics (Savitzky and Golay 1964), which bend with circles where a plain mean
would cut the corner, and a cubic spline through them is cut into steps of equal length.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import make_interp_spline
from scipy.ndimage import gaussian_filter1d

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more
Points = NDArray[np.float64]

_ROUNDS = 2
_STEP_WIDTHS = 0.25
"""Distance between the points, in stem widths."""
_WINDOW_WIDTHS = 2.0
"""Length over which a local cubic is fitted, in stem widths."""
_PROBE_STEP = 0.25
_REACH = 1.6
"""Edges are looked for out to this many half widths and two cells."""
_TOO_WIDE = 1.35
"""Where the distance of the edges exceeds this times their median something lies alongside."""
_LEAST_MEASURED = 0.3
"""Share of points with two edges, below which no middle is found."""


@dataclass(frozen=True, slots=True, eq=False)
class MiddleLine:
    """A band's middle.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        (x, y), cells, evenly spaced.
    widths : ndarray, shape (n,)
        Distance of the band's edges at right angles to the line, cells; NaN where not told.
    """

    points: Points
    widths: Points

    @property
    def length(self) -> float:
        """Length of the polyline, cells."""
        return polyline_length(self.points)

    @property
    def along(self) -> Points:
        """Distance of each point from the first, cells, shape (n,)."""
        return distances(self.points)

    @property
    def mean_width(self) -> float:
        """Mean of the measured widths, cells; NaN without any.

        The last width at either end does not count: corners are no sides.
        """
        seen = np.isfinite(self.widths)
        if not seen.any():
            return float("nan")
        usual = float(np.median(self.widths[seen]))
        along = self.along
        inner = seen & (along > usual) & (along < along[-1] - usual)
        return float(self.widths[inner].mean()) if inner.any() else usual


def polyline_length(points: Points) -> float:
    """Length of a polyline, in the unit of its points, shape (n, 2)."""
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


def distances(points: Points) -> Points:
    """Distance of each point of a polyline from its first, shape (n,)."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])


def resample(points: Points, step: float) -> Points:
    """Points along a polyline's cubic spline, evenly spaced by about ``step``.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        (x, y); n >= 2.
    step : float
        Distance wanted, in the unit of the points.

    Returns
    -------
    ndarray, shape (m, 2)
        First and last point are kept; m >= 2.
    """
    gaps = np.hypot(*np.diff(points, axis=0).T)
    points = points[np.concatenate([[True], gaps > 1e-9])]
    if len(points) < 2:
        return np.repeat(points[:1], 2, axis=0)
    along = distances(points)
    count = max(round(along[-1] / step), 1) + 1
    if len(points) < 4:
        wanted = np.linspace(0.0, along[-1], count)
        return np.column_stack([np.interp(wanted, along, points[:, axis]) for axis in (0, 1)])
    spline = make_interp_spline(along, points, k=3)
    fine = spline(np.linspace(0.0, along[-1], 8 * len(points)))
    length = distances(fine)
    wanted = np.interp(
        np.linspace(0.0, length[-1], count), length, np.linspace(0.0, along[-1], len(fine))
    )
    return np.asarray(spline(wanted), np.float64)


def middle_line(share: Floats, path: Points, half_width: float) -> MiddleLine:
    """Middle of the band that a path of cells runs in.

    Parameters
    ----------
    share : ndarray of float32, shape (h, w)
        Share of plant.
    path : ndarray, shape (n, 2)
        (x, y) of neighbouring cells inside the band, such as a skeleton's.
    half_width : float
        Typical half width of the band, cells.

    Returns
    -------
    MiddleLine
        About as long as the path; where no two edges are seen it bridges the gap smoothly.
    """
    step = max(2.0 * half_width * _STEP_WIDTHS, 1.0)
    line = resample(_without_stairs(path, 2.0 * half_width), step)
    widths = np.full(len(line), np.nan)
    for _ in range(_ROUNDS):
        if len(line) < 4:
            break
        offsets, widths = _edges(share, line, half_width)
        if np.isfinite(offsets).mean() < _LEAST_MEASURED:
            break
        line = line + _bridged(offsets)[:, None] * normals(line)
        line = resample(_smooth(line, step, 2.0 * half_width), step)
        widths = _carry(widths, len(line))
    return MiddleLine(line, widths)


def extend_to_edge(share: Floats, line: Points, half_width: float, *, at_start: bool) -> Points:
    """Lengthen or shorten a line so that it ends where the share of plant crosses one half.

    Parameters
    ----------
    share : ndarray of float32, shape (h, w)
        Share of plant.
    line : ndarray, shape (n, 2)
        Middle line, evenly spaced.
    half_width : float
        Half width of the band there, cells.
    at_start : bool
        Which end.

    Returns
    -------
    ndarray, shape (m, 2)
    """
    points = line if at_start else line[::-1]
    step = float(np.hypot(*np.diff(points[:2], axis=0).T)[0])
    dropped = min(round(1.2 * half_width / max(step, 1e-6)), max(len(points) - 4, 0))
    kept = points[dropped:]
    reach = min(max(round(3.0 * half_width / max(step, 1e-6)), 2), len(kept) - 1)
    behind = np.arange(reach + 1) * step
    degree = 2 if reach >= 4 else 1  # goes on bending as the line's end bends
    terms = [np.polyfit(behind, kept[: reach + 1, axis], degree) for axis in (0, 1)]
    far = np.arange(0.0, 6.0 * half_width + 4.0, _PROBE_STEP)
    ahead = np.column_stack([np.polyval(term, -far) for term in terms])
    end = _last_crossing(far, probe(share, ahead))
    places = np.append(np.arange(step, end - 0.5 * step, step), end)[::-1]
    extension = np.column_stack([np.polyval(term, -places) for term in terms])
    extended = np.vstack([extension, kept[1:]]) if end > 0 else kept
    return extended if at_start else extended[::-1]


def normals(line: Points) -> Points:
    """Give unit vectors at right angles to a polyline at its points, shape (n, 2)."""
    along = np.gradient(line, axis=0)
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
    return np.column_stack([-along[:, 1], along[:, 0]])


def probe(share: Floats, points: Points) -> Points:
    """Values of a picture at points (x, y) between its cells, shape (n,); 0 outside."""
    x = points[..., 0].astype(np.float32)
    y = points[..., 1].astype(np.float32)
    return np.asarray(
        cv2.remap(
            share, np.atleast_2d(x), np.atleast_2d(y), cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT, borderValue=0,
        ).reshape(x.shape),
        np.float64,
    )  # fmt: skip


def _edges(share: Floats, line: Points, half_width: float) -> tuple[Points, Points]:
    """Offset of the middle from the line and distance of the edges at each point."""
    far = np.arange(0.0, _REACH * half_width + 2.0, _PROBE_STEP)
    across = normals(line)
    sides = []
    for sign in (1.0, -1.0):
        places = line[:, None, :] + sign * far[None, :, None] * across[:, None, :]
        sides.append(_first_crossings(far, probe(share, places)))
    widths = sides[0] + sides[1]
    offsets = (sides[0] - sides[1]) / 2.0
    if np.isfinite(widths).any():
        wide = widths > _TOO_WIDE * np.nanmedian(widths)
        widths[wide] = np.nan
        offsets[wide] = np.nan
    return offsets, widths


def _first_crossings(far: Points, seen: Points) -> Points:
    """Where each row of ``seen`` first falls below one half; NaN where it starts below or never."""
    below = seen < 0.5
    first = np.argmax(below, axis=1)
    found = below.any(axis=1) & (first > 0)
    after = np.clip(first, 1, None)
    rows = np.arange(len(seen))
    high, low = seen[rows, after - 1], seen[rows, after]
    between = (high - 0.5) / np.maximum(high - low, 1e-9)
    return np.asarray(np.where(found, far[after - 1] + between * (far[1] - far[0]), np.nan))


def _last_crossing(far: Points, seen: Points) -> float:
    """Where a profile that starts in the plant first leaves it; 0 where it starts outside."""
    crossing = _first_crossings(far, seen[None, :])[0]
    return float(crossing) if np.isfinite(crossing) else 0.0


def _without_stairs(path: Points, width: float) -> Points:
    """Smooth the stair-steps of a path of cells, its ends in place."""
    smooth = gaussian_filter1d(path, max(width / 3.0, 1.5), axis=0, mode="nearest")
    share = np.minimum(np.arange(len(path)), np.arange(len(path))[::-1])[:, None]
    keep = np.exp(-share / max(width / 3.0, 1.5))
    return np.asarray(keep * path + (1.0 - keep) * smooth)


def _bridged(offsets: Points) -> Points:
    seen = np.isfinite(offsets)
    places = np.arange(len(offsets))
    return np.asarray(np.interp(places, places[seen], offsets[seen]))


def _carry(values: Points, count: int) -> Points:
    """Values at another number of evenly spaced points, the nearest ones."""
    return np.asarray(values[np.round(np.linspace(0, len(values) - 1, count)).astype(int)])


def _smooth(line: Points, step: float, width: float) -> Points:
    window = 2 * round(_WINDOW_WIDTHS * width / step / 2.0) + 1
    window = min(max(window, 5), len(line) - 1 + len(line) % 2)
    if window < 5:
        return line
    fit, half = _local_cubic(window), window // 2
    smooth = np.empty_like(line)
    smooth[:half] = fit[:half] @ line[:window]
    smooth[len(line) - half :] = fit[half + 1 :] @ line[-window:]
    for axis in (0, 1):
        smooth[half : len(line) - half, axis] = np.correlate(line[:, axis], fit[half], "valid")
    return smooth


@lru_cache(maxsize=64)
def _local_cubic(window: int) -> Points:
    """Matrix, shape (window, window), from values to those of the cubic fitted to them."""
    places = np.linspace(-1.0, 1.0, window)
    basis, _ = np.linalg.qr(np.vander(places, 4))
    return np.asarray(basis @ basis.T)
