"""The spread between photos of one tray is of the metric's unit, or of its mean for areas."""

from __future__ import annotations

import numpy as np
import pytest

from tests.accuracy.five_ways import METRICS, departures, report


def scene(area: float) -> dict:
    return {"readings": [{"metric": m, "value": area, "u": 2.0, "truth": 100.0} for m in METRICS]}


def test_areas_depart_in_per_cent_and_heights_in_millimetres() -> None:
    values = np.array([190.0, 210.0])
    assert departures("projected_leaf_area_cm2", values) == pytest.approx([-5.0, 5.0])
    assert departures("canopy_height_mm", values) == pytest.approx([-10.0, 10.0])


def test_the_table_holds_spread_and_error() -> None:
    lines = report({"five_ways_0": {"as it stands": scene(98.0), "tilted": scene(104.0)}})
    height = next(line for line in lines if "canopy_height_mm" in line)
    assert "| -3.00 | +3.00 | 4.24 | 1.58 |" in height
