"""The camera's tone curve, exposure and white balance, from the card's greys."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from traymorph.card.light import CardLight
from traymorph.card.patches import DARKEST, Readings
from traymorph.card.transfer import encode_srgb

Floats = NDArray[np.float64]

_BEND_SIZES = np.array([0.3, 0.1, 0.02, 0.6, 0.6, 1.5])
"""How far a phone's curve is expected to depart from sRGB: usual size of each bend. Three run
with the logarithm of the light (contrast, shadows), three with the code value (highlights)."""
_DOUBTS = (0.015, 0.05, 0.15)
"""Doubts of one grey reading, natural logarithm of light: print and photo together."""
_STIFFER = 0.9
"""A softer curve must bring the error of left-out greys below this share."""
_MIDDLE = float(np.log(0.2))
_STEP = 0.05
_LEAST_SLOPE = 0.2
_AGREE = 0.35
"""Greys agree with a straight curve within this, natural logarithm of light: wider than any
phone's bends, closer than a leaf or a shadow in a grey's place."""
_STRAIGHT_SLOPES = (0.5, 2.5)


@dataclass(frozen=True, slots=True, eq=False)
class Tone:
    """log light = gain of the channel + log seen + bends, between the greys seen.

    ``low`` and ``high`` are the logarithms of the light, by the sRGB curve, between which greys
    were seen; beyond them the curve goes on straight. ``doubt`` is what each grey was trusted to.
    """

    gains: Floats
    bends: Floats
    low: float
    high: float
    doubt: float

    def log_light(self, seen: Floats) -> Floats:
        """Logarithm of the light, without the gains."""
        x = np.log(np.maximum(seen, DARKEST))
        inside = np.clip(x, self.low, self.high)
        below, above = (self._slope(end) for end in (self.low + _STEP, self.high))
        beyond = np.where(x < self.low, below, above) * (x - inside)
        return np.asarray(inside + _bend_terms(inside) @ self.bends + beyond)

    def light(self, readings: Readings) -> Floats:
        """Light of all patches, white-balanced, shape (n, 3)."""
        return np.exp(self.log_light(readings.seen) + self.gains)

    def _slope(self, upper: float) -> float:
        """Slope of the curve just below a place, at least a little upwards."""
        ends = np.array([upper - _STEP, upper])
        value = ends + _bend_terms(ends) @ self.bends
        return max(float(value[1] - value[0]) / _STEP, _LEAST_SLOPE)


def _bend_terms(log_seen: Floats) -> Floats:
    """Terms of the departure from sRGB, shape (..., 6)."""
    x = log_seen - _MIDDLE
    code = encode_srgb(np.exp(log_seen)) - 0.5
    return np.stack([x, x**2, x**3, code, code**2, code**3], axis=-1)


def agreeing_greys(readings: Readings, over_card: CardLight) -> Readings:
    """Set aside the greys and papers that the others contradict.

    Every two greys propose a straight curve and a white balance; the proposal that most greys
    agree with wins (consensus by exhaustive pairs). What disagrees lies under a leaf, in a shadow
    or in a glint.

    Parameters
    ----------
    readings : Readings
        Of the card.
    over_card : CardLight
        Light on every patch.
    """
    known = np.flatnonzero(readings.neutral & readings.usable)
    x = np.log(np.maximum(readings.seen[known], DARKEST))
    y = np.log(readings.nominal[known] * over_card.level[known])
    nominal = np.log(readings.nominal[known, 1])
    first, second = np.nonzero(nominal[:, None] > nominal[None, :] + 0.1)
    if not len(first):
        return readings
    rise, run = y[first] - y[second], x[first] - x[second]
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.sum(rise * run, axis=1) / np.sum(run * run, axis=1)
        gain = (y[first] + y[second] - slope[:, None] * (x[first] + x[second])) / 2.0
        miss = np.abs(slope[:, None, None] * x + gain[:, None, :] - y).max(axis=2)
    sane = (slope > _STRAIGHT_SLOPES[0]) & (slope < _STRAIGHT_SLOPES[1])
    agree = (miss < _AGREE) & sane[:, None]
    # Most agreement first, then the closest.
    score = agree.sum(axis=1) - np.where(agree, miss, 0.0).sum(axis=1) / (_AGREE * len(known))
    usable = readings.usable.copy()
    usable[known] = agree[int(np.argmax(score))]
    return replace(readings, usable=usable)


def fit_tone(readings: Readings, over_card: CardLight) -> Tone:
    """Fit the curve, as bent as the greys can hold.

    The bends are held back towards none, the more the less the greys are trusted. They are
    trusted more only where greys that are left out are then told clearly better.

    Parameters
    ----------
    readings : Readings
        Of the card.
    over_card : CardLight
        Light on every patch.
    """
    greys = readings.printed & readings.neutral
    best, least = _DOUBTS[-1], _level_error(readings, over_card, _DOUBTS[-1])
    for doubt in reversed(_DOUBTS[:-1]):
        error = _level_error(readings, over_card, doubt)
        if error < _STIFFER * least:
            best, least = doubt, error
    return solve_tone(readings, over_card, greys, best)


def solve_tone(
    readings: Readings, over_card: CardLight, use: NDArray[np.bool_], doubt: float
) -> Tone:
    """Gains and bends from the greys in ``use``, by least squares with the bends held back.

    Greys whose light is in doubt count the less.
    """
    x = np.log(np.maximum(readings.seen[use], DARKEST))
    target = np.log(readings.nominal[use] * over_card.level[use]) - x
    channel = np.tile(np.eye(3), (len(x), 1))
    weight = np.repeat(doubt / np.hypot(doubt, over_card.doubt[use]), 3)
    design = weight[:, None] * np.hstack([channel, _bend_terms(x.ravel())])
    hold = np.concatenate([np.zeros(3), (doubt / _BEND_SIZES) ** 2])
    normal = design.T @ design + np.diag(hold)
    solved = np.linalg.solve(normal, design.T @ (weight * target.ravel()))
    gains, bends = np.split(solved, [3])
    return Tone(gains, bends, float(x.min()), float(x.max()), doubt)


def _level_error(readings: Readings, over_card: CardLight, doubt: float) -> float:
    """Root mean square error of the logarithm of grey levels that the fit has not seen."""
    greys = readings.printed & readings.neutral
    errors = []
    for value in np.unique(readings.nominal[greys, 1]):
        left_out = greys & (readings.nominal[:, 1] == value)
        if left_out.sum() == greys.sum():
            return float("inf")
        tone = solve_tone(readings, over_card, greys & ~left_out, doubt)
        found = tone.log_light(readings.seen[left_out]) + tone.gains
        errors.append(found - np.log(readings.nominal[left_out] * over_card.level[left_out]))
    return float(np.sqrt(np.mean(np.concatenate(errors) ** 2)))
