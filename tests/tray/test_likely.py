"""How sure an opening's place is: the scatter of the places that fit nearly as well."""

from types import SimpleNamespace

import numpy as np
import pytest

from traymorph.tray import likely
from traymorph.tray.likely import SCORE_U, likelihoods, likely_place
from traymorph.tray.outline import over_sides
from traymorph.tray.scan import Place

SIZE = np.array([300.0, 200.0])


def hill(top_mm, u_mm, monkeypatch, ragged=0.0):
    """Scores as likely as a normal distribution round a top; a spike at the cell of origin."""

    def judge(_evidence, table, _size_mm, _sample_mm):
        scores = -SCORE_U * 0.5 * (((table[:, :2] - top_mm) / u_mm) ** 2).sum(axis=1)
        scores = scores + ragged * (np.abs(table).max(axis=1) < 0.1)
        return [Place(*(float(n) for n in (*p, s))) for p, s in zip(table, scores, strict=True)]

    monkeypatch.setattr(likely, "judge", judge)


@pytest.mark.parametrize("u_mm", [8.0, 4.0, 2.0])
def test_the_doubt_is_the_scatter_of_likely_places(u_mm, monkeypatch):
    hill(np.array([0.0, 0.0]), u_mm, monkeypatch)
    found = likely_place(None, Place(0.0, 0.0, 0.0, 1.0), SIZE)
    assert found.u_mm == pytest.approx(u_mm, rel=0.12)
    assert (found.place.x, found.place.y, found.place.turn_deg) == pytest.approx((0.0, 0.0, 0.0))


def test_the_middle_of_the_hill_counts_not_the_spike_that_the_walk_ended_on(monkeypatch):
    hill(np.array([5.0, -4.0]), 8.0, monkeypatch, ragged=SCORE_U)
    found = likely_place(None, Place(0.0, 0.0, 0.0, 1.0), SIZE).place
    assert (found.x, found.y) == pytest.approx((5.0, -4.0), abs=0.8)


def test_a_sharp_top_stays_where_the_walk_ended(monkeypatch):
    hill(np.array([0.2, 0.1]), 0.3, monkeypatch)
    best = Place(0.2, 0.1, 3.0, 1.0)
    found = likely_place(None, best, SIZE)
    assert found.place == best
    assert found.u_mm < 0.8


def test_likelihoods_add_up_and_fall_by_e_per_unit():
    one, other = likelihoods(np.array([0.7, 0.7 - SCORE_U]))
    assert one + other == pytest.approx(1.0)
    assert one / other == pytest.approx(np.e)


def test_an_edge_along_one_side_counts_for_less_than_the_same_along_four():
    side = np.repeat(np.arange(4), 10)
    read = SimpleNamespace(side=side, halves=np.arange(0, 40, 5))
    stripe = over_sides(read, np.where(side == 0, 0.8, 0.0))
    rim = over_sides(read, np.full(40, 0.2))
    assert rim > 1.5 * stripe > 0.0
    assert over_sides(read, np.zeros(40)) == pytest.approx(0.0)
