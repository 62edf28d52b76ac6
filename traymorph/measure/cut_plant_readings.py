"""What is read from one cut plant, its doubt parted into what all plants share and its own.

What all plants of a board share (the card's size, how high blades lie, where the outline is put)
does not average out over them; what each has for itself does (JCGM 100:2008, F.1.2.3 and 4.2.3).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traymorph.model.card import ColourFit
from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.results import Measured
from traymorph.model.viewpoint import Viewpoint

Plane = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class BoardView:
    """A board photo carried to the plane of its board.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (rows, columns, 3)
        Corrected picture on the grid.
    doubt : ndarray of float32, shape (rows, columns)
        Probability that the cell's class (plant or not) is wrong, 0 to 0.5.
    grid : PlaneGrid
        In the plane of the card, which lies on the board.
    viewpoint : Viewpoint
        The camera.
    card_mm : ndarray, shape (2,)
        The card's middle in its own frame, where the scale was read.
    edge_u_mm : float
        Standard uncertainty of where outlines lie, the same way for all plants.
    colour : ColourFit
        How the picture's colours were corrected.
    too_alike : bool
        Whether stems or leaves hardly differ from the board, so that parts of them may be lost.
    """

    rgb: NDArray[np.uint8]
    doubt: Plane
    grid: PlaneGrid
    viewpoint: Viewpoint
    card_mm: NDArray[np.float64]
    edge_u_mm: float
    colour: ColourFit
    too_alike: bool = False

    @property
    def camera_height_mm(self) -> float:
        """Height of the camera above the board, mm."""
        return float(self.viewpoint.position_mm[2])


@dataclass(frozen=True, slots=True)
class Reading:
    """A value with the doubt that it shares with all plants of the board, and its own.

    Parameters
    ----------
    value : float
        In the metric's unit; NaN = not measured.
    shared_u, own_u : float
        Standard uncertainties.
    """

    value: float = math.nan
    shared_u: float = math.nan
    own_u: float = math.nan

    @property
    def measured(self) -> Measured:
        """The value with both doubts together."""
        return Measured(self.value, math.hypot(self.shared_u, self.own_u))


@dataclass(frozen=True, slots=True)
class Areas:
    """Stem and leaf of one plant, and what each influence changes them by, mm2.

    Parameters
    ----------
    stem, leaf : float
        Areas; ``stem`` is NaN where no stem is told.
    stem_outline, leaf_outline : float
        When every outline moves out by its doubt.
    stem_common, leaf_common : float
        By how high all stems, or all blades, lie and by what is left of shadows and gloss.
    parting, parting_common : float
        What may be stem instead of leaf, or leaf instead of stem: in this plant, and in all plants
        of the board alike.
    """

    stem: float
    leaf: float
    stem_outline: float
    leaf_outline: float
    stem_common: float
    leaf_common: float
    parting: float
    parting_common: float = 0.0


@dataclass(frozen=True, slots=True)
class PlantReading:
    """One cut plant, measured.

    Parameters
    ----------
    x_mm, y_mm : float
        Where it lies in the card's frame: the cut, or its middle where no stem is told.
    readings : dict of str to Reading
        By the names of ``PER_PLANT``; NaN where it could not be measured.
    colours : dict of str to Measured
        Leaf colour by the names of the board's columns; empty where it could not be told.
    areas : Areas
        Of stem and leaf.
    flags : tuple of str
        What qualifies the plant and its blades.
    counts : bool
        Whether it is one whole plant on a photo that tells plants, and counts in the tray's means.
    leaf_is_whole : bool
        Whether it has as many blades as others; else it counts in the means of stems alone.
    number_is_told : bool
        Whether its photo tells how many plants lie on the board.
    """

    x_mm: float
    y_mm: float
    readings: dict[str, Reading]
    colours: dict[str, Measured]
    areas: Areas
    flags: tuple[str, ...]
    counts: bool
    leaf_is_whole: bool = True
    number_is_told: bool = True

    def metrics(self) -> dict[str, Measured]:
        """Everything that is read from the plant, by column."""
        return {
            **{name: one.measured for name, one in self.readings.items()},
            "board_stem_to_leaf_ratio": ratio_of([self.areas]),
            **self.colours,
        }


def ratio_of(areas: list[Areas]) -> Measured:
    """Sum of stem areas over sum of leaf areas, of the plants whose stem is told.

    Parameters
    ----------
    areas : list of Areas
        One per plant.

    Returns
    -------
    Measured
        NaN without a plant that has both. Outlines that lie too far out make stems and leaves
        larger together; what is leaf instead of stem is missing from the one and added to the
        other.
    """
    told = [one for one in areas if math.isfinite(one.stem)]
    stem, leaf = sum(one.stem for one in told), sum(one.leaf for one in told)
    if stem <= 0 or leaf <= 0:
        return Measured()
    ratio = stem / leaf
    outline = sum(one.stem_outline for one in told) / stem
    outline -= sum(one.leaf_outline for one in told) / leaf
    common = (
        sum(one.stem_common for one in told) / stem,
        sum(one.leaf_common for one in told) / leaf,
    )
    moved = sum(one.parting_common for one in told)
    parting = math.hypot(moved, *(one.parting for one in told)) * (1.0 / stem + 1.0 / leaf)
    return Measured(ratio, ratio * math.hypot(outline, *common, parting))
