"""Uncertainty of overhead metrics: every influence is moved by its own doubt, the change counts.

JCGM 100:2008 (GUM) section 5.1.3 note 2: the contribution of an input is the change of the
result when that input alone changes by its standard uncertainty.
"""

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import partial

import numpy as np

from traymorph.measure.grid import PlanView, changed_views, plan_view
from traymorph.measure.mistaken import mistaken_class, mistaken_plant
from traymorph.measure.obliqueness import REMAINING_U
from traymorph.measure.overhead import OVERHEAD_METRICS
from traymorph.model.results import Measured
from traymorph.model.tray import LeafPlane, TrayOverhead
from traymorph.model.viewpoint import Viewpoint

STEP_MM = 0.5
"""Cell of the grid: a tenth of a narrow seed leaf."""
_COARSE_STEP_MM = 1.0
"""Cell on which changes are taken; they are differences of like with like."""

CARD_SCALE_U = 0.003
"""Relative doubt of the card's size: a printed bar read to 0.2 mm, and paper that swells."""
_METHOD_U = {
    "canopy_cover_pct": (0.6, 0.0),
    "projected_leaf_area_cm2": (0.0, 0.008),
    "overhang_area_cm2": (1.0, 0.12),
    "evenness_cv_pct": (1.0, 0.05),
    "largest_gap_cm2": (0.3, 0.15),
}
"""What is left with perfect masks and tray place, because leaves stand at many heights: absolute
part in the metric's unit and relative part, from rendered trays."""

_STEMS_AS_LEAF_U = 0.035
"""Relative doubt of leaf area because stems and stalks between leaves are hardly told from above:
rendered trays, all of whose error goes with true masks."""


def measure_plan(tray: TrayOverhead, plane: LeafPlane) -> dict[str, Measured]:
    """All metrics of the plan view with their standard uncertainties.

    Parameters
    ----------
    tray : TrayOverhead
        The photo and the tray found in it.
    plane : LeafPlane
        The plane of the areas.

    Returns
    -------
    dict of str to Measured
        One entry for every name of ``OVERHEAD_METRICS``; NaN where it needs an unknown opening.
    """
    place = (tray.masks, tray.viewpoint, tray.opening, plane.height_mm)
    values = _read(plan_view(*place, STEP_MM))
    coarse = plan_view(*place, _COARSE_STEP_MM)
    base = _read(coarse)
    variance = {
        name: absolute**2 + (relative * values[name]) ** 2
        for name, (absolute, relative) in _METHOD_U.items()
    }
    variance["projected_leaf_area_cm2"] += (
        _STEMS_AS_LEAF_U * values["projected_leaf_area_cm2"]
    ) ** 2
    # less, since no cell can show more than all of its stem
    less = np.maximum(coarse.stem - np.float32(REMAINING_U) * coarse.stem_in_photo, 0.0)
    influences = (
        (replace(coarse, stem=less),),
        *_moved(tray, plane),
    )
    for views in influences:
        moved = [_read(view) for view in views]
        for name in variance:
            variance[name] += max((values[name] - base[name]) ** 2 for values in moved)
    return {name: Measured(value, math.sqrt(variance[name])) for name, value in values.items()}


def _read(view: PlanView) -> dict[str, float]:
    return {name: metric(view) for name, metric in OVERHEAD_METRICS.items()}


def _moved(tray: TrayOverhead, plane: LeafPlane) -> Iterator[tuple[PlanView, ...]]:
    """Move one influence after the other by its standard uncertainty.

    Where a metric answers very differently to both directions, both are given: gaps close and
    open not alike, nor does a leaf plane of unknown height bring the rim to the canopy's edge.
    """
    height, step = plane.height_mm, _COARSE_STEP_MM
    masks, viewpoint, opening = tray.masks, tray.viewpoint, tray.opening
    up = math.hypot(plane.u_mm, _height_doubt_of_camera(viewpoint, plane))
    yield tuple(plan_view(masks, viewpoint, opening, height + shift, step) for shift in (up, -up))
    mistakes = [
        partial(way, sign=sign) for way in (mistaken_plant, mistaken_class) for sign in (1.0, -1.0)
    ]
    views = changed_views(masks, viewpoint, opening, height, step, mistakes)
    yield tuple(views[:2])
    yield tuple(views[2:])
    yield (_with_larger_card(tray, plane),)
    if opening is not None:
        for shift in opening.position_u_mm * np.eye(2):
            yield tuple(
                plan_view(
                    masks,
                    viewpoint,
                    replace(opening, corners_mm=opening.corners_mm + sign * shift),
                    height,
                    step,
                )
                for sign in (1.0, -1.0)
            )


def _with_larger_card(tray: TrayOverhead, plane: LeafPlane) -> PlanView:
    """All plants larger; the opening keeps its stated size, so it holds less of the picture."""
    growth, opening = 1.0 + CARD_SCALE_U, tray.opening
    if opening is not None:
        middle = opening.corners_mm.mean(axis=0)
        opening = replace(opening, corners_mm=middle + (opening.corners_mm - middle) / growth)
    view = plan_view(tray.masks, tray.viewpoint, opening, plane.height_mm, _COARSE_STEP_MM)
    return replace(view, step_mm=view.step_mm * growth)


def _height_doubt_of_camera(viewpoint: Viewpoint, plane: LeafPlane) -> float:
    """Doubt of distance and tilt, as the error of the plane's height that changes scale alike."""
    distance = abs(float(viewpoint.position_mm[2]))
    by_distance = abs(plane.height_mm) * viewpoint.distance_u_rel
    below = viewpoint.position_mm[:2]
    lever = float(np.hypot(*below))
    by_tilt = min(lever, distance) * math.radians(viewpoint.tilt_u_deg)
    return math.hypot(by_distance, by_tilt)
