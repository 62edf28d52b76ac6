"""The line above which other plants stand, by colour, by light and by the bare layer between."""

import numpy as np
import pytest

from traymorph.tray.front_outline import front_outline
from traymorph.tray.line_by_softness import Edges

OWN = (62.0, -30.0, 35.0)
DARKER = (38.0, -24.0, 27.0)
OTHER_HUE = (62.0, 12.0, 30.0)
LIGHTER = (78.0, -34.0, 42.0)
GREY_GREEN = (45.0, -8.0, 10.0)
VIVID = (60.0, -28.0, 35.0)


def stand(*, upper, own=OWN, line=60.0, leaf=None, seed=1):
    """Leaf from the rim to 120 mm above it, of another colour above a jagged line."""
    rng = np.random.default_rng(seed)
    above = np.repeat((200.0 - np.arange(200.0))[:, None], 320, axis=1).astype(np.float32)
    tips = line + np.repeat(rng.uniform(-6, 6, 40), 8)
    lab = np.where((above > tips)[..., None], upper, own).astype(np.float32)
    lab += rng.normal(0, 3.0, lab.shape)
    share = (above < 120.0).astype(np.float32) if leaf is None else leaf(above)
    return share, lab.astype(np.float32), above, tips


@pytest.mark.parametrize("upper", [DARKER, OTHER_HUE])
def test_darker_or_other_leaf_above_stands_behind(upper):
    leaf, lab, above, tips = stand(upper=upper)
    found = front_outline(leaf, lab, above)
    assert found.sure
    assert np.abs(found.height_mm - tips).mean() < 3.0


def test_lighter_leaf_of_the_same_hue_above_is_the_trays_own():
    leaf, lab, above, _ = stand(upper=LIGHTER)
    assert front_outline(leaf, lab, above) is None


@pytest.mark.parametrize(
    ("own", "upper", "told"), [(GREY_GREEN, VIVID, True), (VIVID, GREY_GREEN, False)]
)
def test_stronger_colour_above_stands_behind_though_it_is_lighter_and_of_the_same_hue(
    own, upper, told
):
    # the other way round it is what gloss does to the top of one stand
    upper = upper if told else (75.0, *upper[1:])
    leaf, lab, above, tips = stand(upper=upper, own=own)
    found = front_outline(leaf, lab, above)
    assert (found is not None) == told
    assert not told or (found.sure and np.abs(found.height_mm - tips).mean() < 3.0)


def test_leaf_that_gets_lighter_upwards_is_one_stand():
    leaf, lab, above, _ = stand(upper=OWN)
    lab[..., 0] += 0.3 * (above - 60.0)
    assert front_outline(leaf, lab, above) is None


def test_two_layers_of_leaf_with_stems_between_are_two_stands():
    def layers(above):
        return ((above < 50) | ((above > 80) & (above < 120))).astype(np.float32)

    leaf, lab, above, _ = stand(upper=OWN, leaf=layers)
    found = front_outline(leaf, lab, above)
    assert found.sure
    assert found.height_mm == pytest.approx(np.full(320, 50.0), abs=6.0)


@pytest.mark.parametrize(("steps_mm", "doubted"), [(0.0, True), (30.0, False)])
def test_two_tiers_of_leaves_that_begin_at_many_heights_are_one_stand(steps_mm, doubted):
    # a third of the leaf is missing between the tiers: enough for doubt, not to be sure
    tier = 45.0 + np.repeat([-steps_mm / 2, steps_mm / 2] * 2, 80)

    def layers(above):
        gap = (above >= tier) & (above < tier + 15)
        return np.where(gap, 0.68, above < 100).astype(np.float32)

    leaf, lab, above, _ = stand(upper=OWN, leaf=layers)
    found = front_outline(leaf, lab, above)
    assert (found is not None) == doubted
    assert found is None or not found.sure


@pytest.mark.parametrize(("steps_mm", "told"), [(0.0, True), (50.0, False)])
def test_a_line_at_many_heights_runs_through_one_stand_however_well_it_parts(steps_mm, told):
    tier = 55.0 + np.repeat([-steps_mm / 2, steps_mm / 2] * 2, 80)

    def layers(above):
        return ((above < tier) | ((above >= tier + 25) & (above < 130))).astype(np.float32)

    leaf, lab, above, _ = stand(upper=OWN, leaf=layers)
    found = front_outline(leaf, lab, above)
    assert (found is not None and found.sure) == told


def test_columns_with_nothing_behind_are_left_whole():
    leaf, lab, above, _ = stand(upper=DARKER)
    leaf[:, :160] *= above[:, :160] < 50.0
    found = front_outline(leaf, lab, above)
    assert not (leaf > 0)[above > found.height_mm].any() or np.isinf(found.height_mm[:140]).all()
    assert np.isfinite(found.height_mm[180:]).all()


def test_the_line_is_led_on_over_a_short_gap_in_the_stand_behind():
    leaf, lab, above, tips = stand(upper=DARKER)
    leaf[:, 150:174] *= above[:, 150:174] < 50.0
    found = front_outline(leaf, lab, above)
    assert np.abs(found.height_mm - tips)[150:174].mean() < 8.0


def test_a_line_that_parts_less_clearly_is_doubtful():
    leaf, lab, above, tips = stand(upper=DARKER)
    rng = np.random.default_rng(4)
    mixed = rng.random(leaf.shape) < 0.15
    swapped = np.where((above > tips)[..., None], OWN, DARKER)
    lab[mixed] = (swapped + rng.normal(0, 3.0, lab.shape))[mixed]
    found = front_outline(leaf, lab, above)
    assert not found.sure


def test_too_little_leaf_tells_nothing():
    leaf, lab, above, _ = stand(upper=DARKER)
    assert front_outline(0.0 * leaf, lab, above) is None


@pytest.mark.parametrize(("apart_mm", "sure"), [(0.0, True), (25.0, False)])
def test_two_doubtful_lines_confirm_each_other_where_they_are_one(apart_mm, sure):
    # a third of the leaf is missing up to 65 mm; edges are a little softer above 60 mm, or farther
    def layers(above):
        gap = (above >= 50) & (above < 65)
        return np.where(gap, 0.68, above < 110).astype(np.float32)

    leaf, lab, above, _ = stand(upper=OWN, leaf=layers)
    assert not front_outline(leaf, lab, above).sure
    rng = np.random.default_rng(7)
    mean = np.where(above > 60 + apart_mm, 0.5, 0.7)
    blocks = np.kron(rng.normal(0, 0.2, (40, 64)), np.ones((5, 5)))
    share = np.full(leaf.shape, 0.3, np.float32)
    edges = Edges(((mean + blocks) * share).astype(np.float32), share)
    found = front_outline(leaf, lab, above, edges)
    assert found.sure == sure
