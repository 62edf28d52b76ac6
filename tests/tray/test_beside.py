"""Plants of a tray beside the measured one told by place and by their colours."""

import numpy as np
import pytest

from traymorph.tray.beside import like_neighbours, reach_beyond

GREEN, RED = (60.0, -30.0, 35.0), (45.0, 40.0, 20.0)
COLUMNS = 420
"""1 mm each: 90 mm, the tray of 240 mm, 90 mm."""


class View:
    """A closed stand, and how much of a column's height plants fill beyond its right end."""

    def __init__(self, overhang, *, shown_mm=90, own_mm=60):
        rows = 180
        self.above = np.repeat((rows - 0.5 - np.arange(rows))[:, None], COLUMNS, axis=1)
        self.above = self.above.astype(np.float32)
        at = np.arange(COLUMNS, dtype=float)
        self.out = (89.5 - at, at - 329.5)
        self.shown = np.broadcast_to(self.out[1] <= shown_mm, self.above.shape)
        height = np.where(self.out[0] < 0, own_mm, 0.0)
        beyond = self.out[1] > 0
        height[beyond] = own_mm * overhang(self.out[1][beyond])
        self.plant = (self.above < height).astype(np.float32) * self.shown
        rng = np.random.default_rng(5)
        self.lab = np.empty((*self.above.shape, 3), np.float32)
        self.lab[:] = GREEN
        self.lab[:, self.out[1] > 9] = RED
        self.lab += rng.normal(0, 2.0, self.lab.shape)

    def ends(self):
        return reach_beyond(self.plant, self.above, self.out, self.shown)

    def neighbours(self):
        own = np.ones(self.plant.shape, bool)
        return like_neighbours(self.plant, own, self.lab, self.above, self.out, self.ends())


def closed(out):
    return np.full(len(out), 0.85)


def falling(out):
    """Own overhang as wide as that of any rendered single tray."""
    return np.interp(out, [0.0, 15.0, 25.0, 35.0, 45.0, 55.0], [0.8, 0.71, 0.56, 0.42, 0.16, 0.0])


@pytest.mark.parametrize("shown_mm", [90, 40, 28])
def test_a_neighbour_is_told_and_cut_off_at_the_rim_however_little_is_shown(shown_mm):
    left, right = View(closed, shown_mm=shown_mm).ends()
    assert (left.neighbour, right.neighbour) == (False, True)
    assert 5.0 < right.reach_mm < 13.0


@pytest.mark.parametrize("shown_mm", [90, 40, 28])
def test_own_overhang_is_no_neighbour(shown_mm):
    assert not View(falling, shown_mm=shown_mm).ends()[1].neighbour


def test_the_photos_edge_is_no_gap_between_two_trays():
    # the amount of plant falls to nothing where the photo ends
    assert View(closed, shown_mm=40).ends()[1].reach_mm < 13.0


def test_a_gap_between_two_trays_is_where_they_are_cut():
    def gap(out):
        return np.where((out > 24) & (out < 34), 0.0, 0.85)

    assert 26.0 < View(gap).ends()[1].reach_mm < 32.0


def test_a_neighbour_that_leans_in_is_told_by_its_colour():
    view = View(closed)
    leaning = (view.out[1] > -40) & (view.out[1] < 0)
    red = np.zeros(view.plant.shape, bool)
    red[130:150, leaning] = True
    view.lab[red] = RED + np.random.default_rng(6).normal(0, 2.0, (red.sum(), 3))
    marked = view.neighbours()
    inside = (view.plant > 0) & (view.out[1] < 0)
    assert marked[red & inside].mean() > 0.8
    assert marked[inside & ~red].mean() < 0.02


def test_a_neighbour_of_the_same_colour_is_told_by_place_alone():
    view = View(closed)
    view.lab[:] = GREEN + np.random.default_rng(7).normal(0, 2.0, view.lab.shape)
    assert not view.neighbours().any()


def test_what_rises_well_above_a_neighbour_is_not_its_own():
    view = View(lambda out: np.full(len(out), 0.85), own_mm=40)
    view.plant[:, (view.out[1] > -30) & (view.out[1] < 0)] = 1.0
    view.lab[:, view.out[1] > -30] = RED
    marked = view.neighbours()
    assert marked.any()
    assert not marked[view.above > 40 * 0.85 + 16].any()
