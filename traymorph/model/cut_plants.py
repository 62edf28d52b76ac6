"""Cut plants as they lie on a board: which cells are whose, and how each plant is built."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Shares = NDArray[np.float32]
Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Blade:
    """One leaf blade of a cut plant.

    Parameters
    ----------
    area_cells : float
        Cells that it covers, seen from above; what lies under another blade is not in it.
    base, tip : ndarray, shape (2,)
        (x, y) in cells of the board's grid: where the stalk joins, and the far end.
    length_cells : float
        From base to tip along the blade's middle.
    width_cells : float
        Greatest width at right angles to its length.
    true_leaf : bool
        A true leaf rather than a seed leaf.
    flags : tuple of str
        ``blade_folded`` or ``blades_overlap``: length and width are then not the blade's own.
    """

    area_cells: float
    base: Points
    tip: Points
    length_cells: float
    width_cells: float
    true_leaf: bool
    flags: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class CutPlant:
    """One cut plant, or a group of plants that could not be told apart.

    Points are (x, y) in cells of the board's grid, cell centres on whole numbers.

    Parameters
    ----------
    box : tuple of slice
        Rows and columns of the grid that hold the plant.
    leaf, stem : ndarray of float32, of the box's shape
        Share of the cell that is this plant's blade, or its stem with leaf stalks.
    centre_line : ndarray, shape (n, 2)
        Middle of the stem from the cut to the node, sub-cell; shape (0, 2) where no stem is told.
        The length of this polyline is the length of the stem.
    stem_width_cells : float
        Mean width of the stem along the centre line; NaN without one.
    blades : tuple of Blade
        Its blades.
    flags : tuple of str
        What qualifies the plant, those of its blades included; ``plants_touch``,
        ``plant_cut_off`` and ``heap`` keep it out of the tray's means, ``stem_unclear`` its leaf.
    ends_u_cells : float
        Standard uncertainty of where cut and node lie along the stem, together, cells.
    """

    box: tuple[slice, slice]
    leaf: Shares
    stem: Shares
    centre_line: Points
    stem_width_cells: float
    blades: tuple[Blade, ...]
    flags: tuple[str, ...] = ()
    ends_u_cells: float = 0.0

    @property
    def stands_alone(self) -> bool:
        """Whether the plant counts in the tray's means."""
        return not LEFT_OUT.intersection(self.flags)

    @property
    def leaf_is_told(self) -> bool:
        """Whether ``leaf`` holds blades alone, rather than the whole plant with its stem."""
        return "stem_unclear" not in self.flags


LEFT_OUT = frozenset({"plants_touch", "plant_cut_off", "heap"})
"""Flags of what is not one whole plant."""
