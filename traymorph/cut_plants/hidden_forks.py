"""Stems whose fork lies under the plant's own blades.

Where blades overlap, the stem is seen to end only where the first of them begins, which is where
the stalks end. The stalks of the photo's other plants tell how far below that the fork lies: plants
of one tray are of one age and kind.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from traymorph.cut_plants.centre_line import distances
from traymorph.cut_plants.stems import CUT_U_WIDTHS, Stem
from traymorph.model.cut_plants import CutPlant

_FEWEST = 3
"""Plants whose fork is seen, from which the usual stalk is known."""
_SHARE = 0.75
"""Stalk below the first blade over that of plants whose fork is seen: blades that hide a fork hide
the upper part of the stalks too. Mean over twelve rendered boards; their means then lie within 0.5
stem widths of the truth, single plants 0.8 widths apart."""
_NODE_U_WIDTHS = 1.5
"""Standard uncertainty of such a node, in stem widths: as of one that ends at a blade. Where the
fork is only hidden 0.95 would do; a stem that was lost against a blade cannot be told from it."""
_MOST_SHARE = 0.5
"""Share of what was followed that may be stalk."""


@dataclass(frozen=True, slots=True, eq=False)
class Followed:
    """A plant with its stem as it was followed.

    Parameters
    ----------
    plant : CutPlant
        The plant.
    stem : Stem or None
        None where none is told.
    blade_way : float
        From the cut to where the first blade begins along the skeleton, cells.
    """

    plant: CutPlant
    stem: Stem | None = None
    blade_way: float = math.nan


def with_hidden_forks(found: Sequence[Followed]) -> list[CutPlant]:
    """Shorten the stems that were followed up to a blade by the photo's usual stalk.

    Parameters
    ----------
    found : sequence of Followed
        All plants of one photo.

    Returns
    -------
    list of CutPlant
        Unchanged where fewer than three plants of the photo show their fork.
    """
    seen = [
        _stalk_widths(one.stem, one.blade_way)
        for one in found
        if one.stem is not None and one.stem.fork_is_seen and one.plant.stands_alone
    ]
    if len(seen) < _FEWEST:
        return [one.plant for one in found]
    usual = _SHARE * float(np.median(seen))
    plants = []
    for one in found:
        if one.stem is None or one.stem.fork_is_seen:
            plants.append(one.plant)
            continue
        back = max(usual - _stalk_widths(one.stem, one.blade_way), 0.0)
        plants.append(_shortened(one.plant, one.stem.width, back))
    return plants


def _stalk_widths(stem: Stem, blade_way: float) -> float:
    """How far beyond the node the first blade begins, in stem widths."""
    return max(blade_way - stem.way, 0.0) / stem.width


def _shortened(plant: CutPlant, width: float, back_widths: float) -> CutPlant:
    along = distances(plant.centre_line)
    end = max(float(along[-1]) - back_widths * width, _MOST_SHARE * float(along[-1]))
    kept = int(np.searchsorted(along, end))
    last = [np.interp(end, along, plant.centre_line[:, axis]) for axis in (0, 1)]
    return replace(
        plant,
        centre_line=np.vstack([plant.centre_line[:kept], last]),
        ends_u_cells=width * math.hypot(CUT_U_WIDTHS, _NODE_U_WIDTHS),
    )
