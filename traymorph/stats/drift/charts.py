"""Charts of batches: where they lie, how they jump, how the trays of a batch differ.

Limits of location come from the spread between batches, never from that of the trays within one:
trays of a batch share seed, water and days, so that limits from them would be far too narrow.
"""

import numpy as np
from numpy.typing import NDArray

from traymorph.model.drift import (
    ABOVE,
    BELOW,
    CUSUM_DOWN,
    CUSUM_UP,
    EWMA,
    INDIVIDUALS,
    MOVING_RANGE,
    SELF_DOWN,
    SELF_UP,
    STANDARD,
    WITHIN,
    Chart,
)
from traymorph.stats.drift.baseline import Level
from traymorph.stats.drift.control_constants import control_constants, mean_sd
from traymorph.stats.drift.cusum import self_starting_scores, tabular_cusum
from traymorph.stats.drift.ewma import half_width, moving_average
from traymorph.stats.drift.run_rules import run_signals

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]
Flags = NDArray[np.bool_]

WEIGHT = 0.2
"""Of the newest batch in the EWMA: finds shifts of about one standard deviation soonest."""
SLACK = 0.5
"""k of the CUSUM: tuned to shifts of one standard deviation."""
SELF_STARTING_FROM = 5
"""Batch from which on the self-starting chart is listened to."""


def individuals(values: Floats, level: Level, rules: str | None = None) -> Chart:
    """Chart of batch means with limits at three standard deviations between batches.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Means of batches, all finite.
    level : Level
        Of the baseline.
    rules : str or None
        Set of run rules beside the first; None = the first alone.
    """
    away = 3.0 * level.sigma
    chart = _chart(INDIVIDUALS, values, (level.centre, level.centre - away, level.centre + away))
    if rules is None:
        return chart
    runs = run_signals((values - level.centre) / level.sigma, rules)
    both = tuple(" ".join(filter(None, pair)) for pair in zip(chart.signals, runs, strict=True))
    return Chart(chart.name, chart.values, chart.centre, chart.lower, chart.upper, both)


def moving_ranges(values: Floats, level: Level) -> Chart:
    """Chart of the steps from each batch to the next; none for the first."""
    ranges = np.append(np.nan, np.abs(np.diff(values)))
    upper = control_constants(2).upper_range * level.mean_range
    return _chart(MOVING_RANGE, ranges, (level.mean_range, 0.0, upper))


def within(sds: Floats, counts: Codes, baseline: Flags) -> Chart | None:
    """Chart of the standard deviation between the trays of a batch.

    Parameters
    ----------
    sds : ndarray, shape (n,)
        NaN where a batch has fewer than two trays.
    counts : ndarray of int, shape (n,)
        Trays of each batch; limits follow them.
    baseline : ndarray of bool, shape (n,)
        Batches whose pooled spread gives the centre.

    Returns
    -------
    Chart or None
        None where fewer than two baseline batches have two trays, or trays do not differ.
    """
    used = baseline & np.isfinite(sds)
    if used.sum() < 2:
        return None
    freedom = counts[used] - 1.0
    sigma = float(np.sqrt(np.sum(freedom * sds[used] ** 2) / freedom.sum()))
    if sigma == 0.0:
        return None
    constants = np.array([mean_sd(n) if n > 1 else np.nan for n in counts.tolist()])
    away = 3.0 * sigma * np.sqrt(1.0 - constants**2)
    centre = constants * sigma
    lines = (centre, np.maximum(0.0, centre - away), centre + away)
    return _chart(WITHIN, sds, lines)


def ewma(values: Floats, level: Level, width: float) -> Chart:
    """Chart of the exponentially weighted moving average, with settled limits.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Means of batches, all finite.
    level : Level
        Of the baseline.
    width : float
        Of the limits, in standard deviations of the average.
    """
    away = half_width(level.sigma, WEIGHT, width)
    averages = moving_average(values, level.centre, WEIGHT)
    return _chart(EWMA, averages, (level.centre, level.centre - away, level.centre + away))


def cusums(values: Floats, level: Level, limit: float) -> tuple[Chart, Chart]:
    """Charts of the sums above and below, in the metric's unit.

    A sum beyond its limit signals as long as the EWMA lies on the same side of the centre: a sum
    forgets slowly, and would go on signalling long after batches came back.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Means of batches, all finite.
    level : Level
        Of the baseline.
    limit : float
        h, in standard deviations.
    """
    sums = tabular_cusum(values, level.centre, SLACK * level.sigma)
    side = np.sign(moving_average(values, level.centre, WEIGHT) - level.centre)
    return _two_sided((CUSUM_UP, CUSUM_DOWN), sums, side, limit * level.sigma)


def self_starting(values: Floats, limit: float) -> tuple[Chart, Chart]:
    """Charts of sums of scores that need no baseline, in standard deviations.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Means of batches, all finite.
    limit : float
        h, in standard deviations.
    """
    scores = self_starting_scores(values)
    judged = np.nan_to_num(scores)
    listened = np.arange(len(values)) >= SELF_STARTING_FROM - 1
    side = np.sign(moving_average(judged, 0.0, WEIGHT)) * listened
    sums = tabular_cusum(judged, 0.0, SLACK)
    shown = tuple(np.where(np.isfinite(scores), one, np.nan) for one in sums)
    return _two_sided((SELF_UP, SELF_DOWN), (shown[0], shown[1]), side, limit)


def standard(values: Floats, lower: float, upper: float) -> Chart:
    """Chart of batch means against the limits of a written standard, NaN where there is none."""
    return _chart(STANDARD, values, (np.nan, lower, upper))


def _two_sided(
    names: tuple[str, str], sums: tuple[Floats, Floats], side: Floats, limit: float
) -> tuple[Chart, Chart]:
    up = _chart(names[0], sums[0], (0.0, np.nan, limit), heard=side > 0)
    down = _chart(names[1], -sums[1], (0.0, -limit, np.nan), heard=side < 0)
    return up, down


def _chart(
    name: str,
    values: Floats,
    lines: tuple[float | Floats, float | Floats, float | Floats],
    *,
    heard: Flags | None = None,
) -> Chart:
    """Lay centre, lower and upper line over the values, and say where they cross."""
    centre, lower, upper = (
        np.broadcast_to(np.asarray(line, dtype=np.float64), values.shape) for line in lines
    )
    told = np.ones(len(values), dtype=np.bool_) if heard is None else heard
    with np.errstate(invalid="ignore"):
        above, below = (values > upper) & told, (values < lower) & told
    signals = tuple(
        ABOVE if high else BELOW if low else "" for high, low in zip(above, below, strict=True)
    )
    return Chart(name, values, centre, lower, upper, signals)
