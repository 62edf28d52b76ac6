"""How far trays of one treatment differ: from a grower's own past trays, else as commonly seen."""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from traymorph.errors import DesignError
from traymorph.model.comparison import TrayTable
from traymorph.model.metrics import METRICS
from traymorph.model.plan import Spread
from traymorph.stats.replicates import find_replicates, values_of
from traymorph.stats.treatments.compare import SIZE_UNITS

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]

PER_CENT, POINTS = "%", "points"
_USUAL_SOURCE = "an assumption of common practice, without a source"
# Common practice, no source: what well-kept trays of one sowing differ by.
_USUAL = {
    "stem_length_mm": (8.0, PER_CENT),
    "stem_width_mm": (8.0, PER_CENT),
    "canopy_height_mm": (6.0, PER_CENT),
    "canopy_cover_pct": (5.0, POINTS),
    "projected_leaf_area_cm2": (8.0, PER_CENT),
    "leaf_area_mm2": (10.0, PER_CENT),
    "plant_weight_mg": (10.0, PER_CENT),
    "bare_stem_mm": (12.0, PER_CENT),
    "leaf_hue_deg": (2.0, "deg"),
}
_FEWEST_DF = 4
"""With fewer degrees of freedom the true spread may be a third or three times the estimate."""


def unit_of_spread(metric: str) -> str:
    """Name the unit of a metric's spread: per cent of sizes, else the metric's own."""
    unit = METRICS[metric].unit
    if unit in SIZE_UNITS:
        return PER_CENT
    return POINTS if unit == "%" else unit


def usual_spread(metric: str) -> Spread | None:
    """Give the spread commonly seen; None for metrics of which none is known."""
    if metric not in _USUAL:
        return None
    sd, unit = _USUAL[metric]
    return Spread(metric, sd, unit, _USUAL_SOURCE)


def past_spread(table: TrayTable, treatment_column: str, metric: str, crop: str) -> Spread | None:
    """Read the spread off trays measured before.

    Parameters
    ----------
    table : TrayTable
        The trays; of several batches, blocks count within their batch.
    treatment_column : str
        Column that holds the treatments.
    metric : str
        Name of the metric.
    crop : str
        Only trays of this crop count; all where it is empty.

    Returns
    -------
    Spread or None
        None where too few trays tell it: fewer than four degrees of freedom.

    Raises
    ------
    DesignError
        The trays are of several crops and none was named.
    """
    if metric not in table.values or treatment_column not in table.columns:
        return None
    replicates = find_replicates(table, treatment_column, None)
    crops = table.text("crop")
    of_crop = np.array([_same(crops[rows[0]], crop) for rows in replicates.rows], dtype=np.bool_)
    if not crop and len({crops[rows[0]].casefold() for rows in replicates.rows}) > 1:
        msg = "The trays measured so far are of several crops."
        raise DesignError(msg, hint="Name the crop with --crop.")
    values, _ = values_of(table, replicates, metric)
    used = np.flatnonzero(np.isfinite(values) & of_crop)
    if not len(used):
        return None
    places = list(zip(table.text("batch"), table.text("block"), strict=True))
    cells = [places[replicates.rows[k][0]] for k in used]
    codes = {cell: code for code, cell in enumerate(dict.fromkeys(cells))}
    cell_codes = np.array([codes[cell] for cell in cells], dtype=np.intp)
    sd, mean, df = spread_between(values[used], replicates.treatment[used], cell_codes)
    if df < _FEWEST_DF:
        return None
    unit = unit_of_spread(metric)
    told = 100.0 * sd / mean if unit == PER_CENT else sd
    source = f"{len(used)} {replicates.kind}s measured in this folder"
    return Spread(metric, told, unit, source, df, mean, spread_factors(df))


def _same(cell: str, crop: str) -> bool:
    return not crop or cell.casefold() == crop.casefold()


def spread_between(values: Floats, treatment: Codes, cell: Codes) -> tuple[float, float, float]:
    """Spread between trays after their treatments and blocks are taken off.

    Parameters
    ----------
    values : ndarray, shape (n,)
        One per tray, all finite.
    treatment, cell : ndarray of int, shape (n,)
        Codes of treatments and of blocks (within batches).

    Returns
    -------
    sd, mean, df : float
        Residual standard deviation of the additive model, the trays' mean, the residual degrees
        of freedom; NaN for ``sd`` where no degree is left.
    """
    model = np.column_stack(
        [codes[:, None] == np.unique(codes) for codes in (treatment, cell)]
    ).astype(np.float64)
    df = len(values) - int(np.linalg.matrix_rank(model))
    left = values - model @ (np.linalg.pinv(model) @ values)
    sd = math.sqrt(float(left @ left) / df) if df > 0 else math.nan
    return sd, float(values.mean()), float(df)


def spread_factors(df: float, level: float = 0.9) -> tuple[float, float]:
    """Multiples of an estimated standard deviation between which the true one lies.

    From the chi-squared distribution of a normal sample's variance.
    """
    tail = (1.0 - level) / 2.0
    return math.sqrt(df / chdtri(df, tail)), math.sqrt(df / chdtri(df, 1.0 - tail))
