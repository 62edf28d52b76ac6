"""Differences of colour against published pairs, and their doubt against chance."""

import csv
from pathlib import Path

import numpy as np
import pytest

from traymorph.measure.colour_difference import ciede2000, colour_difference
from traymorph.model.results import Measured

REFERENCE = Path(__file__).parents[1] / "reference"


def pairs():
    """Sharma, Wu & Dalal 2005, Color Res. Appl. 30(1):21-30, table 1: four decimals."""
    lines = (REFERENCE / "ciede2000_sharma_34.csv").read_text().splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def lab(values, u=0.0):
    one, two, three = (Measured(float(value), u) for value in values)
    return one, two, three


@pytest.mark.parametrize("pair", pairs(), ids=lambda p: p["pair"])
def test_published_pairs_either_way_round(pair):
    one, other = (lab(float(pair[k + i]) for k in "Lab") for i in "12")
    assert colour_difference(one, other).value == pytest.approx(float(pair["dE00"]), abs=1e-4)
    assert colour_difference(other, one).value == pytest.approx(float(pair["dE00"]), abs=1e-4)


def test_there_are_all_the_published_pairs():
    assert len(pairs()) == 34


def test_a_colour_does_not_differ_from_itself_but_may():
    found = colour_difference(lab((50, -30, 30), 0.5), lab((50, -30, 30), 0.5))
    assert found.value == 0.0
    assert 0.3 < found.u < 1.5


def test_the_doubt_is_the_spread_that_chance_gives():
    """Twenty thousand draws of both colours: their differences spread as the doubt says."""
    rng = np.random.default_rng(4)
    one, other, u = np.array([48.0, -26.0, 30.0]), np.array([56.0, -24.0, 36.0]), 0.8
    drawn = ciede2000(one + rng.normal(0, u, (20_000, 3)), other + rng.normal(0, u, (20_000, 3)))
    found = colour_difference(lab(one, u), lab(other, u))
    assert found.value == pytest.approx(drawn.mean(), abs=0.1)
    assert found.u == pytest.approx(drawn.std(), rel=0.1)


def test_doubt_is_the_same_either_way_round():
    one, other = lab((40, 8, 4), 1.0), lab((55, -30, 33), 0.4)
    assert colour_difference(one, other).u == pytest.approx(colour_difference(other, one).u)


@pytest.mark.parametrize("missing", [Measured(), Measured(3.0)])
def test_what_was_not_measured_gives_no_difference(missing):
    known = lab((50, -30, 30), 0.5)
    assert np.isnan(colour_difference((known[0], missing, known[2]), known).value)
