"""The picture of a board photo: each cut plant by its number, with what was measured on it."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from traymorph.model.cut_plants import CutPlant
from traymorph.model.masks import PlantMasks
from traymorph.model.metrics import METRICS, PREFIXES
from traymorph.model.photo import View
from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.results import Measured, PlantSpread
from traymorph.model.viewpoint import Viewpoint
from traymorph.report.canvas import BLUE, INK, ORANGE, WHITE, Canvas, Legend, Swatch
from traymorph.report.lettering import text_length
from traymorph.report.overlays import FADED, UNIT_SIGNS, crop
from traymorph.report.swatch import leaf_swatch

_TITLES = {
    "stem_length_mm": "stem length",
    "leaf_area_mm2": "leaf area a plant",
    "board_stem_to_leaf_ratio": "stem : leaf",
    "stem_width_mm": "stem width",
    "blade_length_mm": "blade length",
    "board_blade_width_mm": "blade width",
    "blade_count": "blades a plant",
    "board_greenness_index": "greenness index",
}
_REASONS = {
    "heap": "a heap",
    "plants_touch": "plants that touch",
    "plant_cut_off": "cut off or covered",
    "stem_unclear": "stem not followed",
}
_GROUPS = frozenset({"plants_touch", "heap"})  # several plants under one number
_LONG_BAR_MM, _SHORT_BAR_MM = 50.0, 20.0
_LONG_BAR_FROM_MM = 200.0  # width of board shown from which the long bar is drawn
_LABEL_SIZE = 11.0
_RESERVE_MM = 0.8  # kept free round plants, so that a number's plate does not touch them
_REACH_UNITS = np.arange(2.0, 120.0, 4.0)
_TURNS = math.tau * np.array([0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6, -6, 7, -7, 8]) / 16
_LEADER_FROM_UNITS = 24.0
_LINE_UNITS, _LINE_SHARE = 0.9, 0.3  # thickness of a centre line, and at most of its stem's

Points = NDArray[np.float64]
Shares = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class PlantsOnBoard:
    """One sample's cut plants in a board photo.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        The reduced, colour-corrected photo.
    masks : PlantMasks
        Leaf and stem of the sample's plants on the same pixels.
    left_out : ndarray of float32, shape (h, w)
        Share of the pixel that is a plant which does not count.
    plants : sequence of CutPlant
        In the order of their numbers.
    grid : PlaneGrid
        The board's cells, in which the plants are given.
    viewpoint : Viewpoint
        The camera.
    card_px : ndarray, shape (4, 2)
        The card's corners, photo pixels.
    """

    rgb: NDArray[np.uint8]
    masks: PlantMasks
    left_out: Shares
    plants: Sequence[CutPlant]
    grid: PlaneGrid
    viewpoint: Viewpoint
    card_px: Points

    def in_photo(self, cells: Points) -> Points:
        """Photo pixels of (column, row) cells of the board's grid, both of shape (n, 2)."""
        on_board = self.grid.points_mm(cells[:, 1], cells[:, 0])
        heights = np.full((len(cells), 1), self.grid.height_mm)
        return self.viewpoint.project(np.hstack([on_board, heights]))


def board_overlay(
    board: PlantsOnBoard,
    title: str,
    metrics: dict[str, Measured],
    spread: dict[str, PlantSpread],
) -> Image.Image:
    """Draw a board photo: numbered plants, stems with centre line, cut and node, blades, mm bar.

    Parameters
    ----------
    board : PlantsOnBoard
        What was measured.
    title : str
        Sample and photo.
    metrics : dict of str to Measured
        Means over the photo's plants, to print.
    spread : dict of str to PlantSpread
        Between plants.
    """
    scale = board.masks.scale
    canvas = Canvas(board.rgb, scale, crop(board.masks.rather_plant, scale, [board.card_px]))
    plant = canvas.layer(board.masks.plant)
    left_out = canvas.layer(board.left_out)
    counted = np.clip(plant - left_out, 0.0, 1.0)
    canvas.fade_all_but(counted)
    canvas.hatch(left_out >= 0.5, INK)
    stem = (canvas.layer(board.masks.stem) >= 0.5) & (counted >= 0.5)
    canvas.tint(stem.astype(np.float32), ORANGE, 0.75)
    leaf = np.where(counted >= 0.5, canvas.layer(board.masks.leaf), np.float32(0.0))
    canvas.contour(leaf, BLUE, 0.8)
    per_mm = _canvas_px_per_mm(canvas, board)
    for one in board.plants:
        _draw_marks(canvas, board, one, per_mm * board.grid.step_mm)
    canvas.path(board.card_px, INK, 1.2, closed=True, dashed=True)
    _number(canvas, board, plant, per_mm)
    canvas.room_below(46)
    long = canvas.rgb.shape[1] >= _LONG_BAR_FROM_MM * per_mm
    canvas.scale_bar(per_mm, _LONG_BAR_MM if long else _SHORT_BAR_MM, board.card_px)
    return canvas.finish(
        f"{title}  ·  {_count(board.plants)}",
        _values(metrics, spread),
        _legend(board.plants),
        _swatch(metrics),
    )


def _legend(plants: Sequence[CutPlant]) -> list[Legend]:
    entries = []
    if any(len(one.centre_line) for one in plants):
        entries.append(Legend(ORANGE, "stem with leaf stalks"))
        entries.append(Legend(BLUE, "centre line from cut (bar) to node (ring)", line=True))
    entries.append(Legend(BLUE, "outline of blades", line=True))
    entries.append(Legend(FADED, "faded: not counted"))
    if not all(one.stands_alone for one in plants):
        entries.append(Legend(INK, "hatched: plant left out, with its reason", line=True))
    return [*entries, Legend(INK, "reference card (dashed)", line=True)]


def _count(plants: Sequence[CutPlant]) -> str:
    counted = sum(one.stands_alone for one in plants)
    words = f"{counted} plant{'' if counted == 1 else 's'} measured"
    left_out = [one for one in plants if not one.stands_alone]
    groups = sum(not _GROUPS.isdisjoint(one.flags) for one in left_out)
    singly = len(left_out) - groups
    if singly:
        words += f", {singly} left out"
    if groups:
        words += f", {groups} group{'' if groups == 1 else 's'} left out"
    return words


def _values(metrics: dict[str, Measured], spread: dict[str, PlantSpread]) -> list[str]:
    lines = []
    for name, words in _TITLES.items():
        measured = metrics.get(name, Measured())
        if not math.isfinite(measured.value):
            lines.append(f"{words}  not measured")
            continue
        unit = UNIT_SIGNS.get(METRICS[name].unit, METRICS[name].unit)
        line = f"{words}  {measured.with_doubt()} {unit}".rstrip()
        lines.append(line + _between_plants(spread.get(name, PlantSpread()).sd))
    return lines


def _between_plants(sd: float) -> str:
    """Write a standard deviation to two significant digits, whole above ten."""
    if not math.isfinite(sd):
        return ""
    return f", spread {sd:.0f}" if sd >= 10.0 else f", spread {sd:#.2g}"


def _swatch(metrics: dict[str, Measured]) -> Swatch:
    return leaf_swatch(metrics, PREFIXES[View.BOARD])


def _draw_marks(canvas: Canvas, board: PlantsOnBoard, plant: CutPlant, per_cell: float) -> None:
    """Centre line, cut and node of a stem."""
    line = plant.centre_line
    if len(line) > 1:
        wide = _LINE_SHARE * plant.stem_width_cells * per_cell / canvas.unit
        canvas.path(board.in_photo(line), BLUE, min(wide, _LINE_UNITS), edged=False)
        away = line[min(3, len(line) - 1)] - line[0]
        across = np.array([-away[1], away[0]]) / max(math.hypot(*away), 1e-9)
        half = 1.5 * plant.stem_width_cells
        ends = line[0] + np.array([[-half], [half]]) * across
        canvas.path(board.in_photo(ends), BLUE, 1.6)
        _ring(canvas, board.in_photo(line[-1:]), 2.6)


def _ring(canvas: Canvas, at_px: Points, units: float) -> None:
    x, y = np.round(canvas.to_canvas(at_px)[0]).astype(int)
    radius = round(units * canvas.unit)
    cv2.circle(canvas.rgb, (x, y), radius, WHITE, -1, cv2.LINE_AA)
    cv2.circle(canvas.rgb, (x, y), radius, BLUE, max(1, round(canvas.unit)), cv2.LINE_AA)


def _number(canvas: Canvas, board: PlantsOnBoard, plant: Shares, per_mm: float) -> None:
    """Write each plant's number, and what keeps it out, where neither plant nor card lies."""
    taken = (plant > 0.1).astype(np.uint8)
    outline = np.round(canvas.to_canvas(board.card_px)).astype(np.int32)
    cv2.fillPoly(taken, [outline], 1)
    side = 2 * max(1, round(_RESERVE_MM * per_mm)) + 1
    round_it = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    taken = np.asarray(cv2.dilate(taken, round_it), dtype=np.uint8)
    for number, one in enumerate(board.plants, start=1):
        words = _label(number, one)
        width = text_length(words, _LABEL_SIZE * canvas.unit)
        half = np.array([width / 2 + 4 * canvas.unit, _LABEL_SIZE * 0.6 * canvas.unit + 3])
        foot, at = _free_place(taken, half, _feet(canvas, board, one), canvas.unit)
        if _gap(foot - at, half) > _LEADER_FROM_UNITS * canvas.unit:
            _leader(canvas, foot, at, half)
        canvas.write(words, at, size=_LABEL_SIZE, anchor="mm")
        low, high = np.floor(at - half).astype(int), np.ceil(at + half).astype(int)
        taken[max(0, low[1]) : high[1], max(0, low[0]) : high[0]] = 1


def _label(number: int, plant: CutPlant) -> str:
    reasons = [words for flag, words in _REASONS.items() if flag in plant.flags]
    return f"{number}: {reasons[0]}" if reasons else str(number)


def _feet(canvas: Canvas, board: PlantsOnBoard, plant: CutPlant) -> Points:
    """Where a number may stand: (x, y, direction away from the plant), shape (n, 3).

    At the cut; round the plant where no stem is told.
    """
    if len(plant.centre_line) > 1:
        ends = canvas.to_canvas(board.in_photo(plant.centre_line[[0, -1]]))
        away = ends[0] - ends[1]
        return np.array([[*ends[0], math.atan2(away[1], away[0])]])
    rows, columns = np.nonzero(plant.leaf + plant.stem >= 0.5)
    if len(rows) == 0:
        rows, columns = np.array([0]), np.array([0])
    corner = np.array([plant.box[1].start, plant.box[0].start])
    cells = np.column_stack([columns, rows])
    ways = math.tau * np.arange(8) / 8
    rays = np.column_stack([np.cos(ways), np.sin(ways)])
    farthest = cells[np.argmax(cells @ rays.T, axis=0)] + corner
    return np.column_stack([canvas.to_canvas(board.in_photo(farthest.astype(np.float64))), ways])


def _free_place(
    taken: NDArray[np.uint8], half: Points, feet: Points, unit: float
) -> tuple[Points, Points]:
    """Choose the nearest centre of a plate that covers nothing taken.

    Returns
    -------
    tuple of ndarray, each of shape (2,)
        The foot that it belongs to, and the centre; the plate that covers least where none is
        free.
    """
    height, width = taken.shape
    best, least = (feet[0, :2], feet[0, :2]), math.inf
    for foot, at in _places(half, feet, unit):
        left, top = np.floor(at - half).astype(int)
        right, bottom = np.ceil(at + half).astype(int)
        if left < 0 or top < 0 or right > width or bottom > height:
            continue
        covered = cv2.countNonZero(taken[top:bottom, left:right])
        if covered < least:
            best, least = (foot, at), float(covered)
        if covered == 0:
            break
    return best


def _places(half: Points, feet: Points, unit: float) -> Iterator[tuple[Points, Points]]:
    """Feet with centres of a plate round them, nearest first, outward first."""
    for reach in _REACH_UNITS * unit:
        for turn in _TURNS:
            for x, y, outward in feet:
                ray = np.array([math.cos(outward + turn), math.sin(outward + turn)])
                # Its edge, not its middle, is `reach` away.
                foot = np.array([x, y])
                yield foot, foot + ray * (reach + _extent(ray, half))


def _extent(ray: Points, half: Points) -> float:
    """Length from the middle of a plate to its edge along a unit vector."""
    return float((half / np.maximum(np.abs(ray), 1e-6)).min())


def _gap(away: Points, half: Points) -> float:
    """Distance of a place from a plate whose middle is ``away`` from it."""
    length = math.hypot(*away)
    return length - _extent(away / max(length, 1e-9), half)


def _leader(canvas: Canvas, foot: Points, at: Points, half: Points) -> None:
    away = foot - at
    ray = away / max(math.hypot(*away), 1e-9)
    edge = at + ray * _extent(ray, half)
    ends = [tuple(int(value) for value in np.round(point)) for point in (foot, edge)]
    cv2.line(canvas.rgb, ends[0], ends[1], INK, max(1, round(0.6 * canvas.unit)), cv2.LINE_AA)


def _canvas_px_per_mm(canvas: Canvas, board: PlantsOnBoard) -> float:
    """Canvas pixels that one millimetre of the board covers at the middle of the grid."""
    row, column = (np.array(board.grid.shape) - 1.0) / 2.0
    cells = 10.0 / board.grid.step_mm
    ends = canvas.to_canvas(board.in_photo(np.array([[column, row], [column + cells, row]])))
    return float(np.linalg.norm(ends[1] - ends[0])) / 10.0
