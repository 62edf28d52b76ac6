"""Greenness indices against worked values."""

import colorsys
import csv
from pathlib import Path

import numpy as np
import pytest

from traymorph.measure.greenness import INDICES, excess_green, green_share, greenness_index

REFERENCE = Path(__file__).parents[1] / "reference"


def worked():
    """Values worked by hand from the published formulas; sources in the file's first lines."""
    lines = (REFERENCE / "greenness_worked.csv").read_text().splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.mark.parametrize("row", worked(), ids=lambda r: f"{r['R']}-{r['G']}-{r['B']}")
def test_indices_of_worked_colours(row):
    """Definitions: Woebbecke et al. 1995, Trans. ASAE 38(1):259-269 (excess green); Gillespie et
    al. 1987 (green share); Karcher & Richardson 2003, Crop Science 43(3):943-951 (greenness)."""
    encoded = np.array([float(row[k]) for k in "RGB"]) / 255.0
    assert excess_green(encoded) == pytest.approx(float(row["ExG_2g-r-b"]), abs=1e-5)
    assert green_share(encoded) == pytest.approx(float(row["GCC"]), abs=1e-5)
    if 60.0 <= float(row["H_deg"]) <= 120.0 and float(row["S"]) > 0:
        assert greenness_index(encoded) == pytest.approx(float(row["DGCI"]), abs=1e-5)
    else:
        # the formula would give 1.83 for purple and 0.17 for grey: neither means anything
        assert np.isnan(greenness_index(encoded))


def test_the_ends_of_the_greenness_index():
    """Pure yellow is 0 by definition, and the scale ends at 1 with a hue of 120 and no light."""
    assert greenness_index(np.array([1.0, 1.0, 0.0])) == 0.0
    assert 0.66 < greenness_index(np.array([0.0, 1e-9, 0.0])) < 1.0


@pytest.mark.parametrize(
    ("hue_deg", "defined"),
    [(59.0, False), (60.0, True), (90.0, True), (120.0, True), (121.0, False)],
)
def test_the_greenness_index_ends_where_its_authors_end_it(hue_deg, defined):
    """Hue of the hue, saturation, brightness model as Python's colorsys understands it."""
    encoded = np.array(colorsys.hsv_to_rgb(hue_deg / 360.0, 0.6, 0.5))
    assert bool(np.isfinite(greenness_index(encoded))) is defined


def test_black_has_no_index():
    assert all(np.isnan(index(np.zeros(3))) for index in INDICES.values())
