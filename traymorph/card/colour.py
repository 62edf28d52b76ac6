"""Correct the photo's colour by the card's patches.

Three steps, each as simple as the patches allow:

1. *Tone.* A phone's curve is steeper than sRGB's. The greys show it: over their levels the
   logarithm of nominal light is fitted by a polynomial in the logarithm of what the photo shows,
   one curve for all channels with one exposure per channel. The curve is used only where leaving
   each grey level out in turn shows that it predicts the missing level clearly better.
2. *White balance and exposure*: the three gains of that fit.
3. *Colour*: a 3 x 3 matrix that leaves greys grey (each row sums to 1), drawn towards doing
   nothing, fitted on all patches with weights that make errors about equally visible.

Leaves hang over cards and shadows fall on them: patches that are not of one colour, greys that the
other greys contradict and colours that no matrix explains are set aside.

Bare paper at nine places shows how evenly the card is lit. Its slope is taken out of the patches
before they are used; it is not carried over to the rest of the photo, because a slope over
120 mm says little about a tray of half a metre.
"""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.color import deltaE_ciede2000, xyz2lab

from traymorph.card.layout import CardLayout
from traymorph.card.patches import DARKEST, Readings, read_patches
from traymorph.card.tone import Tone, agreeing_greys, fit_tone, solve_tone
from traymorph.card.transfer import LINEAR_OF_CODE, XYZ_OF_LINEAR, encode_srgb
from traymorph.model.card import ColourFit, RegisteredCard
from traymorph.model.viewpoint import Viewpoint

Floats = NDArray[np.float64]

_RIDGE = 0.02
_LEAST_PATCHES = 8
_LEAST_GREYS = 3
_LEAST_PAPERS = 5
_COVERED_DE00 = 15.0
_COVERED_RATIO = 5.0
_SHADED_RATIO = 1.3
_PAPER_CHROMA = 0.25
_LEAST_GREEN = 0.72
_LEAST_BLUE = 0.06
_LARGEST_DE00 = 9.0


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
    all_readings = read_patches(rgb, layout, viewpoint, print_scale, registered)
    readings = agreeing_greys(all_readings)
    if not _enough(readings):
        nothing = ColourFit(np.eye(3), np.array([0.0, 0.0, 1.0]), float("nan"), shows_colour=False)
        return nothing, False
    tone = fit_tone(readings, np.ones(len(readings.seen)))
    level = _light_over_card(tone.light(readings), readings)
    tone = fit_tone(readings, level)
    shaded = _is_shaded(tone.light(all_readings), all_readings)
    light = tone.light(readings) / level[:, None]
    matrix, trust, readings = _fit_matrix(light, readings)
    error = _left_out_error(readings, level, tone, trust) if _enough(readings) else float("nan")
    table = np.exp(tone.log_light(LINEAR_OF_CODE.astype(np.float64)))
    table[0] = 0.0
    fit = ColourFit(
        matrix * np.exp(tone.gains) * table[-1],
        np.array([0.0, 0.0, 1.0]),
        error,
        shows_colour=_whole_spectrum(tone.gains) and error < _LARGEST_DE00,
        tone=table / table[-1],
        card_id=registered.card_id if registered else None,
    )
    return fit, shaded


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
        sRGB-encoded under D65; what lies outside sRGB is clipped.
    """
    height, width = rgb.shape[:2]
    light = fit.tone.astype(np.float32)[rgb]
    a, b, c = (float(value) for value in fit.gain)
    if (a, b, c) != (0.0, 0.0, 1.0):
        x = (np.arange(width, dtype=np.float32) + 0.5) / width
        y = (np.arange(height, dtype=np.float32)[:, None] + 0.5) / width
        light /= np.maximum(a * x + b * y + c, 0.05)[:, :, None]
    balanced = cv2.transform(light, fit.matrix.astype(np.float32))
    light = np.clip(balanced, 0.0, 1.0)
    return _CODE_OF_LINEAR[(light * 65535.0 + 0.5).astype(np.uint16)]


_CODE_OF_LINEAR = np.round(encode_srgb(np.arange(65536) / 65535.0) * 255.0).astype(np.uint8)


def _enough(readings: Readings) -> bool:
    printed = readings.printed
    greys = printed & readings.neutral
    return bool(printed.sum() >= _LEAST_PATCHES and greys.sum() >= _LEAST_GREYS)


def _light_over_card(light: Floats, readings: Readings) -> Floats:
    """Relative light at every patch from the slope that the bare paper shows, 1 at the middle."""
    even = np.ones(len(light))
    use = readings.paper & readings.usable
    if use.sum() < _LEAST_PAPERS:
        return even
    design = np.column_stack([np.ones(int(use.sum())), readings.place[use]])
    target = np.log(np.maximum(light[use].mean(axis=1), DARKEST))
    solved, _, rank, _ = np.linalg.lstsq(design, target, rcond=None)
    if rank < design.shape[1]:
        return even
    residual = target - design @ solved
    noise = np.sqrt(np.sum(residual**2) / (len(target) - 3))
    doubt = noise * np.sqrt(np.trace(np.linalg.inv(design.T @ design)[1:, 1:]))
    if np.linalg.norm(solved[1:]) < 3.0 * doubt:
        return even
    return np.asarray(np.exp(readings.place @ solved[1:]))


def _is_shaded(light: Floats, readings: Readings) -> bool:
    """Whether two or more bare papers get clearly less light than two others.

    Paper that looks coloured lies under a leaf and says nothing of the light.
    """
    log = np.log(np.maximum(light, DARKEST))
    chroma = np.abs(log - log.mean(axis=1, keepdims=True)).max(axis=1)
    use = readings.paper & readings.usable & (chroma < _PAPER_CHROMA)
    if use.sum() < _LEAST_PAPERS:
        return False
    level = np.sort(light[use].mean(axis=1))
    return bool(level[-2] > _SHADED_RATIO * level[1])


def _fit_matrix(light: Floats, readings: Readings) -> tuple[Floats, Floats, Readings]:
    """Matrix from balanced light to linear sRGB.

    Also tells how far each patch was trusted, and sets aside those that something covers.
    """
    wanted, use = readings.nominal, readings.printed
    weight = _visibility(wanted)
    matrix = np.eye(3)
    trust = np.ones(len(light))
    for _ in range(6):
        miss = np.linalg.norm((wanted - light @ matrix.T) * weight[:, None], axis=1)
        usual = max(1.4826 * float(np.median(miss[use])), 0.01)
        trust = 1.0 / (1.0 + (miss / (3.0 * usual)) ** 2)
        matrix = _solve_matrix(light[use], wanted[use], (weight * trust)[use])
    difference = _de00(light @ matrix.T, wanted)
    usual = float(np.median(difference[use]))
    covered = difference > max(_COVERED_DE00, _COVERED_RATIO * usual)
    return matrix, trust, replace(readings, usable=readings.usable & ~covered)


def _visibility(linear: Floats) -> Floats:
    """Weight that makes errors of dark and bright patches about equally visible."""
    return np.asarray(1.0 / (linear @ XYZ_OF_LINEAR[1] + 0.03) ** (2.0 / 3.0))


def _solve_matrix(seen: Floats, wanted: Floats, weight: Floats) -> Floats:
    apart = np.column_stack([seen[:, 0] - seen[:, 2], seen[:, 1] - seen[:, 2]])
    design = apart * weight[:, None]
    normal = design.T @ design + _RIDGE * np.eye(2)
    target = (wanted - seen) * weight[:, None]
    delta = np.linalg.solve(normal, design.T @ target).T
    return np.asarray(np.eye(3) + np.column_stack([delta, -delta.sum(axis=1)]))


def _left_out_error(readings: Readings, level: Floats, tone: Tone, trust: Floats) -> float:
    """Mean CIEDE2000 of every visible patch, corrected by a fit that has not seen it."""
    use = readings.printed
    weight = _visibility(readings.nominal) * trust
    found = []
    for index in np.flatnonzero(use):
        rest = use.copy()
        rest[index] = False
        own = tone
        if readings.neutral[index]:
            own = solve_tone(readings, level, rest & readings.neutral, len(tone.bends))
        light = own.light(readings) / level[:, None]
        matrix = _solve_matrix(light[rest], readings.nominal[rest], weight[rest])
        found.append(matrix @ light[index])
    return float(np.mean(_de00(np.array(found), readings.nominal[use])))


def _de00(first: Floats, second: Floats) -> Floats:
    """CIEDE2000 between linear sRGB colours, shape (n, 3) each."""
    lab = [
        xyz2lab(np.maximum(linear, 0.0) @ XYZ_OF_LINEAR.T, illuminant="D65", observer="2")
        for linear in (first, second)
    ]
    return np.asarray(deltaE_ciede2000(*lab))  # type: ignore[no-untyped-call]


def _whole_spectrum(gains: Floats) -> bool:
    """Whether the light on the greys holds red, green and blue as white light does.

    White lights from 2700 K up have at least about as much green as the geometric mean of red and
    blue, whatever a phone's white balance makes of them; lamps for growing have far less, and
    sodium lamps have hardly any blue.
    """
    red, green, blue = np.exp(-gains)
    return bool(green > _LEAST_GREEN * np.sqrt(red * blue) and blue > _LEAST_BLUE * red)
