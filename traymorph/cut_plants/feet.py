"""Which pieces are plants, and which free ends are where a plant was cut."""

import numpy as np
from numpy.typing import NDArray

from traymorph.cut_plants.silhouettes import Run, Silhouette, TypicalPlant

_LEAST_STEM, _LEAST_AREA_WITH_STEM, _LEAST_AREA = 0.35, 0.15, 0.4
"""Of the typical plant: length of stem and area of a piece that has one, area of one without."""
_THINNEST, _THICKEST = 0.55, 1.8
"""Half width of a stem over the typical one's."""
_SECOND_FOOT = 0.45
"""Length, over the typical stem's, from which a further free end means another plant."""
_COLOUR_WEIGHT, _WIDTH_WEIGHT = 0.15, 0.5
_ODDS_LIMIT = 3.0


def is_plant(piece: Silhouette, typical: TypicalPlant | None) -> bool:
    """Whether a piece is a plant rather than a hull, a root, a drop's rim or a crumb."""
    if typical is None:
        return True
    has_stem = any(
        run.length >= _LEAST_STEM * typical.stem_length and _stem_wide(run, typical)
        for run in piece.runs
    )
    least = _LEAST_AREA_WITH_STEM if has_stem else _LEAST_AREA
    return piece.area >= least * typical.area


def feet_of(
    piece: Silhouette, typical: TypicalPlant, leaf_odds: NDArray[np.float64] | None
) -> list[Run]:
    """Free ends at which plants were cut, the surest first.

    Parameters
    ----------
    piece : Silhouette
        One plant or several that touch.
    typical : TypicalPlant
        Of the photo.
    leaf_odds : ndarray or None
        Log-odds of leaf by colour at the skeleton's cells.
    """
    scored = []
    for run in piece.runs:
        if not _stem_wide(run, typical):
            continue
        odds = 0.0 if leaf_odds is None else float(np.median(leaf_odds[run.cells]))
        score = min(run.length / typical.stem_length, 1.2)
        score -= _COLOUR_WEIGHT * float(np.clip(odds, -_ODDS_LIMIT, _ODDS_LIMIT))
        score -= _WIDTH_WEIGHT * abs(np.log(run.half_width / typical.stem_half_width))
        scored.append((score, odds, run))
    if not scored:
        return []
    scored.sort(key=lambda one: -one[0])
    best = scored[0][2]
    others = [
        run
        for _, odds, run in scored[1:]
        if odds < 0.5 and run.length > _SECOND_FOOT * typical.stem_length
    ]
    return [best, *others]


def _stem_wide(run: Run, typical: TypicalPlant) -> bool:
    return _THINNEST < run.half_width / typical.stem_half_width < _THICKEST
