"""What moved since when: signals of several charts gathered into stretches of batches.

A CUSUM tells when a shift probably began: with the batch after it last stood at zero (Page 1954;
Montgomery, Introduction to statistical quality control, ch. 9). An EWMA tells it less well: with
the batch after it last crossed the centre.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from traymorph.model.drift import (
    ABOVE,
    BELOW,
    CUSUM_DOWN,
    CUSUM_UP,
    EWMA,
    INDIVIDUALS,
    SELF_DOWN,
    SELF_UP,
    Chart,
    Move,
)

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_GATHERING = (CUSUM_UP, CUSUM_DOWN, SELF_UP, SELF_DOWN, EWMA)
"""Charts that sum up over batches, those first that tell best when it began."""


def find_moves(values: Floats, charts: Sequence[Chart]) -> tuple[Move, ...]:
    """Gather the signals of location.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Means of batches.
    charts : sequence of Chart
        Of one metric.

    Returns
    -------
    tuple of Move
        Oldest first. Single batches that no gathering chart follows are moves of one batch.
    """
    moves: list[Move] = []
    for direction, word in ((1, ABOVE), (-1, BELOW)):
        gathered = [
            (chart, [word in signal.split() for signal in chart.signals])
            for name in _GATHERING
            for chart in charts
            if chart.name == name
        ]
        single = _beyond(charts, word)
        heard_at = np.any([marks for _, marks in gathered], axis=0)
        for start, first, last in _gathered(gathered, heard_at, direction):
            heard = [c.name for c, marks in gathered if any(marks[first : last + 1])]
            spans = slice(start, last + 1)
            alone = [INDIVIDUALS] if any(single[spans]) else []
            single[spans] = [False] * (last + 1 - start)
            mean = float(values[spans].mean())
            moves.append(Move(direction, start, first, last, (*heard, *alone), mean))
        moves += [
            Move(direction, k, k, k, (INDIVIDUALS,), float(values[k]))
            for k, beyond in enumerate(single)
            if beyond
        ]
    return tuple(sorted(moves, key=lambda move: (move.start, move.signalled)))


def _gathered(
    charts: Sequence[tuple[Chart, list[bool]]], heard_at: Flags, direction: int
) -> list[tuple[int, int, int]]:
    """Begin, first signal and last signal of every move; signals with one begin are one move."""
    found: list[tuple[int, int, int]] = []
    for first, last in _stretches(heard_at):
        teller = next(c for c, marks in charts if any(marks[first : last + 1]))
        start = min(_start(teller, first, direction), first)
        if found and start <= found[-1][2]:
            found[-1] = (*found[-1][:2], last)
        else:
            found.append((start, first, last))
    return found


def _beyond(charts: Sequence[Chart], word: str) -> list[bool]:
    chart = next(chart for chart in charts if chart.name == INDIVIDUALS)
    return [word in signal.split() for signal in chart.signals]


def _stretches(marks: Flags) -> list[tuple[int, int]]:
    """First and last place of every run of marks."""
    edges = np.diff(np.pad(marks.astype(np.int8), 1))
    firsts, lasts = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1
    return [(int(a), int(b)) for a, b in zip(firsts, lasts, strict=True)]


def _start(chart: Chart, first: int, direction: int) -> int:
    """Batch after the chart last stood at its centre or beyond it on the other side."""
    side = direction * (chart.values[: first + 1] - chart.centre[: first + 1])
    back = np.flatnonzero(~(side > 0.0))
    return int(back[-1]) + 1 if len(back) else 0
