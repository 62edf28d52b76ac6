"""The plane in which overhead areas are taken: the mean height of the visible leaf."""

import math

from traymorph.model.results import Measured
from traymorph.model.tray import LeafPlane
from traymorph.model.trial import TraySize

LEAF_SHARE_OF_HEIGHT, _LEAF_SHARE_U = 0.70, 0.09
"""Mean height of the visible leaf over canopy height, both above the medium, and its spread
between rendered trays of ten crop forms seen vertically from above."""
SHARE_OF_LAYER, _SHARE_OF_LAYER_U = 0.59, 0.10
"""How far below the canopy's height the visible leaf lies on average, as a share of the leaf
layer's depth, and its spread between the same trays. Better than the share of the height: crops
that bear leaves along their stems show them far down, others only on top."""

_ASSUMED_HEIGHT_MM = 80.0
_ASSUMED_HEIGHT_U_MM = (140.0 - 20.0) / math.sqrt(12.0)
"""Microgreens are cut 20 to 140 mm tall, pea and sunflower tallest (common practice, no source): a
rectangle of that width, GUM 4.3.7."""
_OUTLINE_HEIGHT_U_MM = 20.0
"""Doubt of the canopy's height as told from above, by its outline against the rim: 20 rendered
trays, where it is off by that (root mean square), without bias."""
_STATED_HEIGHT_U_MM = 5.0
"""A height read once off a ruler for a whole trial."""
_FILL_U_MM = 1.0
_ASSUMED_FILL_MM, _ASSUMED_FILL_U_MM = 20.0, 10.0
_ASSUMED_RIM_U_MM = (75.0 - 25.0) / math.sqrt(12.0)
"""Rims stand 25 to 75 mm above the bench (common practice, no source): a rectangle."""


def leaf_plane(
    size: TraySize,
    rim_height_mm: float,
    canopy_height: Measured | None,
    stated_height_mm: float | None,
    leaf_layer: Measured | None = None,
) -> tuple[LeafPlane, tuple[str, ...]]:
    """Place the plane of the overhead areas.

    Parameters
    ----------
    size : TraySize
        For the height of the rim above the medium.
    rim_height_mm : float
        Height of the rim above the overhead card's face; other than 0 it is taken as assumed
        where the size does not tell the rim's height above the bench.
    canopy_height : Measured or None
        ``canopy_height_mm`` of the same tray and day from its side photo, None or NaN without.
    stated_height_mm : float or None
        Canopy height above the medium from the settings, used where no side photo is.
    leaf_layer : Measured or None
        ``leaf_layer_mm`` from the side photo; None or NaN where it was not measured.

    Returns
    -------
    tuple of (LeafPlane, tuple of str)
        The plane and the flags that say where its height comes from.
    """
    flags: tuple[str, ...] = ()
    if canopy_height is not None and math.isfinite(canopy_height.value):
        height, height_u = canopy_height.value, canopy_height.u
    elif stated_height_mm is not None:
        height, height_u, flags = stated_height_mm, _STATED_HEIGHT_U_MM, ("height_from_settings",)
    else:
        height, height_u, flags = _ASSUMED_HEIGHT_MM, _ASSUMED_HEIGHT_U_MM, ("height_assumed",)
    leaf_height, leaf_u = _leaf_height(height, height_u, leaf_layer)
    fill, fill_u = size.rim_above_medium_mm, _FILL_U_MM
    if fill is None:
        fill, fill_u, flags = _ASSUMED_FILL_MM, _ASSUMED_FILL_U_MM, (*flags, "rim_height_missing")
    assumed = rim_height_mm > 0 and size.rim_above_bench_mm is None
    return (
        LeafPlane(
            height_mm=rim_height_mm - fill + leaf_height,
            u_mm=math.hypot(leaf_u, fill_u, _ASSUMED_RIM_U_MM if assumed else 0.0),
        ),
        flags,
    )


def plane_by_outline(size: TraySize, rim_height_mm: float, canopy_above_rim_mm: float) -> LeafPlane:
    """Place the plane by how far the canopy's outline is shifted against the rim in the photo.

    Parameters
    ----------
    size : TraySize
        For the height of the rim above the medium.
    rim_height_mm : float
        Height of the rim above the overhead card's face.
    canopy_above_rim_mm : float
        Under which the opening fits best; see `traymorph.tray.opening.find_opening`.
    """
    fill = size.rim_above_medium_mm
    height = canopy_above_rim_mm + (_ASSUMED_FILL_MM if fill is None else fill)
    return leaf_plane(size, rim_height_mm, Measured(height, _OUTLINE_HEIGHT_U_MM), None)[0]


def _leaf_height(
    height: float, height_u: float, leaf_layer: Measured | None
) -> tuple[float, float]:
    """Mean height of the visible leaf above the medium, with its uncertainty."""
    if leaf_layer is None or not math.isfinite(leaf_layer.value):
        share = LEAF_SHARE_OF_HEIGHT
        return share * height, math.hypot(share * height_u, _LEAF_SHARE_U * height)
    depth = leaf_layer.value
    doubt = math.hypot(height_u, SHARE_OF_LAYER * leaf_layer.u, _SHARE_OF_LAYER_U * depth)
    return height - SHARE_OF_LAYER * depth, doubt
