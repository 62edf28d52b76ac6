"""How leaf colour differs over the tray: between small cells, and the edge against the middle."""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from traymorph.measure.colour_difference import ciede2000
from traymorph.measure.grid import grid_of_opening
from traymorph.measure.leaf_light import FEWEST_PIXELS, Chosen, Colours, LeafPixels
from traymorph.measure.mistaken import SAME_WAY
from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.results import Measured
from traymorph.model.tray import LeafPlane, TrayOpening, TrayOverhead

CELL_MM = 10.0
BAND_MM = 20.0
_FEWEST_CELLS = 10
_CARD_U = 0.1
"""Relative doubt of differences within one photo: what the card's correction stretches or shrinks
of colours that lie near each other."""
_LEAST_SPREAD_U, _LEAST_EDGE_U = 0.15, 0.3

_Places = NDArray[np.float64]


def colour_over_tray(
    tray: TrayOverhead, plane: LeafPlane, pixels: LeafPixels | None
) -> dict[str, Measured]:
    """Colour spread over the tray, and of its edge against its middle.

    Parameters
    ----------
    tray : TrayOverhead
        Corrected picture, the tray's own plants and its opening.
    plane : LeafPlane
        The plane of the leaves, in which cells and band lie.
    pixels : LeafPixels or None
        The leaf pixels of the tray's picture; None under light unfit for colour, or where there
        are too few.

    Returns
    -------
    dict of str to Measured
        ``leaf_colour_spread_de00`` (NaN with fewer than ten cells that show leaf) and
        ``edge_to_middle_de00`` (NaN without an opening, or where edge or middle shows too little
        leaf); both NaN under light unfit for colour. What errs alike over the photo falls out of
        both; uneven light over the tray does not, and is part of what is seen.
    """
    empty = {"leaf_colour_spread_de00": Measured(), "edge_to_middle_de00": Measured()}
    if pixels is None:
        return empty
    in_photo = (pixels.at[:, ::-1].astype(np.float64) + 0.5) * tray.masks.scale - 0.5
    places = tray.viewpoint.on_plane(in_photo, plane.height_mm)
    chosen = pixels.well_lit() & np.isfinite(places).all(axis=1)
    found = {"leaf_colour_spread_de00": _spread(pixels, places, chosen, _cells(tray, plane))}
    if tray.opening is None:
        return empty | found
    return found | {"edge_to_middle_de00": _edge(pixels, places, chosen, tray.opening)}


def _cells(tray: TrayOverhead, plane: LeafPlane) -> PlaneGrid:
    """Cells along the opening's sides, or along the card's where the opening is not known."""
    if tray.opening is None:
        return PlaneGrid(np.zeros(2), np.array([1.0, 0.0]), CELL_MM, (1, 1), plane.height_mm)
    return grid_of_opening(tray.opening, plane.height_mm, CELL_MM)[0]


def _spread(pixels: LeafPixels, places: _Places, chosen: Chosen, grid: PlaneGrid) -> Measured:
    value, surer = (
        _mean_difference(pixels.lab[use], grid.cells(places[use]))
        for use in (chosen, chosen & pixels.surely)
    )
    if math.isnan(value):
        return Measured()
    apart = 0.0 if math.isnan(surer) else SAME_WAY * (surer - value)
    return Measured(value, math.hypot(_LEAST_SPREAD_U, _CARD_U * value, apart))


def _mean_difference(lab: Colours, cells: _Places) -> float:
    """Mean CIEDE2000 of the cells' mean colours from their mean; NaN with too few cells."""
    if len(lab) == 0:
        return math.nan
    whole = np.round(cells).astype(np.int64)
    whole -= whole.min(axis=0)
    of_cell = whole[:, 0] * (whole[:, 1].max() + 1) + whole[:, 1]
    counts = np.bincount(of_cell)
    sums = np.column_stack([np.bincount(of_cell, weights=channel) for channel in lab.T])
    enough = counts >= FEWEST_PIXELS
    if enough.sum() < _FEWEST_CELLS:
        return math.nan
    means = sums[enough] / counts[enough, None]
    return float(np.mean(ciede2000(means, lab.mean(axis=0))))


def _edge(pixels: LeafPixels, places: _Places, chosen: Chosen, opening: TrayOpening) -> Measured:
    value = _band_difference(pixels.lab[chosen], places[chosen], opening, BAND_MM)
    if math.isnan(value):
        return Measured()
    use = chosen & pixels.surely
    others = [SAME_WAY * (_band_difference(pixels.lab[use], places[use], opening, BAND_MM) - value)]
    shift = opening.position_u_mm * np.array([1.0, 1.0]) / math.sqrt(2.0)
    moved = replace(opening, corners_mm=opening.corners_mm + shift)
    others.append(_band_difference(pixels.lab[chosen], places[chosen], moved, BAND_MM) - value)
    known = [other for other in others if not math.isnan(other)]
    return Measured(value, math.hypot(_LEAST_EDGE_U, _CARD_U * value, *known))


def _band_difference(lab: Colours, places: _Places, opening: TrayOpening, band_mm: float) -> float:
    """CIEDE2000 between the mean colours of the opening's outer band and of what it encloses."""
    a, b, _, d = opening.corners_mm
    depths = []
    for near, far in ((a, b), (a, d)):
        length = float(np.hypot(*(far - near)))
        along = (places - near) @ (far - near) / length
        depths.append(np.minimum(along, length - along))
    depth = np.minimum(*depths)
    edge, middle = (depth >= 0) & (depth <= band_mm), depth > band_mm
    if min(np.count_nonzero(edge), np.count_nonzero(middle)) < FEWEST_PIXELS:
        return math.nan
    means = (part.astype(np.float64) @ lab / np.count_nonzero(part) for part in (edge, middle))
    return float(ciede2000(*means))
