"""Several photos of one tray on one day become one value per metric."""

from collections.abc import Sequence
from datetime import date
from typing import TypeVar

import numpy as np

from traymorph.model.results import Measured

Thing = TypeVar("Thing")


def combine_photos(readings: Sequence[dict[str, Measured]]) -> dict[str, Measured]:
    """Average the readings of several photos of one tray and view.

    What the photos share (card, plane, masks) does not average out, so the combined uncertainty is
    that of a single photo and the scatter of the mean added in squares, never the one divided by
    the square root of the number of photos.

    Parameters
    ----------
    readings : sequence of dict of str to Measured
        One per photo; NaN where a photo did not give a metric.

    Returns
    -------
    dict of str to Measured
    """
    names = dict.fromkeys(name for reading in readings for name in reading)
    return {
        name: _mean([reading[name] for reading in readings if name in reading]) for name in names
    }


def _mean(measured: list[Measured]) -> Measured:
    known = [one for one in measured if np.isfinite(one.value)]
    if not known:
        return Measured()
    if len(known) == 1:
        return known[0]
    values = np.array([one.value for one in known])
    single = np.sqrt(np.mean([one.u**2 for one in known]))
    scatter = values.std(ddof=1) / np.sqrt(len(values))
    return Measured(float(values.mean()), float(np.hypot(single, scatter)))


def group_by_day(
    things: Sequence[tuple[date | None, Thing]],
) -> dict[date | None, list[Thing]]:
    """Sort photos into days; undated ones join the only day there is, if there is only one."""
    days = {day for day, _ in things if day is not None}
    only = next(iter(days)) if len(days) == 1 else None
    groups: dict[date | None, list[Thing]] = {}
    for day, thing in things:
        groups.setdefault(day or only, []).append(thing)
    return groups
