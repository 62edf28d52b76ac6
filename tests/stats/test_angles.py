"""Hues of red crops lie on both sides of 0 degrees; their difference goes the short way round."""

import numpy as np
import pytest

from traymorph.model.comparison import Question, TrayTable
from traymorph.stats.treatments.compare import compare_treatments


def test_hues_beside_zero_degrees() -> None:
    hue = np.array([352.0, 358.0, 355.0, 8.0, 2.0, 5.0])
    table = TrayTable(
        {
            "tray_id": tuple("ABCDEF"),
            "treatment": ("short", "short", "short", "long", "long", "long"),
        },
        {"leaf_hue_deg": hue},
        {"leaf_hue_deg": np.full(6, np.nan)},
        (frozenset(),) * 6,
        {"leaf_hue_deg": "deg"},
    )
    (row,) = compare_treatments(table, Question(control="short"), ["leaf_hue_deg"]).differences
    assert row.difference == pytest.approx(10.0)
