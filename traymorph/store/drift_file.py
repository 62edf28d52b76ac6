"""``drift.csv``: one row per metric, chart and batch."""

from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from traymorph.model.drift import Chart, MetricDrift
from traymorph.store.csvfiles import number_cell
from traymorph.store.dictionary import write_described
from traymorph.store.textcells import guarded
from traymorph.store.watched_columns import DRIFT


def write_drift(path: Path, watched: Sequence[MetricDrift]) -> None:
    """Write the charts of every metric; batches of which a chart says nothing have no row.

    Parameters
    ----------
    path : Path
        Where to.
    watched : sequence of MetricDrift
        What was found.

    Raises
    ------
    StoreError
        The file cannot be written; what was there stays as it was.
    """
    rows = (cells for one in watched for chart in one.charts for cells in _rows(one, chart))
    write_described(path, DRIFT, rows)


def _rows(one: MetricDrift, chart: Chart) -> Iterable[list[str]]:
    for place in np.flatnonzero(np.isfinite(chart.values)).tolist():
        numbers = (chart.values, chart.centre, chart.lower, chart.upper)
        yield [
            one.metric,
            chart.name,
            guarded(one.names[place]),
            *(number_cell(float(line[place])) for line in numbers),
            chart.signals[place],
            "few" if one.few and chart.name != "standard" else "",
            one.days[place].isoformat(),
            "1" if one.baseline[place] else "0",
        ]
