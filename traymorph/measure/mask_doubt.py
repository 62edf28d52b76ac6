"""Whether the masks of a tray's photo can be trusted: how much of what they say is expected wrong.

Each pixel carries the chance that it is told wrongly. Their sum over the tray's plants and what
lies around them is the area that one expects to be told wrongly; over the plants' area it is a
figure that needs no truth. On 40 rendered overhead photos it ranks the masks as their true error
does (Spearman's rank correlation .97; 40 from the side: .83). Doubt at outlines alone (.84; .81)
and the contrast of plants with the ground (.49; -.24) do so less well, how often the taught colours
overrule the network as well (.97; .85): that is part of the doubt, so one sign serves for both.
"""

import math
from collections.abc import Mapping

import cv2

from traymorph.measure.mistaken import TRAY_SAME_WAY
from traymorph.model.masks import PlantMasks
from traymorph.model.photo import View
from traymorph.model.results import Measured

_UNCERTAIN_FROM = {View.OVERHEAD: 0.10, View.SIDE: 0.065}
"""Expected error from which on masks are uncertain, as a share of the plants' area. On those photos
no tray lies between .079 and .128 overhead: below, 1 - Dice is at most .042, above at least .047.
From the side none lies between .054 and .076."""
_CONTRADICTED_FROM = 0.12
"""Contradicted share from which on a photo is unlike those that were learned from. On 80 rendered
photos no share lies between .095 and .169: above are a grass backdrop and one random crop."""
_TINTS = ("green_leaf_pct", "purple_leaf_pct", "yellowed_pct")


def expected_error_share(masks: PlantMasks) -> float:
    """Area that is expected to be told wrongly over the area of plant.

    Parameters
    ----------
    masks : PlantMasks
        The tray's own plants; doubt is kept around them too.

    Returns
    -------
    float
        0 for masks that are sure; NaN without plants.
    """
    leaf, stem, doubt = (cv2.sumElems(layer)[0] for layer in (masks.leaf, masks.stem, masks.doubt))
    return doubt / (leaf + stem) if leaf + stem > 0 else math.nan


def mask_flags(masks: PlantMasks, view: View) -> tuple[str, ...]:
    """Name the flags that a tray's masks raise.

    Parameters
    ----------
    masks : PlantMasks
        The tray's own plants.
    view : View
        Overhead or side.
    """
    uncertain = expected_error_share(masks) > _UNCERTAIN_FROM[view]
    return ("masks_uncertain",) if uncertain else ()


def photo_flags(masks: PlantMasks) -> tuple[str, ...]:
    """Name the flags that the masks of a whole photo raise.

    Two ways to a mask that surely contradict each other are the sign of a picture unlike those
    that were learned from: it says why, where the expected error says how much. Of 31 altered
    pictures with a Dice below .95 (blue or grey plants, cloths in two colours) it tells 8, the
    expected error 25; a cloth in the plants' own greens escapes both.

    Parameters
    ----------
    masks : PlantMasks
        All plants in the photo.
    """
    return ("masks_disagree",) if masks.contradicted > _CONTRADICTED_FROM else ()


def tints_with_missed_leaf(tints: Mapping[str, Measured], masks: PlantMasks) -> dict[str, Measured]:
    """Widen the doubt of the shares of leaf by tint for leaf that the masks miss.

    What masks mistake alike may all be of one tint: yellow leaf for dry ground, dark leaf for wet.

    Parameters
    ----------
    tints : mapping of str to Measured
        Metrics, the shares by tint among them.
    masks : PlantMasks
        The tray's own plants.

    Returns
    -------
    dict of str to Measured
        The shares by tint alone, per cent.
    """
    missed_u = 100.0 * TRAY_SAME_WAY * expected_error_share(masks)
    return {
        name: Measured(tints[name].value, math.hypot(tints[name].u, missed_u)) for name in _TINTS
    }
