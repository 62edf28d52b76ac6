"""Colours of one photo, taught by what the learned model is sure of in it.

The learned model goes by form and says little about a leaf in a colour that it rarely saw, or about
a blade two pixels wide. Yet in one photo plants mostly have colours of their own: each pixel's
share is therefore also told from how often pixels of its colour were plant. A histogram of colours
with the model's own answers as labels needs no threshold and nothing to be set. Where plants and
ground share a colour its odds are even and change nothing.

References
----------
Naive Bayes from co-occurring views, one of which labels for the other: Blum, A. & Mitchell, T.
(1998), "Combining labeled and unlabeled data with co-training", Proc. COLT 92-100.
"""

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

METHOD = "taught colours 2"

Share = NDArray[np.float32]
Bins = NDArray[np.int32]

_LAB_SHIFTS = (3, 2, 2)  # of 8 bits: steps of 3 in L*, 4 in a* and b*
_SHAPE = tuple(256 >> shift for shift in _LAB_SHIFTS)
_SPREAD_BINS = 0.5
_PRIOR_PX = 30.0
"""So many pixels stand behind every colour before any is counted: rare ones say little."""
_BAND_ROWS = 256
_SURE = 0.005
"""No witness is believed beyond these odds."""


def log_odds(share: Share) -> Share:
    """Give log(p / (1 - p)) of shares, which count as no surer than 0.005 and 0.995."""
    sure = np.clip(share, _SURE, 1 - _SURE)
    odds = 1 - sure
    np.divide(sure, odds, out=odds)
    return np.log(odds, out=odds)


def colour_bins(rgb: NDArray[np.uint8]) -> Bins:
    """Give the number of the cell of CIELAB in which each pixel's colour lies.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        sRGB-encoded.

    Returns
    -------
    ndarray of int32, shape (h, w)
    """
    lab = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB), np.uint8)
    bins = np.zeros(rgb.shape[:2], np.int32)
    for channel, (shift, size) in enumerate(zip(_LAB_SHIFTS, _SHAPE, strict=True)):
        bins *= size
        bins += lab[..., channel] >> shift
    return bins


def taught_log_odds(
    bins: Bins, yes: NDArray[np.bool_], among: NDArray[np.bool_] | None = None
) -> Share:
    """Log-odds of "yes" for each pixel from its colour alone.

    Parameters
    ----------
    bins : ndarray of int32, shape (h, w)
        As `colour_bins` gives them.
    yes : ndarray of bool, shape (h, w)
        Where the learned model says so.
    among : ndarray of bool, shape (h, w), or None
        Pixels that teach; None for all.

    Returns
    -------
    ndarray of float32, shape (h, w)
    """
    return _told(bins, _counted(bins, yes, among), 0.5)


def taught_evidence(
    bins: Bins, yes: NDArray[np.bool_], among: NDArray[np.bool_] | None = None
) -> Share:
    """Give the log of how much likelier each pixel's colour is where the answer is "yes".

    `taught_log_odds` less the log-odds of "yes" whatever the colour. Stems are a fiftieth of what
    is seen from above, which the learned model knows by itself: counted once more with the
    colours, that would make leaf of stems.

    Parameters
    ----------
    bins, yes, among : ndarray
        As of `taught_log_odds`.

    Returns
    -------
    ndarray of float32, shape (h, w)
    """
    counts = _counted(bins, yes, among)
    share = float(counts[1].sum() / counts.sum()) if counts.any() else 0.5
    told = _told(bins, counts, share)
    told -= log_odds(np.array([share], np.float32))
    return told


def _told(bins: Bins, counts: NDArray[np.int64], unseen: float) -> Share:
    """Log-odds of each pixel's colour, where those never seen have this share of "yes"."""
    yes, among = (
        gaussian_filter(count.reshape(_SHAPE).astype(np.float32), _SPREAD_BINS)
        for count in (counts[1], counts.sum(axis=0))
    )
    odds = log_odds((yes + _PRIOR_PX * unseen) / (among + _PRIOR_PX)).ravel()
    told = np.empty(bins.shape, np.float32)
    for rows in _bands(len(bins)):
        np.take(odds, bins[rows], out=told[rows], mode="clip")
    return told


def _counted(
    bins: Bins, yes: NDArray[np.bool_], among: NDArray[np.bool_] | None
) -> NDArray[np.int64]:
    """How many pixels that teach lie in each cell, those without and with "yes": (2, cells)."""
    cells = int(np.prod(_SHAPE))
    count = np.zeros(2 * cells, np.int64)
    for rows in _bands(len(bins)):
        told_apart = bins[rows] + cells * yes[rows].astype(np.int32)
        teach = told_apart.ravel() if among is None else told_apart[among[rows]]
        count += np.bincount(teach, minlength=2 * cells)
    return count.reshape(2, cells)


def _bands(height: int) -> Iterator[slice]:
    """Rows few enough that numbers of cells in NumPy's own width take little memory."""
    for top in range(0, height, _BAND_ROWS):
        yield slice(top, top + _BAND_ROWS)
