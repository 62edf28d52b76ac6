"""Where an opening lies and how sure that is, by all places that fit nearly as well as the best.

Where leaves hide the rim the score is a broad and ragged hill: its top moves by a centimetre for
a few leaves more or less, the middle of the hill does not. So places round the best one are
weighed by how well they fit, each as likely as exp(score / u), and the opening is put at their
mean; their scatter is its doubt (posterior mean and variance over a flat prior; JCGM 101:2008,
5.11).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traymorph.tray.evidence import FINE_MM, RimEvidence
from traymorph.tray.fit import judge, moves
from traymorph.tray.scan import Place

SCORE_U = 0.03
"""A place that scores less by this is less likely by the factor e. 80 rendered photos: openings
lie as far off as the scatter says, 95 % within 1.96 of it."""

_STEPS_MM = (8.0, 4.0, 2.0, 1.0)
_REACH = 3
"""Steps to either side in x and y, and in turn, where a step moves the corners alike."""
_WIDE_ENOUGH = 0.8
"""Scatter, in steps, from which on a lattice shows the hill's form."""
_SAMPLE_MM = 10.0


@dataclass(frozen=True, slots=True)
class Likely:
    """The mean of all likely places near the best one.

    Parameters
    ----------
    place : Place
        Mean centre and turn; the score is the best place's.
    u_mm : float
        Standard uncertainty of the centre along any one direction.
    """

    place: Place
    u_mm: float


def likely_place(evidence: RimEvidence, best: Place, size_mm: NDArray[np.float64]) -> Likely:
    """Weigh the places round the best one, on ever finer lattices until one shows their scatter.

    Parameters
    ----------
    evidence : RimEvidence
        Maps in the plane of the rim.
    best : Place
        Where the search ended.
    size_mm : ndarray, shape (2,)
        Inside length and width.
    """
    reach = np.arange(-_REACH, _REACH + 1.0)
    lattice = np.stack(np.meshgrid(reach, reach, reach, indexing="ij"), axis=-1).reshape(-1, 3)
    unit = moves(size_mm)[1:4].diagonal()
    middle = np.array([best.x, best.y, best.turn_deg])
    u_mm = 0.0
    for step in _STEPS_MM:
        judged = judge(evidence, middle + lattice * step * unit, size_mm, _SAMPLE_MM)
        weight = likelihoods(np.array([one.score for one in judged]))
        mean = weight @ lattice
        scatter = np.sqrt(weight @ (lattice - mean) ** 2)
        u_mm = float(np.sqrt((scatter[:2] ** 2).mean())) * step * FINE_MM
        if scatter[:2].max() > _WIDE_ENOUGH:
            x, y, turn = (float(n) for n in middle + mean * step * unit)
            return Likely(Place(x, y, turn, best.score), u_mm)
    return Likely(best, u_mm)


def likelihoods(scores: NDArray[np.float64]) -> NDArray[np.float64]:
    """How likely each of some places is, of which one is right; they add up to 1."""
    weight = np.exp((scores - scores.max()) / SCORE_U)
    share: NDArray[np.float64] = weight / weight.sum()
    return share
