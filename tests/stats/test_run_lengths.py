"""Average run lengths against published tables."""

import numpy as np
import pytest

from traymorph.stats.drift.run_lengths import (
    cusum_limit,
    cusum_run_length,
    ewma_run_length,
    ewma_width,
    shewhart_run_length,
)

SHIFTS = (0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0)
# Montgomery, Introduction to statistical quality control: individuals chart at three sigma
SHEWHART = (370.4, 281.15, 155.22, 81.22, 43.89, 14.97, 6.30, 3.24, 2.00, 1.19)
EWMA = {
    # Lucas & Saccucci 1990, Technometrics 32:1-12, table 3
    (0.50, 3.071): (500, 255, 88.8, 35.9, 17.5, 6.53, 3.63, 2.50, 1.93, 1.34),
    (0.03, 2.437): (500, 76.7, 29.3, 17.6, 12.6, 8.07, 5.99, 4.80, 4.03, 3.11),
    # from memory of the same table as Montgomery prints it, to the printed digit or one beside it
    (0.40, 3.054): (500, 224, 71.2, 28.4, 14.3, 5.9, 3.5, 2.5, 2.0, 1.4),
    (0.25, 2.998): (500, 170, 48.2, 20.1, 11.1, 5.5, 3.6, 2.7, 2.3, 1.7),
    (0.20, 2.962): (500, 150, 41.8, 18.2, 10.5, 5.5, 3.7, 2.9, 2.4, 1.9),
    (0.10, 2.814): (500, 106, 31.3, 15.9, 10.3, 6.1, 4.4, 3.4, 2.9, 2.2),
    (0.05, 2.615): (500, 84.1, 28.8, 16.4, 11.4, 7.1, 5.2, 4.2, 3.5, 2.7),
}
CUSUM = {
    # Lucas & Crosier 1982, Technometrics 24:199-205, table 1; h = 5 from memory
    (0.5, 4.0): (168, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.62, 2.19, 1.71),
    (0.5, 5.0): (465, 139, 38.0, 17.0, 10.4, 5.75, 4.01, 3.11, 2.57, 2.01),
}
LAST_DIGIT = 0.055
"""Short run lengths are printed with one decimal or two."""


@pytest.mark.parametrize(("shift", "printed"), list(zip(SHIFTS, SHEWHART, strict=True)))
def test_shewhart(shift, printed):
    assert shewhart_run_length(shift) == pytest.approx(printed, abs=5.1e-3 if shift else 0.05)


@pytest.mark.parametrize(("design", "printed"), list(EWMA.items()))
def test_ewma(design, printed):
    got = [ewma_run_length(*design, shift) for shift in SHIFTS]
    for value, table in zip(got, printed, strict=True):
        assert value == pytest.approx(table, rel=0.01, abs=0 if table >= 5 else LAST_DIGIT)


def test_ewma_of_another_program():
    # SAS/QC documentation: lambda 0.25, L = 3, shift 1 gives 11.154267016
    assert ewma_run_length(0.25, 3.0, 1.0) == pytest.approx(11.154267016, rel=1e-8)


@pytest.mark.parametrize(("design", "printed"), list(CUSUM.items()))
def test_cusum(design, printed):
    for shift, table in zip(SHIFTS, printed, strict=True):
        assert cusum_run_length(*design, shift) == pytest.approx(table, rel=0.005)
        assert cusum_run_length(*design, -shift) == pytest.approx(table, rel=0.005)


def test_cusum_of_another_program():
    # SAS/QC documentation: two-sided, k 0.25, h 8, shift 2.5 gives 4.1500826715
    assert cusum_run_length(0.25, 8.0, 2.5) == pytest.approx(4.1500826715, rel=1e-6)


def test_limits_for_a_run_length():
    # Lucas & Saccucci 1990: for 370, lambda .10 takes L = 2.703 and .25 takes 2.898
    for weight, printed in ((0.10, 2.703), (0.25, 2.898)):
        assert ewma_run_length(weight, printed) == pytest.approx(370, rel=0.01)
        assert ewma_width(weight, 370) == pytest.approx(printed, abs=2.5e-3)
    assert cusum_limit(0.5, 465.44) == pytest.approx(5.0, abs=1e-3)


@pytest.mark.slow
def test_simulated_runs_agree_within_their_own_error():
    draw = np.random.default_rng(17)
    ewma_lengths, cusum_lengths = [], []
    for _ in range(1500):
        values = draw.standard_normal(400) + 1.0
        ewma_lengths.append(_first_ewma(values, 0.2, 2.962))
        cusum_lengths.append(_first_cusum(values, 0.5, 5.0))
    for lengths, computed in (
        (ewma_lengths, ewma_run_length(0.2, 2.962, 1.0)),
        (cusum_lengths, cusum_run_length(0.5, 5.0, 1.0)),
    ):
        assert abs(np.mean(lengths) - computed) < 3.5 * np.std(lengths) / np.sqrt(len(lengths))


def _first_ewma(values, weight, width):
    limit, held = width * np.sqrt(weight / (2 - weight)), 0.0
    for place, value in enumerate(values):
        held += weight * (value - held)
        if abs(held) > limit:
            return place + 1
    raise AssertionError


def _first_cusum(values, reference, limit):
    up = down = 0.0
    for place, value in enumerate(values):
        up, down = max(0.0, up + value - reference), max(0.0, down - value - reference)
        if max(up, down) > limit:
            return place + 1
    raise AssertionError
