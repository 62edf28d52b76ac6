"""Leaf against stem by colour: what the photo's own sure cases say."""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]

_NOISE = (16.0, 6.0, 6.0)
"""Variance of L*, a*, b* that says nothing."""
_OWN_WEIGHT = 400.0
"""Sure cells at which a plant's own mean colour counts as much as the photo's."""
_FEWEST = 60


@dataclass(frozen=True, slots=True, eq=False)
class TissueColours:
    """Mean colours of leaf and stem, and their spread.

    Parameters
    ----------
    leaf, stem : ndarray, shape (3,)
        Mean L*, a*, b*.
    within : ndarray, shape (3, 3)
        Covariance about the means.
    """

    leaf: NDArray[np.float64]
    stem: NDArray[np.float64]
    within: NDArray[np.float64]

    @property
    def apart(self) -> float:
        """Distance of the means in standard deviations (Mahalanobis 1936)."""
        away = self.leaf - self.stem
        return float(np.sqrt(away @ np.linalg.solve(self.within, away)))

    def leaf_odds(self, lab: Floats) -> Floats:
        """Log-odds of leaf by Fisher's linear discriminant, shape of ``lab`` less its last axis."""
        direction = np.linalg.solve(self.within, self.leaf - self.stem)
        middle = float(direction @ (self.leaf + self.stem)) / 2.0
        odds: Floats = lab @ direction.astype(np.float32) - np.float32(middle)
        return odds


def to_lab(rgb: NDArray[np.uint8]) -> Floats:
    """L*, a*, b* of a corrected picture, float32, shape (h, w, 3)."""
    return cv2.cvtColor(rgb.astype(np.float32) / np.float32(255.0), cv2.COLOR_RGB2LAB)


def learn(leaf: Floats, stem: Floats, photo: TissueColours | None = None) -> TissueColours | None:
    """Colours of sure leaf and sure stem cells.

    Parameters
    ----------
    leaf, stem : ndarray, shape (n, 3), (m, 3)
        L*, a*, b* of the cells.
    photo : TissueColours or None
        What all plants of the photo show; one plant's own means are drawn towards it.

    Returns
    -------
    TissueColours or None
        None where too few cells are given.
    """
    if photo is not None:
        return TissueColours(_drawn(leaf, photo.leaf), _drawn(stem, photo.stem), photo.within)
    if len(leaf) < _FEWEST or len(stem) < _FEWEST:
        return None
    spread = (_covariance(leaf) + _covariance(stem)) / 2.0
    return TissueColours(_mean(leaf), _mean(stem), spread + np.diag(_NOISE))


def _mean(lab: Floats) -> NDArray[np.float64]:
    return np.asarray(np.median(lab, axis=0), np.float64)


def _covariance(lab: Floats) -> NDArray[np.float64]:
    away = lab.astype(np.float64) - np.median(lab, axis=0)
    far = np.abs(away).sum(axis=1)
    kept = away[far <= np.quantile(far, 0.98)]
    return np.asarray(kept.T @ kept / max(len(kept), 1))


def _drawn(lab: Floats, towards: NDArray[np.float64]) -> NDArray[np.float64]:
    if len(lab) == 0:
        return towards
    own = len(lab) / (len(lab) + _OWN_WEIGHT)
    return own * _mean(lab) + (1.0 - own) * towards
