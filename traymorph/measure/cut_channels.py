"""What a phone cut off at nought in leaves, and how far that may move their colour.

A vivid phone drives a channel of strong colours below nought, mostly blue in yellow-green leaves,
and stores nought. The correction then knows only between which limits the channel lies: a third of
what the other channels alone would give, and all of it. It takes the middle
(:func:`traymorph.card.colour.correct`). Undoing the correction shows where that was done: there
the channel comes out below nought. How far the middle lies from the upper limit is the doubt.
"""

import numpy as np
from numpy.typing import NDArray
from skimage.color import rgb2xyz, xyz2lab
from skimage.color.colorconv import rgb_from_xyz, xyz_from_rgb

_Values = NDArray[np.float64]


def cut_off_step(encoded: _Values, matrix: _Values) -> _Values:
    """Step of the mean colour from the middle of the limits to the upper one.

    Parameters
    ----------
    encoded : ndarray, shape (n, 3)
        Corrected sRGB-encoded colours of leaf pixels, 0 to 1.
    matrix : ndarray, shape (3, 3) or (3, 6)
        Of the photo's correction.

    Returns
    -------
    ndarray, shape (3,)
        In CIELAB; 0 where nothing was cut off, and with six terms, which cannot be undone.
    """
    if matrix.shape[1] != 3:
        return np.zeros(3)
    xyz = rgb2xyz(encoded[None])[0]
    seen = np.linalg.solve(matrix, (xyz @ rgb_from_xyz.T).T).T
    below = np.minimum(seen, 0.0)
    touched = below.any(axis=1)
    if not touched.any():
        return np.zeros(3)
    upper = np.maximum(xyz[touched] - below[touched] @ matrix.T @ xyz_from_rgb.T, 0.0)
    moved = xyz2lab(upper) - xyz2lab(xyz[touched])
    return np.asarray(moved.sum(axis=0) / len(encoded))
