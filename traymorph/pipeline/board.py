"""A board photo from its card to its cut plants."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traymorph.card.colour import correct
from traymorph.cut_plants.find import find_cut_plants
from traymorph.cut_plants.forms import form_of_crop
from traymorph.measure.board import measure_cut_plants, together
from traymorph.measure.cut_plant_grid import BoardPlane, board_grid, middle_cell
from traymorph.measure.cut_plant_means import tray_of_plants
from traymorph.measure.cut_plant_readings import BoardView
from traymorph.measure.photo_checks import check_photo
from traymorph.model.cut_plants import CutPlant
from traymorph.model.masks import PlantMasks
from traymorph.model.photo import Photo
from traymorph.model.plane_grid import PlaneGrid
from traymorph.pipeline.outcome import PhotoOutcome
from traymorph.pipeline.seen import SeenPhoto, card_area, reduce
from traymorph.report.board_overlay import PlantsOnBoard, board_overlay
from traymorph.segment.board import BoardPlants, segment_board

BOARD_MM_PER_PX = 0.13
"""Scale at which plants on a board are told from it: a stem of 1 mm is eight pixels wide."""
_UNCALIBRATED_WIDTH_MM = 350.0
"""Width of board that a photo without a card is taken to show: from 300 mm above with a common
phone, the middle of what the photo guide advises."""
_LEAST_SHARE = 0.05

Picture = NDArray[np.uint8]
Plane = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class _Board:
    """A board photo with its plants told apart.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        The reduced photo, corrected where a card was seen.
    scale : float
        Photo pixels per pixel of it.
    segmented : BoardPlants
        Plants told from the board, on the same pixels.
    plane : BoardPlane
        The way to the board's grid and back.
    on_grid : ndarray of uint8
        The picture on the grid.
    plants : tuple of CutPlant
        Every plant of the photo, on the grid.
    """

    rgb: Picture
    scale: float
    segmented: BoardPlants
    plane: BoardPlane
    on_grid: Picture
    plants: tuple[CutPlant, ...]


def measure_board_photo(seen: SeenPhoto, crop: str) -> PhotoOutcome:
    """Measure one board photo, or the part of it that is one sample's.

    Parameters
    ----------
    seen : SeenPhoto
        The photo and its card.
    crop : str
        As the list names it; it tells how its plants are built.

    Raises
    ------
    BoardError
        The plants do not lie on a plain board, or nothing can be told on it.
    """
    board = _look(seen, crop)
    plants = _of_part(board.plants, board.plane.grid, seen)
    view = BoardView(
        rgb=board.on_grid,
        doubt=board.plane.layer(board.segmented.doubt),
        grid=board.plane.grid,
        viewpoint=seen.sighting.viewpoint,
        card_mm=seen.card_mm,
        edge_u_mm=board.segmented.edge_u_px * seen.mm_per_px * board.scale,
        colour=seen.sighting.colour,
        too_alike="board_too_alike" in board.segmented.flags,
    )
    readings, colours, flags = measure_cut_plants(view, plants)
    masks = _masks(board, plants)
    left_out = _plants(board, [one for one in plants if not one.stands_alone])
    laid_out = PlantsOnBoard(
        board.rgb, masks, left_out, plants, board.plane.grid,
        seen.sighting.viewpoint, seen.sighting.outline_px,
    )  # fmt: skip
    title = f"{seen.entry.tray_id}  ·  {seen.entry.path.name}  ·  on the board"
    here = tray_of_plants(readings)
    return PhotoOutcome(
        metrics=colours,
        flags=(*board.segmented.flags, *flags),
        quality=check_photo(seen.photo.rgb, seen.sighting, masks),
        masks=masks,
        overlay=board_overlay(laid_out, title, {**colours, **here.metrics}, here.spread),
        plants=readings,
    )


def own_board_plants(seen: SeenPhoto, crop: str) -> PlantMasks:
    """Leaf and stem of the plants on a board, of the photo's part only."""
    board = _look(seen, crop)
    return _masks(board, _of_part(board.plants, board.plane.grid, seen))


def board_plants_without_card(photo: Photo, crop: str) -> PlantMasks:
    """Leaf and stem of the plants on a board that shows no card: nothing is calibrated."""
    mm_per_px = _UNCALIBRATED_WIDTH_MM / max(photo.size_px)
    rgb = reduce(photo.rgb, max(1.0, BOARD_MM_PER_PX / mm_per_px))
    scale = photo.size_px[0] / rgb.shape[1]
    segmented = segment_board(rgb, mm_per_px=None, ignore=None)
    at_edge = ~segmented.board
    at_edge[:2] = at_edge[-2:] = at_edge[:, :2] = at_edge[:, -2:] = True
    plants = find_cut_plants(
        segmented.plant, rgb, mm_per_px * scale, form=form_of_crop(crop), at_edge=at_edge
    )
    leaf, stem = together(segmented.plant.shape, plants)
    return _parted(segmented, scale, leaf, stem)


def _look(seen: SeenPhoto, crop: str) -> _Board:
    """Reduce a photo, set its colours right, tell its plants from the board and from each other."""
    reduced = reduce(seen.photo.rgb, max(1.0, BOARD_MM_PER_PX / seen.mm_per_px))
    scale = seen.photo.size_px[0] / reduced.shape[1]
    rgb = correct(reduced, seen.sighting.colour)
    card = card_area(seen.sighting, scale, rgb.shape[:2])
    segmented = segment_board(rgb, mm_per_px=seen.mm_per_px * scale, ignore=card)
    viewpoint = seen.sighting.viewpoint
    grid = board_grid(viewpoint, segmented.plant, scale)
    plane = BoardPlane(grid, viewpoint, scale, rgb.shape[:2])
    on_grid = plane.picture(rgb)
    plants = find_cut_plants(
        plane.layer(segmented.plant),
        on_grid,
        grid.step_mm,
        form=form_of_crop(crop),
        at_edge=plane.at_edge(card | ~segmented.board),
    )
    return _Board(rgb, scale, segmented, plane, on_grid, plants)


def _of_part(plants: Sequence[CutPlant], grid: PlaneGrid, seen: SeenPhoto) -> tuple[CutPlant, ...]:
    """Keep the plants that lie left or right of the card's middle as the upright photo shows it."""
    part = seen.entry.part
    if part == "whole":
        return tuple(plants)
    columns, rows = np.array([middle_cell(plant) for plant in plants]).reshape(-1, 2).T
    on_board = np.column_stack([grid.points_mm(rows, columns), np.zeros(len(plants))])
    at_px = seen.sighting.viewpoint.project(on_board)
    is_left = at_px[:, 0] < seen.sighting.outline_px[:, 0].mean()
    wanted = is_left if part == "left" else ~is_left
    return tuple(plant for plant, own in zip(plants, wanted, strict=True) if own)


def _masks(board: _Board, plants: Sequence[CutPlant]) -> PlantMasks:
    """Leaf and stem of plants on the pixels of the reduced photo."""
    leaf, stem = board.plane.in_photo(*together(board.plane.grid.shape, plants))
    return _parted(board.segmented, board.scale, leaf, stem)


def _plants(board: _Board, plants: Sequence[CutPlant]) -> Plane:
    """Give the share of some plants on the pixels of the reduced photo."""
    if not plants:
        return np.zeros_like(board.segmented.plant)
    leaf, stem = together(board.plane.grid.shape, plants)
    (share,) = board.plane.in_photo(leaf + stem)
    return np.where(share > _LEAST_SHARE, board.segmented.plant, np.float32(0.0))


def _parted(segmented: BoardPlants, scale: float, leaf: Plane, stem: Plane) -> PlantMasks:
    """Part the plants' own outlines, which the way to the grid and back would soften.

    ``leaf`` and ``stem`` are changed in place.
    """
    both = leaf + stem
    places = np.flatnonzero(both > _LEAST_SHARE)
    kept = segmented.plant.ravel()[places]
    share = leaf.ravel()[places] / both.ravel()[places]
    for layer, part in ((leaf, kept * share), (stem, kept * (1.0 - share))):
        layer.fill(0.0)
        layer.ravel()[places] = part
    return PlantMasks(
        leaf=leaf,
        stem=stem,
        scale=scale,
        method=segmented.method,
        doubt=segmented.doubt,
    )
