"""The plane in which overhead areas are taken: the mean height of the visible leaf."""

import math

from traymorph.model.results import Measured
from traymorph.model.tray import LeafPlane
from traymorph.model.trial import TraySize

LEAF_SHARE_OF_HEIGHT = 0.70
"""Mean height of the visible leaf over canopy height, both above the medium. From rendered trays
of seven crop forms seen vertically from above."""
_LEAF_SHARE_U = 0.06
"""Its spread between those trays."""

_ASSUMED_HEIGHT_MM = 50.0
_ASSUMED_HEIGHT_U_MM = (80.0 - 20.0) / math.sqrt(12.0)
"""Most microgreens are cut 20 to 80 mm tall: a rectangle of that width, GUM 4.3.7."""
_STATED_HEIGHT_U_MM = 5.0
"""A height read once off a ruler for a whole trial."""
_FILL_U_MM = 1.0
_ASSUMED_FILL_MM, _ASSUMED_FILL_U_MM = 20.0, 10.0


def leaf_plane(
    size: TraySize,
    rim_height_mm: float,
    canopy_height: Measured | None,
    stated_height_mm: float | None,
) -> tuple[LeafPlane, tuple[str, ...]]:
    """Place the plane of the overhead areas.

    Parameters
    ----------
    size : TraySize
        For the height of the rim above the medium.
    rim_height_mm : float
        Height of the rim above the overhead card's face.
    canopy_height : Measured or None
        ``canopy_height_mm`` of the same tray and day from its side photo, None or NaN without.
    stated_height_mm : float or None
        Canopy height above the medium from the settings, used where no side photo is.

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
    fill, fill_u = size.rim_above_medium_mm, _FILL_U_MM
    if fill is None:
        fill, fill_u, flags = _ASSUMED_FILL_MM, _ASSUMED_FILL_U_MM, (*flags, "rim_height_missing")
    return (
        LeafPlane(
            height_mm=rim_height_mm - fill + LEAF_SHARE_OF_HEIGHT * height,
            u_mm=math.hypot(LEAF_SHARE_OF_HEIGHT * height_u, _LEAF_SHARE_U * height, fill_u),
        ),
        flags,
    )
