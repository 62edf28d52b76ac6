"""Masks as they would be if their doubtful pixels were mistaken in the same way.

A mask errs alike over a whole tray: what it takes dark leaves for, it takes all dark leaves for.
Its doubt therefore does not average out over pixels. How much of it goes one way was read from
rendered trays that the masks were not made from.
"""

from dataclasses import replace

import numpy as np

from traymorph.model.masks import PlantMasks

SAME_WAY = 0.4
"""Share of the doubt, as a standard uncertainty, that falls on one side: colours and cut plants."""
TRAY_SAME_WAY = 0.5
"""The same of trays' masks. Where more than 2 % of an opening is expected to be told wrongly, the
error that masks bring into its cover is .45 of that (root mean square, 11 rendered trays; in a
twelfth, under a grow light, 2.5)."""


def mistaken_plant(masks: PlantMasks, sign: float) -> PlantMasks:
    """Take part of the doubtful pixels for plant or for none.

    Parameters
    ----------
    masks : PlantMasks
        As found.
    sign : float
        1 adds plants by one standard uncertainty, -1 removes them.

    Returns
    -------
    PlantMasks
        The share of leaf within the plants stays.
    """
    plant = masks.plant
    changed = np.clip(plant + sign * TRAY_SAME_WAY * masks.doubt, 0.0, 1.0)
    leafy = np.where(plant > 0, masks.leaf / np.maximum(plant, 1e-3), 1.0)
    return replace(
        masks,
        leaf=(changed * leafy).astype(np.float32),
        stem=(changed * (1.0 - leafy)).astype(np.float32),
    )


def mistaken_class(masks: PlantMasks, sign: float) -> PlantMasks:
    """Take part of what may be leaf or stem for leaf, or for stem.

    Parameters
    ----------
    masks : PlantMasks
        As found.
    sign : float
        1 turns stem into leaf by one standard uncertainty, -1 leaf into stem.

    Returns
    -------
    PlantMasks
        The share of plant stays.
    """
    moved = sign * TRAY_SAME_WAY * np.minimum(masks.leaf, masks.stem)
    return replace(
        masks,
        leaf=(masks.leaf + moved).astype(np.float32),
        stem=(masks.stem - moved).astype(np.float32),
    )
