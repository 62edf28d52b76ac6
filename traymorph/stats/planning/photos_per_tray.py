"""What photographing each tray several times does to the spread between trays.

The spread between trays of one treatment, each photographed once, holds the scatter of measuring:
s^2 = s^2(trays) + s^2(measuring). Averaged over n photos of each tray the second part is divided by
n (Cochran 1977, Sampling Techniques, 3rd ed., ch. 10, on subsampling). It is taken that one person
and phone photographs all trays of a trial.
"""

import math
from collections.abc import Callable
from dataclasses import replace

from traymorph.model.plan import Measuring, PhotosRow, Scatter, Spread

PHOTOS = (2, 3, 4)


def in_unit_of(spread: Spread, scatter: Scatter) -> float:
    """Scatter of measuring in the unit of a spread; NaN where the mean cannot be divided by."""
    if spread.unit != "%":
        return scatter.sd
    mean = spread.mean if math.isfinite(spread.mean) else scatter.mean
    return 100.0 * scatter.sd / mean if mean > 0 else math.nan


def with_scatter(spread: Spread, scatter: Scatter) -> Spread:
    """Add the scatter of measuring to a spread that does not hold it."""
    added = in_unit_of(spread, scatter)
    if not added > 0:
        return spread
    source = f"{spread.source}, with the scatter of measuring added in squares"
    return replace(spread, sd=math.hypot(spread.sd, added), source=source)


def measuring_within(
    spread: Spread, scatter: Scatter, trays: Callable[[Spread], int] | None
) -> Measuring | None:
    """Part a spread into trays and measuring, and tell what more photos of each tray bring.

    Parameters
    ----------
    spread : Spread
        Between trays photographed once each; holds the measuring.
    scatter : Scatter
        Of one person and phone.
    trays : callable or None
        Gives the trays of each treatment that a spread takes; None where none are asked for.

    Returns
    -------
    Measuring or None
        None where the scatter cannot be brought to the spread's unit.
    """
    sd = in_unit_of(spread, scatter)
    if not math.isfinite(sd):
        return None
    # Chance can make repeats scatter more than trays that hold the same scatter.
    within = min(sd, spread.sd)
    rows = []
    for photos in PHOTOS:
        left = replace(spread, sd=math.sqrt(spread.sd**2 - within**2 * (1.0 - 1.0 / photos)))
        rows.append(PhotosRow(photos, left.sd, trays(left) if trays else None))
    share = 100.0 * (within / spread.sd) ** 2
    return Measuring(sd, share, sd > spread.sd, scatter.source, tuple(rows))
