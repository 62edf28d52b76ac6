"""What a watch over batches takes and gives: batches, their charts, and what moved since when."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from math import nan

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

INDIVIDUALS = "individuals"
MOVING_RANGE = "moving_range"
WITHIN = "within_s"
EWMA = "ewma"
CUSUM_UP, CUSUM_DOWN = "cusum_up", "cusum_down"
SELF_UP, SELF_DOWN = "self_starting_up", "self_starting_down"
STANDARD = "standard"
ABOVE, BELOW = "above", "below"


@dataclass(frozen=True, slots=True)
class StandardLimit:
    """One line of a written standard.

    Parameters
    ----------
    crop : str
        It holds for; "" = for every crop.
    metric : str
        Name of the metric.
    lower, upper : float
        Limits for the mean of a batch; NaN = none on that side.
    line : int
        Of the list, counted from 1.
    """

    crop: str
    metric: str
    lower: float
    upper: float
    line: int


@dataclass(frozen=True, slots=True)
class Event:
    """Something that was changed or happened on a day.

    Parameters
    ----------
    on : date
        The day.
    what : str
        In the words of who wrote it.
    """

    on: date
    what: str


@dataclass(frozen=True, slots=True, eq=False)
class Batches:
    """Batches in the order of their days.

    Parameters
    ----------
    names : tuple of str
        Of each batch.
    days : tuple of date
        First day photographed, else first day sown.
    means, sds : mapping of str to ndarray, shape (n,)
        By metric: mean over the trays of a batch and standard deviation between them; NaN where
        none, or fewer than two, were measured.
    counts : mapping of str to ndarray of int, shape (n,)
        Trays measured.
    texts : mapping of str to tuple of str
        By column of the lists: what all trays of a batch have in common, "" where they differ.
    crop : str
        Of all of them; "" where none is named.
    warnings : tuple of str
        Sentences on the batches.
    """

    names: tuple[str, ...]
    days: tuple[date, ...]
    means: Mapping[str, Floats]
    sds: Mapping[str, Floats]
    counts: Mapping[str, NDArray[np.intp]]
    texts: Mapping[str, tuple[str, ...]]
    crop: str
    warnings: tuple[str, ...] = ()

    def since(self, first: int) -> "Batches":
        """Give those from a place on, counted from 0."""
        return replace(
            self,
            names=self.names[first:],
            days=self.days[first:],
            means={metric: held[first:] for metric, held in self.means.items()},
            sds={metric: held[first:] for metric, held in self.sds.items()},
            counts={metric: held[first:] for metric, held in self.counts.items()},
            texts={column: cells[first:] for column, cells in self.texts.items()},
        )


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """One control chart, one entry per batch; NaN where it says nothing.

    Parameters
    ----------
    name : str
        ``individuals``, ``moving_range``, ``within_s``, ``ewma``, ``cusum_up``, ``cusum_down``,
        ``self_starting_up``, ``self_starting_down`` or ``standard``.
    values, centre, lower, upper : ndarray, shape (n,)
        In the metric's unit; self-starting charts count standard deviations.
    signals : tuple of str
        What each batch signals; "" = nothing.
    """

    name: str
    values: Floats
    centre: Floats
    lower: Floats
    upper: Floats
    signals: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Capability:
    """How well the spread of batches fits between the limits of a standard.

    Parameters
    ----------
    cpk : float
        Distance from the mean to the nearer limit over three standard deviations.
    low, high : float
        Its 95 % interval.
    n : int
        Batches.
    """

    cpk: float
    low: float
    high: float
    n: int


@dataclass(frozen=True, slots=True)
class Move:
    """A stretch of batches that left the baseline on one side.

    Parameters
    ----------
    direction : int
        1 = above the baseline, -1 = below.
    start, signalled, end : int
        Places of the first batch that probably moved, the first that signalled, and the last that
        still does.
    charts : tuple of str
        Charts that signalled.
    mean : float
        Of the batches from ``start`` to ``end``.
    """

    direction: int
    start: int
    signalled: int
    end: int
    charts: tuple[str, ...]
    mean: float


@dataclass(frozen=True, slots=True, eq=False)
class MetricDrift:
    """One metric over the batches that have it.

    Parameters
    ----------
    metric, unit : str
        What is watched.
    names : tuple of str
        Of the batches.
    days : tuple of date
        Of the batches.
    baseline : ndarray of bool, shape (n,)
        Batches that the limits rest on.
    few : bool
        The limits rest on fewer than twenty batches.
    centre, sigma : float
        Mean of the baseline, and standard deviation between batches from its moving ranges.
    charts : tuple of Chart
        Of this metric.
    moves : tuple of Move
        What moved, oldest first.
    capability : Capability or None
        Where a standard is written and enough batches tell it.
    warnings : tuple of str
        On the baseline; each goes on after the metric's name and a colon.
    """

    metric: str
    unit: str
    names: tuple[str, ...]
    days: tuple[date, ...]
    baseline: Flags
    few: bool
    charts: tuple[Chart, ...]
    centre: float = nan
    sigma: float = nan
    moves: tuple[Move, ...] = ()
    capability: Capability | None = None
    warnings: tuple[str, ...] = ()

    @property
    def signals_now(self) -> bool:
        """Whether the newest batch signals on a control chart of location."""
        watched = (INDIVIDUALS, EWMA, CUSUM_UP, CUSUM_DOWN, SELF_UP, SELF_DOWN)
        return any(chart.name in watched and chart.signals[-1] for chart in self.charts)

    @property
    def fails_now(self) -> bool:
        """Whether the newest batch fails the written standard."""
        return any(chart.name == STANDARD and chart.signals[-1] for chart in self.charts)
