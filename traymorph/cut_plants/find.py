"""From the share of plant on a board to its single plants."""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.cut_plants.blade_flags import touching, with_blade_flags
from traymorph.cut_plants.blades import blade_shape, is_one_blade
from traymorph.cut_plants.colours import TissueColours
from traymorph.cut_plants.company import with_group_flags
from traymorph.cut_plants.feet import feet_of, is_plant
from traymorph.cut_plants.forms import PlantForm
from traymorph.cut_plants.hidden_forks import Followed, with_hidden_forks
from traymorph.cut_plants.hooked_stems import past_blades
from traymorph.cut_plants.nodes import Node, first_leaf_of, node_of
from traymorph.cut_plants.parting import Parting, cells_of_skeleton, part
from traymorph.cut_plants.second_stems import has_second_stem
from traymorph.cut_plants.separate import Member, separate
from traymorph.cut_plants.silhouettes import (
    Run,
    Silhouette,
    TypicalPlant,
    mended,
    silhouettes,
    typical_plant,
)
from traymorph.cut_plants.skeleton import Rooted, Skeleton, end_branches, joined, rooted
from traymorph.cut_plants.stems import stem_of
from traymorph.cut_plants.tissues import (
    at_skeleton,
    beside_stems,
    colours_of_photo,
    colours_of_plant,
    leaf_odds,
    smooth_lab,
    through_leaves,
    under_leaves,
)
from traymorph.cut_plants.torn_stalks import with_stalks
from traymorph.model.cut_plants import LEFT_OUT, Blade, CutPlant

Floats = NDArray[Any]
Mask = NDArray[np.bool_]

_ROW_SHARE = 0.5
"""Plants whose middles lie closer than this share of a plant's height stand in one row."""
_HEAP_FEET = 5
"""Cut ends in one piece from which plants lie in a heap."""
_LEAST_SHARE, _MOST_SHARE = 0.25, 2.5
"""Area of a part of a group over the typical plant's: plants of a tray differ by a factor of two
either way."""
_ONE_SHARE = {PlantForm.HYPOGEAL: 1.8, PlantForm.NO_NODE: 1.6}
"""Area over the typical plant's from which a piece with one cut, or of a grass, is two plants."""
_ONE_SHARE_UNSEEN = 1.8
"""The same where no cut is seen."""
_CROSSED_ENDS, _CROSSED_SHARE = 4, 0.12
"""Free ends of two leaves that cross, and the share of the skeleton that each holds, at least."""
_MET_SHARE = 0.25
"""Border that two blades share, over a blade's width, from which they overlap."""
_NO_LINE = np.empty((0, 2))


@dataclass(frozen=True, slots=True, eq=False)
class _Board:
    """What all plants of a photo share."""

    step_mm: float
    form: PlantForm
    typical: TypicalPlant | None
    colours: TissueColours | None


@dataclass(frozen=True, slots=True, eq=False)
class _Tissue:
    """What the plants of one piece share: half width of their stems, and leaf by colour."""

    half_width: float
    leaf_odds: Floats | None


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
    if typical is not None and form is PlantForm.PAIR:
        joined = with_stalks(plant, pieces, typical, step_mm)
        if joined is not plant:
            pieces = silhouettes(joined, step_mm, at_edge)
            typical = typical_plant(pieces)
    if typical is not None:
        pieces = [mended(piece, typical) for piece in pieces]
        typical = typical_plant(pieces)
    pieces = [piece for piece in pieces if is_plant(piece, typical)]
    labs = [smooth_lab(rgb, piece) for piece in pieces]
    colours = None
    if typical is not None:
        colours = colours_of_photo(pieces, labs, typical.stem_half_width)
    board = _Board(step_mm, form, typical, colours)
    built: list[Followed] = []
    for piece, lab in zip(pieces, labs, strict=True):
        built += _plants(piece, lab, board)
    found = with_hidden_forks(built)
    return _in_reading_order(with_group_flags(with_blade_flags(found, form), form))


def _plants(piece: Silhouette, lab: Floats, board: _Board) -> list[Followed]:
    """Build the plants of one connected piece."""
    flags = ("plant_cut_off",) if piece.at_edge else ()
    if board.form is PlantForm.NO_NODE:
        return [_grass(piece, board.typical, flags)]
    feet = []
    odds = leaf_odds(lab, board.colours)
    if board.typical is not None:
        feet = feet_of(piece, board.typical, at_skeleton(odds, piece.skeleton))
    if board.typical is None or not feet:
        many = _is_large(piece, board.typical, _ONE_SHARE_UNSEEN)
        return [_plain(piece, (*flags, "plants_touch" if many else "stem_unclear"))]
    if board.colours is not None:
        odds = leaf_odds(lab, colours_of_plant(piece, feet[0], lab, board.colours))
    half_width = float(np.median([foot.half_width for foot in feet]))
    tissue = _Tissue(half_width, odds)
    whole = [Member.seen(piece.skeleton, int(feet[0].cells[0]))]
    if len(feet) == 1:
        if _is_large(piece, board.typical, _ONE_SHARE.get(board.form, np.inf)):
            flags = (*flags, "plants_touch")
        return _built(piece, whole, tissue, board, flags)
    plants = _separated(piece, feet, tissue, board, flags)
    if plants is None:
        flags = (*flags, "heap" if len(feet) >= _HEAP_FEET else "plants_touch")
        plants = _built(piece, whole, tissue, board, flags)
    return plants


def _grass(piece: Silhouette, typical: TypicalPlant | None, flags: tuple[str, ...]) -> Followed:
    """Give a plant without a node."""
    if _is_two_leaves(piece, typical):
        flags = (*flags, "plants_touch")
    return _plain(piece, (*flags, "no_node"))


def _is_large(piece: Silhouette, typical: TypicalPlant | None, share: float) -> bool:
    return typical is not None and piece.area > share * typical.area


def _is_two_leaves(piece: Silhouette, typical: TypicalPlant | None) -> bool:
    """Whether leaves of grasses touch end to end or cross."""
    if _is_large(piece, typical, _ONE_SHARE[PlantForm.NO_NODE]):
        return True
    least = _CROSSED_SHARE * len(piece.skeleton.points)
    ends = [branch for branch in end_branches(piece.skeleton) if len(branch) >= least]
    return len(ends) >= _CROSSED_ENDS


def _separated(
    piece: Silhouette, feet: list[Run], tissue: _Tissue, board: _Board, flags: tuple[str, ...]
) -> list[Followed] | None:
    """Build plants that touch, each on its own; None where they cannot be told apart."""
    roots = [int(foot.cells[0]) for foot in feet]
    members = separate(
        piece.skeleton, roots, tissue.half_width, at_necks=board.form is PlantForm.PAIR
    )
    if members is None or board.typical is None:
        return None
    plants = _built(piece, members, tissue, board, flags)
    return plants if all(_plausible(plant.plant, board.typical) for plant in plants) else None


def _plausible(plant: CutPlant, typical: TypicalPlant) -> bool:
    """Whether a part of a group may be one plant."""
    area = float(plant.leaf.sum() + plant.stem.sum())
    return _LEAST_SHARE * typical.area <= area <= _MOST_SHARE * typical.area


def _plain(piece: Silhouette, flags: tuple[str, ...]) -> Followed:
    """Give a plant of which only the area is told."""
    nothing = np.zeros_like(piece.share)
    plant = CutPlant(piece.box, piece.share, nothing, _NO_LINE, float("nan"), (), flags)
    return Followed(plant)


def _built(
    piece: Silhouette,
    members: list[Member],
    tissue: _Tissue,
    board: _Board,
    flags: tuple[str, ...],
) -> list[Followed]:
    """Each plant of a piece with its leaf, stem and blades."""
    if board.form is PlantForm.PAIR:
        members = [past_blades(member, tissue.half_width) for member in members]
    whose = cells_of_skeleton(
        piece.share > 0, joined([member.skeleton for member in members]), piece.coarse
    )
    plants, first = [], 0
    for member in members:
        last = first + len(member.skeleton.points)
        own = (whose >= first) & (whose < last)
        cells = np.where(own, whose - first, -1)
        plants.append(_plant(piece, member, cells, tissue, board, flags))
        first = last
    return plants


def _plant(
    piece: Silhouette,
    member: Member,
    cells: NDArray[np.intp],
    tissue: _Tissue,
    board: _Board,
    flags: tuple[str, ...],
) -> Followed:
    skeleton, half_width, odds = member.skeleton, tissue.half_width, tissue.leaf_odds
    ways = rooted(skeleton, member.root)
    colours = at_skeleton(odds, skeleton)
    parting = part(skeleton, ways, half_width, colours, board.form, hidden=member.bridged)
    parts = np.where(cells >= 0, np.maximum(parting.part, 0)[cells], -1)
    if board.form is PlantForm.HYPOGEAL and odds is not None:
        parts = through_leaves(parts, odds, half_width)
    elif odds is not None and member.bridged.any():
        parts = under_leaves(parts, (cells >= 0) & member.bridged[cells], odds)
    if board.form is PlantForm.PAIR and odds is not None:
        parts = beside_stems(parts, odds, half_width)
    share = np.where(cells >= 0, piece.share, np.float32(0.0)).astype(np.float32)
    leaf = np.where(parts > 0, share, np.float32(0.0)).astype(np.float32)
    blades = _blades(piece, skeleton, parting, parts, leaf, board.form)
    stem = None
    if not blades:  # no leaf, so no node either: what is seen may be a part of a plant
        flags = (*flags, "stem_unclear")
    elif not LEFT_OUT.intersection(flags) - {"plant_cut_off"}:
        node = (
            first_leaf_of(skeleton, ways, half_width)
            if board.form is PlantForm.HYPOGEAL
            else node_of(share, skeleton, ways, parting, half_width)
        )
        if _is_two(board, skeleton, ways, parting, node):
            flags = (*flags, "plants_touch")
        else:
            stem = stem_of(share, skeleton, ways, node, half_width, board.step_mm)
            flags = flags if stem is not None else (*flags, "stem_unclear")
    if stem is None:
        return Followed(
            CutPlant(piece.box, leaf, share - leaf, _NO_LINE, float("nan"), blades, flags)
        )
    found = CutPlant(
        piece.box, leaf, share - leaf, stem.line + _corner(piece), stem.width, blades, flags,
        stem.ends_u,
    )  # fmt: skip
    return Followed(found, stem, float(ways.distance[list(parting.bases)].min()))


def _is_two(board: _Board, skeleton: Skeleton, ways: Rooted, parting: Parting, node: Node) -> bool:
    """Whether another plant's stem leads on from a node."""
    if board.form is not PlantForm.PAIR or board.typical is None:
        return False
    return has_second_stem(skeleton, ways, parting, node, board.typical.stem_length)


def _corner(piece: Silhouette) -> NDArray[np.float64]:
    return np.array([piece.box[1].start, piece.box[0].start], np.float64)


def _blades(
    piece: Silhouette,
    skeleton: Skeleton,
    parting: Parting,
    parts: NDArray[np.intp],
    leaf: Floats,
    form: PlantForm,
) -> tuple[Blade, ...]:
    blades = []
    for number, base in enumerate(parting.bases, start=1):
        around = _window((parts == number).view(np.uint8))
        near, share = parts[around], leaf[around]
        region, others = near == number, (near > 0) & (near != number)
        start = np.array([around[1].start, around[0].start], np.float64)
        at = skeleton.points[base]
        shape = blade_shape(share, region, at - start)
        if shape is None:
            continue
        met = touching(region, others, _MET_SHARE * shape.width)
        met = met or not is_one_blade(share, region, form)
        corner = _corner(piece)
        blades.append(
            Blade(
                shape.area, at + corner, shape.tip + start + corner, shape.length, shape.width,
                true_leaf=False, flags=("blades_overlap",) if met else (),
            )
        )  # fmt: skip
    return tuple(blades)


def _window(region: NDArray[np.uint8]) -> tuple[slice, slice]:
    """Rows and columns round a region, with the cells that touch it."""
    x, y, width, height = cv2.boundingRect(region)
    return slice(max(y - 2, 0), y + height + 2), slice(max(x - 2, 0), x + width + 2)


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
