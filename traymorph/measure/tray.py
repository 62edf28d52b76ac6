"""All metrics of a tray's overhead and side photo, with their uncertainties and flags."""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from traymorph.measure.blades import blade_width_mm
from traymorph.measure.colour import metrics_of_pixels
from traymorph.measure.colour_layout import colour_over_tray
from traymorph.measure.depth import Sight, in_level_view, level_heights
from traymorph.measure.influence import measure_plan
from traymorph.measure.leaf_light import leaf_pixels
from traymorph.measure.mask_doubt import mask_flags, tints_with_missed_leaf
from traymorph.measure.mistaken import mistaken_class
from traymorph.measure.side import (
    COLUMN_MM,
    FrontView,
    column_tops_mm,
    front_view,
    height_metrics,
    leaf_layer_edges_mm,
    stem_to_leaf_ratio,
    top_doubt_mm,
)
from traymorph.model.metrics import METRICS
from traymorph.model.photo import View
from traymorph.model.results import Measured
from traymorph.model.tray import LeafPlane, TrayOverhead, TraySide

_CLOSED_PCT = 97.0
_CUT_OFF_SHARE = 0.995
_CUT_OFF_COLUMNS, _EDGE_PX = 0.2, 4.0
"""With more columns that end at the photo's edge, to these pixels of the masks, heights are not
known: the plants go on, or a backdrop was taken for plants."""
_SCALE_DISAGREES = 0.02
"""Card and tray sizes are read to about 0.5 %; a card 10 mm off its stated height gives 2 %."""
_UNCERTAIN_U_MM = 4.5
"""Doubt of the opening's place from which on it is called uncertain. 80 rendered trays: openings
with less are 3.1 mm off on average, with more 7.2 mm."""
_LEAST_CLEAR_MM = 5.0
"""Plants that rise less than this above the rim show no stems or leaf layer."""
_ASSUMED_FILL_MM, _ASSUMED_FILL_U_MM = 20.0, 10.0
_FILL_U_MM = 1.0
_TOPS_U = 0.012
"""Relative doubt of heights because masks miss fine tops or keep some that stand behind: rendered
trays that the masks were not made from."""
_ENDS_SHARE = 0.1
"""Share of the tray's length at either end that heights leave out. 40 rendered trays with true
masks, without and with it: mean 1.2 and 1.0 mm off, 95th percentile 1.8 and 1.6 mm, the variation
between columns 20 and 12 % of itself, which ranks trays with .78 and .85."""
_BEHIND_U_MM = 3.5
"""Doubt of the mean top where plants behind the tray were told from its own: stands pasted behind
rendered trays."""
_LOW_MM = 30.0
"""So far below the canopy's top the camera sees little but the front rows: seven of 40 rendered
trays, off by 3.0 mm on average; the others, without one whose masks are wrong, by 1.3."""
_MISTAKEN_SHARE = 0.05
"""Share of the visible plant that is told as the wrong one of leaf and stem from the side, beyond
where the masks are in doubt: all of the ratio's error on rendered trays, for with true masks the
ratio is right to 1 %."""
_LAYER_U, _LAYER_U_MM = 0.06, 2.2
"""Doubt of the leaf layer's edges, relative and absolute."""
_UNDERSIDE_DEPTH, _UPPER_SIDE_DEPTH = 0.12, 0.45
"""How deep in the tray, as a share of its depth, the leaves stand whose lower and upper edges one
sees: the front rows show the underside, the middle of the tray the upper side. Rendered trays."""

Result = tuple[dict[str, Measured], tuple[str, ...]]


def measure_overhead(tray: TrayOverhead, plane: LeafPlane) -> Result:
    """Measure the overhead view of one tray.

    Parameters
    ----------
    tray : TrayOverhead
        Corrected picture, the tray's own plants and its opening.
    plane : LeafPlane
        The plane of the areas, from :func:`traymorph.measure.plane.leaf_plane`.

    Returns
    -------
    tuple of (dict of str to Measured, tuple of str)
        Every overhead metric of ``METRICS``, NaN where it could not be measured, and the flags
        that say why.
    """
    metrics = _empty(View.OVERHEAD)
    flags = [*_opening_flags(tray), *mask_flags(tray.masks, View.OVERHEAD)]
    if not tray.masks.rather_plant.any():
        flags.append("no_plants")
    metrics |= measure_plan(tray, plane)
    if metrics["canopy_cover_pct"].value > _CLOSED_PCT:
        flags.append("closed_canopy")
    metrics["blade_width_mm"] = blade_width_mm(tray, plane)
    pixels = leaf_pixels(tray.rgb, tray.masks.leaf) if tray.colour.shows_colour else None
    colours, colour_flags = metrics_of_pixels(pixels, tray.colour)
    metrics |= colour_over_tray(tray, plane, pixels)
    metrics |= colours | tints_with_missed_leaf(colours, tray.masks)
    return metrics, (*flags, *colour_flags)


def measure_side(tray: TraySide) -> Result:
    """Measure the side view of one tray.

    Parameters
    ----------
    tray : TraySide
        The tray's own plants and its front wall.

    Returns
    -------
    tuple of (dict of str to Measured, tuple of str)
        Every side metric of ``METRICS``, NaN where it could not be measured, and the flags that
        say why.
    """
    metrics = _empty(View.SIDE)
    flags = ["edge_plants", *mask_flags(tray.masks, View.SIDE)]
    view = front_view(tray)
    tops = column_tops_mm(view)
    if not np.isfinite(tops).any():
        return metrics, (*flags, "no_plants")
    fill, fill_u = tray.size.rim_above_medium_mm, _FILL_U_MM
    if fill is None:
        fill, fill_u = _ASSUMED_FILL_MM, _ASSUMED_FILL_U_MM
    if None in (tray.size.rim_above_medium_mm, tray.size.rim_above_bench_mm):
        flags.append("rim_height_missing")
    if tray.behind or tray.at_least is not None:
        flags.append("plants_behind")
    if _share_at_photo_edge(tops, tray) > _CUT_OFF_COLUMNS:
        return metrics, (*flags, "tray_cut_off")
    heights, correction_u = _level_heights(tops, tray, fill)
    u = math.hypot(
        tray.wall.position_u_mm,
        fill_u,
        correction_u,
        math.hypot(_scale_u(tray), _TOPS_U) * heights.mean(),
        top_doubt_mm(view),
        _BEHIND_U_MM if tray.behind else 0.0,
    )
    if heights.mean() - _sight(tray, fill).eye_mm > _LOW_MM:
        flags.append("camera_low")
    metrics |= _or_behind(height_metrics(heights, u), tray, fill)
    if np.nanmean(tops) < _LEAST_CLEAR_MM:
        return metrics, (*flags, "canopy_below_rim")
    return metrics | _layers(view, tray, fill), tuple(flags)


def _empty(view: View) -> dict[str, Measured]:
    return {name: Measured() for name, spec in METRICS.items() if spec.view is view}


def _opening_flags(tray: TrayOverhead) -> list[str]:
    opening = tray.opening
    if opening is None:
        return ["tray_size_missing"]
    flags = []
    if opening.in_photo_share < _CUT_OFF_SHARE:
        flags.append("tray_cut_off")
    if opening.position_u_mm > _UNCERTAIN_U_MM:
        flags.append("tray_uncertain")
    if abs(opening.scale_ratio - 1.0) > _SCALE_DISAGREES:
        flags.append("scale_disagrees")
    return flags


def _sight(tray: TraySide, fill_mm: float) -> Sight:
    wall = tray.wall
    x, y, distance = tray.viewpoint.position_mm
    eye = wall.rim_y_mm + wall.rim_slope * (x - wall.left_x_mm) - y + fill_mm
    return Sight(
        eye_mm=eye,
        eye_along_mm=x - wall.left_x_mm,
        distance_mm=distance,
        length_mm=wall.right_x_mm - wall.left_x_mm,
        depth_mm=_depth(tray),
    )


def _depth(tray: TraySide) -> float:
    """Inside size across the front wall: the stated size that is not the front's."""
    sizes = [tray.size.inside_length_mm, tray.size.inside_width_mm]
    front = tray.wall.right_x_mm - tray.wall.left_x_mm
    known = [s for s in sizes if s is not None]
    if len(known) < len(sizes):
        return front / 2.0  # trays are about twice as long as wide
    return min(known) if abs(front - max(known)) < abs(front - min(known)) else max(known)


def _share_at_photo_edge(tops: NDArray[np.float64], tray: TraySide) -> float:
    """Share of columns whose highest plant lies at the photo's edge, so that it may go on."""
    wall, seen = tray.wall, np.isfinite(tops)
    x = wall.left_x_mm + COLUMN_MM * (np.arange(len(tops))[seen] + 0.5)
    y = wall.rim_y_mm + wall.rim_slope * (x - wall.left_x_mm) - tops[seen]
    px = tray.viewpoint.project(np.column_stack([x, y, np.zeros_like(x)]))
    inner = px - np.clip(px, _EDGE_PX * tray.masks.scale, None)
    outer = px - np.minimum(px, np.array(tray.viewpoint.size_px) - _EDGE_PX * tray.masks.scale)
    return float(((inner < 0) | (outer > 0)).any(axis=1).mean())


def _level_heights(
    tops: NDArray[np.float64], tray: TraySide, fill_mm: float
) -> tuple[NDArray[np.float64], float]:
    """Heights above the medium of the columns that show plants, and the correction's doubt.

    The outermost columns serve the correction, but are not among the heights: lines of sight leave
    the tray there within a few centimetres of depth, and leaves that hang out over its ends fill
    them, so that what they would show from far away is a guess.
    """
    seen = np.flatnonzero(np.isfinite(tops))
    along: NDArray[np.float64] = (seen.astype(np.float64) + 0.5) * COLUMN_MM
    heights, u = level_heights(tops[seen] + fill_mm, along, _sight(tray, fill_mm))
    return heights[columns_that_count(tops)[seen]], u


def columns_that_count(tops: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Columns along the tray whose heights count: all that show plants, but for the tray's ends.

    Where plants stand at the ends alone, those count.
    """
    seen = np.isfinite(tops)
    inner = seen.copy()
    left_out = round(_ENDS_SHARE * len(tops))
    inner[:left_out] = inner[len(tops) - left_out :] = False
    return inner if inner.any() else seen


def _or_behind(found: dict[str, Measured], tray: TraySide, fill_mm: float) -> dict[str, Measured]:
    """Widen the doubt of heights for plants that may as well stand behind the tray.

    Where other plants were told from the tray's own, the line between them is smooth: the tips that
    it cuts off are missing from the variation.
    """
    if tray.behind and found:
        name, mean_mm = "canopy_height_cv_pct", found["canopy_height_mm"].value
        cut_u = 100.0 * _BEHIND_U_MM / mean_mm
        found = found | {name: replace(found[name], u=math.hypot(found[name].u, cut_u))}
    if tray.at_least is None:
        return found
    tops = column_tops_mm(front_view(replace(tray, masks=tray.at_least)))
    if not np.isfinite(tops).any():
        return found
    without = height_metrics(_level_heights(tops, tray, fill_mm)[0], 0.0)
    return {
        name: replace(one, u=math.hypot(one.u, _either_u(one.value - without[name].value)))
        for name, one in found.items()
    }


def _either_u(change: float) -> float:
    """Doubt of a value that plants which may stand behind the tray would change by so much.

    They are the tray's own, as the value takes them to be, or they are not, with equal chance: the
    mean square of the error is half the square of the change.
    """
    return float(np.nan_to_num(abs(change))) / math.sqrt(2.0)


def _scale_u(tray: TraySide) -> float:
    return math.hypot(0.003, math.radians(tray.viewpoint.tilt_u_deg) * 0.3)


def _layers(view: FrontView, tray: TraySide, fill_mm: float) -> dict[str, Measured]:
    """Stems and leaf layer.

    Leaf taken for stem, or stem for leaf, is the doubt all share, and so are plants that may
    stand behind.
    """
    position_u = tray.wall.position_u_mm
    values = _layer_values(view, tray, fill_mm)
    ratio, bare, layer = values
    on_grid = replace(tray.masks, leaf=view.leaf, stem=view.stem)
    mistaken = [mistaken_class(on_grid, sign) for sign in (1.0, -1.0)]
    others = [
        _layer_values(replace(view, leaf=one.leaf, stem=one.stem), tray, fill_mm)
        for one in mistaken
    ]
    without = values
    if tray.at_least is not None:
        without = _layer_values(front_view(replace(tray, masks=tray.at_least)), tray, fill_mm)
    ratio_u, bare_u, layer_u = (
        math.hypot(
            float(np.nanmax([abs(other[k] - values[k]) for other in others])),
            _either_u(values[k] - without[k]),
        )
        for k in range(3)
    )
    return {
        # of stem s and leaf 1 - s, the ratio moves by 1 / (1 - s)^2 per share that is mistaken
        "stem_to_leaf_ratio": Measured(
            ratio, math.hypot(_MISTAKEN_SHARE * (1.0 + ratio) ** 2, ratio_u)
        ),
        "bare_stem_mm": Measured(
            bare, math.hypot(position_u, _LAYER_U_MM, _LAYER_U * bare, bare_u)
        ),
        "leaf_layer_mm": Measured(layer, math.hypot(_LAYER_U_MM, _LAYER_U * layer, layer_u)),
    }


def _layer_values(view: FrontView, tray: TraySide, fill_mm: float) -> tuple[float, float, float]:
    """Stem to leaf ratio, bare stem above the rim and depth of the leaf layer."""
    sight = _sight(tray, fill_mm)
    low, high = leaf_layer_edges_mm(view)
    bare, top = (
        in_level_view(edge + fill_mm, share * sight.depth_mm, sight) - fill_mm
        for edge, share in ((low, _UNDERSIDE_DEPTH), (high, _UPPER_SIDE_DEPTH))
    )
    return stem_to_leaf_ratio(view), bare, top - bare
