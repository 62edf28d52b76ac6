"""The opened pack: only what lies together, colours only."""

import numpy as np
import pytest
from skimage.color import rgb2lab

from traymorph.measure.pack import measure_pack, pack_contents
from traymorph.model.card import ColourFit
from traymorph.model.masks import PlantMasks
from traymorph.model.metrics import METRICS
from traymorph.model.photo import View

GREEN, YELLOW, OTHER = (80, 140, 60), (190, 170, 60), (60, 90, 160)
FIT = ColourFit(np.eye(3), 0.8, shows_colour=True)


def photo():
    """Two heaps 10 mm apart, a quarter of them yellow, and a pot plant 60 mm away; 1 mm pixels."""
    rgb = np.full((200, 300, 3), 210, np.uint8)
    leaf = np.zeros((200, 300), np.float32)
    for rows, columns, colour in (
        (slice(20, 120), slice(20, 60), GREEN),
        (slice(20, 70), slice(70, 110), GREEN),
        (slice(70, 120), slice(70, 110), YELLOW),
        (slice(20, 100), slice(170, 220), OTHER),
    ):
        rgb[rows, columns], leaf[rows, columns] = colour, 1.0
    masks = PlantMasks(leaf, np.zeros_like(leaf), 1.0, "drawn", np.zeros_like(leaf))
    return rgb, masks


def test_only_the_pack_is_kept():
    _, masks = photo()
    own = pack_contents(masks, 1.0)
    assert own.leaf.sum() == 8000
    assert own.leaf[:, 160:].sum() == 0


def test_colour_and_yellowed_share_of_a_pack():
    rgb, masks = photo()
    found, flags = measure_pack(rgb, pack_contents(masks, 1.0), FIT)
    assert flags == ()
    assert set(found) == {name for name, spec in METRICS.items() if spec.view is View.PACK}
    assert found["pack_yellowed_pct"].value == pytest.approx(25.0, abs=1.0)
    lab = rgb2lab(np.array([[GREEN, YELLOW]], np.uint8))[0]
    assert found["pack_leaf_l"].value == pytest.approx(0.75 * lab[0, 0] + 0.25 * lab[1, 0], abs=0.5)


def test_an_empty_pack_is_flagged():
    rgb, masks = photo()
    empty = PlantMasks(0 * masks.leaf, masks.stem, 1.0, "drawn", masks.doubt)
    found, flags = measure_pack(rgb, pack_contents(empty, 1.0), FIT)
    assert flags == ("no_plants",)
    assert all(np.isnan(got.value) for got in found.values())
