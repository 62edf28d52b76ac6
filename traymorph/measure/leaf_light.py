"""Which leaf pixels tell of the leaf's own colour: well lit, not burnt out, not mirroring the lamp.

All is judged against the sample's own distribution, so that a pale and a dark crop, a bright and a
dim photo are treated alike:

* *within leaf*: the pixel and its eight neighbours are rather leaf than not, since at an edge a
  pixel carries the colour of what lies beside it. Colours are the mean of those nine pixels, which
  keeps noise out of hues;
* *not burnt out*: no channel of the nine pixels is at the end of its range, unless the pixel has at
  least half of the saturation (chroma over lightness) of the median leaf pixel: then it is leaf
  that gets more light than the card's white, as under a window, and not a glint;
* *not in deep shade*: at least a fifth of the luminance of the median leaf pixel. What is darker
  are leaves deep in gaps of the canopy, and now and then medium taken for leaf;
* *not in a highlight*: unless it is more than four times as luminous as the median and has less
  than half of its saturation (chroma over lightness), as where a leaf mirrors a lamp.

Both limits are kept loose on purpose. On five rendered trays under five white lights, what an ideal
camera reads of the leaf beyond a fifth lies within 0.3 CIEDE2000 of what it reads of all leaf
(three tenths: 1.1, a half: 3.0, as shade grows under lamps), and its lightness spreads between the
lights by 1.0 on average either way. Leaving out highlights from twice the luminance on makes a dark
crop differ more between lights (1.45 in lightness, not 1.07): a lamp mirrors at spots, which would
go, an overcast sky all over the leaf, which would stay.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.color import rgb2lab

Shares = NDArray[np.float32]
Colours = NDArray[np.float64]
Chosen = NDArray[np.bool_]

DEEP_SHADE = 0.2
"""Luminance over the median leaf's below which leaf does not count."""
FEWEST_PIXELS = 50
"""Fewer pixels say nothing of a sample."""
_LEAF_FROM, _SURELY_LEAF_FROM = 0.5, 0.8
"""Rather leaf than not, and surely leaf. The surest leaves of a tray are its lightest and greenest
ones, so colour is read from all that is rather leaf, and the difference of both is a doubt."""
_CLIPPED = 250
"""From this value on a channel may have been cut off."""
_MOST_PIXELS = 200_000
"""More pixels, evenly thinned, say nothing new."""
_MIRROR_LUMINANCE, _MIRROR_SATURATION = 4.0, 0.5


@dataclass(frozen=True, slots=True, eq=False)
class LeafPixels:
    """Pixels within leaf that do not show burnt-out glints.

    Parameters
    ----------
    encoded : ndarray, shape (n, 3)
        Corrected sRGB-encoded values, 0 to 1.
    lab : ndarray, shape (n, 3)
        CIELAB under D65.
    at : ndarray of int, shape (n, 2)
        Their (row, column) in the picture.
    luminance : ndarray, shape (n,)
        CIE Y over that of the median pixel.
    surely : ndarray of bool, shape (n,)
        Surely leaf, not only rather.
    mirroring : ndarray of bool, shape (n,)
        In a highlight.
    cut_off : ndarray of bool, shape (n,)
        Brighter than the picture can hold, or next to such a pixel.
    of_leaf : float
        Number of such pixels over that of all leaf pixels, edges included.
    """

    encoded: Colours
    lab: Colours
    at: NDArray[np.int64]
    luminance: NDArray[np.float64]
    surely: Chosen
    mirroring: Chosen
    cut_off: Chosen
    of_leaf: float

    def well_lit(self, from_luminance: float = DEEP_SHADE) -> Chosen:
        """Pixels neither in deep shade nor in a highlight, shape (n,)."""
        return (self.luminance >= from_luminance) & ~self.mirroring


def leaf_pixels(rgb: NDArray[np.uint8], leaf: Shares) -> LeafPixels | None:
    """Collect the pixels within leaf that are not burnt out.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        Corrected picture.
    leaf : ndarray of float32, shape (h, w)
        Share of each pixel that is leaf of the sample.

    Returns
    -------
    LeafPixels or None
        None with fewer than fifty such pixels.
    """
    counted = (leaf >= _LEAF_FROM).astype(np.uint8)
    left, top, width, height = cv2.boundingRect(counted)
    if width == 0:
        return None
    window = (slice(top, top + height), slice(left, left + width))
    picture = np.ascontiguousarray(rgb[window])
    within = _all_around(counted[window])
    brightest = cv2.max(cv2.max(picture[..., 0], picture[..., 1]), picture[..., 2])
    places = np.flatnonzero(within)
    found = len(places)
    if found < FEWEST_PIXELS:
        return None
    at = places[:: -(-found // _MOST_PIXELS)].copy()
    del places
    cut_off = cv2.dilate(brightest, _NINE).ravel()[at] >= _CLIPPED
    encoded = _mean_of_nine(picture, at)
    lab = rgb2lab(encoded[None])[0]
    saturation = _saturation(lab)
    if np.count_nonzero(~cut_off) < FEWEST_PIXELS:
        return None
    half = _MIRROR_SATURATION * float(np.median(saturation[~cut_off]))
    kept = ~_near_glints(picture, brightest, half).ravel()[at]
    lab, at, pale = lab[kept], at[kept], saturation[kept] < half
    luminance = _relative_luminance(lab[:, 0])
    surely = _all_around((leaf[window] >= _SURELY_LEAF_FROM).astype(np.uint8))
    return LeafPixels(
        encoded=encoded[kept],
        lab=lab,
        at=np.column_stack(np.divmod(at, width)) + np.array([top, left]),
        luminance=luminance,
        surely=surely.ravel()[at],
        mirroring=pale & (luminance > _MIRROR_LUMINANCE),
        cut_off=cut_off[kept],
        of_leaf=float(np.mean(kept)) * found / int(counted.sum()),
    )


def _mean_of_nine(picture: NDArray[np.uint8], at: NDArray[np.int64]) -> Colours:
    """Mean colour, 0 to 1, of the pixels at flat places, none at an edge, and their neighbours."""
    width, pixels = picture.shape[1], picture.reshape(-1, 3)
    total = np.zeros((len(at), 3), np.uint16)
    for row in (-width, 0, width):
        for column in (-1, 0, 1):
            total += pixels.take(at + (row + column), axis=0)
    mean: Colours = total.astype(np.float64) / (9.0 * 255.0)
    return mean


_NINE: NDArray[Any] = np.ones((3, 3), np.uint8)


def _all_around(mask: NDArray[np.uint8]) -> Chosen:
    """Pixels whose eight neighbours are set too; beyond the picture's edge nothing is."""
    return cv2.erode(mask, _NINE, borderType=cv2.BORDER_CONSTANT, borderValue=0) > 0


def _relative_luminance(lightness: NDArray[np.float64]) -> NDArray[np.float64]:
    """CIE Y over its median, from L* (CIE 015:2018)."""
    y = np.where(lightness > 8.0, ((lightness + 16.0) / 116.0) ** 3, lightness / 903.3)
    return np.asarray(y / max(float(np.median(y)), 1e-6))


def _saturation(lab: Colours) -> NDArray[np.float64]:
    return np.asarray(np.hypot(lab[:, 1], lab[:, 2]) / np.maximum(lab[:, 0], 1.0))


def _near_glints(picture: NDArray[np.uint8], brightest: NDArray[Any], below: float) -> Chosen:
    """Burnt-out pixels of a lower saturation, and those next to them."""
    burnt = brightest >= _CLIPPED
    glints = np.zeros(burnt.shape, np.uint8)
    if burnt.any():
        glints[burnt] = _saturation(rgb2lab(picture[burnt][None] / 255.0)[0]) < below
    return cv2.dilate(glints, _NINE) > 0
