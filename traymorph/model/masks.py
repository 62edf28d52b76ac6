"""Which share of each pixel is leaf and which is stem."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_BAND_ROWS = 64
_RATHER = np.float32(0.5)


@dataclass(frozen=True, slots=True, eq=False)
class PlantMasks:
    """Soft masks of one photo at a reduced scale.

    Parameters
    ----------
    leaf, stem : ndarray of float32, shape (h, w)
        Share of the pixel that is leaf blade, or stem with leaf stalks; their sum is at most 1.
    scale : float
        Pixels of the upright photo per mask pixel along each axis (>= 1). The centre of mask
        column c lies at the photo's x = (c + 0.5) * scale - 0.5, that of rows likewise.
    method : str
        Which model made them, with its version.
    doubt : ndarray of float32, shape (h, w)
        Probability that the pixel's class (plant or not) is wrong, 0 to 0.5.
    contradicted : float
        Of the whole photo: area on which the two ways to the masks surely contradict each other,
        over the area of plant, at most 1; 0 where there is one way only.
    """

    leaf: NDArray[np.float32]
    stem: NDArray[np.float32]
    scale: float
    method: str
    doubt: NDArray[np.float32]
    contradicted: float = 0.0

    @property
    def plant(self) -> NDArray[np.float32]:
        """Share of the pixel that is plant, shape (h, w)."""
        both = np.asarray(self.leaf + self.stem, np.float32)
        return np.minimum(both, np.float32(1.0), out=both)

    @property
    def rather_plant(self) -> NDArray[np.bool_]:
        """Pixels that are rather plant than not, shape (h, w); worked out without a whole plane."""
        rather = np.empty(self.leaf.shape, np.bool_)
        for top in range(0, len(rather), _BAND_ROWS):
            rows = slice(top, top + _BAND_ROWS)
            np.greater_equal(self.leaf[rows] + self.stem[rows], _RATHER, out=rather[rows])
        return rather

    def to_mask(self, points_px: NDArray[np.float64]) -> NDArray[np.float64]:
        """Photo pixels (x, y) to mask pixels (x, y), shape (n, 2)."""
        return (points_px + 0.5) / self.scale - 0.5
