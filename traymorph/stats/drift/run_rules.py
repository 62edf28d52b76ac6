"""Run rules: patterns of several batches, each set named by where it was published.

All rules of a set together cry wolf far more often than the first alone: the four of Western
Electric once in 92 batches, where the first alone does once in 370 (Champ & Woodall 1987,
Technometrics 29:393-399; citation from memory).
"""

from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Rule = Callable[[Floats], Flags]

WESTERN_ELECTRIC, NELSON = "western-electric", "nelson"


def _some_beyond(away: Floats, *, needed: int, of: int, sigmas: float) -> Flags:
    """``needed`` of the last ``of`` lie beyond ``sigmas`` on one side, the newest among them."""
    found = np.zeros(len(away), dtype=np.bool_)
    for side in (away, -away):
        beyond = side > sigmas
        counts = np.convolve(beyond, np.ones(of), "full")[: len(away)]
        found |= beyond & (counts >= needed - 1e-9)
    return found


def _trending(away: Floats, *, length: int) -> Flags:
    """So many batches in a row rise, or fall, steadily."""
    steps = np.sign(np.diff(away, prepend=away[:1]))
    return _in_a_row(steps > 0, length - 1) | _in_a_row(steps < 0, length - 1)


def _alternating(away: Floats, *, length: int) -> Flags:
    """So many batches in a row go up and down in turn."""
    steps = np.sign(np.diff(away))
    turns = np.zeros(len(away), dtype=np.bool_)
    turns[2:] = steps[1:] * steps[:-1] < 0
    return _in_a_row(turns, length - 2)


def _within(away: Floats, *, length: int, sigmas: float) -> Flags:
    """So many batches in a row lie within ``sigmas`` of the centre."""
    return _in_a_row(np.abs(away) < sigmas, length)


def _avoiding(away: Floats, *, length: int, sigmas: float) -> Flags:
    """So many batches in a row lie beyond ``sigmas``, on either side."""
    return _in_a_row(np.abs(away) > sigmas, length)


def _in_a_row(held: Flags, length: int) -> Flags:
    counts = np.convolve(held, np.ones(length), "full")[: len(held)]
    return np.asarray(counts > length - 0.5)


_TWO_OF_THREE = partial(_some_beyond, needed=2, of=3, sigmas=2.0)
_FOUR_OF_FIVE = partial(_some_beyond, needed=4, of=5, sigmas=1.0)
RULES: dict[str, dict[str, Rule]] = {
    # Western Electric Company 1956, Statistical quality control handbook
    WESTERN_ELECTRIC: {
        "2_of_3_beyond_2_sigma": _TWO_OF_THREE,
        "4_of_5_beyond_1_sigma": _FOUR_OF_FIVE,
        "8_on_one_side": partial(_some_beyond, needed=8, of=8, sigmas=0.0),
    },
    # Nelson 1984, J. Quality Technology 16:237-239
    NELSON: {
        "9_on_one_side": partial(_some_beyond, needed=9, of=9, sigmas=0.0),
        "6_trending": partial(_trending, length=6),
        "14_alternating": partial(_alternating, length=14),
        "2_of_3_beyond_2_sigma": _TWO_OF_THREE,
        "4_of_5_beyond_1_sigma": _FOUR_OF_FIVE,
        "15_within_1_sigma": partial(_within, length=15, sigmas=1.0),
        "8_beyond_1_sigma": partial(_avoiding, length=8, sigmas=1.0),
    },
}
"""Beyond the first rule, a single batch beyond three standard deviations."""


def run_signals(away: Floats, rules: str) -> tuple[str, ...]:
    """Name the rules that each batch breaks.

    Parameters
    ----------
    away : ndarray, shape (n,)
        Distance from the centre in standard deviations, all finite.
    rules : str
        Set of rules: ``western-electric`` or ``nelson``.

    Returns
    -------
    tuple of str
        One entry per batch, names separated by blanks; "" = none.
    """
    found = {name: rule(away) for name, rule in RULES[rules].items()}
    return tuple(
        " ".join(f"{rules}:{name}" for name, held in found.items() if held[place])
        for place in range(len(away))
    )
