"""What a comparison takes and gives: a table of trays, and differences between treatments."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import nan

import numpy as np
from numpy.typing import NDArray

_DOUBTS_IN_A_MEAN = 3.0


def plural(kind: str) -> str:
    """Several replicates (``tray``, ``lot``, ``shelf``), in words."""
    return "shelves" if kind == "shelf" else f"{kind}s"


@dataclass(frozen=True, slots=True, eq=False)
class TrayTable:
    """``tray_metrics.csv`` as columns, one entry per tray and day.

    Parameters
    ----------
    columns : mapping of str to tuple of str
        Text columns as written, ``tray_id`` and ``photographed_on`` among them.
    values, doubts : mapping of str to ndarray, shape (n,)
        Metrics and outcomes, and their standard uncertainties of measuring; NaN = not measured.
    flags : tuple of frozenset of str
        Quality flags of each row.
    units : mapping of str to str
        Unit of each name of ``values``.
    """

    columns: Mapping[str, tuple[str, ...]]
    values: Mapping[str, NDArray[np.float64]]
    doubts: Mapping[str, NDArray[np.float64]]
    flags: tuple[frozenset[str], ...]
    units: Mapping[str, str]

    def __len__(self) -> int:
        return len(self.flags)

    def text(self, column: str) -> tuple[str, ...]:
        """Cells of a text column; all empty where the table has no such column."""
        cells = self.columns.get(column)
        return ("",) * len(self) if cells is None else cells

    def only(self, kept: NDArray[np.intp]) -> "TrayTable":
        """Give the table with these rows alone, shape (n,), in their order."""
        return replace(
            self,
            columns={name: tuple(held[row] for row in kept) for name, held in self.columns.items()},
            values={name: numbers[kept] for name, numbers in self.values.items()},
            doubts={name: numbers[kept] for name, numbers in self.doubts.items()},
            flags=tuple(self.flags[row] for row in kept),
        )


@dataclass(frozen=True, slots=True)
class Margin:
    """How much worse or better still counts as no difference.

    Parameters
    ----------
    metric : str
        Name of the metric.
    size : float
        Half width of the margin, > 0, in the metric's unit or in per cent.
    in_percent : bool
        Whether it is a share of the control.
    """

    metric: str
    size: float
    in_percent: bool


@dataclass(frozen=True, slots=True)
class Question:
    """What a person wants compared.

    Parameters
    ----------
    treatment_column : str
        Column of trays.csv that holds the treatments.
    control : str or None
        The treatment that all others are compared with; None = every pair.
    primary : str or None
        The metric declared before the trial; it stands alone.
    margins : tuple of Margin
        For "no worse than".
    level : float
        Of the intervals.
    """

    treatment_column: str = "treatment"
    control: str | None = None
    primary: str | None = None
    margins: tuple[Margin, ...] = ()
    level: float = 0.95


@dataclass(frozen=True, slots=True)
class Difference:
    """One metric, one pair of treatments; NaN where it could not be told.

    Parameters
    ----------
    metric, unit : str
        What was compared.
    treatment, control : str
        First minus second.
    n_treatment, n_control : int
        Replicates of each.
    difference, ci_low, ci_high : float
        Of arithmetic means, in the unit.
    difference_pct, ci_low_pct, ci_high_pct : float
        Ratio of geometric means less 1, per cent; only of sizes.
    p, p_adjusted : float
        Two-sided, of the difference by itself and within its family.
    family : str
        ``primary`` or ``exploratory``.
    method : str
        How it was computed.
    flags : tuple of str
        What qualifies it, or why it is empty.
    mean_treatment, mean_control : float
        Means of the replicates.
    replicate_sd : float
        Standard deviation between replicates of one treatment.
    measuring_u : float
        Typical standard uncertainty of measuring one replicate.
    p_permutation, smallest_p_permutation : float
        Permutation test beside a small trial, and the least that it could have given.
    margin, p_within : float
        Margin asked for, in the unit of ``difference`` or per cent, and p of "within it".
    margin_in_percent : bool
        Whether the margin is in per cent.
    """

    metric: str
    unit: str
    treatment: str
    control: str
    n_treatment: int
    n_control: int
    difference: float = nan
    ci_low: float = nan
    ci_high: float = nan
    difference_pct: float = nan
    ci_low_pct: float = nan
    ci_high_pct: float = nan
    p: float = nan
    p_adjusted: float = nan
    family: str = "exploratory"
    method: str = ""
    flags: tuple[str, ...] = ()
    mean_treatment: float = nan
    mean_control: float = nan
    replicate_sd: float = nan
    measuring_u: float = nan
    p_permutation: float = nan
    smallest_p_permutation: float = nan
    margin: float = nan
    p_within: float = nan
    margin_in_percent: bool = False

    @property
    def is_relative(self) -> bool:
        """Whether per cent say something: a mean of few measuring doubts is too near nought."""
        least = min(abs(self.mean_treatment), abs(self.mean_control))
        near_nought = least < _DOUBTS_IN_A_MEAN * self.measuring_u
        return math.isfinite(self.difference_pct) and not near_nought

    @property
    def measuring_reach(self) -> float:
        """Half of the 95 % interval that measuring alone leaves, were its errors independent."""
        return 1.96 * self.measuring_u * math.sqrt(1.0 / self.n_treatment + 1.0 / self.n_control)

    @property
    def told_reach(self) -> float:
        """The same as the difference is told: in per cent of the control, or in the unit."""
        return self.measuring_reach * (100.0 / abs(self.mean_control) if self.is_relative else 1.0)


@dataclass(frozen=True, slots=True)
class Comparison:
    """All differences of a trial.

    Parameters
    ----------
    question : Question
        What was asked.
    treatments : mapping of str to int
        Replicates of each treatment, in the order shown.
    unit : str
        What the replicate is: ``tray``, ``lot`` or ``shelf``.
    blocks : int
        Number of blocks in the analysis; 0 without.
    differences : tuple of Difference
        By metric, then by pair.
    warnings : tuple of str
        Sentences on the design and on single trays.
    """

    question: Question
    treatments: Mapping[str, int]
    unit: str
    blocks: int
    differences: tuple[Difference, ...]
    warnings: tuple[str, ...] = field(default=())
