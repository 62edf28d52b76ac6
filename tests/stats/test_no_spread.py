"""Outcomes that do not vary at all: no number is made of them, and nothing breaks."""

import numpy as np
import pytest

from traymorph.model.comparison import Question, TrayTable
from traymorph.stats.treatments.compare import compare_treatments


def _compared(values, control="a", treatments="abc", doubt=np.nan):
    n = len(values)
    table = TrayTable(
        {
            "tray_id": tuple(f"T{k}" for k in range(n)),
            "treatment": tuple(treatments[k % len(treatments)] for k in range(n)),
        },
        {"packs": np.array(values, dtype=np.float64)},
        {"packs": np.full(n, doubt)},
        (frozenset(),) * n,
        {"packs": "packs"},
    )
    return compare_treatments(table, Question(control=control), ["packs"]).differences


def test_only_the_control_varies():
    # Both differences then share all their spread.
    first, second = _compared([4.0, 5.0, 6.0, 4.6, 5.0, 6.0, 4.3, 5.0, 6.0])
    assert first.difference == pytest.approx(0.7)
    assert second.difference == pytest.approx(1.7)
    assert second.ci_low < 1.7 < second.ci_high
    assert first.p_adjusted >= first.p


@pytest.mark.parametrize("control", ["a", None])
def test_nothing_varies(control):
    for row in _compared([4.0, 5.0, 6.0] * 3, control):
        assert row.flags == ("no_spread",)
        assert np.isnan(row.ci_low)
        assert np.isnan(row.p)


def test_what_rounding_leaves_is_no_spread():
    values = [30 * (1 + (k % 2)) / 0.3 * 0.3 + (k % 4 // 2) * 4e-15 for k in range(8)]
    (row,) = _compared(values, treatments="ab")
    assert row.flags == ("no_spread",)
    assert np.isnan(row.ci_low_pct)
    assert np.isnan(row.p_adjusted)


def test_trays_that_differ_less_than_they_can_be_measured_are_flagged():
    # Half widths of a few tenths; measuring alone leaves 1.96 * u * sqrt(2/3).
    values = [4.0, 5.0, 4.1, 5.2, 3.9, 5.1]
    (well_measured,) = _compared(values, treatments="ab", doubt=0.05)
    (badly_measured,) = _compared(values, treatments="ab", doubt=1.0)
    assert well_measured.flags == ()
    assert badly_measured.flags == ("spread_under_doubt",)
    assert badly_measured.measuring_reach == pytest.approx(1.96 * (2.0 / 3.0) ** 0.5)
    assert badly_measured.ci_low == well_measured.ci_low, "the interval stays as published"
