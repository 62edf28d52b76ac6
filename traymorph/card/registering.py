"""Read the colours that one print of the card really has off a daylight photo of it.

The bare paper gives the light: colours are CIELAB (D65, 2 degrees) relative to the paper's white.
Three assumptions stand behind them, and their doubt is carried along:

* the light is near daylight. Overcast sky and open shade run from about 6000 to 10 000 K; dividing
  by the paper takes most of that out.
* the phone writes what sRGB says. Its contrast curve is then taken for the print's.
* what all colours deviate in common (a 3 x 3 matrix) may be the phone's rendering or the
  printer's inks, and one photo cannot tell which. Half is credited to each, and the doubt of
  every patch grows with the distance between the two extremes.

What a photo says is then weighed against the card as designed: the less a print deviates beyond
the photo's own doubt, the more of the deviation is the photo's. A good print so stays what it was
designed to be (shrinkage towards a known mean: James & Stein 1961, positive part).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from skimage.color import deltaE_ciede2000, xyz2lab

from traymorph.card.layout import CardLayout, card_layout
from traymorph.card.patches import DARKEST, Readings, read_patches
from traymorph.card.transfer import XYZ_OF_LINEAR, decode_srgb
from traymorph.errors import CardColourError
from traymorph.model.card import CardRole, CardSighting
from traymorph.model.photo import Photo

Floats = NDArray[np.float64]

PAPER = "paper"
"""Name of the bare paper among the patches."""
PHOTO_U_DE00 = 2.0
"""Standard uncertainty, CIEDE2000, of a patch read off a daylight photo: mostly the phone's
contrast curve, then the daylight's own colour. From simulated prints and phones, docs/accuracy.md.
"""

_COMMON_SHARE = 0.5
_LEAST_PAPERS = 5
_BURNT_OUT = 0.9
_DARK = 0.12
_UNEVEN = 0.06
"""Paper patches may deviate by this share from light that falls off evenly."""
_FALL_OFF = 1.6
_WARMEST, _COOLEST = 1.45, 0.62
"""Red over blue on white paper. A camera set for 6500 K would see 1.6 under 5000 K and 0.55 under
10 000 K, between which daylight lies; a phone's white balance takes at least part of that out."""
_GREEN_AWAY = 0.2
_LEAST_GREY_STEP = 1.0
_GREY_CHROMA = 1.0
_LEAST_CHROMA_SHARE = 0.35


@dataclass(frozen=True, slots=True)
class PatchColour:
    """One patch of a print beside what it should be.

    Parameters
    ----------
    name : str
        Of the patch.
    lab, nominal : tuple of float
        CIELAB (D65, 2 degrees) as printed and as designed.
    de00 : float
        CIEDE2000 between the two.
    u_de00 : float
        Standard uncertainty of ``lab``, CIEDE2000.
    """

    name: str
    lab: tuple[float, float, float]
    nominal: tuple[float, float, float]
    de00: float
    u_de00: float


def printed_names(role: CardRole) -> tuple[str, ...]:
    """Names of the colours and greys on a card, each once, in the order of printing."""
    return tuple(dict.fromkeys(patch.name for patch in card_layout(role).patches if patch.drawn))


def beside_nominal(
    role: CardRole,
    lab: Mapping[str, tuple[float, float, float]],
    u_de00: Mapping[str, float],
) -> tuple[PatchColour, ...]:
    """Set colours beside those that the layout means.

    Parameters
    ----------
    role : CardRole
        The card.
    lab : mapping of str to tuple of float
        CIELAB (D65, 2 degrees) by patch name.
    u_de00 : mapping of str to float
        Their standard uncertainties, CIEDE2000.

    Returns
    -------
    tuple of PatchColour
        One for each patch of the layout that is in ``lab``, in the order of printing.
    """
    codes = {patch.name: patch.rgb for patch in card_layout(role).patches}
    names = [name for name in codes if name in lab]
    nominal = _lab_of_linear(decode_srgb(np.array([codes[name] for name in names]) / 255.0))
    found = np.array([lab[name] for name in names])
    apart = deltaE_ciede2000(found, nominal)  # type: ignore[no-untyped-call]
    return tuple(
        PatchColour(name, _triple(one), _triple(meant), float(away), u_de00[name])
        for name, one, meant, away in zip(names, found, nominal, apart, strict=True)
    )


def read_print(
    photo: Photo, sighting: CardSighting, print_scale: float = 1.0
) -> tuple[PatchColour, ...]:
    """Read the colours of a print off a daylight photo.

    Parameters
    ----------
    photo : Photo
        Overcast daylight or open shade, no other light.
    sighting : CardSighting
        The card in it.
    print_scale : float
        Printed size over nominal size.

    Returns
    -------
    tuple of PatchColour
        One for each colour and grey, in the order of printing; relative to the paper's white.

    Raises
    ------
    CardColourError
        The light is no daylight, uneven or too dark, a patch is burnt out or not seen clearly, or
        the print shows no colours.
    """
    name = photo.path.name
    layout = card_layout(sighting.role)
    readings = read_patches(photo.rgb, layout, sighting.viewpoint, print_scale)
    _check_papers(name, readings)
    level = _light_over_card(name, readings)
    even = readings.seen / level[:, None]
    paper = even[readings.paper & readings.usable].mean(axis=0)
    _check_light(name, paper)
    _check_patches(name, layout, readings)
    drawn = ~readings.paper
    share = np.maximum(even[drawn] / paper, DARKEST)
    common = _common_matrix(share, readings.nominal[drawn], readings.neutral[drawn])
    names = [patch.name for patch in layout.patches if patch.drawn]
    as_seen, half, all_phone = (
        _by_name(names, _lab_of_linear(share @ _part_of(common, part).T))
        for part in (0.0, _COMMON_SHARE, 1.0)
    )
    extremes = [np.array([one[name] for name in half]) for one in (as_seen, all_phone)]
    span = deltaE_ciede2000(*extremes)  # type: ignore[no-untyped-call]
    u = {
        name: float(np.hypot(PHOTO_U_DE00, 0.5 * away))
        for name, away in zip(half, span, strict=True)
    }
    found = beside_nominal(sighting.role, half, u)
    _check_print(name, found)
    return beside_nominal(sighting.role, _weighed(found), u)


def _check_papers(name: str, readings: Readings) -> None:
    papers = readings.paper & readings.usable
    if papers.sum() >= _LEAST_PAPERS:
        return
    if float(np.median(readings.seen[readings.paper].max(axis=1))) > _BURNT_OUT:
        message = f"{name}: the card's bare paper is burnt out, so the light is unknown."
        hint = "Tap the card to expose for it, lower the exposure and take the photo again."
        raise CardColourError(message, hint=hint)
    message = f"{name}: the card's bare paper is covered, dirty or in broken light."
    raise CardColourError(message, hint=_AGAIN)


def _check_patches(name: str, layout: CardLayout, readings: Readings) -> None:
    """Every patch must be seen clean: what is not registered would keep its nominal colour."""
    lost = [
        index for index, patch in enumerate(layout.patches)
        if patch.drawn and not readings.usable[index]
    ]  # fmt: skip
    if not lost:
        return
    burnt = [index for index in lost if readings.seen[index].max() > _BURNT_OUT]
    names = _listed(layout.patches[index].name for index in burnt or lost)
    if burnt:
        message = f"{name}: burnt out on the card: {names}."
        raise CardColourError(message, hint="Lower the exposure and take the photo again.")
    message = f"{name}: not seen clearly on the card: {names}."
    raise CardColourError(message, hint=_AGAIN)


_AGAIN = "Clean the card, keep shadows and glare off it and take the photo again."


def _light_over_card(name: str, readings: Readings) -> Floats:
    """Relative light at every place of the card from its bare paper, 1 at the middle."""
    papers = readings.paper & readings.usable
    design = np.column_stack([np.ones(int(papers.sum())), readings.place[papers]])
    target = np.log(readings.seen[papers].mean(axis=1))
    solved, *_ = np.linalg.lstsq(design, target, rcond=None)
    level = np.asarray(np.exp(readings.place @ solved[1:]))
    uneven = float(np.abs(target - design @ solved).max())
    if uneven > _UNEVEN or level.max() > _FALL_OFF * level.min():
        message = f"{name}: light falls unevenly over the card."
        hint = "Turn card and phone so that no shadow, lamp or bright wall is near, and try again."
        raise CardColourError(message, hint=hint)
    return level


def _check_light(name: str, paper: Floats) -> None:
    red, green, blue = (float(value) for value in paper)
    if max(paper) < _DARK:
        message = f"{name}: the photo is too dark to read colours from."
        raise CardColourError(message, hint="Photograph the card outdoors or close to a window.")
    away = abs(green / np.sqrt(red * blue) - 1.0)
    if away > _GREEN_AWAY or not _COOLEST < red / blue < _WARMEST:
        message = f"{name}: the card's white paper looks coloured, so the light was not daylight."
        hint = (
            "Photograph the card under an overcast sky or in open shade, with lamps off and no "
            "green or painted wall near."
        )
        raise CardColourError(message, hint=hint)


def _check_print(name: str, found: Iterable[PatchColour]) -> None:
    """Refuse what cannot serve: greys out of order, or hardly any colour."""
    patches = tuple(found)
    greys = sorted(filter(_is_grey, patches), key=lambda patch: -patch.nominal[0])
    for lighter, darker in pairwise(greys):
        if lighter.lab[0] - darker.lab[0] < _LEAST_GREY_STEP:
            message = f"{name}: {darker.name} is not darker than {lighter.name} on this print."
            hint = "Keep glare off the card; if it is the print, print the card again."
            raise CardColourError(message, hint=hint)
    shares = [
        float(np.hypot(*patch.lab[1:]) / np.hypot(*patch.nominal[1:]))
        for patch in patches
        if not _is_grey(patch)
    ]
    if np.median(shares) < _LEAST_CHROMA_SHARE:
        message = f"{name}: the print shows hardly any colour."
        hint = "Print the card in colour; an ink may have run out."
        raise CardColourError(message, hint=hint)


def _weighed(found: tuple[PatchColour, ...]) -> dict[str, tuple[float, float, float]]:
    """Colours between what the photo says and the design, by how far beyond doubt they differ."""
    deviation = float(np.mean([patch.de00**2 for patch in found]))
    doubt = float(np.mean([patch.u_de00**2 for patch in found]))
    share = max(0.0, 1.0 - doubt / deviation) if deviation > 0 else 0.0
    return {
        patch.name: _triple((1.0 - share) * np.array(patch.nominal) + share * np.array(patch.lab))
        for patch in found
    }


def _is_grey(patch: PatchColour) -> bool:
    return bool(np.hypot(*patch.nominal[1:]) < _GREY_CHROMA)


def _common_matrix(share: Floats, nominal: Floats, neutral: NDArray[np.bool_]) -> Floats:
    """Matrix that takes all colours nearest to nominal and leaves the paper white.

    The greys' tone is brought to nominal first, so that contrast is not taken for colour.
    """
    x = np.log(share)
    grey = x[neutral].mean(axis=1)
    design = np.column_stack([grey, grey**2])
    wanted = np.log(nominal[neutral]).mean(axis=1) - grey
    bend, *_ = np.linalg.lstsq(design, wanted, rcond=None)
    light = np.exp(x + bend[0] * x + bend[1] * x**2)
    # errors of dark and bright patches are about equally visible under this weight
    weight = 1.0 / (nominal @ XYZ_OF_LINEAR[1] + 0.03)[:, None] ** (2.0 / 3.0)
    apart = np.column_stack([light[:, 0] - light[:, 2], light[:, 1] - light[:, 2]])
    solved, *_ = np.linalg.lstsq(apart * weight, (nominal - light) * weight, rcond=None)
    return np.asarray(np.eye(3) + np.column_stack([solved.T, -solved.T.sum(axis=1)]))


def _part_of(matrix: Floats, share: float) -> Floats:
    return np.asarray(np.eye(3) + share * (matrix - np.eye(3)))


def _by_name(names: list[str], lab: Floats) -> dict[str, tuple[float, float, float]]:
    """Mean colour of the places that bear one name."""
    return {
        name: _triple(np.mean([one for own, one in zip(names, lab, strict=True) if own == name], 0))
        for name in dict.fromkeys(names)
    }


def _lab_of_linear(linear: Floats) -> Floats:
    xyz = np.maximum(linear, 0.0) @ XYZ_OF_LINEAR.T
    return np.asarray(xyz2lab(xyz, illuminant="D65", observer="2"))


def _triple(values: Floats) -> tuple[float, float, float]:
    lightness, a, b = (float(value) for value in values)
    return lightness, a, b


def _listed(names: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(names))
