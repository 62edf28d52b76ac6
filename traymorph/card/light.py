"""What light fell on the card: how evenly, and whether it can show colour at all."""

import numpy as np
from numpy.typing import NDArray

from traymorph.card.patches import DARKEST, Readings

Floats = NDArray[np.float64]

LEAST_PAPERS = 5
_SURE_SLOPE = 3.0
_SHADED_RATIO = 1.3
_SHADOW_RATIO, _PLANE_RATIO, _EDGE_RATIO = 1.2, 1.1, 1.15
"""A shadow lies on the card where the papers differ by the first, and still by the second once
the plane is taken off; between two papers that differ by the third runs its edge."""
_MUCH_NEARER = 0.5
_PAPER_CHROMA = 0.25
_LEAST_GREEN = 0.8
_LEAST_BLUE = 0.06
_MOST_STRETCH, _MOST_STRETCH_REGISTERED = 2.2, 1.45
"""Largest factor by which a colour difference may be drawn apart. Computed with a camera's measured
sensitivities and the lamps of CIE 15: white lights of 2700 K and more stay below 1.35, the
high-pressure sodium lamp HP1 needs 1.4 to 1.9, red and blue diodes 3.5 and more."""
_LARGEST_DE00 = 9.0


def light_over_card(light: Floats, readings: Readings) -> Floats:
    """Relative light at every patch, from the bare paper.

    Even light and light that falls off slowly are a plane through the papers. Where the papers
    contradict any plane a shadow lies on the card: a patch then has the light of the papers next
    to it if they agree, and 1 is the light outside the shadow.

    Parameters
    ----------
    light : ndarray, shape (n, 3)
        White-balanced light of all patches.
    readings : Readings
        Of the card.

    Returns
    -------
    ndarray, shape (n,)
        NaN where a shadow's edge may run through the patch. All 1 where too little paper is seen,
        or where the plane's slope is not three times its doubt.
    """
    even = np.ones(len(light))
    use = _tell_light(light, readings)
    if use.sum() < LEAST_PAPERS:
        return even
    place = readings.place[use]
    design = np.column_stack([np.ones(len(place)), place])
    target = np.log(light[use].mean(axis=1))
    solved, _, rank, _ = np.linalg.lstsq(design, target, rcond=None)
    if rank < design.shape[1]:
        return even
    residual = target - design @ solved
    if _uneven(target) > np.log(_SHADOW_RATIO) and _uneven(residual) > np.log(_PLANE_RATIO):
        return _light_beside(readings.place, place, target)
    noise = np.sqrt(np.sum(residual**2) / (len(target) - 3))
    doubt = noise * np.sqrt(np.trace(np.linalg.inv(design.T @ design)[1:, 1:]))
    if np.linalg.norm(solved[1:]) < _SURE_SLOPE * doubt:
        return even
    return np.asarray(np.exp(readings.place @ solved[1:]))


def is_shaded(light: Floats, readings: Readings) -> bool:
    """Whether two or more bare papers get clearly less light than two others."""
    use = _tell_light(light, readings)
    if use.sum() < LEAST_PAPERS:
        return False
    return bool(_uneven(np.log(light[use].mean(axis=1))) > np.log(_SHADED_RATIO))


def _tell_light(light: Floats, readings: Readings) -> NDArray[np.bool_]:
    """Papers that tell of the light; one that looks coloured lies under a leaf."""
    papers = readings.paper & readings.usable
    if not papers.any():
        return papers
    log = np.log(np.maximum(light, DARKEST))
    log = log - np.median(log[papers], axis=0)
    chroma = np.abs(log - log.mean(axis=1, keepdims=True)).max(axis=1)
    return np.asarray(papers & (chroma < _PAPER_CHROMA))


def _uneven(log_level: Floats) -> float:
    """How far the second brightest is above the second darkest."""
    ranked = np.sort(log_level)
    return float(ranked[-2] - ranked[1])


def _light_beside(place: Floats, paper_place: Floats, log_level: Floats) -> Floats:
    """Light of every place by the two papers next to it, or by one that is much nearer."""
    away = np.linalg.norm(place[:, None] - paper_place, axis=2)
    next_to = np.argsort(away, axis=1)[:, :2]
    near, far = np.take_along_axis(away, next_to, axis=1).T
    of_near, of_far = log_level[next_to].T
    share = far / np.maximum(near + far, 1e-9)
    level = share * of_near + (1.0 - share) * of_far
    edge = np.abs(of_near - of_far) > np.log(_EDGE_RATIO)
    level = np.where(edge & (near <= _MUCH_NEARER * far), of_near, level)
    level[edge & (near > _MUCH_NEARER * far)] = np.nan
    return np.asarray(np.exp(level - np.sort(log_level)[-2]))


def colour_of_paper(light: Floats, readings: Readings) -> Floats:
    """Median colour of the bare paper in white-balanced light, shape (3,), mean 1.

    What the printed greys are tinted by is in it; all 1 where too little paper is seen.
    """
    use = _tell_light(light, readings)
    if use.sum() < LEAST_PAPERS:
        return np.ones(3)
    colour = np.median(light[use], axis=0)
    return np.asarray(colour / colour.mean())


def shows_colour(
    white: Floats, coefficients: Floats, error_de00: float, *, registered: bool
) -> bool:
    """Whether the light shows all colours.

    Two signs, either is enough to refuse. The paper: white lights from 2700 K up have about as
    much green as the geometric mean of red and blue or more, and a phone's white balance is
    seldom a fifth off; lamps for growing have less green, sodium lamps hardly any blue. The
    colours: where the light lacks a part of the spectrum, patches that differ look alike; either
    nothing brings them back, or they have to be drawn apart by far more than under white light.

    Parameters
    ----------
    white : ndarray, shape (3,)
        Linear red, green and blue that the photo shows of white paper.
    coefficients : ndarray, shape (3, 3) or (3, 6)
        From white-balanced light to linear sRGB.
    error_de00 : float
        Mean CIEDE2000 of left-out patches.
    registered : bool
        Whether the print's own colours are known. Prints are paler than the nominal colours, so
        that those of an unknown print are drawn apart under any light.
    """
    red, green, blue = white
    if green < _LEAST_GREEN * np.sqrt(red * blue) or blue < _LEAST_BLUE * red:
        return False
    stretch = np.linalg.norm(coefficients[:, :3], ord=2)
    most = _MOST_STRETCH_REGISTERED if registered else _MOST_STRETCH
    return bool(stretch < most and error_de00 < _LARGEST_DE00)
