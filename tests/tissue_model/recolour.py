"""Leaves and stems in colours that the rendered crops do not have."""

import numpy as np
import torch

from tests.tissue_model.chance import Chance
from tests.tissue_model.fields import fractal_noise, smooth_noise
from tests.tissue_model.light import luminance, to_linear

# sRGB anchors of living tissue, from memory of microgreens.
_LEAF = [
    (60, 141, 37), (40, 110, 40), (25, 74, 26), (84, 150, 60), (136, 187, 38), (160, 200, 80),
    (195, 224, 158), (120, 160, 100), (70, 120, 80), (60, 100, 60), (210, 200, 80), (226, 214, 130),
    (50, 132, 62), (100, 168, 74), (150, 190, 120), (90, 110, 70),
    (80, 40, 70), (50, 26, 48), (110, 60, 100), (130, 40, 56), (160, 50, 60), (38, 22, 34),
    (104, 34, 40), (140, 58, 48), (118, 44, 36), (90, 48, 44), (72, 30, 40), (176, 90, 84),
]  # fmt: skip
# Bronze leaves are as brown as earth. Where colours are not true the network would then take soil
# for a dense canopy, so they are painted only where a card has set the colours.
_BROWN_LEAF = [
    (134, 90, 52), (112, 88, 50), (96, 64, 44), (120, 104, 60), (150, 108, 66), (78, 56, 40),
    (104, 92, 58), (142, 82, 54),
]  # fmt: skip
_BROWN_ODDS = 0.09
_STEM = [
    (228, 228, 212), (240, 238, 226), (218, 196, 136), (226, 212, 170), (195, 224, 158),
    (170, 200, 120), (130, 170, 80), (96, 140, 60), (220, 160, 160), (200, 110, 130), (150, 40, 60),
    (93, 40, 46), (120, 60, 100), (168, 164, 133), (214, 120, 100),
]  # fmt: skip
_LEAF_TISSUE = 0  # place among the shares
_RED_WEIGHT = 0.7  # of a red leaf's colour; a green one's is 1


def _is_red(colour: tuple[int, int, int]) -> bool:
    return colour[0] > 1.1 * colour[1]


class Recolour:
    """Gives a tissue new colours and leaves it its shading and gloss."""

    def __init__(self, chance: Chance, *, reds: bool = True, browns: bool = True):
        self.chance = chance
        self._browns = _BROWN_LEAF if browns else []
        leaf, stem = ([c for c in all_ if reds or not _is_red(c)] for all_ in (_LEAF, _STEM))
        weights = np.array([_RED_WEIGHT if _is_red(c) else 1.0 for c in leaf])
        self._paints = ((leaf, weights / weights.sum()), (stem, None))

    def __call__(
        self,
        picture: torch.Tensor,
        shares: torch.Tensor,
        odds: tuple[float, float],
        true_colours: np.ndarray,
    ):
        """Recolour crops in place.

        Parameters
        ----------
        picture : (n, 3, h, w) linear light
        shares : (n, k, h, w), leaf first and stem second
        odds : chances that a crop's leaves, and its stems, get new colours
        true_colours : bool (n,), where the card's greys are neutral: there leaves may be brown
        """
        for tissue, ((anchors, weights), share) in enumerate(zip(self._paints, odds, strict=True)):
            chosen = self.chance.some(len(picture), share)
            if len(chosen):
                at = self.chance.sent(chosen)
                cover = shares[at, tissue : tissue + 1]
                target = self._target(len(chosen), picture.shape[-1], anchors, weights)
                if tissue == _LEAF_TISSUE and self._browns:
                    target = self._some_brown(target, true_colours[chosen])
                picture[at] = self._repaint(picture[at], cover, target)
        return picture

    def _some_brown(self, target: torch.Tensor, allowed: np.ndarray) -> torch.Tensor:
        """Brown in place of other colours in a few of the crops where that is allowed."""
        chosen = np.flatnonzero(allowed & (self.chance.decide.random(len(allowed)) < _BROWN_ODDS))
        if len(chosen):
            at = self.chance.sent(chosen)
            target[at] = self._target(len(chosen), target.shape[-1], self._browns, None)
        return target

    def _colours(self, n: int, anchors, weights) -> torch.Tensor:
        decide = self.chance.decide
        picked = np.array(anchors, float)[decide.choice(len(anchors), n, p=weights)]
        level = decide.normal(1, 0.15, (n, 1))
        tint = decide.normal(1, 0.08, (n, 3))
        return to_linear(self.chance.tensor(picked / 255 * level * tint)).view(n, 3, 1, 1)

    def _target(self, n: int, size: int, anchors, weights) -> torch.Tensor:
        """Two colours a crop, passing into one another along stems, over a tray, or as mottles."""
        first, second = (self._colours(n, anchors, weights) for _ in range(2))
        if self.chance.decide.random() < 0.7:
            field = smooth_noise(self.chance, n, size, int(2 ** self.chance.decide.uniform(1, 5)))
        else:
            field = fractal_noise(self.chance, n, size, 8, (0.6, 0.9))
        mix = (
            0.5 + field * self.chance.scalar(0.1, 1.5, n) + self.chance.scalar(-0.7, 0.7, n)
        ).clamp(0, 1)
        near = self.chance.scalar(0, 1, n)  # most stands are of one colour with some variation
        second = first + near * near * (second - first)
        return first + mix * (second - first)

    def _repaint(self, picture: torch.Tensor, cover: torch.Tensor, target: torch.Tensor):
        n = len(picture)
        whole = (cover > 0.9).float()
        total = whole.sum((2, 3), keepdim=True).clamp_min(1.0)
        mean = (picture * whole).sum((2, 3), keepdim=True) / total
        light = luminance(picture)
        # What was painted black before may be below 0 by rounding, which has no fractional power.
        shade = light.clamp_min(0) / luminance(mean).clamp_min(0.003)
        shade = shade ** self.chance.scalar(0.8, 1.15, n)
        own = picture - mean * shade  # gloss, veins and neighbours' light
        painted = target * shade + self.chance.scalar(0.2, 1.0, n) * own
        return picture + cover * (painted.clamp(0, 1.5) - picture)
