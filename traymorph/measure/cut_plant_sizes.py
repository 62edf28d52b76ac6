"""Lengths and areas of one cut plant: from cells of the board's plane to millimetres.

Plants lie above the plane in which they are drawn. Seen from a camera at height H, what lies at
height h looks larger by H / (H - h) in that plane (central projection onto parallel planes), so
lengths are taken times 1 - h / H and areas times its square.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.measure.cut_plant_grid import middle_cell
from traymorph.measure.cut_plant_readings import Areas, BoardView, Plane, Reading
from traymorph.measure.influence import CARD_SCALE_U
from traymorph.measure.mistaken import SAME_WAY
from traymorph.model.cut_plants import Blade, CutPlant

Point = NDArray[np.float64]

BLADE_LIFT_MM, BLADE_LIFT_U_MM = 1.7, 0.5
"""Mean height of blades above the card's face. Sixteen rendered boards of thirteen crop forms gave
1.7 mm with a standard deviation of 0.4 between them; cards are not all as thin as theirs."""
BLADE_OWN_LIFT_U_MM = 0.45
"""How far a single plant's blades lie from the mean of their board, from the same."""
STEM_REST_MM, STEM_LIFT_U_MM = 0.15, 0.3
"""A stem's middle lies its radius above the board and, being bent and held up by its blades,
somewhat more; from the same boards 0.15 mm with 0.13 between them."""
LEAF_SHARED_U, LEAF_OWN_U = 0.015, 0.03
STEM_SHARED_U, STEM_OWN_U = 0.01, 0.02
"""What slanting blades and bent stems leave, and shadows and gloss, as a share of leaf area and of
stem area and width: alike for all plants of a board and for each by itself. With true masks of 24
rendered boards leaf is off by 1.1 % from board to board and by 3 % from plant to plant, stems by
0.5 and 1.5 %; with the masks as told leaf by 1.1 % more than outlines account for."""
PEA_PARTING_U = 0.06
"""Stem taken for leaf or leaf for stem over a whole board, as a share of stem area, where stems run
over and under their leaves: five rendered boards of peas and plants built like them."""
NODE_SHARED_U, BLADE_WIDTH_SHARED_U = 0.01, 0.02
"""Where a crop's node is seen, as a share of the length of stems, and which way its blades slant,
of their width: alike for all plants of a board, from rendered boards."""
BLADE_LENGTH_SHARED_U = 0.03
"""The same for the length of blades, but for where they begin."""
_USUAL_STEM_MM = 1.5
_PARTING_MM, _PARTING_UNSEEN_MM = 0.7, 1.5
"""How far along a stalk the border of blade and stem may lie: one standard uncertainty; and where
blades lie over one another, so that young leaves may hide stalks or be taken for them (77 plants
with true leaves among their seed leaves: 3 mm over four stalks)."""
PARTING_SHARED_MM = 0.5
"""The same alike for all stalks of a board, since blades of one form taper into their stalks alike:
means of 23 rendered boards scatter by 0.5 mm."""
_BASE_U_MM = 0.5
"""How far along its stalk a blade may begin."""
_COUNT_U = 0.2
"""Blades miscounted per plant."""
_TILT_LENGTH, _TILT_AREA = 1.5, 3.0
"""Away from the card a doubt of tilt changes lengths across the line from the card by once the
angle's share, lengths along it by twice, areas by three times."""
_DIRECTION_POINTS = 5
"""Points of the centre line, 0.3 mm apart, that tell which way a stem was cut."""
_NOT_THE_BLADES_OWN = frozenset({"blade_folded", "blades_overlap"})


@dataclass(frozen=True, slots=True)
class _Level:
    """Things at one height above the board.

    Parameters
    ----------
    mm : float
        Size of a cell at that height.
    lift_u, shared_u : float
        Relative doubt of lengths by the height, and by height and scale together.
    """

    mm: float
    lift_u: float
    shared_u: float


class PlantSizes:
    """Reads lengths and areas of one plant.

    Parameters
    ----------
    view : BoardView
        The photo that it lies in.
    plant : CutPlant
        The plant on the photo's grid.
    missing_cells : float
        Leaf area that it seems to lack.
    """

    def __init__(self, view: BoardView, plant: CutPlant, missing_cells: float = 0.0) -> None:
        self._view, self._plant, self._missing = view, plant, missing_cells
        self._has_stem = len(plant.centre_line) > 1
        self.place_mm = self._place()
        width = plant.stem_width_cells * view.grid.step_mm
        stem_lift = STEM_REST_MM + 0.5 * (width if math.isfinite(width) else _USUAL_STEM_MM)
        self._stem = self._level(stem_lift, STEM_LIFT_U_MM)
        self._blade = self._level(BLADE_LIFT_MM, BLADE_LIFT_U_MM)
        away = math.hypot(*(self.place_mm - view.card_mm)) / view.camera_height_mm
        self._tilt = away * math.radians(view.viewpoint.tilt_u_deg)
        self._wider = self._seen_wider()

    def stem_length(self) -> Reading:
        """Length of the centre line from the cut to the node, mm."""
        if not self._has_stem:
            return Reading()
        steps = np.diff(self._plant.centre_line, axis=0)
        length = float(np.hypot(steps[:, 0], steps[:, 1]).sum()) * self._stem.mm
        length = max(length - self._cut_face_mm(), 0.0)
        ends = self._plant.ends_u_cells * self._stem.mm
        own = math.hypot(_TILT_LENGTH * self._tilt * length, ends)
        return Reading(length, math.hypot(self._stem.shared_u, NODE_SHARED_U) * length, own)

    def stem_width(self) -> Reading:
        """Mean width of the stem, mm."""
        width = self._plant.stem_width_cells * self._stem.mm / self._wider
        if not self._has_stem or not math.isfinite(width):
            return Reading()
        shared = math.hypot(
            self._stem.shared_u * width, STEM_SHARED_U * width, 2.0 * self._view.edge_u_mm
        )
        return Reading(width, shared, math.hypot(_TILT_LENGTH * self._tilt, STEM_OWN_U) * width)

    def areas(self) -> Areas:
        """Areas of stem and leaf, mm2, and what moves them."""
        leaf, stem = self._plant.leaf, self._plant.stem
        outer = _outline_cells(leaf + stem)
        of_leaf, of_stem = _outline_cells(leaf), _outline_cells(stem)
        edge = self._view.edge_u_mm
        leaf_mm2 = float(leaf.sum(dtype=np.float64)) * self._blade.mm**2
        stem_mm2 = float(stem.sum(dtype=np.float64)) * self._stem.mm**2 / self._wider
        # the border between leaf and stem is in both outlines and no outline of the plant
        leaf_outline = max(0.5 * (outer + of_leaf - of_stem), 0.0) * self._blade.mm
        stem_outline = max(0.5 * (outer + of_stem - of_leaf), 0.0) * self._stem.mm
        unsure = float(np.minimum(leaf, stem).sum(dtype=np.float64)) * self._stem.mm**2
        width = stem_mm2 / max(0.5 * stem_outline, 1e-9)
        blades = self._plant.blades
        stalks = math.sqrt(max(len(blades), 1))
        covered = any("blades_overlap" in blade.flags for blade in blades)
        along = _PARTING_UNSEEN_MM if covered else _PARTING_MM
        among_leaves = bool(blades) and all(blade.true_leaf for blade in blades)
        return Areas(
            stem=stem_mm2 if self._has_stem else math.nan,
            leaf=leaf_mm2 if self._plant.leaf_is_told else math.nan,
            stem_outline=edge * stem_outline,
            leaf_outline=edge * leaf_outline,
            stem_common=math.hypot(2.0 * self._stem.lift_u, STEM_SHARED_U) * stem_mm2,
            leaf_common=math.hypot(2.0 * self._blade.lift_u, LEAF_SHARED_U) * leaf_mm2,
            parting=math.hypot(SAME_WAY * unsure, along * width * stalks),
            parting_common=(
                PEA_PARTING_U * stem_mm2
                if among_leaves
                else PARTING_SHARED_MM * width * len(blades)
            ),
        )

    def stem_area(self, areas: Areas) -> Reading:
        """Area of stem and leaf stalks, mm2."""
        if not math.isfinite(areas.stem):
            return Reading()
        scale = 2.0 * CARD_SCALE_U * areas.stem
        shared = (scale, areas.stem_outline, areas.stem_common, areas.parting_common)
        relative = math.hypot(_TILT_AREA * self._tilt, STEM_OWN_U)
        own = math.hypot(relative * areas.stem, areas.parting)
        return Reading(areas.stem, math.hypot(*shared), own)

    def leaf_area(self, areas: Areas) -> Reading:
        """Area of the blades, mm2."""
        if not math.isfinite(areas.leaf):
            return Reading()
        scale = 2.0 * CARD_SCALE_U * areas.leaf
        shared = (scale, areas.leaf_outline, areas.leaf_common, areas.parting_common)
        lift = 2.0 * BLADE_OWN_LIFT_U_MM / self._view.camera_height_mm
        relative = math.hypot(_TILT_AREA * self._tilt, lift, LEAF_OWN_U)
        doubtful = SAME_WAY * float(self._doubt().sum(dtype=np.float64)) * self._blade.mm**2
        missing = self._missing * self._blade.mm**2
        own = math.hypot(relative * areas.leaf, areas.parting, doubtful, missing)
        return Reading(areas.leaf, math.hypot(*shared), own)

    def blade_count(self) -> Reading:
        """Count the blades; where they overlap, what one sees is no count."""
        blades = self._plant.blades
        if not blades or any("blades_overlap" in blade.flags for blade in blades):
            return Reading()
        return Reading(float(len(blades)), 0.0, math.hypot(_COUNT_U, float(self._missing > 0.0)))

    def blade_length(self) -> Reading:
        """Mean length of the blades that lie flat and alone, mm."""
        lengths = _known([one.length_cells for one in self._flat_blades()])
        mean = self._mean_mm(lengths)
        shared = (BLADE_LENGTH_SHARED_U * mean, PARTING_SHARED_MM, self._view.edge_u_mm)
        return self._of_blades(mean, shared, _BASE_U_MM / math.sqrt(max(len(lengths), 1)))

    def blade_width(self) -> Reading:
        """Mean of the greatest widths of the blades that lie flat and alone, mm."""
        mean = self._mean_mm(_known([one.width_cells for one in self._flat_blades()]))
        shared = (BLADE_WIDTH_SHARED_U * mean, 2.0 * self._view.edge_u_mm)
        return self._of_blades(mean, shared, LEAF_OWN_U * mean)

    def _flat_blades(self) -> list[Blade]:
        blades = self._plant.blades
        return [one for one in blades if not _NOT_THE_BLADES_OWN.intersection(one.flags)]

    def _mean_mm(self, cells: list[float]) -> float:
        return sum(cells) / len(cells) * self._blade.mm if cells else math.nan

    def _of_blades(self, mean: float, shared: tuple[float, ...], own: float) -> Reading:
        """Add what height, scale and tilt bring to the doubt of a mean over the blades, mm."""
        lift = BLADE_OWN_LIFT_U_MM / self._view.camera_height_mm * mean
        tilt = _TILT_LENGTH * self._tilt * mean
        level = self._blade.shared_u * mean
        return Reading(mean, math.hypot(level, *shared), math.hypot(lift, tilt, own))

    def _seen_wider(self) -> float:
        """How many times wider than it is a round stem appears on the board.

        The lines of sight that touch a cylinder of radius r lean by v across its axis; they are
        2 r apart at right angles to themselves, and meet the board 2 r / cos v apart.
        """
        if not self._has_stem:
            return 1.0
        columns, rows = self._plant.centre_line.T
        at = self._view.grid.points_mm(rows, columns)
        along = np.gradient(at, axis=0)
        along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
        out = at - self._view.viewpoint.position_mm[:2]
        across = out[:, 0] * along[:, 1] - out[:, 1] * along[:, 0]
        return float(np.hypot(1.0, across / self._view.camera_height_mm).mean())

    def _cut_face_mm(self) -> float:
        """How much of a stem's outline is its cut face, seen beside the end of its axis, mm.

        The face of a stem of radius r is a disc on edge. In the board's plane what lies at height
        z appears farther from the point below the camera by z tan v, v being the angle of sight
        from straight above. Along the stem that is z t with t = tan v cos a, a between the stem
        and the direction away from that point. The axis ends at r t; the outline ends at the
        face's top, 2 r t, where the face looks away from the camera's foot, and at its lowest
        point, 0, where it looks towards it: r |t| beyond the axis either way.
        """
        line = self._plant.centre_line
        start, ahead = line[0], line[min(len(line) - 1, _DIRECTION_POINTS)]
        columns, rows = np.array([start, ahead]).T
        cut, further = self._view.grid.points_mm(rows, columns)
        out = cut - self._view.viewpoint.position_mm[:2]
        stem = cut - further
        along = float(out @ stem) / max(math.hypot(*stem), 1e-9)
        slope = abs(along) / self._view.camera_height_mm
        return 0.5 * self._plant.stem_width_cells * self._stem.mm * slope

    def _doubt(self) -> Plane:
        """Doubt whether what was taken for leaf is plant at all, within its outline.

        On the outline itself cells are half plant, and their doubt is that of the outline.
        """
        plant = np.minimum(self._plant.leaf + self._plant.stem, np.float32(1.0))
        within = np.where(self._plant.leaf > 0, (2.0 * plant - 1.0) ** 2, np.float32(0.0))
        kept: Plane = (self._view.doubt[self._plant.box] * within).astype(np.float32)
        return kept

    def _level(self, lift_mm: float, lift_u_mm: float) -> _Level:
        height = self._view.camera_height_mm
        # the doubt of the camera's height counts only by the lift that it scales
        lift_u = math.hypot(lift_u_mm, lift_mm * self._view.viewpoint.distance_u_rel) / height
        step = self._view.grid.step_mm * (1.0 - lift_mm / height)
        return _Level(step, lift_u, math.hypot(CARD_SCALE_U, lift_u))

    def _place(self) -> Point:
        """Where the plant was cut, or its middle, in the card's frame."""
        if self._has_stem:
            column, row = self._plant.centre_line[0]
        else:
            column, row = middle_cell(self._plant)
        return self._view.grid.points_mm(np.array([row]), np.array([column])).reshape(2)


def _known(values: list[float]) -> list[float]:
    return [value for value in values if math.isfinite(value)]


def _outline_cells(share: Plane) -> float:
    """Length of the outline of a layer of shares, in cells.

    The integral of the slope of a function is the mean length of its level lines (coarea formula:
    Federer 1959, Trans. AMS 93:418-491); the levels of a soft edge all run along the outline.
    """
    padded = np.pad(share, 2).astype(np.float32)
    down = padded[2:, 1:-1] - padded[:-2, 1:-1]
    right = padded[1:-1, 2:] - padded[1:-1, :-2]
    return 0.5 * float(cv2.magnitude(down, right).sum(dtype=np.float64))
