"""How much of a metric's spread is the measuring itself.

Repeatability is what one person and phone scatter on one tray, reproducibility what people and
phones add (ISO 5725-1); here the sources are named for what they are. Differences between two
results stay below 1.96 sqrt(2) standard deviations of measuring in 95 of 100 cases when the trays
are alike (repeatability limit and reproducibility limit of ISO 5725-6, 4.1).
"""

import math

import numpy as np
from numpy.typing import NDArray

from traymorph.model.repeatability import (
    ALL,
    BATCH,
    BY_OPERATOR,
    MEASURING,
    ONE_OPERATOR,
    OPERATOR,
    REPEAT,
    TRAY,
    TRAYS,
    MetricRepeatability,
    Part,
    RangeFigures,
    Ratio,
    SmallestDifference,
    StatedDoubt,
)
from traymorph.stats.angles import unwound
from traymorph.stats.measuring.ranges import by_ranges, steps_told
from traymorph.stats.measuring.repeat_designs import Cells, Design
from traymorph.stats.measuring.variance_components import Components

Floats = NDArray[np.float64]

PHOTOS = (1, 2, 3, 4)
_LEVEL = 0.95
_TWO_RESULTS = 1.959963984540054 * math.sqrt(2.0)
_SUMS = {
    TRAYS: (BATCH, TRAY),
    ONE_OPERATOR: (BY_OPERATOR, REPEAT),
    MEASURING: (OPERATOR, BY_OPERATOR, REPEAT),
    ALL: (BATCH, TRAY, OPERATOR, BY_OPERATOR, REPEAT),
}


def study_metric(
    metric: tuple[str, str], values: Floats, doubts: Floats, cells: Cells, design: Design
) -> MetricRepeatability:
    """Part a metric's spread into its sources.

    Parameters
    ----------
    metric : tuple of str
        Name and unit.
    values : ndarray, shape (n,)
        All finite.
    doubts : ndarray, shape (n,)
        Stated standard uncertainties; NaN where none is.
    cells : Cells
        Who measured which tray, shape (n,) each.
    design : Design
        What they can tell.
    """
    if metric[1] == "deg":
        values = unwound(values)
    layout, interaction, p = design.choose(values)
    found = layout.estimate(values)
    variances = dict(zip(found.names, np.maximum(found.variances, 0.0).tolist(), strict=True))
    drawn = np.maximum(found.draws, 0.0)
    parts = tuple(_part(name, found, drawn, variances) for name in found.names)
    sums = tuple(_sum(name, found, drawn, variances) for name in _SUMS)
    held = {part.source: part for part in sums}
    return MetricRepeatability(
        metric=metric[0],
        unit=metric[1],
        mean=_mean(values, metric[1]),
        n_measurements=len(values),
        n_trays=cells.n_trays,
        n_operators=cells.n_operators,
        design=cells.design,
        balanced=cells.balanced,
        interaction=interaction,
        interaction_p=p,
        parts=parts,
        sums=sums,
        steps=steps_told(held[TRAYS].sd, held[MEASURING].sd),
        smallest=tuple(_smallest(photos, variances) for photos in PHOTOS),
        doubt=_judge(doubts, held[ONE_OPERATOR], held[MEASURING]),
        ranges=_ranges(values, cells),
    )


def _mean(values: Floats, unit: str) -> float:
    mean = float(values.mean())
    return mean % 360.0 if unit == "deg" else mean


def _part(name: str, found: Components, drawn: Floats, variances: dict[str, float]) -> Part:
    place = found.names.index(name)
    return _told(
        name,
        variances[name],
        drawn[:, place],
        (sum(variances.values()), drawn.sum(axis=1)),
        df=int(found.df[place]),
        below_zero=bool(found.variances[place] < 0.0),
    )


def _sum(name: str, found: Components, drawn: Floats, variances: dict[str, float]) -> Part:
    places = [found.names.index(one) for one in _SUMS[name] if one in found.names]
    variance = sum(variances[found.names[place]] for place in places)
    of_all = sum(variances.values()), drawn.sum(axis=1)
    return _told(name, variance, drawn[:, places].sum(axis=1), of_all)


def _told(
    name: str,
    variance: float,
    drawn: Floats,
    of_all: tuple[float, Floats],
    *,
    df: int = 0,
    below_zero: bool = False,
) -> Part:
    total, drawn_totals = of_all
    low, high = np.quantile(drawn, _tails())
    with np.errstate(invalid="ignore", divide="ignore"):
        shares = np.nan_to_num(drawn / drawn_totals)
    share = variance / total if total > 0 else math.nan
    share_low, share_high = np.quantile(shares, _tails())
    return Part(
        name,
        math.sqrt(variance),
        math.sqrt(low),
        math.sqrt(high),
        100.0 * share,
        100.0 * float(share_low),
        100.0 * float(share_high),
        100.0 * math.sqrt(share),
        df,
        below_zero,
    )


def _tails() -> tuple[float, float]:
    return (1.0 - _LEVEL) / 2.0, (1.0 + _LEVEL) / 2.0


def _smallest(photos: int, variances: dict[str, float]) -> SmallestDifference:
    """Averaging photos takes off what differs from photo to photo, and nothing else."""
    one = variances.get(BY_OPERATOR, 0.0) + variances[REPEAT] / photos
    same = _TWO_RESULTS * math.sqrt(one)
    if OPERATOR not in variances:
        return SmallestDifference(photos, same)
    return SmallestDifference(photos, same, _TWO_RESULTS * math.sqrt(one + variances[OPERATOR]))


def _judge(doubts: Floats, one_operator: Part, measuring: Part) -> StatedDoubt:
    """Hold the stated doubts against what repeats scatter."""
    stated = doubts[np.isfinite(doubts)]
    u = math.sqrt(float(np.mean(stated**2))) if len(stated) else math.nan
    if not u > 0:
        return StatedDoubt()
    one, every = _over(one_operator, u), _over(measuring, u)
    if max(one.low, every.low) > 1.0:
        verdict = "too_small"
    elif every.high <= 1.0:
        verdict = "covers"
    else:
        verdict = "covers_one_operator" if one.high <= 1.0 else "undecided"
    return StatedDoubt(u, one, every, verdict)


def _over(part: Part, u: float) -> Ratio:
    return Ratio(part.sd / u, part.sd_low / u, part.sd_high / u)


def _ranges(values: Floats, cells: Cells) -> RangeFigures | None:
    """Averages and ranges, where every operator measured every tray as often, twice or more."""
    if cells.design == "nested" or not cells.balanced:
        return None
    repeats = len(values) // (cells.n_trays * cells.n_operators)
    if repeats < 2:
        return None
    order = np.lexsort((cells.operator, cells.tray))
    return by_ranges(values[order].reshape(cells.n_trays, cells.n_operators, repeats))
