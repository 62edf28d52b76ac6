"""A stretch of the canopy that ends in a tall step, and whether it stands apart."""

import numpy as np
import pytest

from traymorph.tray.line_by_softness import Edges
from traymorph.tray.raised_stretch import line_apart, raised_stretch


def canopy(tops, *, seed=1):
    """Plants up to the given tops, one per 5 mm, with 3 mm of unevenness."""
    rng = np.random.default_rng(seed)
    tops = np.repeat(np.asarray(tops, float) + rng.uniform(-3, 3, len(tops)), 5)
    above = np.repeat((200.0 - np.arange(200.0))[:, None], len(tops), axis=1).astype(np.float32)
    return (above < tops).astype(np.float32), above


@pytest.mark.parametrize("flip", [False, True])
def test_a_stretch_that_ends_in_a_tall_sharp_step_may_stand_behind(flip):
    tops = [60.0] * 40 + [95.0] * 40
    found = raised_stretch(*canopy(tops[::-1] if flip else tops))
    heights = found.height_mm[::-1] if flip else found.height_mm
    assert not found.sure
    assert np.isinf(heights[:195]).all()
    assert heights[210:] == pytest.approx(np.full(190, 62.0), abs=2.0)


@pytest.mark.parametrize(
    "tops",
    [
        np.linspace(50.0, 110.0, 80),
        [60.0] * 40 + [75.0] * 40,
        [90.0] * 30 + [0.0] * 20 + [90.0] * 30,
    ],
    ids=["slope", "low step", "gap"],
)
def test_slopes_low_steps_and_gaps_are_the_trays_own(tops):
    assert raised_stretch(*canopy(tops)) is None


def stepped():
    """A stretch 35 mm above the rest, and its line."""
    leaf, above = canopy([60.0] * 40 + [95.0] * 40)
    return leaf, above, raised_stretch(leaf, above)


def edges_of(above, line, drop):
    """Edges everywhere, less sharp above the line."""
    rng = np.random.default_rng(3)
    blocks = np.kron(rng.normal(0, 0.15, (40, 80)), np.ones((5, 5)))
    share = np.full(above.shape, 0.3, np.float32)
    sharpness = (np.where(above > line, 0.7 - drop, 0.7) + blocks) * share
    return Edges(sharpness.astype(np.float32), share)


def test_a_raised_stretch_of_one_stand_does_not_stand_apart():
    leaf, above, line = stepped()
    edges = edges_of(above, line.height_mm, drop=0.0)
    assert not line_apart(line, leaf, above, edges)


def test_a_raised_stretch_that_is_drawn_softer_stands_apart():
    leaf, above, line = stepped()
    edges = edges_of(above, line.height_mm, drop=0.2)
    assert line_apart(line, leaf, above, edges)


def test_a_raised_stretch_over_bare_stems_stands_apart():
    leaf, above, line = stepped()
    bare = leaf * ~((above > 62) & (above < 76))
    assert line_apart(line, bare, above, None)
    assert not line_apart(line, leaf, above, None)
