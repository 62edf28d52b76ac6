"""Finds the tray's front wall in a side photo: its upper edge and the tray's inside ends."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.errors import TrayNotFoundError
from traymorph.model.masks import PlantMasks
from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.tray import FrontWall
from traymorph.model.trial import TraySize
from traymorph.model.viewpoint import Viewpoint
from traymorph.tray.evidence import Plane, blackness, reduced_to

_CELL_MM = 1.0
_REACH_X_MM = 700.0
_ABOVE_MM, _BELOW_MM = 180.0, 60.0
_PRIOR_MM = 15.0
"""The card's foot tells the rim's height to about this: benches and cards are never quite flat."""
_SLOPES = np.linspace(-0.03, 0.03, 13)
_WALL_MM = 18.0
"""Height of dark wall looked for below its edge."""
_STEP_MM = 3.0
_RIM_MM = 9.0
_SHORT_SIDE_GAIN = 0.15
_FLAT_TOP = 0.015
_LEAST_END_SCORE = 0.1
_LEAST_IN_VIEW = 0.6
_EDGE_SEEN = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class _Front:
    """Maps in the plane of the front wall; rows go down."""

    grid: PlaneGrid
    bare: Plane
    plant: Plane
    black: Plane
    lightness: Plane
    in_photo: Plane

    def column(self, x_mm: float) -> int:
        return int(
            np.clip(round((x_mm - self.grid.origin_mm[0]) / _CELL_MM), 0, self.bare.shape[1] - 1)
        )

    def row(self, y_mm: float) -> int:
        return int(
            np.clip(round((y_mm - self.grid.origin_mm[1]) / _CELL_MM), 0, self.bare.shape[0] - 1)
        )


def find_front_wall(
    rgb: NDArray[np.uint8],
    masks: PlantMasks,
    viewpoint: Viewpoint,
    size: TraySize,
    plane: str,
    card_outline_px: NDArray[np.float64],
) -> FrontWall:
    """Find the front wall of the tray beside the standing card.

    The photo is carried to the plane of the card's face, which is the plane of the front wall.
    The wall's upper edge is sought near the height that the card's foot and the stated height of
    the rim give; its ends are the pair of places, one inside length or width apart, that hold
    the plants and the dark wall.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        Colour-corrected picture on the pixel grid of the masks.
    masks : PlantMasks
        All plants in the photo.
    viewpoint : Viewpoint
        The camera in the side card's frame.
    size : TraySize
        Inside length or width must be known; an unknown rim height widens the search.
    plane : str
        ``bench`` or ``rim``: at what height the card's foot stands.
    card_outline_px : ndarray, shape (4, 2)
        The printed card's corners in the photo.

    Returns
    -------
    FrontWall
        Upper edge and inside ends.

    Raises
    ------
    TrayNotFoundError
        When no wall of the tray's length or width is seen beside the card.
    ValueError
        When inside length and width are both unknown.
    """
    if size.inside_length_mm is None and size.inside_width_mm is None:
        msg = "find_front_wall needs the inside length or width of the tray"
        raise ValueError(msg)
    card = viewpoint.on_plane(card_outline_px, 0.0)
    foot = float(card[:, 1].max())
    expected = foot - ((size.rim_above_bench_mm or 0.0) if plane == "bench" else 0.0)
    prior = _PRIOR_MM if plane == "rim" or size.rim_above_bench_mm is not None else 4 * _PRIOR_MM
    front = _gather(rgb, masks, viewpoint, foot, card)
    left, right = _ends(front, size, expected)
    edge, slope, seen = _upper_edge(front, (left, right), expected, prior)
    left, right = _ends(front, size, edge)
    return FrontWall(
        rim_y_mm=edge,
        rim_slope=slope,
        left_x_mm=left,
        right_x_mm=right,
        position_u_mm=0.7 if seen > _EDGE_SEEN else 2.5,
        seen_share=seen,
    )


def _gather(
    rgb: NDArray[np.uint8],
    masks: PlantMasks,
    viewpoint: Viewpoint,
    foot: float,
    card: NDArray[np.float64],
) -> _Front:
    middle = card.mean(axis=0)
    mm_per_pixel = viewpoint.mm_per_px(np.array([*middle, 0.0])) * masks.scale
    small, plant, scale = reduced_to(rgb, masks, mm_per_pixel, _CELL_MM)
    origin = np.array([middle[0] - _REACH_X_MM, foot - _ABOVE_MM])
    shape = (int((_ABOVE_MM + _BELOW_MM) / _CELL_MM), int(2 * _REACH_X_MM / _CELL_MM))
    grid = PlaneGrid(origin, np.array([1.0, 0.0]), _CELL_MM, shape, 0.0)
    x, y = grid.sampling(viewpoint, scale)
    in_photo = ((x >= 0) & (y >= 0) & (x < plant.shape[1]) & (y < plant.shape[0])).astype(
        np.float32
    )
    colour = cv2.remap(small, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    lightness = cv2.cvtColor(colour, cv2.COLOR_RGB2LAB)[:, :, 0].astype(np.float32) / 2.55
    seen = cv2.remap(plant, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    hidden = cv2.fillConvexPoly(
        np.zeros(shape, np.uint8), np.round(grid.cells(card)).astype(np.int32), 1
    )
    bare = ((1.0 - seen) * in_photo * (1 - hidden)).astype(np.float32)
    return _Front(
        grid, bare, (seen * in_photo).astype(np.float32), blackness(lightness), lightness, in_photo
    )


def _ends(front: _Front, size: TraySize, edge: float) -> tuple[float, float]:
    """Inside ends: the interval of known length that holds plants above and dark wall below."""
    above = front.plant[front.row(edge - 45.0) : front.row(edge - 3.0)].mean(0)
    wall = slice(front.row(edge + 3.0), front.row(edge + 3.0 + _WALL_MM))
    dark = (front.black[wall] * front.bare[wall]).mean(0)
    evidence = 0.6 * above + 0.8 * dark
    total = np.concatenate([[0.0], np.cumsum(evidence)])
    seen = np.concatenate([[0.0], np.cumsum(front.in_photo[wall].mean(0))])
    best, found = -np.inf, (0.0, 0.0)
    for length in (size.inside_length_mm, size.inside_width_mm):
        if length is None:
            continue
        score, start = _interval(total, seen, length)
        # a short interval fits anywhere within a long front: the long one comes first
        if score > best + (0.0 if best < 0 else _SHORT_SIDE_GAIN):
            best, found = score, (start, start + length)
    if best < _LEAST_END_SCORE:
        msg = (
            "The tray's front wall was not found: no dark wall of the tray's length with plants "
            "above it is seen beside the card."
        )
        raise TrayNotFoundError(
            msg,
            hint="Stand the card in the plane of the front wall, photograph the whole front, and "
            "check the tray's inside size.",
        )
    x0 = float(front.grid.origin_mm[0])
    return found[0] + x0, found[1] + x0


def _interval(
    total: NDArray[np.float64], seen: NDArray[np.float64], length_mm: float
) -> tuple[float, float]:
    """Score and start, in cells, of the interval that stands out most from its two flanks."""
    inner, rim, flank = round(length_mm), round(_RIM_MM), 40
    starts = np.arange(rim + flank, len(total) - inner - rim - flank)
    if len(starts) == 0:
        return -np.inf, 0.0

    def amount(low: NDArray[np.int64], high: NDArray[np.int64]) -> NDArray[np.float64]:
        result: NDArray[np.float64] = total[high] - total[low]
        return result

    inside = amount(starts, starts + inner) / inner
    left = amount(starts - rim - flank, starts - rim) / flank
    right = amount(starts + inner + rim, starts + inner + rim + flank) / flank
    rims = (amount(starts - rim, starts) + amount(starts + inner, starts + inner + rim)) / (2 * rim)
    in_view = (seen[starts + inner] - seen[starts]) / inner
    missing = np.maximum(0.98 - in_view, 0.0)
    score = inside - 0.5 * (left + right) + 0.15 * rims - 2.0 * missing
    # the rims beside the wall are as dark as the wall: the score has a flat top, its middle counts
    top = starts[score > score.max() - _FLAT_TOP]
    return float(score.max()), float(top.mean())


def _upper_edge(
    front: _Front, ends: tuple[float, float], expected: float, prior: float
) -> tuple[float, float, float]:
    """Edge height at the left end, slope, and share of the edge seen."""
    left, right = front.column(ends[0]), front.column(ends[1])
    columns = np.arange(left, right)
    offsets = np.arange(-2.0 * prior, 2.0 * prior + 0.5, 0.5)
    best, found = -np.inf, (expected, 0.0, 0.0)
    strength = _edge_strength(front)
    middle = (left + right) / 2
    for slope in _SLOPES:
        lean = slope * (columns - middle)
        rows = (expected - front.grid.origin_mm[1] + offsets)[:, None] / _CELL_MM + lean[None, :]
        where = np.broadcast_to(columns, rows.shape).astype(np.float32)
        read = cv2.remap(strength, where, rows.astype(np.float32), cv2.INTER_LINEAR)
        score = read.mean(1) - 0.02 * (offsets / prior) ** 2 - 0.01 * abs(slope) / 0.03
        k = int(np.argmax(score))
        if score[k] > best:
            best = float(score[k])
            at_left = expected + float(offsets[k]) + slope * (left - middle) * _CELL_MM
            found = (at_left, float(slope), float((read[k] > _EDGE_SEEN).mean()))
    return found


def _edge_strength(front: _Front) -> Plane:
    """Dark wall below and anything lighter, or plants, above: 0 to 1 per cell."""
    size = round(_STEP_MM / _CELL_MM)
    weight = np.ones((size, 1), np.float32) / size
    wall = cv2.filter2D(front.black * front.bare, -1, weight, anchor=(0, 0))
    above = cv2.filter2D(
        np.maximum(front.plant, 1.0 - front.black), -1, weight, anchor=(0, size - 1)
    )
    far = cv2.filter2D(
        front.black * front.bare, -1, np.ones((12, 1), np.float32) / 12, anchor=(0, 0)
    )
    strength = wall * np.roll(above, 1, axis=0) * (0.4 + 0.6 * far)
    return strength.astype(np.float32)
