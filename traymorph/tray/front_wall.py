"""Finds the tray's front wall in a side photo: its upper edge and the tray's inside ends."""

import math
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
_WIDEST_RIM_MM = 14
_STEP_L = 12.0
"""Step of lightness from wall to surroundings that counts as a full edge."""
_SHORT_SIDE_GAIN = 0.15
_FLAT_TOP = 0.015
_LEAST_END_SCORE = 0.1
_LEAST_TRAY = 0.15
"""Share of plants above and of black below the edge that a tray's front shows at the least."""
_EDGE_WEIGHT = 2.0
"""How much the edge's strength counts beside the score of the ends: both are about 1 for a wall."""
_USUAL_RIMS_MM = (35.0, 50.0, 65.0)
"""Rims stand 25 to 75 mm above the bench. Common practice, no source."""
_EDGE_SEEN = 0.25
_EDGE_U_MM, _UNSEEN_U_MM = 0.6, 3.0
_FOOT_U_MM = 2.0
"""Doubt of the rim's height from the card's foot: uneven bench and card, a ruler's reading."""
_USUAL_LIP_MM = 8.0
"""How far a rim usually stands out from its wall."""


@dataclass(frozen=True, slots=True, eq=False)
class _Front:
    """Maps in the plane of the front wall; rows go down."""

    grid: PlaneGrid
    bare: Plane
    plant: Plane
    black: Plane
    lightness: Plane
    in_photo: Plane
    card: Plane

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
    The wall's upper edge is sought near the heights that the card's foot gives where it stands on
    the bench or on an upturned tray of the same kind; its ends are the pair of places, one inside
    length or width apart, that hold the plants and the dark wall.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        Colour-corrected picture on the pixel grid of the masks.
    masks : PlantMasks
        All plants in the photo.
    viewpoint : Viewpoint
        The camera in the side card's frame.
    size : TraySize
        Inside length or width must be known; with an unknown rim height all usual heights are
        searched.
    plane : str
        ``bench`` or ``rim``: at what height the overhead card lies. Between equally good walls
        the side card is taken to stand there too.
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
    front = _gather(rgb, masks, viewpoint, card)
    foot = float(card[:, 1].max())
    fits = [_fit(front, size, foot - raised) for raised in _rims_above_foot(size, plane)]
    best = max(fits, key=lambda fit: fit.merit)
    if best.ends.score < _LEAST_END_SCORE:
        msg = (
            "The tray's front wall was not found: no dark wall of the tray's length with plants "
            "above it is seen beside the card."
        )
        raise TrayNotFoundError(
            msg,
            hint="Stand the card in the plane of the front wall, photograph the whole front, and "
            "check the tray's inside size.",
        )
    lip = _lip_shift(viewpoint, best.edge.at_left_mm)
    edge = best.edge.at_left_mm - _CELL_MM / 2 - lip / 2
    u = math.hypot(_EDGE_U_MM, lip / math.sqrt(12.0), _UNSEEN_U_MM * (1.0 - best.edge.seen_share))
    if size.rim_above_bench_mm is not None:
        edge, u = _weighted((edge, u), (best.expected_mm, _FOOT_U_MM))
    return FrontWall(
        rim_y_mm=edge,
        rim_slope=best.edge.slope,
        left_x_mm=best.ends.left_mm,
        right_x_mm=best.ends.right_mm,
        position_u_mm=u,
        seen_share=best.edge.seen_share,
    )


@dataclass(frozen=True, slots=True)
class _Ends:
    """Inside ends and how well the wall fits between them."""

    score: float
    left_mm: float
    right_mm: float


@dataclass(frozen=True, slots=True)
class _Edge:
    """The wall's upper edge: height at the left end, slope, how well and how much of it is seen."""

    score: float
    at_left_mm: float
    slope: float
    seen_share: float


@dataclass(frozen=True, slots=True)
class _Fit:
    """The wall sought near one height."""

    expected_mm: float
    ends: _Ends
    edge: _Edge

    @property
    def merit(self) -> float:
        """Ends and edge together."""
        return self.ends.score + _EDGE_WEIGHT * self.edge.score


def _rims_above_foot(size: TraySize, plane: str) -> tuple[float, ...]:
    """Heights of the rim above the card's foot that are worth a look, the stated one first.

    The two cards of a trial need not stand alike: the overhead one may lie on an upturned tray
    while the side one stands on the bench. So the other height is looked at too.
    """
    known = size.rim_above_bench_mm
    on_bench = _USUAL_RIMS_MM if known is None else (known,)
    return (*on_bench, 0.0) if plane == "bench" else (0.0, *on_bench)


def _fit(front: _Front, size: TraySize, expected: float) -> _Fit:
    ends = _ends(front, size, expected)
    if not math.isfinite(ends.score):
        return _Fit(expected, ends, _Edge(-np.inf, expected, 0.0, 0.0))
    edge = _upper_edge(front, (ends.left_mm, ends.right_mm), expected)
    return _Fit(expected, _ends(front, size, edge.at_left_mm), edge)


def _lip_shift(viewpoint: Viewpoint, edge: float) -> float:
    """How much lower than the wall's edge the front of its lip appears to a raised camera, mm.

    Whether the lip's top looks as dark as its front depends on the light, so that the edge found
    lies anywhere between the two.
    """
    _, eye_y, distance = viewpoint.position_mm
    return float(max(edge - eye_y, 0.0) * _USUAL_LIP_MM / distance)


def _weighted(one: tuple[float, float], other: tuple[float, float]) -> tuple[float, float]:
    """Mean of two readings by their uncertainties, and its own; grows when they disagree."""
    (a, u), (b, v) = one, other
    weight = v**2 / (u**2 + v**2)
    mean = weight * a + (1.0 - weight) * b
    both = u * v / math.hypot(u, v)
    return mean, both * max(1.0, abs(a - b) / math.hypot(u, v))


def _gather(
    rgb: NDArray[np.uint8],
    masks: PlantMasks,
    viewpoint: Viewpoint,
    card: NDArray[np.float64],
) -> _Front:
    middle = card.mean(axis=0)
    foot = float(card[:, 1].max())
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
        grid,
        bare,
        (seen * in_photo).astype(np.float32),
        blackness(lightness),
        lightness,
        in_photo,
        hidden.astype(np.float32),
    )


def _ends(front: _Front, size: TraySize, edge: float) -> _Ends:
    """Inside ends: the interval of known length that holds the plants and ends with the wall.

    The score is minus infinity, and the ends mean nothing, where no interval looks like a tray.
    """
    rows = slice(front.row(edge + 4.0), front.row(edge + 4.0 + _WALL_MM))
    above = front.plant[front.row(edge - 25.0) : front.row(edge - 3.0)].mean(0)
    seen = front.bare[rows].sum(0)
    columns = _Columns(
        plant=above,
        black=(front.black[rows] * front.bare[rows]).mean(0),
        lightness=_filled((front.lightness[rows] * front.bare[rows]).sum(0), seen),
        in_photo=front.in_photo[rows].mean(0).astype(np.float64),
        card=front.card.max(0).astype(np.float64),
    )
    best, found = -np.inf, (0.0, 0.0)
    for length in (size.inside_length_mm, size.inside_width_mm):
        if length is None:
            continue
        score, start = _interval(columns, length)
        # a short interval fits anywhere within a long front: the long one comes first
        if score > best + (0.0 if best < 0 else _SHORT_SIDE_GAIN):
            best, found = score, (start, start + length)
    x0 = float(front.grid.origin_mm[0])
    return _Ends(best, found[0] + x0, found[1] + x0)


@dataclass(frozen=True, slots=True, eq=False)
class _Columns:
    """Means over rows, per mm along the front: plants above the edge, the wall below it."""

    plant: NDArray[np.float64]
    black: NDArray[np.float64]
    lightness: NDArray[np.float64]
    in_photo: NDArray[np.float64]
    card: NDArray[np.float64]


def _filled(total: NDArray[np.float64], count: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean per column; columns that show nothing take the nearest value to their left."""
    known = np.flatnonzero(count > 1.0)
    if len(known) == 0:
        return np.zeros(len(total))
    nearest = known[np.clip(np.searchsorted(known, np.arange(len(total)), "right") - 1, 0, None)]
    values: NDArray[np.float64] = total[nearest] / count[nearest]
    return values


def _interval(columns: _Columns, length_mm: float) -> tuple[float, float]:
    """Score and start, in cells, of the interval that a tray's front fits best."""
    inner, flank, near = round(length_mm), 40, 12
    margin = flank + _WIDEST_RIM_MM
    starts = np.arange(margin, len(columns.plant) - inner - margin)
    if len(starts) == 0:
        return -np.inf, 0.0
    ends = starts + inner
    in_photo, card = _Sums(columns.in_photo), _Sums(columns.card)

    def contrast(values: NDArray[np.float64], low: int, high: int) -> NDArray[np.float64]:
        """Mean inside less that from ``low`` to ``high`` beyond the ends.

        What lies beyond the photo's edge is not known: there it counts as the same.
        """
        sums, within = _Sums(values), _Sums(values).mean(starts, ends)
        both = np.zeros(len(starts))
        for near, far in ((starts - high, starts - low), (ends + low, ends + high)):
            shown = in_photo.mean(near, far)
            both += shown * within - sums.mean(near, far)
        result: NDArray[np.float64] = 0.5 * both
        return result

    light = _Sums(columns.lightness)
    steps = []
    for rim in range(_WIDEST_RIM_MM + 1):  # the same on both sides, or it would shift the middle
        low, high = starts - rim, ends + rim
        left = light.mean(low - 6, low - 1) - light.mean(low + 1, low + 6)
        right = light.mean(high + 1, high + 6) - light.mean(high - 6, high - 1)
        steps.append(np.clip(left / _STEP_L, 0.0, 1.0) + np.clip(right / _STEP_L, 0.0, 1.0))
    seen = np.minimum(in_photo.mean(starts, ends), 1.0 - card.mean(starts, ends))
    score = (
        contrast(columns.plant, 2, near)
        + 0.6 * contrast(columns.black, _WIDEST_RIM_MM, margin)
        + 0.5 * np.max(steps, axis=0)
        - 3.0 * np.maximum(0.98 - seen, 0.0)
    )
    tray = _Sums(columns.plant + columns.black).mean(starts, ends)
    score[tray < _LEAST_TRAY] = -np.inf
    if not np.isfinite(score).any():
        return -np.inf, 0.0
    top = starts[score > score.max() - _FLAT_TOP]
    return float(score.max()), float(top.mean())


class _Sums:
    """Means over any stretch of a profile by running sums."""

    def __init__(self, values: NDArray[np.float64]) -> None:
        self._total = np.concatenate([[0.0], np.cumsum(values)])

    def mean(self, low: NDArray[np.int64], high: NDArray[np.int64]) -> NDArray[np.float64]:
        """Mean of the cells from ``low`` up to, not including, ``high``."""
        result: NDArray[np.float64] = (self._total[high] - self._total[low]) / (high - low)
        return result


def _upper_edge(front: _Front, ends: tuple[float, float], expected: float) -> _Edge:
    """Find the strongest line of dark wall under something lighter near the expected height."""
    left, right = front.column(ends[0]), front.column(ends[1])
    columns = np.arange(left, right)
    offsets = np.arange(-2.0 * _PRIOR_MM, 2.0 * _PRIOR_MM + 0.5, 0.5)
    best = _Edge(-np.inf, expected, 0.0, 0.0)
    strength = _edge_strength(front)
    middle = (left + right) / 2
    for slope in _SLOPES:
        lean = slope * (columns - middle)
        rows = (expected - front.grid.origin_mm[1] + offsets)[:, None] / _CELL_MM + lean[None, :]
        where = np.broadcast_to(columns, rows.shape).astype(np.float32)
        read = cv2.remap(strength, where, rows.astype(np.float32), cv2.INTER_LINEAR)
        score = read.mean(1) - 0.02 * (offsets / _PRIOR_MM) ** 2 - 0.01 * abs(slope) / 0.03
        k = int(np.argmax(score))
        if score[k] > best.score:
            at_left = expected + float(offsets[k]) + slope * (left - middle) * _CELL_MM
            seen = float((read[k] > _EDGE_SEEN).mean())
            best = _Edge(float(score[k]), at_left, float(slope), seen)
    return best


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
