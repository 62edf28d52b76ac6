"""Read the card's patches and correct the photo's colour by them.

Three steps, each as simple as the patches allow:

1. *Tone.* A phone's curve is steeper than sRGB's. The greys show it: over their levels the
   logarithm of nominal light is fitted by a polynomial in the logarithm of what the photo shows,
   one curve for all channels with one exposure per channel. The curve is used only where leaving
   each grey level out in turn shows that it predicts the missing level clearly better.
2. *White balance and exposure*: the three gains of that fit.
3. *Colour*: a 3 x 3 matrix that leaves greys grey (each row sums to 1), drawn towards doing
   nothing, fitted on all patches with weights that make errors about equally visible.

Bare paper at nine places shows how evenly the card is lit. Its slope is taken out of the patches
before they are used; it is not carried over to the rest of the photo, because a slope over
120 mm says little about a tray of half a metre.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.color import deltaE_ciede2000, xyz2lab

from traymorph.card.layout import CardLayout, Patch
from traymorph.card.transfer import LINEAR_OF_CODE, decode_srgb, encode_srgb
from traymorph.model.card import ColourFit
from traymorph.model.viewpoint import Viewpoint

Floats = NDArray[np.float64]

_GRID = 16
_INSET_MM = 1.0
_INSET_PX = 2.5
_CLIPPED_CODE = 252
_CLIPPED_SHARE = 0.2
_DARKEST = 5e-4
_CURVE_GAIN = 0.75
"""A more bent curve must bring the left-out error of the greys below this share."""
_RIDGE = 0.02
_LEAST_PATCHES = 8
_LEAST_PAPERS = 5
_SHADED_RATIO = 1.3
_LEAST_GREEN = 0.45
_LEAST_BLUE = 0.06
_LARGEST_DE00 = 9.0

_XYZ_FROM_RGB = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
"""IEC 61966-2-1, white D65."""


@dataclass(frozen=True, slots=True, eq=False)
class _Readings:
    """What the photo shows of the patches, linear light by the sRGB curve, shape (n, 3)."""

    seen: Floats
    nominal: Floats
    usable: NDArray[np.bool_]
    neutral: NDArray[np.bool_]
    paper: NDArray[np.bool_]
    place: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Tone:
    """log light = gain of the channel + x + c1 x + c2 x^2 + ..., x = log seen - middle."""

    gains: Floats
    bends: Floats
    middle: float
    low: float
    high: float

    def log_light(self, seen: Floats) -> Floats:
        """Logarithm of the light, without the gains; straight beyond the greys seen."""
        x = np.log(np.maximum(seen, _DARKEST)) - self.middle
        inside = np.clip(x, self.low, self.high)
        slope = np.ones_like(x)
        value = inside.copy()
        for power, bend in enumerate(self.bends, start=1):
            value += bend * inside**power
            slope += power * bend * inside ** (power - 1)
        return np.asarray(value + np.maximum(slope, 0.2) * (x - inside))

    def rising(self) -> bool:
        x = np.linspace(self.low, self.high, 50)
        slope = 1.0 + sum(p * b * x ** (p - 1) for p, b in enumerate(self.bends, start=1))
        return bool(np.min(slope) > 0.2)


def fit_colour(
    rgb: NDArray[np.uint8], layout: CardLayout, viewpoint: Viewpoint, print_scale: float = 1.0
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

    Returns
    -------
    fit : ColourFit
        The correction; it changes nothing and shows no colour when too few patches are seen.
    shaded : bool
        Whether light falls unevenly over the card.
    """
    readings = _read(rgb, layout, viewpoint, print_scale)
    enough = readings.usable & ~readings.paper
    if enough.sum() < _LEAST_PATCHES or (enough & readings.neutral).sum() < 3:
        nothing = ColourFit(np.eye(3), np.array([0.0, 0.0, 1.0]), float("nan"), shows_colour=False)
        return nothing, _is_shaded(readings.seen, readings)
    level = np.ones(len(readings.seen))
    tone = _fit_tone(readings, level)
    level = _light_over_card(_light(tone, readings), readings)
    tone = _fit_tone(readings, level)
    light = _light(tone, readings) / level[:, None]
    matrix, trust = _fit_matrix(light, readings, enough)
    error = _left_out_error(readings, level, tone, trust)
    table = np.exp(tone.log_light(LINEAR_OF_CODE.astype(np.float64)))
    table[0] = 0.0
    fit = ColourFit(
        matrix * np.exp(tone.gains) * table[-1],
        np.array([0.0, 0.0, 1.0]),
        error,
        shows_colour=_whole_spectrum(tone.gains) and error < _LARGEST_DE00,
        tone=table / table[-1],
    )
    return fit, _is_shaded(_light(tone, readings), readings)


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


def _read(
    rgb: NDArray[np.uint8], layout: CardLayout, viewpoint: Viewpoint, print_scale: float
) -> _Readings:
    per_px = viewpoint.mm_per_px(np.append(np.mean(layout.outline, axis=0) * print_scale, 0.0))
    points = np.concatenate([_grid(patch, per_px / print_scale) for patch in layout.patches])
    flat = np.column_stack([points * print_scale, np.zeros(len(points))])
    pixel = np.rint(viewpoint.project(flat)).astype(np.intp)
    height, width = rgb.shape[:2]
    inside = np.all((pixel >= 0) & (pixel < (width, height)), axis=1).reshape(-1, _GRID**2)
    x, y = np.clip(pixel[:, 0], 0, width - 1), np.clip(pixel[:, 1], 0, height - 1)
    codes = rgb[y, x].reshape(-1, _GRID**2, 3)
    clipped = (codes >= _CLIPPED_CODE).any(axis=2).mean(axis=1) > _CLIPPED_SHARE
    # The middle of the patch's pixels by brightness: glints, crumbs and leaf tips fall away.
    order = np.argsort(codes.sum(axis=2, dtype=np.int64), axis=1)[:, :, None]
    ranked = np.take_along_axis(codes, order, axis=1)
    middle = ranked[:, _GRID**2 // 5 : -(_GRID**2) // 5]
    seen = LINEAR_OF_CODE[middle].mean(axis=1, dtype=np.float64)
    patches = layout.patches
    return _Readings(
        seen=seen,
        nominal=decode_srgb(np.array([patch.rgb for patch in patches]) / 255.0),
        usable=inside.all(axis=1) & ~clipped & (seen.max(axis=1) > _DARKEST),
        neutral=np.array([patch.neutral for patch in patches]),
        paper=np.array([not patch.drawn for patch in patches]),
        place=np.array([patch.corners.mean(axis=0) for patch in patches]) / layout.size - 0.5,
    )


def _grid(patch: Patch, mm_per_px: float) -> Floats:
    """Points spread over a patch, away from its edges, shape (_GRID ** 2, 2), mm."""
    wanted = max(_INSET_MM, _INSET_PX * mm_per_px)
    share = (np.arange(_GRID) + 0.5) / _GRID
    lines = []
    for start, length in ((patch.x, patch.width), (patch.y, patch.height)):
        inset = min(wanted, 0.3 * length)
        lines.append(start + inset + (length - 2.0 * inset) * share)
    return np.stack(np.meshgrid(*lines), axis=-1).reshape(-1, 2)


def _light(tone: _Tone, readings: _Readings) -> Floats:
    return np.exp(tone.log_light(readings.seen) + tone.gains)


def _greys(readings: _Readings) -> NDArray[np.bool_]:
    return readings.neutral & readings.usable & ~readings.paper


def _fit_tone(readings: _Readings, level: Floats) -> _Tone:
    """Choose the least bent curve that predicts left-out grey levels well."""
    tone = _solve_tone(readings, level, _greys(readings), 0)
    best = _level_error(readings, level, 0)
    for bends in (1, 2, 3):
        error = _level_error(readings, level, bends)
        candidate = _solve_tone(readings, level, _greys(readings), bends)
        if error < _CURVE_GAIN * best and candidate.rising():
            tone, best = candidate, error
    return tone


def _solve_tone(readings: _Readings, level: Floats, use: NDArray[np.bool_], bends: int) -> _Tone:
    x = np.log(np.maximum(readings.seen[use], _DARKEST))
    middle = float(x.mean())
    x = x - middle
    target = np.log(readings.nominal[use] * level[use, None]) - x
    channel = np.tile(np.eye(3), (len(x), 1))
    powers = np.column_stack([x.ravel() ** power for power in range(1, bends + 1)] or [x.ravel()])
    powers = powers[:, :bends]
    solved, *_ = np.linalg.lstsq(np.column_stack([channel, powers]), target.ravel(), rcond=None)
    gains, bend = np.split(solved.astype(np.float64), [3])
    return _Tone(gains, bend, middle, float(x.min()), float(x.max()))


def _level_error(readings: _Readings, level: Floats, bends: int) -> float:
    greys = _greys(readings)
    values = np.unique(readings.nominal[greys, 1])
    if len(values) < bends + 3:
        return float("inf")
    errors = []
    for value in values:
        left_out = greys & (readings.nominal[:, 1] == value)
        tone = _solve_tone(readings, level, greys & ~left_out, bends)
        found = tone.log_light(readings.seen[left_out]) + tone.gains
        errors.append(found - np.log(readings.nominal[left_out] * level[left_out, None]))
    return float(np.sqrt(np.mean(np.concatenate(errors) ** 2)))


def _light_over_card(light: Floats, readings: _Readings) -> Floats:
    """Relative light at every patch from the slope that the bare paper shows, 1 at the middle."""
    use = readings.paper & readings.usable
    if use.sum() < _LEAST_PAPERS:
        return np.ones(len(light))
    design = np.column_stack([np.ones(int(use.sum())), readings.place[use]])
    target = np.log(np.maximum(light[use].mean(axis=1), _DARKEST))
    solved, *_ = np.linalg.lstsq(design, target, rcond=None)
    residual = target - design @ solved
    noise = np.sqrt(np.sum(residual**2) / (len(target) - 3))
    doubt = noise * np.sqrt(np.linalg.inv(design.T @ design).trace())
    slope = solved[1:]
    if np.linalg.norm(slope) < 3.0 * doubt:
        return np.ones(len(light))
    return np.asarray(np.exp(readings.place @ slope))


def _is_shaded(light: Floats, readings: _Readings) -> bool:
    """Whether two bare places and more get clearly less light than two others."""
    use = readings.paper & readings.usable
    if use.sum() < _LEAST_PAPERS:
        return False
    level = np.sort(light[use].mean(axis=1))
    return bool(level[-2] > _SHADED_RATIO * level[1])


def _fit_matrix(
    light: Floats, readings: _Readings, use: NDArray[np.bool_]
) -> tuple[Floats, Floats]:
    """Matrix from balanced light to linear sRGB, and how far each patch was trusted."""
    wanted = readings.nominal
    weight = _visibility(wanted)
    trust = np.ones(len(light))
    matrix = np.eye(3)
    for _ in range(4):
        matrix = _solve_matrix(light[use], wanted[use], (weight * trust)[use])
        miss = np.linalg.norm((wanted - light @ matrix.T) * weight[:, None], axis=1)
        usual = max(1.4826 * float(np.median(miss[use])), 0.01)
        trust = 1.0 / np.sqrt(1.0 + (miss / (3.0 * usual)) ** 2)
    return matrix, trust


def _visibility(linear: Floats) -> Floats:
    """Weight that makes errors of dark and bright patches about equally visible."""
    return np.asarray(1.0 / (linear @ _XYZ_FROM_RGB[1] + 0.03) ** (2.0 / 3.0))


def _solve_matrix(seen: Floats, wanted: Floats, weight: Floats) -> Floats:
    apart = np.column_stack([seen[:, 0] - seen[:, 2], seen[:, 1] - seen[:, 2]])
    design = apart * weight[:, None]
    normal = design.T @ design + _RIDGE * np.eye(2)
    target = (wanted - seen) * weight[:, None]
    delta = np.linalg.solve(normal, design.T @ target).T
    return np.asarray(np.eye(3) + np.column_stack([delta, -delta.sum(axis=1)]))


def _left_out_error(readings: _Readings, level: Floats, tone: _Tone, trust: Floats) -> float:
    """Mean CIEDE2000 of every printed patch, corrected by a fit that has not seen it."""
    use = readings.usable & ~readings.paper
    weight = _visibility(readings.nominal) * trust
    found, wanted = [], []
    for index in np.flatnonzero(use):
        rest = use.copy()
        rest[index] = False
        if readings.neutral[index]:
            own = _solve_tone(readings, level, rest & readings.neutral, len(tone.bends))
        else:
            own = tone
        light = _light(own, readings) / level[:, None]
        matrix = _solve_matrix(light[rest], readings.nominal[rest], weight[rest])
        found.append(matrix @ light[index])
        wanted.append(readings.nominal[index])
    difference = deltaE_ciede2000(  # type: ignore[no-untyped-call]
        _lab(np.array(found)), _lab(np.array(wanted))
    )
    return float(np.mean(difference))


def _lab(linear: Floats) -> Floats:
    xyz = np.maximum(linear, 0.0) @ _XYZ_FROM_RGB.T
    return np.asarray(xyz2lab(xyz, illuminant="D65", observer="2"))


def _whole_spectrum(gains: Floats) -> bool:
    """Whether the light on the greys holds red, green and blue as white light does.

    White lights from 2700 K up have more green than the geometric mean of red and blue; lamps for
    growing have far less, and sodium lamps have hardly any blue.
    """
    red, green, blue = np.exp(-gains)
    return bool(green > _LEAST_GREEN * np.sqrt(red * blue) and blue > _LEAST_BLUE * red)
