"""Shares of the leaf that are green, purple or red, and yellowed, by CIELAB hue and chroma.

A leaf pixel is

* *yellowed* with a chroma above 25 and a hue from 60 degrees up to a limit 14 degrees yellower
  than the sample's median green leaf. The limit lies between 95 and 118 degrees: pure yellow has a
  hue of 103, fresh yellow-green leaf 108 to 115, and healthy blades of one tray lie within about
  10 degrees of their median;
* *green* with a chroma above 4 and a hue from 95 to 200 degrees, where it is not yellowed;
* *purple or red* with a chroma above 4 and a hue from 290 through 0 to 60 degrees.

Where the whole sample is as yellow as pure yellow, yellowed leaf cannot be told from a crop that is
yellow by nature: the yellowed share is then empty, and hue tells the rest.

The rest of the leaf is grey, brown or bluish. Chroma of 4 is twice what a card's correction leaves.
"""

import math

import numpy as np
from numpy.typing import NDArray

from traymorph.model.results import Measured

_TINTED_CHROMA = 4.0
_GREEN_DEG, _PURPLE_DEG = (95.0, 200.0), (290.0, 60.0)
_YELLOW_CHROMA, _YELLOW_FROM_DEG = 25.0, 60.0
_YELLOWER_BY_DEG = 14.0
_YELLOW_LIMITS_DEG = (95.0, 118.0)
_USUAL_FROM_DEG, _USUAL_SHARE = 105.0, 0.2
"""The median green leaf is that of hues above this; it is unknown with less leaf than this."""
_THROUGHOUT_SHARE = 0.5
_LEAST_HUE_U_DEG, _LIMIT_U_DEG = 2.0, 2.0
_NEARLY_YELLOW_DEG = 106.0
"""Below this limit the crop itself is nearly yellow, and what is yellower than usual is a matter of
half a step more or less."""
_NEARLY_YELLOW_U_PCT = 5.0
_LEAST_U_PCT = {"green_leaf_pct": 1.5, "purple_leaf_pct": 1.5, "yellowed_pct": 0.6}
"""What edges and noise move from one tint to another: rendered trays."""
_YELLOW_U = 0.25
"""Share of the yellowed leaf that shade and light passed on by neighbours hide or lend: rendered
trays."""

_Values = NDArray[np.float64]


def tint_shares(lab: _Values, chroma_u: float, hue_u_deg: float) -> dict[str, Measured]:
    """Shares of leaf pixels by tint, per cent, with the doubt of where the limits lie.

    Parameters
    ----------
    lab : ndarray, shape (n, 3)
        CIELAB of leaf pixels.
    chroma_u, hue_u_deg : float
        Standard uncertainty of the leaf's chroma and of its hue, degrees.

    Returns
    -------
    dict of str to Measured
        ``green_leaf_pct``, ``purple_leaf_pct``, ``yellowed_pct``; the last NaN where the sample is
        yellow throughout.
    """
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) % 360.0
    hue_u = math.hypot(_LEAST_HUE_U_DEG, hue_u_deg)
    limit = _yellow_limit(chroma, hue)
    nearly_yellow = limit < _NEARLY_YELLOW_DEG
    limit_u = 0.5 * _YELLOWER_BY_DEG if nearly_yellow else _LIMIT_U_DEG

    value = _shares(chroma, hue, limit)
    moved_hues = (hue + hue_u, hue - hue_u)
    by_hue = [_shares(chroma, moved, _yellow_limit(chroma, moved)) for moved in moved_hues]
    by_chroma = [_shares(chroma + step, hue, limit) for step in (chroma_u, -chroma_u)]
    by_limit = [_shares(chroma, hue, limit + step) for step in (limit_u, -limit_u)]
    found = {}
    for name, got in value.items():
        doubts = [
            max(abs(moved[name] - got) for moved in both) for both in (by_hue, by_chroma, by_limit)
        ]
        if name == "yellowed_pct":
            doubts += [_YELLOW_U * got, _NEARLY_YELLOW_U_PCT * nearly_yellow]
        found[name] = Measured(got, math.hypot(_LEAST_U_PCT[name], *doubts))
    if _yellow_throughout(chroma, hue):
        found["yellowed_pct"] = Measured()
    return found


def _yellow_throughout(chroma: _Values, hue: _Values) -> bool:
    """Whether most leaf is as yellow as pure yellow, with little green or purple beside it."""
    yellow = (hue > _YELLOW_FROM_DEG) & (hue <= _USUAL_FROM_DEG) & (chroma > _YELLOW_CHROMA)
    other = (chroma > _TINTED_CHROMA) & ((hue > _USUAL_FROM_DEG) | (hue <= _PURPLE_DEG[1]))
    return _share(yellow) > _THROUGHOUT_SHARE and _share(other) < _USUAL_SHARE


def _yellow_limit(chroma: _Values, hue: _Values) -> float:
    """Hue below which leaf is yellowed, degrees."""
    green = hue[(hue > _USUAL_FROM_DEG) & (hue < _GREEN_DEG[1]) & (chroma > _YELLOW_CHROMA)]
    usual = float(np.median(green)) if len(green) > _USUAL_SHARE * len(hue) else math.inf
    return float(np.clip(usual - _YELLOWER_BY_DEG, *_YELLOW_LIMITS_DEG))


def _shares(chroma: _Values, hue: _Values, limit: float) -> dict[str, float]:
    tinted = chroma > _TINTED_CHROMA
    yellowed = (chroma > _YELLOW_CHROMA) & (hue > _YELLOW_FROM_DEG) & (hue < limit)
    green = tinted & (hue >= _GREEN_DEG[0]) & (hue <= _GREEN_DEG[1]) & ~yellowed
    purple = tinted & ((hue >= _PURPLE_DEG[0]) | (hue <= _PURPLE_DEG[1]))
    return {
        "green_leaf_pct": 100.0 * _share(green),
        "purple_leaf_pct": 100.0 * _share(purple),
        "yellowed_pct": 100.0 * _share(yellowed),
    }


def _share(chosen: NDArray[np.bool_]) -> float:
    return np.count_nonzero(chosen) / max(len(chosen), 1)
