"""Fresh weight foretold from the photos by a line fitted to the grower's own weighed trays.

A least squares model on at most two metrics fixed beforehand, so that nothing is picked because it
happened to fit. Its error is that of trays left out in turn, never that of the trays it was fitted
to.
"""

import numpy as np
from numpy.typing import NDArray

from traymorph.model.comparison import TrayTable
from traymorph.model.outcome_results import Foretold
from traymorph.stats.replicates import Replicates, values_of

Floats = NDArray[np.float64]

PREDICTORS = ("projected_leaf_area_cm2", "canopy_height_mm")
FEWEST_TRAYS = 12
"""Four trays for each of the three numbers of the model."""


def foretell(table: TrayTable, replicates: Replicates, outcome: str) -> Foretold:
    """Fit a small model of an outcome.

    Parameters
    ----------
    table : TrayTable
        Metrics and the outcome.
    replicates : Replicates
        What got the treatments.
    outcome : str
        Name of ``table.values``.
    """
    unit = table.units.get(outcome, "")
    y = values_of(table, replicates, outcome)[0]
    columns = {
        name: values_of(table, replicates, name)[0] for name in PREDICTORS if name in table.values
    }
    weighed = np.isfinite(y)
    used = {
        name: column for name, column in columns.items()
        if int((np.isfinite(column) & weighed).sum()) >= FEWEST_TRAYS
    }  # fmt: skip
    if not used:
        most = max(
            (int((np.isfinite(column) & weighed).sum()) for column in columns.values()), default=0
        )
        why = (
            f"{most} trays have both {outcome} and {' or '.join(PREDICTORS)}; a model needs "
            f"{FEWEST_TRAYS}"
        )
        return Foretold(outcome, unit, n=most, missing=why)
    x = np.column_stack(list(used.values()))
    known = np.isfinite(x).all(axis=1)
    rows = known & weighed
    if int(rows.sum()) < FEWEST_TRAYS:
        name = next(iter(used))
        used = {name: used[name]}
        x = used[name][:, None]
        known = np.isfinite(x).all(axis=1)
        rows = known & weighed
    return _fitted(Foretold(outcome, unit, tuple(used), int(rows.sum())), x, y, rows, replicates)


def _fitted(
    empty: Foretold, x: Floats, y: Floats, rows: NDArray[np.bool_], replicates: Replicates
) -> Foretold:
    trained, weights = x[rows], y[rows]
    centre, size = trained.mean(axis=0), trained.std(axis=0)
    if not (size > 0).all():
        why = f"{' or '.join(empty.predictors)} does not vary"
        return Foretold(empty.outcome, empty.unit, n=empty.n, missing=why)
    design = np.column_stack([np.ones(len(trained)), (trained - centre) / size])
    q, r = np.linalg.qr(design)
    factors = np.linalg.lstsq(r, q.T @ weights, rcond=None)[0]
    free = np.maximum(1.0 - (q**2).sum(axis=1), 1e-9)
    left = (weights - design @ factors) / free
    n = len(weights)
    of_mean = (weights - weights.mean()) * n / (n - 1)
    wanted = np.flatnonzero(np.isfinite(x).all(axis=1) & ~np.isfinite(y))
    inside = ((x[wanted] >= trained.min(axis=0)) & (x[wanted] <= trained.max(axis=0))).all(axis=1)
    told = np.column_stack([np.ones(len(wanted)), (x[wanted] - centre) / size]) @ factors
    return Foretold(
        empty.outcome,
        empty.unit,
        empty.predictors,
        n,
        float(np.sqrt(np.mean(left**2))),
        float(np.sqrt(np.mean(of_mean**2))),
        "",
        tuple(replicates.names[row] for row in wanted),
        np.where(inside, told, np.nan),
    )
