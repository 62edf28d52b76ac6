"""From rendered photos to batches of crops as varied as photographs are."""

import numpy as np
import torch
from torch.nn import functional as nnf

from tests.tissue_model.chance import Chance
from tests.tissue_model.fields import lattice, smooth_noise
from tests.tissue_model.light import luminance, to_linear
from tests.tissue_model.phone import developed, focused, lit
from tests.tissue_model.recolour import Recolour
from tests.tissue_model.scenes import SHARES, PixelStore
from tests.tissue_model.textures import TextureBank

_VIEW_ODDS = {"board": 0.12, "overhead": 0.47, "side": 0.41}
_OCTAVES = 0.7  # scatter of the scale, one standard deviation
_MEDIUM = SHARES.index("medium")
_GREENERY_WEIGHT = 0.4  # neighbours' plants and lawns: plant, but of no part that truth knows
_NEARLY_BLACK = 0.05  # sRGB-encoded; plant darker than this cannot be told from medium
# Out of 100 crops: all that is no plant replaced, all but the medium, the medium alone, no plant
_REPLACED = {"all": 0.22, "around": 0.07, "medium": 0.08, "bare": 0.1}
_ALIKE = 0.3  # of the replaced grounds are as light as the plants on them
_GLAZED = 0.2  # of the crops have leaves that mirror a bright sky


class CropMaker:
    """Makes training batches of one store of photos.

    Without reds no plant is painted red, and without browns none brown.
    """

    def __init__(
        self,
        store: PixelStore,
        bank: TextureBank,
        chance: Chance,
        size: int,
        *,
        reds: bool = True,
        browns: bool = True,
    ):
        self.store, self.bank, self.chance, self.size = store, bank, chance, size
        self.recolour = Recolour(chance, reds=reds, browns=browns)
        views = np.array(store.views)
        weight = np.array([_VIEW_ODDS[view] / (views == view).sum() for view in views])
        self._odds = weight / weight.sum()

    def batch(self, n: int) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor, torch.Tensor]:
        """n crops.

        Returns
        -------
        picture : (n, 3, size, size) encoded sRGB 0 to 1
        truth : (n, 4, size, size) shares of other, leaf, stem and of plant of unknown part
        weight : (n, 1, size, size) 0 where nobody could tell
        above : (n,) whether the crop is of a tray from above
        """
        photo, centre, matrix = self.places(n)
        picture, shares = self.store.crops(photo, centre, matrix, self.size)
        picture = to_linear(picture)
        # Brown leaves are shown in true colours alone: outdoors and without a card brown is soil.
        true_colours = (self.chance.decide.random(n) < 0.6) | self.store.brown[photo]
        corrected = self.chance.tensor(true_colours).view(n, 1, 1, 1)
        gain = self.store.gain[self.chance.sent(photo)].view(n, 3, 1, 1)
        picture = picture * (1 + corrected * (gain - 1))
        picture = self.recolour(picture, shares, (0.5, 0.55), true_colours)
        picture = self.glaze(picture, shares)
        picture, shares = self._replace_ground(picture, shares)
        picture, shares = self._lay_over(picture, shares)
        picture = developed(self.chance, focused(self.chance, lit(self.chance, picture)))
        above = self.chance.tensor(np.array([self.store.views[k] == "overhead" for k in photo]))
        return picture, *_truth(picture, shares), above

    def places(self, n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Photo, centre and map from crop to photo px of n crops; see `PixelStore.crops`."""
        decide, store = self.chance.decide, self.store
        photo = decide.choice(len(self._odds), n, p=self._odds)
        wanted = store.typical_mm_per_px[photo] * 2 ** decide.normal(0.0, _OCTAVES, n)
        step = np.clip(wanted / store.mm_per_px[photo], 0.33, 4.0)
        free = np.array([store.views[k] != "side" for k in photo])
        angle = np.where(free, decide.uniform(0, 2 * np.pi, n), np.radians(decide.normal(0, 7, n)))
        flip = np.where(decide.random(n) < 0.5, -1.0, 1.0)
        squeeze = 2 ** decide.normal(0, 0.12, n)
        cos, sin = np.cos(angle), np.sin(angle)
        matrix = np.stack(
            [cos * flip * squeeze, -sin / squeeze, sin * flip * squeeze, cos / squeeze], 1
        )
        matrix = (matrix * step[:, None]).reshape(n, 2, 2)
        onto = np.stack([store.points[k][decide.integers(len(store.points[k]))] for k in photo])
        onto += (decide.uniform(-0.5, 0.5, (n, 2)) * self.size * step[:, None]).astype(np.float32)
        anywhere = decide.random((n, 2)) * store.size[photo]
        centre = np.where(decide.random((n, 1)) < 0.8, onto, anywhere)
        return photo, centre.clip(0, store.size[photo] - 1), matrix

    def _replace_ground(self, picture: torch.Tensor, shares: torch.Tensor):
        """Textures in place of what is no plant, under what was there of light and shade."""
        n = len(picture)
        kind = self.chance.decide.choice(
            [*_REPLACED, ""], n, p=[*_REPLACED.values(), 1 - sum(_REPLACED.values())]
        )
        chosen = np.flatnonzero(kind != "")
        if not len(chosen):
            return picture, shares
        at = self.chance.sent(chosen)
        old, part = picture[at], shares[at]
        plant = part[:, :_MEDIUM].sum(1, keepdim=True).clamp(0, 1)
        texture = self.as_light_as(old, part, self.bank.take(len(chosen), self.size))
        medium = part[:, _MEDIUM:]
        is_kind = {k: self.chance.tensor(kind[chosen] == k).view(-1, 1, 1, 1) for k in _REPLACED}
        keep = (
            is_kind["all"] * plant
            + is_kind["around"] * (plant + medium).clamp(0, 1)
            + is_kind["medium"] * (1 - medium)
        )
        shade = self._old_shade(old, 1 - plant)
        picture[at] = keep * _without_ground(old, keep) + (1 - keep) * texture * shade
        shares[at] = part * (1 - is_kind["bare"])
        return picture, shares

    def as_light_as(self, old: torch.Tensor, part: torch.Tensor, texture: torch.Tensor):
        """Textures, some of them made as light as the leaves or the stems of their crops."""
        n = len(old)
        use = self.chance.tensor(self.chance.decide.random(n) < _ALIKE).view(n, 1, 1, 1)
        stems = self.chance.tensor(self.chance.decide.random(n) < 0.5).view(n, 1, 1, 1)
        tissue = part[:, 1:2] * stems + part[:, :1] * (1 - stems)
        total = tissue.sum((2, 3), keepdim=True)
        wanted = (luminance(old) * tissue).sum((2, 3), keepdim=True) / total.clamp_min(1.0)
        there = luminance(texture).mean((2, 3), keepdim=True).clamp_min(0.005)
        factor = (wanted / there).clamp(0.2, 8) * (total > 200) + (total <= 200)
        return (texture * (1 + use * (factor - 1))).clamp(0, 1.2)

    def glaze(self, picture: torch.Tensor, shares: torch.Tensor) -> torch.Tensor:
        """Wax and water on leaves: patches in the grey-white of the sky or a lamp."""
        chosen = self.chance.some(len(picture), _GLAZED)
        if not len(chosen):
            return picture
        n, at = len(chosen), self.chance.sent(chosen)
        cells = int(2 ** self.chance.decide.uniform(2.5, 6))
        patches = smooth_noise(self.chance, n, self.size, cells) - self.chance.scalar(0, 1.8, n)
        sheen = (patches * self.chance.scalar(1, 6, n)).clamp(0, 1) * shares[at, :1]
        light = self.chance.scalar(0.25, 1.1, n) * (
            1 + self.chance.tensor([-0.06, 0.0, 0.08]).view(1, 3, 1, 1)
        )
        picture[at] = picture[at] + sheen * self.chance.scalar(0.3, 0.9, n) * light
        return picture

    def _old_shade(self, picture: torch.Tensor, ground: torch.Tensor) -> torch.Tensor:
        """The ground's own light and shade, smoothed, about 1; for half of the crops."""
        light = luminance(picture)
        near = nnf.avg_pool2d(light * ground, 15, 1, 7) / nnf.avg_pool2d(
            ground, 15, 1, 7
        ).clamp_min(0.02)
        mean = (light * ground).mean((1, 2, 3), keepdim=True) / ground.mean(
            (1, 2, 3), keepdim=True
        ).clamp_min(0.02)
        shade = (near / mean.clamp_min(0.01)).clamp(0.15, 1.6)
        use = self.chance.tensor(self.chance.decide.random(len(picture)) < 0.5).view(-1, 1, 1, 1)
        return 1 + use * (shade - 1)

    def _lay_over(self, picture: torch.Tensor, shares: torch.Tensor):
        """Things that lie over a part of the crop: hands, hoses, labels, litter, mere patches."""
        chosen = self.chance.some(len(picture), 0.15)
        if not len(chosen):
            return picture, shares
        n, size = len(chosen), self.size
        at = self.chance.sent(chosen)
        u, v = lattice(n, size, self.chance)
        wave = 0.05 * smooth_noise(self.chance, n, size, 4)
        du = (u + wave - self.chance.scalar(0, 1, n)).abs() / self.chance.scalar(0.03, 0.3, n)
        dv = (v - self.chance.scalar(0, 1, n)).abs() / self.chance.scalar(0.03, 0.8, n)
        power = self.chance.scalar(2, 8, n)
        cover = ((1 - (du**power + dv**power)) * self.chance.scalar(5, 60, n)).clamp(0, 1)
        picture[at] = picture[at] + cover * (self.bank.take(n, size) - picture[at])
        shares[at] = shares[at] * (1 - cover)
        return picture, shares


def _without_ground(picture: torch.Tensor, keep: torch.Tensor) -> torch.Tensor:
    """Colour of what is kept, free of the old ground in the pixels that show both."""
    whole = (keep > 0.95).float()
    near = nnf.avg_pool2d(picture * whole, 5, 1, 2) / nnf.avg_pool2d(whole, 5, 1, 2).clamp_min(0.04)
    mixed = (1 - whole) * (nnf.max_pool2d(whole, 5, 1, 2) > 0)
    return picture + mixed * (near - picture)


def _truth(picture: torch.Tensor, shares: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
    leaf, stem, unknown = shares[:, 0:1], shares[:, 1:2], shares[:, 2:3]
    other = (1 - leaf - stem - unknown).clamp(0, 1)
    bright = nnf.avg_pool2d(picture.amax(1, keepdim=True), 5, 1, 2, count_include_pad=False)
    undecidable = (bright < _NEARLY_BLACK) & (other < 0.5)
    weight = torch.where(undecidable, 0.0, torch.where(bright < _NEARLY_BLACK, 0.5, 1.0))
    weight = weight * (1 - (1 - _GREENERY_WEIGHT) * unknown)
    return torch.cat([other, leaf, stem, unknown], 1), weight
