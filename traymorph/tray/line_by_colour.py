"""The line above which leaf of another look stands in a side photo, by colour.

Light falls from above: within one stand leaves get lighter upwards, keep their hue, and lose
colour in gloss rather than gain it. A stand behind shows its shaded lower part just above the
well-lit tops of the own stand, so that going up the leaf turns darker, of another hue, or stronger
in colour for its lightness. Light and shade change lightness and chroma alike, so the search is
made in colours over their lightness too: there a stand behind of another green is not parted into
its own lit and shaded leaves.
"""

import math

import numpy as np
from numpy.typing import NDArray

from traymorph.tray.behind import Plane, colour_bins, colour_frequencies
from traymorph.tray.best_line import (
    FEWEST_CELLS,
    Bins,
    FrontOutline,
    Looks,
    chance_greater,
    log_odds,
    settled,
    shows_behind,
)

_STARTS = (
    (0.5, math.inf),
    (0.65, math.inf),
    (0.8, math.inf),
    (0.9, math.inf),
    (0.8, 30.0),
    (0.9, 30.0),
)
"""Share of the leaf below the level that a search starts from, and how far below the line own leaf
is learnt, mm: shaded leaf near the rim is like the shaded part of a stand behind."""
_NEAR_MM = 15.0
_BLOCK_MM = 20
_DARKER_PARTED, _OTHER_HUE_PARTED, _STRONGER_PARTED, _MAYBE_PARTED = 0.9, 0.955, 0.9, 0.8
"""Chance that a left-out cell above the line looks more like those above than one below does.
Lines through single stands reach 0.88 with darker leaf above, 0.95 with leaf of another hue, and
0.83 with leaf of stronger colour."""
_DARKER_L = 8.0
_OTHER_HUE_DEG = 15.0
_LEAST_CHROMA = 8.0
"""Below this hue means nothing."""
_STRONGER = 1.4
"""Chroma over lightness above the line over that below. With lines that part by 0.9, single stands
of rendered trays reach 1.32; of five trays behind of another green four have 1.4 to 2.0."""
_LEAST_L, _EVEN_L = 15.0, 50.0
"""Darker leaf has no colour to speak of; all colours are brought to one lightness."""


def line_by_colour(used: NDArray[np.bool_], lab: Plane, above_mm: Plane) -> FrontOutline | None:
    """Find the line that parts leaf of one look from leaf of another the best.

    Parameters
    ----------
    used : ndarray of bool, shape (rows, columns)
        Cells of leaf above the rim, 1 mm wide.
    lab : ndarray of float32, shape (rows, columns, 3)
        CIELAB of the cells.
    above_mm : ndarray of float32, shape (rows, columns)
        Height above the rim, falling from row to row.

    Returns
    -------
    FrontOutline or None
        None where one stand under light from above may look so.
    """
    bins = colour_bins(lab)
    heights = above_mm[used]
    found = []
    for searched in (bins, colour_bins(_at_one_lightness(lab))):
        looks = Looks(searched, colour_frequencies)
        for share, learnt_mm in _STARTS:
            start = float(np.quantile(heights, share))
            line = settled(used, looks, above_mm, start, learnt_mm)
            if line is None:
                continue
            parted, outline = _judged(used, lab, bins, above_mm, line)
            if outline is not None:
                found.append((outline.sure, parted, outline))
    return max(found, key=lambda one: one[:2])[2] if found else None


def _at_one_lightness(lab: Plane) -> Plane:
    """Colours as they would be were all leaf equally lit: chroma goes with lightness."""
    scale = _EVEN_L / np.maximum(lab[..., :1], np.float32(_LEAST_L))
    even = np.full((*lab.shape[:2], 1), _EVEN_L, np.float32)
    return np.concatenate([even, lab[..., 1:] * scale], axis=2, dtype=np.float32)


def _judged(
    used: NDArray[np.bool_],
    lab: Plane,
    bins: Bins,
    above_mm: Plane,
    line: NDArray[np.float64],
) -> tuple[float, FrontOutline | None]:
    """How well a line parts, and itself where one stand under light from above has no such line."""
    shows = shows_behind(used, above_mm, line)
    if shows is None:
        return 0.0, None
    beyond = above_mm - line
    near_above = used & (beyond > 0) & (beyond < _NEAR_MM) & shows
    near_below = used & (beyond <= 0) & (beyond > -_NEAR_MM) & shows
    asked = _asked(lab[near_above], lab[near_below])
    if asked is None:
        return 0.0, None
    parted = _parted(bins, near_above, near_below)
    if parted < _MAYBE_PARTED:
        return parted, None
    return parted, FrontOutline(np.where(shows, line, np.inf), parted > asked)


def _asked(above: Plane, below: Plane) -> float | None:
    """How well leaf above must part from that below to be sure; None where it may be one stand."""
    if min(len(above), len(below)) < FEWEST_CELLS:
        return None
    (l_above, *ab_above), (l_below, *ab_below) = above.mean(axis=0), below.mean(axis=0)
    if l_below - l_above > _DARKER_L:
        return _DARKER_PARTED
    chromas = [float(np.hypot(*ab)) for ab in (ab_above, ab_below)]
    lit = (max(l_above, _LEAST_L), max(l_below, _LEAST_L))
    strengths = [chroma / light for chroma, light in zip(chromas, lit, strict=True)]
    if chromas[0] > _LEAST_CHROMA and strengths[0] > _STRONGER * strengths[1]:
        return _STRONGER_PARTED
    hues = [np.degrees(np.arctan2(b, a)) for a, b in (ab_above, ab_below)]
    turn = abs((hues[0] - hues[1] + 180.0) % 360.0 - 180.0)
    other_hue = turn > _OTHER_HUE_DEG and min(chromas) > _LEAST_CHROMA
    return _OTHER_HUE_PARTED if other_hue else None


def _parted(bins: Bins, above: NDArray[np.bool_], below: NDArray[np.bool_]) -> float:
    """Chance that colours learnt in every other block of columns order two cells of the rest."""
    block = (np.arange(bins.shape[1]) // _BLOCK_MM) % 2
    said_above, said_below = [], []
    for k in (0, 1):
        learn, left_out = block == k, block != k
        if min((above & learn).sum(), (below & learn).sum()) < FEWEST_CELLS // 3:
            return 0.0
        odds = log_odds(bins[above & learn], bins[below & learn], colour_frequencies)
        said_above.append(odds[bins[above & left_out]])
        said_below.append(odds[bins[below & left_out]])
    return chance_greater(np.concatenate(said_above), np.concatenate(said_below))
