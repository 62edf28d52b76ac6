"""One metric watched over its batches: baseline, charts, what moved."""

from dataclasses import dataclass
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from traymorph.model.drift import Batches, Chart, MetricDrift, StandardLimit
from traymorph.stats.drift.baseline import (
    ENOUGH,
    Level,
    batches_to_false_alarm,
    lag_one,
    level_of,
    trend,
)
from traymorph.stats.drift.capability import capability
from traymorph.stats.drift.charts import (
    SLACK,
    WEIGHT,
    cusums,
    ewma,
    individuals,
    moving_ranges,
    self_starting,
    standard,
    within,
)
from traymorph.stats.drift.moves import find_moves
from traymorph.stats.drift.run_lengths import cusum_limit, ewma_width, shewhart_run_length

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FEWEST = 5
"""Batches that the first chart takes."""
_USUAL_LIMIT = 5.0
"""h of the CUSUM unless a run length is chosen: 465 batches (Lucas & Crosier 1982)."""
_SEASON_DAYS = 90
_MOST_OF_A_YEAR_DAYS = 270


@dataclass(frozen=True, slots=True)
class Manner:
    """How batches are watched.

    Parameters
    ----------
    baseline : int
        First batches that limits rest on.
    left_out : frozenset of str
        Batches that a known cause keeps out of the baseline.
    rules : str or None
        Set of run rules beside the first.
    run_length : float or None
        Batches to a false alarm of EWMA and CUSUM, each; None = 370 of the EWMA, 465 of the CUSUM.
    """

    baseline: int = ENOUGH
    left_out: frozenset[str] = frozenset()
    rules: str | None = None
    run_length: float | None = None


def watch(
    metric: str, unit: str, batches: Batches, manner: Manner, limit: StandardLimit | None
) -> MetricDrift:
    """Draw the charts of one metric.

    Parameters
    ----------
    metric, unit : str
        To watch.
    batches : Batches
        In the order of their days.
    manner : Manner
        Baseline, rules and run length.
    limit : StandardLimit or None
        Of a written standard.

    Returns
    -------
    MetricDrift
        Without charts of its own where there are fewer than five batches or they do not vary; a
        warning says so.
    """
    held = np.flatnonzero(np.isfinite(batches.means[metric]))
    names = tuple(batches.names[k] for k in held)
    days = tuple(batches.days[k] for k in held)
    values = batches.means[metric][held]
    baseline = _baseline(names, manner)
    judged: list[Chart] = []
    capable = None
    if limit is not None and len(held):
        judged.append(standard(values, limit.lower, limit.upper))
        capable = capability(values, limit.lower, limit.upper)
    few = int(baseline.sum()) < ENOUGH
    level, refusal = _level(values, baseline)
    if level is None:
        return MetricDrift(metric, unit, names, days, baseline, few, tuple(judged),
                           capability=capable, warnings=refusal)  # fmt: skip
    charts = _charts(values, level, manner)
    spread = within(batches.sds[metric][held], batches.counts[metric][held], baseline)
    charts += [spread] if spread is not None else []
    return MetricDrift(
        metric,
        unit,
        names,
        days,
        baseline,
        few,
        (*charts, *judged),
        level.centre,
        level.sigma,
        find_moves(values, charts),
        capable,
        _of_baseline(values[baseline]),
    )


def _baseline(names: tuple[str, ...], manner: Manner) -> Flags:
    kept = np.array([name not in manner.left_out for name in names], dtype=np.bool_)
    return kept & (np.cumsum(kept) <= manner.baseline)


def _level(values: Floats, baseline: Flags) -> tuple[Level | None, tuple[str, ...]]:
    """Level of the baseline, or why there is none."""
    if len(values) < FEWEST or baseline.sum() < 2:
        told = (
            f"batches so far: {len(values)}; the first chart takes {FEWEST}, and only a written "
            "standard (standard.csv) can judge earlier ones."
        )
        return None, (told,)
    level = level_of(values[baseline])
    if level.sigma > 0.0:
        return level, ()
    told = (
        "the same in every batch of the baseline, and no limits can be drawn from that. Look "
        "whether numbers were copied."
    )
    return None, (told,)


def _charts(values: Floats, level: Level, manner: Manner) -> list[Chart]:
    """Charts of location: with a whole baseline EWMA and CUSUM, before it the self-starting one."""
    wanted = manner.run_length
    limit = _USUAL_LIMIT if wanted is None else cusum_limit(SLACK, wanted)
    charts = [individuals(values, level, manner.rules), moving_ranges(values, level)]
    if level.n < manner.baseline:
        return [*charts, *self_starting(values, limit)]
    width = ewma_width(WEIGHT, shewhart_run_length() if wanted is None else wanted)
    return [*charts, ewma(values, level, width), *cusums(values, level, limit)]


def few_in_words(n: int) -> str:
    """Say what a short baseline does to false alarms."""
    often = batches_to_false_alarm(n)
    return (
        f"The limits rest on {n} batches, and fewer than {ENOUGH} are few: an individuals chart "
        f"from so many gives a false alarm about every {often:.0f} batches on average, where "
        f"limits known exactly give one every {shewhart_run_length():.0f} (from {ENOUGH} batches: "
        f"every {batches_to_false_alarm(ENOUGH):.0f})."
    )


def _of_baseline(values: Floats) -> tuple[str, ...]:
    """Warn of a baseline that moves by itself."""
    warnings = []
    slope, trending = trend(values)
    if trending:
        way = "up" if slope > 0 else "down"
        warnings.append(
            f"the baseline runs {way} by {abs(slope):.2g} a batch: it is no steady state, and "
            "its limits are not to be trusted."
        )
    correlation, correlated = lag_one(values)
    if correlated and isfinite(correlation):
        more = "too often" if correlation > 0 else "too seldom"
        warnings.append(
            "in the baseline each batch goes with the one before (lag 1 correlation "
            f"{correlation:+.2f}), and limits from moving ranges then give alarms {more}."
        )
    return tuple(warnings)


def season_in_words(one: MetricDrift) -> str:
    """Warn of batches from a season that the baseline has not seen; "" where it has."""
    numbers = np.array([day.toordinal() for day in one.days])
    inside = numbers[one.baseline]
    if not len(inside):
        return ""
    span, later = int(np.ptp(inside)), int(numbers[-1] - inside[-1])
    if span >= _MOST_OF_A_YEAR_DAYS or later <= _SEASON_DAYS:
        return ""
    return (
        f"The baseline spans {span} days and ended {later} days before the newest batch: a change "
        "of season moves batches too (light, warmth), and looks like drift here."
    )
