"""What a study of the measuring itself takes and gives: repeats of trays, parts of the spread."""

from dataclasses import dataclass
from math import nan

import numpy as np
from numpy.typing import NDArray

BATCH, TRAY, OPERATOR, BY_OPERATOR, REPEAT = (
    "batch",
    "tray",
    "operator",
    "tray_by_operator",
    "repeat",
)
"""Sources of spread: between batches, between trays (of a batch), between people or phones, how
people take to single trays, from one photo to the next."""
TRAYS, ONE_OPERATOR, MEASURING, ALL = "trays", "one_operator", "measuring", "all"
"""Sums of them: batch and tray; what one person and phone scatters on single trays
(``tray_by_operator`` and ``repeat``); everything but the trays; everything."""


@dataclass(frozen=True, slots=True, eq=False)
class Repeats:
    """Rows of a table that measure the same trays again.

    Parameters
    ----------
    rows : ndarray of int, shape (n,)
        Rows of the table; only trays with repeats.
    own : ndarray of int, shape (trays,)
        Row of each tray's own measurement.
    trays, operators, batches : tuple of str
        Names; a tray photographed on several days stands there once for each day. ``operators``
        is empty where none is stated.
    tray, operator, batch : ndarray of int, shape (n,)
        Code of each row; all 0 where nothing is stated, -1 for a row without a batch.
    """

    rows: NDArray[np.intp]
    own: NDArray[np.intp]
    trays: tuple[str, ...]
    tray: NDArray[np.intp]
    operators: tuple[str, ...]
    operator: NDArray[np.intp]
    batches: tuple[str, ...]
    batch: NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Part:
    """One source of spread, or a sum of several; intervals at 95 %.

    Parameters
    ----------
    source : str
        One of the names above.
    sd, sd_low, sd_high : float
        Standard deviation that comes from it, in the metric's unit.
    share_pct, share_low_pct, share_high_pct : float
        Its share of the variance of all measurements; the shares of the sources add up to 100.
    spread_pct : float
        Its standard deviation over that of all measurements; these do not add up to 100.
    df : int
        Degrees of freedom behind it; 0 for sums.
    below_zero : bool
        Estimated below zero, as chance does with small components, and set to 0.
    """

    source: str
    sd: float
    sd_low: float
    sd_high: float
    share_pct: float
    share_low_pct: float
    share_high_pct: float
    spread_pct: float
    df: int = 0
    below_zero: bool = False


@dataclass(frozen=True, slots=True)
class SmallestDifference:
    """Difference between two trays that noise of measuring exceeds once in twenty.

    Parameters
    ----------
    photos : int
        Photos of each tray whose values are averaged.
    same_operator, other_operator : float
        Both trays by one person and phone, or each by another; NaN where only one took part.
    """

    photos: int
    same_operator: float
    other_operator: float = nan


@dataclass(frozen=True, slots=True)
class RangeFigures:
    """The same by the method of averages and ranges; standard deviations in the metric's unit."""

    repeat: float
    operator: float
    measuring: float
    trays: float
    total: float
    steps: int | None


@dataclass(frozen=True, slots=True)
class Ratio:
    """A standard deviation over the stated uncertainty, with its 95 % interval."""

    value: float = nan
    low: float = nan
    high: float = nan


@dataclass(frozen=True, slots=True)
class StatedDoubt:
    """The doubt that ``measure`` states, held against the scatter that was found.

    Parameters
    ----------
    u : float
        Root mean square of the stated standard uncertainties; NaN where none is stated.
    one_operator, measuring : Ratio
        Scatter of one person and phone over ``u``, and that of all.
    verdict : str
        ``covers`` (the scatter of all lies surely at or below ``u``), ``covers_one_operator``
        (that of one person and phone does, of all it is not known), ``too_small`` (one of both
        lies surely above), ``undecided``, or empty where nothing is stated.
    """

    u: float = nan
    one_operator: Ratio = Ratio()
    measuring: Ratio = Ratio()
    verdict: str = ""


@dataclass(frozen=True, slots=True)
class MetricRepeatability:
    """One metric's study.

    Parameters
    ----------
    metric, unit : str
        What was measured.
    mean : float
        Of all measurements.
    n_measurements, n_trays, n_operators : int
        Behind it; ``n_operators`` is 1 where none is stated.
    design : str
        ``crossed`` (operators share trays), ``nested`` (each operator had trays of their own) or
        ``one_operator``.
    balanced : bool
        Every cell holds the same number of measurements.
    interaction : str
        ``kept``, ``pooled`` (into ``repeat``), ``inseparable`` (no operator repeated a tray, so
        that ``repeat`` holds it) or empty where there is none.
    interaction_p : float
        Of the F test of ``tray_by_operator``.
    parts, sums : tuple of Part
        Sources, and their sums.
    steps : int or None
        Sizes among these trays that the set-up tells apart; None where measuring scatters
        nothing.
    smallest : tuple of SmallestDifference
        By number of photos.
    doubt : StatedDoubt
        Whether stated doubts are honest here.
    ranges : RangeFigures or None
        Beside it, where every cell holds as many measurements.
    """

    metric: str
    unit: str
    mean: float
    n_measurements: int
    n_trays: int
    n_operators: int
    design: str
    balanced: bool
    interaction: str
    interaction_p: float
    parts: tuple[Part, ...]
    sums: tuple[Part, ...]
    steps: int | None
    smallest: tuple[SmallestDifference, ...]
    doubt: StatedDoubt = StatedDoubt()
    ranges: RangeFigures | None = None

    def sum_of(self, name: str) -> Part:
        """Give one of the sums by its name."""
        return next(one for one in self.sums if one.source == name)
