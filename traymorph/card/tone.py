"""The camera's tone curve, exposure and white balance, from the card's greys."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from traymorph.card.patches import DARKEST, Readings

Floats = NDArray[np.float64]

_CURVE_GAIN = 0.75
"""A more bent curve must bring the left-out error of the greys below this share."""
_MOST_BENDS = 3
_LEAST_SLOPE = 0.2
_AGREE = 0.35
"""Greys agree with a straight curve within this, natural logarithm of light: wider than any
phone's bends, closer than a leaf or a shadow in a grey's place."""
_STRAIGHT_SLOPES = (0.5, 2.5)


@dataclass(frozen=True, slots=True, eq=False)
class Tone:
    """log light = gain of the channel + x + b1 x + b2 x^2 + ..., x = log seen - middle.

    ``low`` and ``high`` are the x between which greys were seen.
    """

    gains: Floats
    bends: Floats
    middle: float
    low: float
    high: float

    def log_light(self, seen: Floats) -> Floats:
        """Logarithm of the light, without the gains; straight beyond the greys seen."""
        x = np.log(np.maximum(seen, DARKEST)) - self.middle
        inside = np.clip(x, self.low, self.high)
        slope = np.ones_like(x)
        value = inside.copy()
        for power, bend in enumerate(self.bends, start=1):
            value += bend * inside**power
            slope += power * bend * inside ** (power - 1)
        return np.asarray(value + np.maximum(slope, _LEAST_SLOPE) * (x - inside))

    def light(self, readings: Readings) -> Floats:
        """Light of all patches, white-balanced, shape (n, 3)."""
        return np.exp(self.log_light(readings.seen) + self.gains)

    def rising(self) -> bool:
        """Whether more light always reads as more."""
        x = np.linspace(self.low, self.high, 50)
        slope = 1.0 + sum(p * b * x ** (p - 1) for p, b in enumerate(self.bends, start=1))
        return bool(np.min(slope) > _LEAST_SLOPE)


def agreeing_greys(readings: Readings) -> Readings:
    """Set aside the greys and papers that the others contradict.

    Every two greys propose a straight curve and a white balance; the proposal that most greys
    agree with wins (consensus by exhaustive pairs). What disagrees lies under a leaf, in a shadow
    or in a glint.
    """
    known = np.flatnonzero(readings.neutral & readings.usable)
    x = np.log(np.maximum(readings.seen[known], DARKEST))
    y = np.log(readings.nominal[known])
    first, second = np.nonzero(y[:, None, 1] > y[None, :, 1] + 0.1)
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


def fit_tone(readings: Readings, level: Floats) -> Tone:
    """Choose the least bent curve that predicts left-out grey levels well.

    Parameters
    ----------
    readings : Readings
        Of the card.
    level : ndarray, shape (n,)
        Relative light on every patch.
    """
    greys = readings.printed & readings.neutral
    tone = solve_tone(readings, level, greys, 0)
    best = _level_error(readings, level, 0)
    for bends in range(1, _MOST_BENDS + 1):
        error = _level_error(readings, level, bends)
        if error < _CURVE_GAIN * best:
            candidate = solve_tone(readings, level, greys, bends)
            if candidate.rising():
                tone, best = candidate, error
    return tone


def solve_tone(readings: Readings, level: Floats, use: NDArray[np.bool_], bends: int) -> Tone:
    """Least squares for the gains and a given number of bends, on the greys in ``use``."""
    x = np.log(np.maximum(readings.seen[use], DARKEST))
    middle = float(x.mean())
    x = x - middle
    target = np.log(readings.nominal[use] * level[use, None]) - x
    channel = np.tile(np.eye(3), (len(x), 1))
    powers = [x.reshape(-1, 1) ** power for power in range(1, bends + 1)]
    solved, *_ = np.linalg.lstsq(np.hstack([channel, *powers]), target.ravel(), rcond=None)
    gains, bend = np.split(solved.astype(np.float64), [3])
    return Tone(gains, bend, middle, float(x.min()), float(x.max()))


def _level_error(readings: Readings, level: Floats, bends: int) -> float:
    """Root mean square error of the logarithm of grey levels that the fit has not seen."""
    greys = readings.printed & readings.neutral
    values = np.unique(readings.nominal[greys, 1])
    if len(values) < bends + 3:
        return float("inf")
    errors = []
    for value in values:
        left_out = greys & (readings.nominal[:, 1] == value)
        tone = solve_tone(readings, level, greys & ~left_out, bends)
        found = tone.log_light(readings.seen[left_out]) + tone.gains
        errors.append(found - np.log(readings.nominal[left_out] * level[left_out, None]))
    return float(np.sqrt(np.mean(np.concatenate(errors) ** 2)))
