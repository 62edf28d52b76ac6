"""How far beyond a tray's ends its plants may reach in a side photo, and which are a neighbour's.

Where another tray stands beside the measured one, its plants are seen well beyond the end, and
perspective lets those at its back show between the tray's ends too. They are told by place, and
by the colours of what stands where the tray's own plants do not reach.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traymorph.tray.behind import Plane, chance_there, majority
from traymorph.tray.own_plants import (
    CELL_MM,
    CUT_BAND_MM,
    JOINS_FROM,
    NEIGHBOUR_BAND_MM,
    neighbour_share,
    unusual_seam,
)

_BAND_MM = 160.0
"""Height above the rim up to which plants beside the tray are looked for."""
_SMOOTH_COLUMNS = 7
_OVERHANG_MM = 35.0
"""How far own plants reach beyond an end."""
_LEAST_SHOWN_MM = 10.0
"""A neighbour is told from at least so much of the width in which it would be seen."""
_NEAREST_MM = 15.0
"""Where the photo ends before that width, the last that it shows is asked, from here on."""
_SURELY_OWN_MM = 60.0
"""So far inside an end nothing of a neighbour beyond it shows."""
_LEANS_IN_MM = 80.0
"""How far inside an end a neighbour's plants are looked for."""
_TOP, _RISES_MM = 0.99, 15.0
"""Of the heights of a neighbour's plants, and how much higher its back rows may show."""
_LEARNT_FROM = 0.6
_FEWEST_CELLS = 500


@dataclass(frozen=True, slots=True)
class End:
    """How far the tray's plants may reach beyond one of its ends.

    Parameters
    ----------
    reach_mm : float
        Beyond the inside end.
    neighbour : bool
        Another tray stands there.
    """

    reach_mm: float
    neighbour: bool


def reach_beyond(
    plant: Plane,
    above_mm: Plane,
    out_mm: tuple[NDArray[np.float64], NDArray[np.float64]],
    shown: NDArray[np.bool_],
) -> tuple[End, End]:
    """Tell how far own plants may reach beyond the left and the right end.

    Where a neighbour stands, the cut runs along the thinnest foliage between the two, or along
    the rim where the canopies are closed.

    Parameters
    ----------
    plant : ndarray of float32, shape (rows, columns)
        Share of plant in cells of 1 mm in the plane of the front wall.
    above_mm : ndarray of float32, shape (rows, columns)
        Height above the rim.
    out_mm : tuple of two ndarray, shape (columns,)
        Distance beyond the left and the right inside end, negative between the ends.
    shown : ndarray of bool, shape (rows, columns)
        Cells that lie within the photo.
    """
    amount, known = _amount(plant, above_mm, shown)
    amount = amount / max(float(np.median(amount[np.maximum(*out_mm) < 0])), 1.0)
    left, right = (_end(amount, out, known) for out in out_mm)
    return left, right


def like_neighbours(
    plant: Plane,
    own: NDArray[np.bool_],
    lab: Plane,
    above_mm: Plane,
    out_mm: tuple[NDArray[np.float64], NDArray[np.float64]],
    ends: tuple[End, End],
) -> NDArray[np.bool_]:
    """Mark plants near an end that look like a neighbour's there rather than the tray's own.

    Parameters
    ----------
    plant : ndarray of float32, shape (rows, columns)
        Share of plant above the rim; 0 below it and beyond the photo.
    own : ndarray of bool, shape (rows, columns)
        Cells that do not stand behind the tray.
    lab : ndarray of float32, shape (rows, columns, 3)
        CIELAB of the cells.
    above_mm : ndarray of float32, shape (rows, columns)
        Height above the rim.
    out_mm : tuple of two ndarray, shape (columns,)
        Distance beyond the left and the right inside end.
    ends : tuple of two End
        From :func:`reach_beyond`.

    Returns
    -------
    ndarray of bool, shape (rows, columns)
        All False where no neighbour stands.
    """
    marked = np.zeros(plant.shape, bool)
    between = np.maximum(*out_mm) < 0
    surely = plant > _LEARNT_FROM
    for out, end in zip(out_mm, ends, strict=True):
        there = surely & (out > end.reach_mm)[None, :]
        here = surely & own & (between & (out < -_SURELY_OWN_MM))[None, :]
        if end.neighbour and min(there.sum(), here.sum()) >= _FEWEST_CELLS:
            near = (out > -_LEANS_IN_MM)[None, :]
            near = near & (above_mm < np.quantile(above_mm[there], _TOP) + _RISES_MM)
            marked |= near & majority(plant > JOINS_FROM, chance_there(lab, there, here))
    return marked


def _amount(
    plant: Plane, above_mm: Plane, shown: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Plant per column above the rim, smoothed, and the columns of which the photo shows enough.

    Beyond the photo's edge nothing is known: such columns speak neither for nor against a
    neighbour.
    """
    band = (above_mm > 0) & (above_mm < _BAND_MM)
    known: NDArray[np.bool_] = (band & shown).sum(axis=0) > 0.5 * band.sum(axis=0)
    even = np.ones(_SMOOTH_COLUMNS) / _SMOOTH_COLUMNS
    amount = np.where(known, np.where(band, plant, 0.0).sum(axis=0), 0.0)
    weight = np.convolve(known, even, mode="same")
    return np.convolve(amount, even, mode="same") / np.maximum(weight, 1e-6), known


def _end(amount: NDArray[np.float64], out: NDArray[np.float64], known: NDArray[np.bool_]) -> End:
    if not _stands_beside(amount, out, known):
        return End(_OVERHANG_MM, neighbour=False)
    seam = known & (out > CUT_BAND_MM[0]) & (out < CUT_BAND_MM[1])
    thinnest = np.argmin(amount[seam] + unusual_seam(out[seam]))
    return End(float(out[seam][thinnest]), neighbour=True)


def _stands_beside(
    amount: NDArray[np.float64], out: NDArray[np.float64], known: NDArray[np.bool_]
) -> bool:
    """Whether another tray stands beyond an end: more plant there than own overhang leaves."""
    far = known & (out > NEIGHBOUR_BAND_MM[0]) & (out < NEIGHBOUR_BAND_MM[1])
    if far.sum() * CELL_MM >= _LEAST_SHOWN_MM:
        return bool(amount[far].mean() > neighbour_share(NEIGHBOUR_BAND_MM[0]))
    near = known & (out > _NEAREST_MM) & (out < NEIGHBOUR_BAND_MM[1])
    if near.sum() * CELL_MM < _LEAST_SHOWN_MM:
        return False
    last = near & (out > out[near].max() - _LEAST_SHOWN_MM)
    return bool(amount[last].mean() > neighbour_share(float(out[last].mean())))
