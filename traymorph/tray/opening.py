"""Finds the tray's opening, a rectangle of known inside size, in an overhead photo."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from traymorph.errors import TrayNotFoundError
from traymorph.model.card import CardSighting
from traymorph.model.masks import PlantMasks
from traymorph.model.tray import TrayOpening
from traymorph.model.trial import TraySize
from traymorph.model.viewpoint import Viewpoint
from traymorph.tray.evidence import FINE_MM, RimEvidence, RimView, view_of_rim
from traymorph.tray.fit import best_starts, refine, settle
from traymorph.tray.likely import likely_place
from traymorph.tray.outline import (
    RIM_WIDTHS_MM,
    Profiles,
    edge_steps,
    profiles,
    steps_at_rim_widths,
)
from traymorph.tray.outline_samples import outline_of
from traymorph.tray.scan import Place, coarse_places, turned_grid

_CANOPIES_ABOVE_RIM_MM = (60.0, 90.0, 35.0, 125.0, 15.0)
"""How high canopies stand above the rim, tried where it is not known, the commonest first: a wrong
height shifts the canopy against the rim, and then neither its reach over the sides nor the rim's
edges agree."""
_SETTLING_GAIN = 0.12
"""The last walk adds no more to a start's score: 0.10 at the most in 46 rendered photos."""
_LOWEST_MM, _HIGHEST_MM = 5.0, 142.0
"""Half a step beyond the tried heights."""
_AS_GOOD = 0.05
"""Fits that differ by less do not tell which height is the right one. Of 40 rendered trays 6 were
placed more than 15 mm off by the best fit; in all but one another height that fits as well by this
margin placed them over 15 mm elsewhere."""
USUAL_RIM_ABOVE_BENCH_MM = 50.0
"""Rims stand 25 to 75 mm above the bench. Common practice, no source."""
_OUTERMOST_SHARE = 0.8
"""Height of the outermost leaves over that of the canopy's top. Rendered trays: between 0.7 and 1
the canopy's outline lies equally far outside all sides of the opening."""

_LEAST_SCORE = 0.1
"""Below this a rectangle neither holds plants nor shows a rim."""
_LEAST_IN_VIEW = 0.55
"""With less of the opening in the photo its place along the missing side is a guess."""
_EDGE_SEEN = 0.3
"""Mean strength of the rim's edge at a sample from which on it counts as seen."""
_SAMPLE_MM = 4.0
_SIDE_SEEN = 0.15
"""Share of a side that must be seen to pin the opening across it."""
_CENTRE_WEIGHT = 0.15
"""Between two equally good trays, the one nearer the photo's centre is meant."""

_CUT_OFF = "cuts off much of the tray"
_TOO_NEAR = "shows less ground than the tray covers"
_NO_RECTANGLE = "shows no rectangle of the tray's inside size with plants or a dark rim"

_LEAST_U_MM = 0.8
"""Doubt of an opening all of whose sides are seen."""


def find_opening(
    rgb: NDArray[np.uint8],
    masks: PlantMasks,
    sighting: CardSighting,
    size: TraySize,
    plane: str,
    canopy_above_rim_mm: float | None = None,
) -> TrayOpening:
    """Find the opening of the tray that the photo is about.

    The photo is carried to the plane of the rim, where the opening is a rectangle of exactly the
    stated size with three unknowns. A coarse scan of all places and turns weighs plants inside
    against plants beyond and a dark rim against what lies round it; the best places are refined
    on the rim's edges where foliage leaves them bare.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        Colour-corrected picture on the pixel grid of the masks.
    masks : PlantMasks
        All plants in the photo, neighbours too.
    sighting : CardSighting
        The camera in the card's frame, and where the card hides a rim or looks like one.
    size : TraySize
        Inside length and width must be known; an unknown rim height is taken as the
        usual one.
    plane : str
        ``bench`` or ``rim``: at what height the card lies.
    canopy_above_rim_mm : float or None
        How high the canopy's top stands above the rim; a guess will do. Without one several
        heights are tried, and the opening counts that fits best; its ``canopy_above_rim_mm`` is
        then read between them.

    Returns
    -------
    TrayOpening
        Place of the opening with its uncertainty.

    Raises
    ------
    TrayNotFoundError
        When no rectangle of that size holds plants or shows a rim, or most of it is out of view.
    ValueError
        When inside length or width is not given.
    """
    if size.inside_length_mm is None or size.inside_width_mm is None:
        msg = "find_opening needs the inside length and width of the tray"
        raise ValueError(msg)
    rim_height = rim_above_card(size, plane)
    view = view_of_rim(rgb, masks, sighting.viewpoint, rim_height, sighting.outline_px)
    inside = np.array([size.inside_length_mm, size.inside_width_mm])
    if canopy_above_rim_mm is not None:
        return _settled(_begun(view, inside, [canopy_above_rim_mm])[0], view, inside)
    found = _under_any_canopy(view, inside)
    best = max(found, key=lambda opening: opening.fit)
    return replace(
        best,
        canopy_above_rim_mm=_between_tried_heights(found),
        position_u_mm=float(np.hypot(best.position_u_mm, _apart_mm(best, found) / 2.0)),
    )


@dataclass(frozen=True, slots=True)
class _Trial:
    """A height of the canopy, what the photo shows under it, and the place to settle from."""

    canopy_above_rim_mm: float
    evidence: RimEvidence
    start: Place


def _under_any_canopy(view: RimView, inside: NDArray[np.float64]) -> list[TrayOpening]:
    """Find openings under every height of the canopy that may be the right one, lowest first."""
    trials = _begun(view, inside, sorted(_CANOPIES_ABOVE_RIM_MM))
    found: dict[int, TrayOpening] = {}
    missed: list[TrayNotFoundError] = []
    left = set(range(len(trials)))
    while todo := left & _worth_settling(trials, found):
        most = max(todo, key=lambda k: trials[k].start.score)
        left.remove(most)
        try:
            found[most] = _settled(trials[most], view, inside)
        except TrayNotFoundError as err:
            missed.append(err)
    if not found:
        raise missed[0]
    return [found[k] for k in sorted(found)]


def _worth_settling(trials: list[_Trial], found: dict[int, TrayOpening]) -> set[int]:
    """Tell which may yet fit as well as the best, and which stand beside it."""
    if not found:
        return set(range(len(trials)))
    best = max(found, key=lambda k: found[k].fit)
    least = found[best].fit - _AS_GOOD - _SETTLING_GAIN
    return {k for k, one in enumerate(trials) if one.start.score > least} | set(
        _beside(best, len(trials))
    )


def _beside(best: int, count: int) -> range:
    """Numbers of the best of several heights and those on either side, or the two inwards."""
    first = min(max(best - 1, 0), max(count - 3, 0))
    return range(first, min(first + 3, count))


def _apart_mm(best: TrayOpening, found: list[TrayOpening]) -> float:
    """Distance from the best opening to the farthest that fits as well under another height.

    The tray is at the one or the other with equal chance: half of it is the standard deviation.
    """
    as_good = [one for one in found if one.fit > best.fit - _AS_GOOD]
    shifts = np.array(
        [one.corners_mm.mean(axis=0) - best.corners_mm.mean(axis=0) for one in as_good]
    )
    return float(np.hypot(*shifts.T).max())


def _between_tried_heights(found: list[TrayOpening]) -> float:
    """Height at the vertex of the parabola through the best fit and its neighbours on either side.

    At the ends of the tried heights the two on the inner side are taken, and the height stays
    within half a step beyond.
    """
    best = max(found, key=lambda opening: opening.fit).canopy_above_rim_mm
    tried = sorted(_CANOPIES_ABOVE_RIM_MM)
    fits = {opening.canopy_above_rim_mm: opening.fit for opening in found}
    near = [tried[k] for k in _beside(tried.index(best), len(tried))]
    if not fits.keys() >= set(near):
        return best
    curve, slope, _ = np.polyfit(near, [fits[height] for height in near], 2)
    if curve >= 0:
        return best
    return float(np.clip(-slope / (2.0 * curve), _LOWEST_MM, _HIGHEST_MM))


def opening_fits_better(
    view: RimView, size: TraySize, canopy_above_rim_mm: float | None, than: float
) -> bool:
    """Tell whether the opening fits better than another one does.

    Parameters
    ----------
    view : RimView
        The photo in the plane of the rim.
    size, canopy_above_rim_mm
        As of `find_opening`, which takes longer.
    than : float
        Fit of the other one.
    """
    inside = np.array([size.inside_length_mm, size.inside_width_mm])
    tried = _CANOPIES_ABOVE_RIM_MM if canopy_above_rim_mm is None else (canopy_above_rim_mm,)
    try:
        trials = _begun(view, inside, tried)
    except TrayNotFoundError:
        return False
    trials.sort(key=lambda one: -one.start.score)
    worth = (one for one in trials if one.start.score + _SETTLING_GAIN > than)
    return any(_fits_better(one, view, inside, than) for one in worth)


def _fits_better(trial: _Trial, view: RimView, inside: NDArray[np.float64], than: float) -> bool:
    try:
        return _settled(trial, view, inside).fit > than
    except TrayNotFoundError:
        return False


def rim_above_card(size: TraySize, plane: str) -> float:
    """Height of the tray's rim above the face of the overhead card, mm.

    A card on the bench beside a tray of unknown height gets the usual one.
    """
    if plane == "rim":
        return 0.0
    known = size.rim_above_bench_mm
    return USUAL_RIM_ABOVE_BENCH_MM if known is None else known


def _begun(
    view: RimView, inside: NDArray[np.float64], canopies_above_rim_mm: Sequence[float]
) -> list[_Trial]:
    """Find under each height of the canopy the place to settle from."""
    evidences = [
        view.under_canopy(_OUTERMOST_SHARE * max(height, 0.0)) for height in canopies_above_rim_mm
    ]
    scanned = coarse_places(evidences, float(inside[0]), float(inside[1]))
    return [
        _Trial(height, evidence, _best_start(evidence, places, view.viewpoint, inside))
        for height, evidence, places in zip(canopies_above_rim_mm, evidences, scanned, strict=True)
    ]


def _settled(trial: _Trial, view: RimView, inside: NDArray[np.float64]) -> TrayOpening:
    evidence = trial.evidence
    place, rim_width = settle(evidence, trial.start, inside)
    if place.score < _LEAST_SCORE:
        raise _not_found(_NO_RECTANGLE)
    likely = likely_place(evidence, place, inside)
    centre, along = turned_grid(likely.place, evidence.grid)
    corners = _corners(centre, along, inside)
    in_photo = share_in_photo(view.viewpoint, corners, view.grid.height_mm)
    if in_photo < _LEAST_IN_VIEW:
        raise _not_found(_CUT_OFF)
    outline = outline_of(inside, _SAMPLE_MM)
    read = profiles(evidence, np.array([[place.x, place.y, place.turn_deg]]), outline)
    seen = _seen(read, rim_width)
    return TrayOpening(
        corners_mm=corners,
        rim_height_mm=view.grid.height_mm,
        position_u_mm=math.hypot(_LEAST_U_MM, likely.u_mm),
        scale_ratio=_scale_ratio(read, inside),
        seen_share=float(seen.mean()),
        in_photo_share=in_photo,
        fit=place.score,
        canopy_above_rim_mm=trial.canopy_above_rim_mm,
    )


def share_in_photo(
    viewpoint: Viewpoint, corners_mm: NDArray[np.float64], height_mm: float
) -> float:
    """Share of a quadrilateral at a height above the card that lies in the photo."""
    u, v = np.meshgrid(np.linspace(0.01, 0.99, 25), np.linspace(0.01, 0.99, 25))
    u, v = u.ravel()[:, None], v.ravel()[:, None]
    a, b, c, d = corners_mm
    flat = (1 - u) * (1 - v) * a + u * (1 - v) * b + u * v * c + (1 - u) * v * d
    px = viewpoint.project(np.hstack([flat, np.full((len(flat), 1), height_mm)]))
    width, height = viewpoint.size_px
    held = (px[:, 0] >= 0) & (px[:, 1] >= 0) & (px[:, 0] < width) & (px[:, 1] < height)
    return float(held.mean())


def _best_start(
    evidence: RimEvidence,
    scanned: list[Place],
    viewpoint: Viewpoint,
    inside: NDArray[np.float64],
) -> Place:
    """Pick the place to settle from, the nearer the photo's centre the better."""
    if not scanned:
        raise _not_found(_TOO_NEAR)
    tried = refine(evidence, best_starts(evidence, scanned, inside), inside)
    width, height = viewpoint.size_px
    middle = evidence.grid.cells(
        viewpoint.on_plane(np.array([[width / 2, height / 2]]), evidence.grid.height_mm)
    )[0]

    def merit(one: Place) -> float:
        away = np.hypot(one.x - middle[0], one.y - middle[1]) * FINE_MM
        return float(one.score - _CENTRE_WEIGHT * min(away / inside[1], 2.0))

    return max(tried, key=merit)


def _not_found(what: str) -> TrayNotFoundError:
    return TrayNotFoundError(
        f"The tray's opening was not found: the photo {what}.",
        hint="Photograph the whole tray with some bench round it, and check the tray's inside size "
        "and where the card lies (card.plane) in the settings.",
    )


def _corners(
    centre: NDArray[np.float64], along: NDArray[np.float64], inside: NDArray[np.float64]
) -> NDArray[np.float64]:
    # the card's frame has x right and y down, so this order runs clockwise as seen from above
    across = np.array([-along[1], along[0]])
    signs = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) / 2
    corners: NDArray[np.float64] = (
        centre + signs[:, :1] * inside[0] * along + signs[:, 1:] * inside[1] * across
    )
    return corners


def _seen(read: Profiles, rim_width: float) -> NDArray[np.bool_]:
    steps = steps_at_rim_widths(read)[:, 0]
    at = int(np.argmin(np.abs(RIM_WIDTHS_MM - rim_width)))
    seen: NDArray[np.bool_] = steps[max(0, at - 1) : at + 2].max(axis=0) > _EDGE_SEEN
    return seen


def _scale_ratio(read: Profiles, inside: NDArray[np.float64]) -> float:
    """Size of the opening seen over its stated size, from the outer edges of the four sides.

    The rim's width is the same on all sides but not known: it drops out of the difference
    between the outer length and the outer width.
    """
    steps = edge_steps(read)[:, 0]
    edge = []
    for side in range(4):
        strength = steps[:, read.side == side].mean(axis=1)
        at = int(np.argmax(strength))
        if strength[at] < _SIDE_SEEN or at in (0, len(strength) - 1):
            return float("nan")
        left, here, right = strength[at - 1 : at + 2]
        edge.append(at + 0.5 * (left - right) / min(left - 2 * here + right, -1e-9))
    longer = inside[0] - inside[1]
    if longer < 0.2 * inside[0]:
        return float("nan")
    return float(1.0 + ((edge[1] + edge[3]) - (edge[0] + edge[2])) / longer)
