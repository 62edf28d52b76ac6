"""From the share of plant on a board to its single plants."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from traymorph.cut_plants.blades import blade_shape
from traymorph.cut_plants.colours import TissueColours
from traymorph.cut_plants.feet import feet_of, is_plant
from traymorph.cut_plants.forms import PlantForm
from traymorph.cut_plants.parting import Parting, cells_of_skeleton, part
from traymorph.cut_plants.silhouettes import (
    Run,
    Silhouette,
    TypicalPlant,
    coarseness,
    silhouettes,
    typical_plant,
)
from traymorph.cut_plants.skeleton import Rooted, Skeleton, rooted
from traymorph.cut_plants.nodes import first_leaf_of, node_of
from traymorph.cut_plants.stems import stem_of
from traymorph.cut_plants.tissues import (
    colours_of_photo,
    colours_of_plant,
    odds_along,
    smooth_lab,
)
from traymorph.model.cut_plants import Blade, CutPlant

Floats = NDArray[Any]
Mask = NDArray[np.bool_]

_ROW_SHARE = 0.5
"""Plants whose middles lie closer than this share of a plant's height stand in one row."""
_NO_LINE = np.empty((0, 2))


@dataclass(frozen=True, slots=True, eq=False)
class _Board:
    """What all plants of a photo share."""

    rgb: NDArray[np.uint8]
    step_mm: float
    form: PlantForm
    coarse: int
    typical: TypicalPlant | None
    colours: TissueColours | None


def find_cut_plants(
    plant: NDArray[np.float32],
    rgb: NDArray[np.uint8],
    step_mm: float,
    *,
    form: PlantForm = PlantForm.PAIR,
    at_edge: NDArray[np.bool_] | None = None,
) -> tuple[CutPlant, ...]:
    """Tell the plants on a board apart and find how each is built.

    Parameters
    ----------
    plant : ndarray of float32, shape (rows, cols)
        Share of plant in the square cells of a plane at the board.
    rgb : ndarray of uint8, shape (rows, cols, 3)
        Corrected colours, sRGB-encoded.
    step_mm : float
        Side of a cell, mm; 0.10 to 0.15 suits stems of 0.7 to 3 mm.
    form : PlantForm
        How the crop's plants are built.
    at_edge : ndarray of bool, shape (rows, cols), or None
        Where the grid lies outside the photo or on the card; None: the grid's own border is the
        photo's edge.

    Returns
    -------
    tuple of CutPlant
        In reading order: rows of the picture from the top, left to right. Empty where no piece
        is like a plant.
    """
    pieces = silhouettes(plant, step_mm, at_edge)
    typical = typical_plant(pieces)
    pieces = [piece for piece in pieces if is_plant(piece, typical)]
    colours = None
    if typical is not None:
        labs = [smooth_lab(rgb, piece) for piece in pieces]
        colours = colours_of_photo(pieces, labs, typical.stem_half_width)
    coarse = coarseness((plant >= 0.5).astype(np.uint8))
    board = _Board(rgb, step_mm, form, coarse, typical, colours)
    found = [one for piece in pieces for one in _plants(piece, board)]
    return _in_reading_order(found)


def _plants(piece: Silhouette, board: _Board) -> list[CutPlant]:
    flags = ("plant_cut_off",) if piece.at_edge else ()
    if board.form is PlantForm.NO_NODE:
        return [_plain(piece, (*flags, "no_node"))]
    if board.typical is None or not piece.runs:
        return [_plain(piece, (*flags, "stem_unclear"))]
    lab = smooth_lab(board.rgb, piece)
    odds = odds_along(piece.skeleton, lab, board.colours) if board.colours else None
    feet = feet_of(piece, board.typical, odds)
    if not feet:
        return [_plain(piece, (*flags, "stem_unclear"))]
    if board.colours:
        own = colours_of_plant(piece, feet[0], lab, board.colours)
        odds = odds_along(piece.skeleton, lab, own)
    if len(feet) > 1:
        flags = (*flags, "heap" if len(feet) > 4 else "plants_touch")
    return [_built(piece, feet[0], odds, board, flags)]


def _plain(piece: Silhouette, flags: tuple[str, ...]) -> CutPlant:
    """A plant of which only the area is told."""
    nothing = np.zeros_like(piece.share)
    return CutPlant(piece.box, piece.share, nothing, _NO_LINE, float("nan"), (), flags)


def _built(
    piece: Silhouette,
    foot: Run,
    odds: NDArray[np.float64] | None,
    board: _Board,
    flags: tuple[str, ...],
) -> CutPlant:
    skeleton = piece.skeleton
    ways = rooted(skeleton, int(foot.cells[0]))
    parting = part(skeleton, ways, foot.half_width, odds, board.form)
    nearest = cells_of_skeleton(piece.share > 0, skeleton, board.coarse)
    parts = np.where(nearest >= 0, np.maximum(parting.part, 0)[nearest], 0)
    leaf = np.where(parts > 0, piece.share, np.float32(0.0)).astype(np.float32)
    stem = None
    if "plants_touch" not in flags and "heap" not in flags:
        node = (
            first_leaf_of(skeleton, ways, foot.half_width)
            if board.form is PlantForm.HYPOGEAL
            else node_of(piece.share, skeleton, ways, parting, foot.half_width)
        )
        stem = stem_of(piece.share, skeleton, ways, node, foot.half_width, board.step_mm)
    blades = _blades(piece, skeleton, parting, parts, leaf)
    if stem is None:
        if "plants_touch" not in flags and "heap" not in flags:
            flags = (*flags, "stem_unclear")
        return CutPlant(piece.box, leaf, piece.share - leaf, _NO_LINE, float("nan"), blades, flags)
    corner = np.array([piece.box[1].start, piece.box[0].start], np.float64)
    return CutPlant(
        piece.box, leaf, piece.share - leaf, stem.line + corner, stem.width, blades, flags,
        stem.ends_u,
    )  # fmt: skip


def _blades(
    piece: Silhouette, skeleton: Skeleton, parting: Parting, parts: NDArray[np.intp], leaf: Floats
) -> tuple[Blade, ...]:
    corner = np.array([piece.box[1].start, piece.box[0].start], np.float64)
    blades = []
    for number, base in enumerate(parting.bases, start=1):
        at = skeleton.points[base]
        shape = blade_shape(leaf, parts == number, at)
        if shape is not None:
            blades.append(
                Blade(
                    shape.area, at + corner, shape.tip + corner, shape.length, shape.width,
                    true_leaf=False,
                )
            )  # fmt: skip
    return tuple(blades)


def _in_reading_order(plants: list[CutPlant]) -> tuple[CutPlant, ...]:
    """Rows from the top, each from left to right."""
    if not plants:
        return ()
    height = float(np.median([p.box[0].stop - p.box[0].start for p in plants]))
    middles = {id(p): (p.box[0].start + p.box[0].stop) / 2.0 for p in plants}
    left = sorted(plants, key=lambda p: middles[id(p)])
    ordered: list[CutPlant] = []
    while left:
        first = middles[id(left[0])]
        row = [p for p in left if middles[id(p)] - first < _ROW_SHARE * height]
        ordered += sorted(row, key=lambda p: p.box[1].start + p.box[1].stop)
        left = left[len(row) :]
    return tuple(ordered)
