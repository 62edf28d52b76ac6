"""Correct the photo's colour by the card's patches.

Three steps, each as simple as the patches allow:

1. *Tone.* A phone's curve is steeper than sRGB's. The greys show it: one curve for all channels
   with one exposure per channel, held back towards sRGB as far as left-out greys advise.
2. *White balance and exposure*: the three gains of that fit.
3. *Colour*: a 3 x 3 matrix, or a root polynomial where that tells left-out patches clearly better.
   Both leave greys grey and do not change with exposure. Errors are weighted so that they are about
   equally visible.

Leaves hang over cards, water glints on them and shadows fall on them: parts of patches under a
leaf, patches that are not of one colour, greys that the other greys contradict and colours that no
matrix explains are set aside. Channels that a vivid phone cut off at nought are filled in from what
the other patches say, or they would teach a matrix that no colour fits.

Bare paper at nine places shows how evenly the card is lit. Its slope, or the shadow that lies on
the card, is taken out of the patches before they are used; it is not carried over to the rest of
the photo. Colours are relative to the light at most of the card, and how far light differs over the
card is part of their doubt: whether the tray lies in the shadow or out of it is not seen. In 62
rendered photos with known light, a slope over 120 mm said nothing of a tray of a quarter of a metre
or more: carried over, it made the mean error of lightness 3.1 instead of 0.25, and half of it, or
as much as its doubt leaves, still 1.0 to 1.3.
"""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.color import deltaE_ciede2000, xyz2lab

from traymorph.card.layout import CardLayout
from traymorph.card.light import CardLight, colour_of_paper, light_over_card, shows_colour
from traymorph.card.mapping import Form, expand, solve, with_gains
from traymorph.card.patches import Readings, read_patches
from traymorph.card.tone import Tone, agreeing_greys, fit_tone, solve_tone
from traymorph.card.transfer import LINEAR_OF_CODE, XYZ_OF_LINEAR, encode_srgb
from traymorph.card.unseen_light import Completed, complete
from traymorph.model.card import ColourFit, RegisteredCard
from traymorph.model.viewpoint import Viewpoint

Floats = NDArray[np.float64]

_LEAST_PATCHES = 8
_LEAST_GREYS = 3
_ROUNDS = 2
"""Of telling the light on the card by the tone curve, and the tone curve by the light."""
_PATCHES_PER_TERM = 3
_CLEARLY_BETTER = 0.75
_COVERED_DE00 = 15.0
_COVERED_RATIO = 5.0


def fit_colour(
    rgb: NDArray[np.uint8],
    layout: CardLayout,
    viewpoint: Viewpoint,
    print_scale: float = 1.0,
    registered: RegisteredCard | None = None,
) -> tuple[ColourFit, bool]:
    """Fit the colour correction from the card's patches.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (height, width, 3)
        The upright photo.
    layout : CardLayout
        The card in it.
    viewpoint : Viewpoint
        Where the camera stood.
    print_scale : float
        Printed size over nominal size.
    registered : RegisteredCard or None
        The colours that this print has; None for the nominal ones.

    Returns
    -------
    fit : ColourFit
        The correction; it changes nothing and shows no colour when too few patches are seen.
    shaded : bool
        Whether light falls unevenly over the card.
    """
    readings = read_patches(rgb, layout, viewpoint, print_scale, registered)
    fit, shaded = fit_readings(readings, registered=registered is not None)
    if registered is None:
        return fit, shaded
    return replace(fit, card_id=registered.card_id, print_u_de00=registered.u_de00), shaded


def fit_readings(seen: Readings, *, registered: bool = False) -> tuple[ColourFit, bool]:
    """Fit the colour correction to what was read; returns as :func:`fit_colour` does.

    Parameters
    ----------
    seen : Readings
        Of the card.
    registered : bool
        Whether the readings' nominal colours are those of this print.
    """
    light = seen.seen
    for _ in range(_ROUNDS):
        over_card = light_over_card(light, seen)
        readings = agreeing_greys(seen, over_card)
        if not _enough(readings):
            return ColourFit(np.eye(3), float("nan"), shows_colour=False), False
        tone = fit_tone(readings, over_card)
        light = tone.light(seen)
    white = colour_of_paper(light, seen) * np.exp(-tone.gains)
    completed = complete(light, readings, over_card, _visibility(readings.nominal))
    readings = _uncovered(completed, readings)
    form, error = _choose(readings, completed, over_card, tone)
    use = readings.printed
    wanted = readings.nominal[use]
    weight = _visibility(wanted) * completed.trust[use]
    coefficients = solve(completed.light[use], wanted, weight, form)
    table = np.exp(tone.log_light(LINEAR_OF_CODE.astype(np.float64)))
    table[0] = 0.0
    fit = ColourFit(
        with_gains(coefficients, np.exp(tone.gains) * table[-1]),
        error,
        shows_colour=shows_colour(white, coefficients, error, registered=registered),
        tone=np.maximum.accumulate(table / table[-1]),
        light_u=over_card.spread,
    )
    return fit, over_card.shaded


def correct(rgb: NDArray[np.uint8], fit: ColourFit) -> NDArray[np.uint8]:
    """Apply a colour correction.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        The photo at any scale, sRGB-encoded as the phone wrote it.
    fit : ColourFit
        From the card in the same photo.

    Returns
    -------
    ndarray of uint8, shape (h, w, 3)
        sRGB-encoded under D65; what lies outside sRGB is clipped. A channel that the phone cut off
        at nought is at most what the others give it, and seldom less than a third of that: the
        middle is taken.
    """
    form = Form(fit.matrix.shape[1])
    tone, matrix = fit.tone.astype(np.float32), (_LARGEST * fit.matrix).astype(np.float32)
    fixed = np.empty(rgb.shape, np.uint8)
    for start in range(0, len(rgb), _BAND_ROWS):
        band = slice(start, start + _BAND_ROWS)
        codes = rgb[band]
        seen = cv2.LUT(codes, tone).astype(np.float32, copy=False)
        light = np.asarray(cv2.transform(expand(seen, form), matrix), np.float32)
        cut = np.flatnonzero(cv2.inRange(codes, _LEAST_CODES, _GREATEST_CODES) == 0)
        some = light.reshape(-1, 3)[cut]
        of_others = np.maximum(some - np.diagonal(matrix) * seen.reshape(-1, 3)[cut], 0.0)
        light.reshape(-1, 3)[cut] = some - _TOO_MUCH[codes.reshape(-1, 3)[cut]] * of_others
        np.clip(light, 0.0, _LARGEST, out=light)
        light += 0.5
        cv2.LUT(light.astype(np.uint16), _CODE_OF_LINEAR[None], fixed[band])
    return fixed


_LARGEST = 65535.0
_CODE_OF_LINEAR = np.round(encode_srgb(np.arange(65536) / 65535.0) * 255.0).astype(np.uint8)
_LEAST_OF_CUT, _SMEARED_CODES = 1.0 / 3.0, 12
"""Leaves and prints are seldom as vivid as a channel at nought would make them: of what the other
channels give at least the first share is there. Noise and JPEG smear what was cut off over the
second number of codes. Both were read from rendered photos."""
_TOO_MUCH = np.clip(
    0.5 * (1.0 - _LEAST_OF_CUT) * (1.0 - np.arange(256) / _SMEARED_CODES), 0.0, None
).astype(np.float32)
_LEAST_CODES, _GREATEST_CODES = (_SMEARED_CODES,) * 3, (255,) * 3
"""Pixels between these have no channel that was cut off."""
_BAND_ROWS = 32
"""Rows corrected at once: whole photos as floating-point numbers would not fit the cache."""


def _enough(readings: Readings) -> bool:
    printed = readings.printed
    greys = printed & readings.neutral
    return bool(printed.sum() >= _LEAST_PATCHES and greys.sum() >= _LEAST_GREYS)


def _uncovered(seen: Completed, readings: Readings) -> Readings:
    """Set aside the patches that something covers.

    A patch is covered when no matrix that suits the others explains it.
    """
    coloured = readings.printed & ~readings.neutral
    if not coloured.any():
        return readings
    difference = _de00(seen.light @ seen.matrix.T, readings.nominal)
    usual = float(np.median(difference[coloured]))
    covered = difference > max(_COVERED_DE00, _COVERED_RATIO * usual)
    return replace(readings, usable=readings.usable & ~covered)


def _visibility(linear: Floats) -> Floats:
    """Weight that makes errors of dark and bright patches about equally visible."""
    return np.asarray(1.0 / (linear @ XYZ_OF_LINEAR[1] + 0.03) ** (2.0 / 3.0))


def _choose(
    readings: Readings, seen: Completed, over_card: CardLight, tone: Tone
) -> tuple[Form, float]:
    """Form of the mapping, and its mean CIEDE2000 on left-out patches.

    A matrix wherever the patches can hold one: photos of one print compare best when all are
    corrected alike. The root polynomial must tell left-out patches clearly better.
    """
    if not _enough(readings):
        return Form.NONE, float("nan")
    lights = [
        _left_out_light(index, readings, seen, over_card, tone) for index in _printed(readings)
    ]
    trust = seen.trust
    coloured = int(np.sum(readings.printed & ~readings.neutral))
    if coloured < _PATCHES_PER_TERM * (Form.LINEAR - 1):
        return Form.NONE, _left_out_error(lights, readings, trust, Form.NONE)
    error = _left_out_error(lights, readings, trust, Form.LINEAR)
    if len(lights) >= _PATCHES_PER_TERM * Form.ROOTS:
        by_roots = _left_out_error(lights, readings, trust, Form.ROOTS)
        if by_roots < _CLEARLY_BETTER * error:
            return Form.ROOTS, by_roots
    return Form.LINEAR, error


def _printed(readings: Readings) -> NDArray[np.intp]:
    return np.flatnonzero(readings.printed)


def _left_out_light(
    index: int, readings: Readings, seen: Completed, over_card: CardLight, tone: Tone
) -> Floats:
    """Light of all patches, shape (n, 3), by a tone curve that has not seen one of them."""
    if not readings.neutral[index]:
        return seen.light
    rest = readings.printed & readings.neutral
    rest[index] = False
    tone = solve_tone(readings, over_card, rest, tone.doubt)
    return np.where(readings.cut, seen.light, tone.light(readings) / seen.level)


def _left_out_error(lights: list[Floats], readings: Readings, trust: Floats, form: Form) -> float:
    """Mean CIEDE2000 of every visible patch, corrected by a fit that has not seen it."""
    use = readings.printed
    weight = _visibility(readings.nominal) * trust
    found = []
    for index, light in zip(_printed(readings), lights, strict=True):
        rest = use.copy()
        rest[index] = False
        coefficients = solve(light[rest], readings.nominal[rest], weight[rest], form)
        found.append(coefficients @ expand(light[index], form))
    return float(np.mean(_de00(np.array(found), readings.nominal[use])))


def _de00(first: Floats, second: Floats) -> Floats:
    """CIEDE2000 between linear sRGB colours, shape (n, 3) each."""
    lab = [
        xyz2lab(np.maximum(linear, 0.0) @ XYZ_OF_LINEAR.T, illuminant="D65", observer="2")
        for linear in (first, second)
    ]
    return np.asarray(deltaE_ciede2000(*lab))  # type: ignore[no-untyped-call]
