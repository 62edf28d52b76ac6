"""What light fell on the card: how evenly, and whether it can show colour at all."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traymorph.card.patches import DARKEST, Readings

Floats = NDArray[np.float64]

LEAST_PAPERS = 5
_SURE_SLOPE = 3.0
_SHADED_RATIO, _SHADOW_RATIO, _PLANE_RATIO = 1.3, 1.2, 1.1
"""A shadow lies on the card where two papers get so much less light than two others, or by the
second less and still by the third once the plane is taken off: no lamp falls off so fast."""
_NEXT_TO_MM = 1.0
"""Nearer papers count as if they were so far away."""
_CHANGED_MM = 25.0
"""Under a shadow light may change over so many millimetres by its standard deviation over all
papers: edges are narrower than papers are apart."""
_PAPER_U = 0.02
"""Doubt of one paper's level, natural logarithm of light."""
_PAPER_CHROMA = 0.25
_LEAST_GREEN = 0.8
_LEAST_BLUE = 0.06
_MOST_STRETCH, _MOST_STRETCH_REGISTERED = 2.2, 1.45
"""Largest factor by which a colour difference may be drawn apart. Computed with a camera's measured
sensitivities and the lamps of CIE 15: white lights of 2700 K and more stay below 1.35, the
high-pressure sodium lamp HP1 needs 1.4 to 1.9, red and blue diodes 3.5 and more."""
_LARGEST_DE00 = 9.0


@dataclass(frozen=True, slots=True, eq=False)
class CardLight:
    """Relative light at every patch of the card.

    Parameters
    ----------
    level : ndarray, shape (n, 3)
        1 is the light at the card's middle or, where a shadow lies on the card, at most of it.
        Channels differ under a shadow alone, which is seldom of the lamp's colour.
    doubt : ndarray, shape (n,)
        Standard uncertainty of its natural logarithm; 0 without a shadow.
    shaded : bool
        Whether a shadow lies on the card.
    """

    level: Floats
    doubt: Floats
    shaded: bool

    @property
    def spread(self) -> float:
        """Standard deviation of the light over the card, natural logarithm."""
        return float(np.log(self.level.mean(axis=1)).std())


def light_over_card(light: Floats, readings: Readings) -> CardLight:
    """Relative light at every patch, from the bare paper.

    Even light and light that falls off slowly are a plane through the papers. Where the papers
    contradict any plane a shadow lies on the card, often with a wide, soft edge: every patch then
    has the light of the papers next to it.

    Parameters
    ----------
    light : ndarray, shape (n, 3)
        White-balanced light of all patches.
    readings : Readings
        Of the card.

    Returns
    -------
    CardLight
        All 1 where too little paper is seen, or where the plane's slope is not three times its
        doubt.
    """
    even, sure = np.ones_like(light), np.zeros(len(light))
    use = _tell_light(light, readings)
    if use.sum() < LEAST_PAPERS:
        return CardLight(even, sure, shaded=False)
    place = readings.place[use]
    design = np.column_stack([np.ones(len(place)), place])
    target = np.log(light[use].mean(axis=1))
    solved, _, rank, _ = np.linalg.lstsq(design, target, rcond=None)
    residual = target - design @ solved
    uneven = _uneven(target)
    contradicted = uneven > np.log(_SHADOW_RATIO) and _uneven(residual) > np.log(_PLANE_RATIO)
    if contradicted or uneven > np.log(_SHADED_RATIO):
        return _light_between(readings.place, place, np.log(light[use]))
    if rank < design.shape[1]:
        return CardLight(even, sure, shaded=False)
    noise = np.sqrt(np.sum(residual**2) / (len(target) - 3))
    doubt = noise * np.sqrt(np.trace(np.linalg.inv(design.T @ design)[1:, 1:]))
    if np.linalg.norm(solved[1:]) < _SURE_SLOPE * doubt:
        return CardLight(even, sure, shaded=False)
    slope = np.exp(readings.place @ solved[1:])
    return CardLight(even * slope[:, None], sure, shaded=False)


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


def _light_between(place: Floats, paper_place: Floats, log_level: Floats) -> CardLight:
    """Light between papers under a shadow, and its doubt.

    Papers count the more the nearer they are (inverse distance weighting, with the fourth power
    since all but the next few say nothing). Where those next to a patch disagree a shadow's edge
    may run anywhere between, and away from all papers light may go on changing. Source: Shepard
    1968, Proceedings of the 23rd ACM National Conference, 517-524.
    """
    away = np.linalg.norm(place[:, None] - paper_place, axis=2)
    weight = (away + _NEXT_TO_MM) ** -4
    weight /= weight.sum(axis=1, keepdims=True)
    level = weight @ log_level
    grey = log_level.mean(axis=1)
    apart = np.sum(weight * (grey - level.mean(axis=1)[:, None]) ** 2, axis=1)
    beyond = grey.std() * away.min(axis=1) / _CHANGED_MM
    doubt = np.sqrt(apart + beyond**2 + _PAPER_U**2)
    return CardLight(np.exp(level - np.median(level, axis=0)), doubt, shaded=True)


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
