"""How metrics go with outcomes over trays: correlations with their intervals, nothing on causes.

Pearson's coefficient with Fisher's z (Fisher 1921, Metron 1:3-32), Spearman's with the variance of
Bonett & Wright 2000 (Psychometrika 65:23-28).
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from traymorph.model.comparison import TrayTable
from traymorph.model.outcome_results import Going
from traymorph.stats.replicates import Replicates, values_of

Floats = NDArray[np.float64]

FEWEST_TRAYS = 5
"""With four the interval of Fisher's z is already nearly the whole scale."""


def metrics_with_outcomes(
    table: TrayTable,
    replicates: Replicates,
    metrics: Sequence[str],
    outcomes: Sequence[str],
    level: float = 0.95,
) -> tuple[Going, ...]:
    """Correlate every metric with every outcome over the replicates that have both.

    Parameters
    ----------
    table : TrayTable
        Metrics and outcomes by tray.
    replicates : Replicates
        What got the treatments.
    metrics, outcomes : sequence of str
        Names of ``table.values``.
    level : float
        Of the intervals.
    """
    left = {name: values_of(table, replicates, name)[0] for name in metrics}
    right = {name: values_of(table, replicates, name)[0] for name in outcomes}
    result = []
    for outcome, y in right.items():
        for metric, x in left.items():
            both = np.isfinite(x) & np.isfinite(y)
            if int(both.sum()) >= FEWEST_TRAYS:
                going = _going(metric, outcome, x[both], y[both], level)
                if going is not None:
                    result.append(going)
    return tuple(result)


def _going(metric: str, outcome: str, x: Floats, y: Floats, level: float) -> Going | None:
    r, by_rank = pearson(x, y), pearson(ranks(x), ranks(y))
    if not (math.isfinite(r) and math.isfinite(by_rank)):
        return None
    n = len(x)
    along = _interval(r, 1.0 / math.sqrt(n - 3), level)
    ranked = _interval(by_rank, math.sqrt((1.0 + by_rank**2 / 2.0) / (n - 3)), level)
    return Going(metric, outcome, n, r, *along, by_rank, *ranked)


def pearson(x: Floats, y: Floats) -> float:
    """Correlation along a line; NaN where one of both does not vary."""
    x, y = x - x.mean(), y - y.mean()
    size = math.sqrt(float(x @ x) * float(y @ y))
    return min(max(float(x @ y) / size, -1.0), 1.0) if size > 0 else math.nan


def ranks(values: Floats) -> Floats:
    """Ranks from 1, ties sharing their mean."""
    _, place, count = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    return np.asarray((last - (count - 1) / 2.0)[place])


def _interval(r: float, se: float, level: float) -> tuple[float, float]:
    if abs(r) >= 1.0:
        return r, r
    reach = float(ndtri(0.5 + level / 2.0)) * se
    z = math.atanh(r)
    return math.tanh(z - reach), math.tanh(z + reach)
