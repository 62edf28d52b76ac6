"""Permutation tests beside small trials: what chance would do with these very trays.

Labels are exchanged within blocks. Without blocks the statistic is Welch's t, so that unequal
variances do little harm (Janssen 1997, Statistics & Probability Letters 36:9-21).
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, product
from math import comb, prod

import numpy as np
from numpy.typing import NDArray

from traymorph.stats.treatments.contrasts import Codes, Floats

_MOST_EXACT = 20_000
_DRAWS = 9_999
_SEED = 20_240_601
_ALIKE = 1e-9
"""Statistics that differ by rounding alone count as equal."""


@dataclass(frozen=True, slots=True)
class Permuted:
    """Outcome of a permutation test.

    Parameters
    ----------
    p : float
        Two-sided.
    smallest_p : float
        No arrangement of these trays could have given less.
    exact : bool
        Every arrangement was tried; else a random 9999 of them.
    """

    p: float
    smallest_p: float
    exact: bool


def permutation_test(values: Floats, first: NDArray[np.bool_], block: Codes | None) -> Permuted:
    """Compare two treatments by exchanging their labels.

    Parameters
    ----------
    values : ndarray, shape (n,)
        One per tray.
    first : ndarray of bool, shape (n,)
        Trays of the first treatment; the others have the second.
    block : ndarray of int, shape (n,), or None
        Labels are exchanged within blocks only.
    """
    codes = np.zeros(len(values), dtype=np.intp) if block is None else block
    members = [np.flatnonzero(codes == code) for code in np.unique(codes)]
    taken = [int(first[rows].sum()) for rows in members]
    arrangements = prod(comb(len(rows), k) for rows, k in zip(members, taken, strict=True))
    exact = arrangements <= _MOST_EXACT
    labels = _every(tuple(map(tuple, members)), tuple(taken)) if exact else _some(members, first)
    statistic = _welch if block is None else _within_blocks
    seen = statistic(values, first[None], codes)[0]
    others = statistic(values, labels, codes)
    as_far = int((others >= seen * (1.0 - _ALIKE) - _ALIKE).sum())
    if exact:
        # Swapping both names gives the same |t| where both have as many trays in each block.
        mirrored = all(2 * k == len(rows) for rows, k in zip(members, taken, strict=True))
        smallest = (2 if mirrored else 1) / arrangements
        return Permuted(as_far / arrangements, smallest, exact=True)
    return Permuted((as_far + 1) / (_DRAWS + 1), 1 / (_DRAWS + 1), exact=False)


@lru_cache(maxsize=8)
def _every(members: tuple[tuple[int, ...], ...], taken: tuple[int, ...]) -> NDArray[np.bool_]:
    """Every arrangement of labels; kept, since the metrics of a trial share their trays."""
    choices = [list(combinations(rows, k)) for rows, k in zip(members, taken, strict=True)]
    trays = sum(len(rows) for rows in members)
    labels = np.zeros((prod(len(one) for one in choices), trays), dtype=np.bool_)
    for line, chosen in enumerate(product(*choices)):
        labels[line, [row for rows in chosen for row in rows]] = True
    return labels


def _some(members: list[NDArray[np.intp]], first: NDArray[np.bool_]) -> NDArray[np.bool_]:
    draw = np.random.default_rng(_SEED)
    labels = np.zeros((_DRAWS, len(first)), dtype=np.bool_)
    for rows in members:
        labels[:, rows] = draw.permuted(np.tile(first[rows], (_DRAWS, 1)), axis=1)
    return labels


def _welch(values: Floats, labels: NDArray[np.bool_], codes: Codes) -> Floats:
    del codes
    # Centred, so that the sums of squares keep their digits.
    away = values - values.mean()
    n, total, squares = len(values), away.sum(), float((away**2).sum())
    one = labels.sum(axis=1)
    two = n - one
    sum_one, squares_one = labels @ away, labels @ away**2
    mean_one, mean_two = sum_one / one, (total - sum_one) / two
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = (squares_one - one * mean_one**2) / (one * (one - 1.0)) + (
            squares - squares_one - two * mean_two**2
        ) / (two * (two - 1.0))
        t = np.abs(mean_one - mean_two) / np.sqrt(np.maximum(variance, 0.0))
    return np.asarray(np.nan_to_num(t, nan=0.0, posinf=np.inf))


def _within_blocks(values: Floats, labels: NDArray[np.bool_], codes: Codes) -> Floats:
    """Covariance of labels and values within blocks: |t| of the block model grows with it."""
    count = np.bincount(codes)
    away = values - (np.bincount(codes, values) / np.maximum(count, 1))[codes]
    return np.abs(labels @ away)
