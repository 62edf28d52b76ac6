"""Stems whose fork lies under blades are shortened by the stalk that other plants show."""

import numpy as np
import pytest

from traymorph.cut_plants.centre_line import polyline_length
from traymorph.cut_plants.hidden_forks import Followed, with_hidden_forks
from traymorph.cut_plants.stems import Stem
from traymorph.model.cut_plants import CutPlant

WIDTH, LENGTH, STALK = 8.0, 200.0, 40.0


def followed(*, fork_is_seen: bool) -> Followed:
    """A straight stem, followed to its fork or on to the blade that hides it."""
    length = LENGTH if fork_is_seen else LENGTH + STALK
    line = np.column_stack([np.linspace(0.0, length, 100), np.zeros(100)])
    nothing = np.zeros((4, 4), np.float32)
    box = (slice(0, 4), slice(0, 4))
    plant = CutPlant(box, nothing, nothing, line, WIDTH, (), (), 1.0)
    stem = Stem(line, WIDTH, 1.0, way=length, fork_is_seen=fork_is_seen)
    return Followed(plant, stem, LENGTH + STALK)


def test_a_hidden_fork_lies_a_stalk_below_the_blade():
    plants = [followed(fork_is_seen=True)] * 3 + [followed(fork_is_seen=False)]
    *seen, hidden = with_hidden_forks(plants)
    assert all(polyline_length(plant.centre_line) == pytest.approx(LENGTH) for plant in seen)
    length = polyline_length(hidden.centre_line)
    assert abs(length - LENGTH) < 2.0 * hidden.ends_u_cells
    assert abs(length - LENGTH) < 0.3 * STALK
    assert hidden.ends_u_cells > 5.0 * seen[0].ends_u_cells


def test_without_enough_seen_forks_nothing_is_shortened():
    plants = [followed(fork_is_seen=True)] * 2 + [followed(fork_is_seen=False)]
    assert with_hidden_forks(plants) == [one.plant for one in plants]
