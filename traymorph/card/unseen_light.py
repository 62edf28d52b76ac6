"""What the photo does not show of single patches, told by those that it does show.

Two things are seen of no patch by itself: how much light falls on it at a shadow's edge, and how
far below nought a vivid phone would have put a channel that it cut off there. Both are solved in
turn with the matrix, which the other patches hold. Source of the turns, for light: Finlayson,
Mohammadzadeh Darrodi & Mackiewicz 2015, Color Research and Application 40(3):232-242.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traymorph.card.light import CardLight
from traymorph.card.mapping import Form, solve
from traymorph.card.patches import Readings

Floats = NDArray[np.float64]

_TURNS = 20
_LEAST_MISS = 0.01
"""Weighted linear light; no print agrees with a matrix more closely."""


@dataclass(frozen=True, slots=True, eq=False)
class Completed:
    """Light of all patches with what was not seen filled in.

    Parameters
    ----------
    light : ndarray, shape (n, 3)
        Below 0 where a channel was cut off.
    level : ndarray, shape (n, 3)
        Relative light that falls on each patch.
    trust : ndarray, shape (n,)
        0 to 1: the less the worse a patch agrees with the others and the deeper it lies in a
        shadow, where light has another colour.
    matrix : ndarray, shape (3, 3)
        That all of it agrees with.
    """

    light: Floats
    level: Floats
    trust: Floats
    matrix: Floats


def complete(light: Floats, readings: Readings, over_card: CardLight, weight: Floats) -> Completed:
    """Fill in what single patches do not show.

    Parameters
    ----------
    light : ndarray, shape (n, 3)
        White-balanced light of all patches, as it came into the camera.
    readings : Readings
        Of the card.
    over_card : CardLight
        Light on every patch.
    weight : ndarray, shape (n,)
        By which each patch's errors are multiplied.
    """
    wanted, use = readings.nominal, readings.printed
    even = light / over_card.level
    coloured = use & ~readings.neutral  # greys fit so well that they say nothing of the usual
    if not coloured.any():
        return Completed(even, over_card.level, np.ones(len(light)), np.eye(3))
    lit = np.where(over_card.doubt > 0, np.minimum(over_card.level.mean(axis=1), 1.0), 1.0)
    matrix, seen, more = np.eye(3), even, np.ones(len(light))
    for _ in range(_TURNS):
        usual = _usual(weight, wanted - seen @ matrix.T, coloured)
        more = _light_missing(even @ matrix.T, wanted, weight, over_card.doubt / usual)
        seen = _with_cut_channels(even * more[:, None], readings.cut, wanted, matrix)
        missed = weight * np.linalg.norm(wanted - seen @ matrix.T, axis=1)
        trust = lit / (1.0 + (missed / (3.0 * usual)) ** 2)
        matrix = solve(seen[use], wanted[use], (weight * trust)[use], Form.LINEAR)
    return Completed(seen, over_card.level / more[:, None], trust, matrix)


def _usual(weight: Floats, missed: Floats, coloured: NDArray[np.bool_]) -> float:
    """Robust standard deviation of what the coloured patches miss."""
    size = weight * np.linalg.norm(missed, axis=1)
    return max(1.4826 * float(np.median(size[coloured])), _LEAST_MISS)


def _light_missing(found: Floats, wanted: Floats, weight: Floats, free: Floats) -> Floats:
    """Factor, shape (n,), that brings each patch's light nearest to what is wanted.

    By least squares, held to 1 as far as its light is known: ``free`` is the doubt of its
    logarithm over the usual miss.
    """
    free = (free * weight) ** 2
    return np.asarray(
        (1.0 + free * np.sum(found * wanted, axis=1)) / (1.0 + free * np.sum(found**2, axis=1))
    )


def _with_cut_channels(
    light: Floats, cut: NDArray[np.bool_], wanted: Floats, matrix: Floats
) -> Floats:
    """Light with each cut-off channel at what explains the patch best, but never more than seen."""
    filled = light.copy()
    for channel in np.flatnonzero(cut.any(axis=0)):
        rows = cut[:, channel]
        column = matrix[:, channel]
        missed = wanted[rows] - filled[rows] @ matrix.T
        best = filled[rows, channel] + missed @ column / (column @ column)
        filled[rows, channel] = np.minimum(best, light[rows, channel])
    return filled
