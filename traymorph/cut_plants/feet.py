"""Which pieces are plants, and which free ends are where a plant was cut."""

import numpy as np
from numpy.typing import NDArray

from traymorph.cut_plants.silhouettes import Run, Silhouette, TypicalPlant

_LEAST_STEM, _LEAST_AREA_WITH_STEM, _LEAST_AREA = 0.35, 0.15, 0.4
"""Of the typical plant: length of stem and area of a piece that has one, area of one without."""
_THINNEST, _THICKEST = 0.55, 1.8
"""Half width of a stem over the typical one's."""
_LONG, _MEDIUM, _SHORT = 0.45, 0.2, 0.1
"""Lengths of further free ends over the typical stem's."""
_FURTHER = 0.72
"""Half width of a further cut end over the typical stem's and over the surest end's, at least.
Stems of one photo differ by a quarter; tendrils, stalks and tips are thinner."""
_BLUNT = 0.8
"""Half width near a further cut end over that of its run, at least: tendrils and tips taper."""
_LARGE = 1.25
"""Area of a piece, over the typical plant's, from which it may well be two."""
_ALIKE = 0.3
"""Difference of the logarithms of half widths that are alike."""
_STEM_COLOUR = 0.5
"""Log-odds of leaf by colour below which an end is no blade, and below whose negative a stem."""
_COLOUR_WEIGHT, _WIDTH_WEIGHT = 0.15, 0.5
_ODDS_LIMIT = 3.0


def is_plant(piece: Silhouette, typical: TypicalPlant | None) -> bool:
    """Whether a piece is a plant rather than a hull, a root, a drop's rim or a crumb."""
    if typical is None:
        return True
    least = _LEAST_AREA_WITH_STEM if has_stem(piece, typical) else _LEAST_AREA
    return piece.area >= least * typical.area


def has_stem(piece: Silhouette, typical: TypicalPlant) -> bool:
    """Whether one of a piece's free ends is as long and wide as a stem."""
    return any(
        run.length >= _LEAST_STEM * typical.stem_length and _stem_wide(run, typical)
        for run in piece.runs
    )


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
    large = piece.area > _LARGE * typical.area
    least = _FURTHER * max(typical.stem_half_width, scored[0][2].half_width)
    others = [
        run
        for _, odds, run in scored[1:]
        if run.half_width >= least
        and run.end_half_width >= _BLUNT * run.half_width
        and _is_foot(run, odds, typical, large=large)
    ]
    return [scored[0][2], *others]


def _is_foot(run: Run, odds: float, typical: TypicalPlant, *, large: bool) -> bool:
    """Whether a further free end means another plant.

    A long one does unless it has a leaf's colour; a shorter one if it is coloured and as wide as
    a stem, or belongs to a piece that is large for one plant.
    """
    length = run.length / typical.stem_length
    if length > _LONG or (large and length > _SHORT):
        return odds < _STEM_COLOUR
    alike = abs(np.log(run.half_width / typical.stem_half_width)) < _ALIKE
    return length > _MEDIUM and odds < -_STEM_COLOUR and bool(alike)


def _stem_wide(run: Run, typical: TypicalPlant) -> bool:
    return _THINNEST < run.half_width / typical.stem_half_width < _THICKEST
