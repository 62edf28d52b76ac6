"""The leaf's mean colour as a swatch for the strip below an overlay."""

import math

import numpy as np
from skimage.color import lab2rgb

from traymorph.model.results import Measured
from traymorph.report.canvas import Swatch

_SHOWN_FROM_PCT = 1.0
_TINTS = {"green_leaf_pct": "green", "purple_leaf_pct": "purple or red", "yellowed_pct": "yellowed"}
_TELLING = ("purple_leaf_pct", "yellowed_pct")


def leaf_swatch(metrics: dict[str, Measured], prefix: str = "") -> Swatch:
    """Make the swatch of a photo's corrected mean leaf colour.

    Parameters
    ----------
    metrics : dict of str to Measured
        Of the photo.
    prefix : str
        What the view's colour columns begin with (``traymorph.model.metrics.PREFIXES``).

    Returns
    -------
    Swatch
        With CIELAB values and, where some of the leaf is not plainly green, the shares of its
        tints in words; without a colour where none was measured.
    """
    lab = [_value(metrics, f"{prefix}leaf_{axis}") for axis in "lab"]
    if not all(math.isfinite(value) for value in lab):
        return Swatch(None, "leaf colour not measured")
    red, green, blue = np.round(255.0 * lab2rgb(np.array(lab)[None, None])[0, 0]).astype(int)
    words = "mean leaf colour  L* {:.0f}  a* {:+.0f}  b* {:+.0f}".format(*lab)
    shares = {name: _value(metrics, prefix + name) for name in _TINTS}
    if any(shares[name] >= _SHOWN_FROM_PCT for name in _TELLING):
        told = [
            f"{_TINTS[name]} {share:.0f} %"
            for name, share in shares.items()
            if share >= _SHOWN_FROM_PCT
        ]
        words += "  ·  of the leaf " + ", ".join(told)
    return Swatch((int(red), int(green), int(blue)), words)


def _value(metrics: dict[str, Measured], name: str) -> float:
    return metrics.get(name, Measured()).value
