"""Where the plane of the overhead areas comes from."""

import numpy as np
import pytest

from traymorph.measure.plane import LEAF_SHARE_OF_HEIGHT, leaf_plane, plane_by_outline
from traymorph.model.results import Measured
from traymorph.model.trial import TraySize

SIZE = TraySize(500.0, 250.0, 20.0, 60.0)


def test_measured_height_puts_the_plane_above_the_medium():
    plane, flags = leaf_plane(SIZE, 60.0, Measured(50.0, 1.0), None)
    assert plane.height_mm == pytest.approx(60.0 - 20.0 + LEAF_SHARE_OF_HEIGHT * 50.0)
    assert flags == ()


def test_measured_height_comes_before_the_stated_one():
    measured, _ = leaf_plane(SIZE, 60.0, Measured(50.0, 1.0), 90.0)
    stated, flags = leaf_plane(SIZE, 60.0, Measured(), 90.0)
    assert stated.height_mm - measured.height_mm == pytest.approx(40.0 * LEAF_SHARE_OF_HEIGHT)
    assert flags == ("height_from_settings",)


def test_an_assumed_height_carries_the_doubt_of_20_to_140_mm():
    """A rectangle 120 mm wide has the standard uncertainty 120 / sqrt(12): GUM 4.3.7."""
    plane, flags = leaf_plane(SIZE, 60.0, None, None)
    assert flags == ("height_assumed",)
    assert plane.u_mm > LEAF_SHARE_OF_HEIGHT * 120.0 / np.sqrt(12.0)
    sure, _ = leaf_plane(SIZE, 60.0, Measured(50.0, 1.0), None)
    assert sure.u_mm < plane.u_mm / 2


def test_an_unknown_fill_is_flagged_and_doubted():
    plane, flags = leaf_plane(TraySize(500.0, 250.0), 0.0, Measured(50.0, 1.0), None)
    sure, _ = leaf_plane(SIZE, 0.0, Measured(50.0, 1.0), None)
    assert flags == ("rim_height_missing",)
    assert plane.u_mm > sure.u_mm + 5.0


def test_an_assumed_rim_height_carries_the_doubt_of_25_to_75_mm():
    """A rectangle 50 mm wide: GUM 4.3.7. A card at rim height needs no assumption."""
    unknown = TraySize(500.0, 250.0, 20.0)
    assumed, _ = leaf_plane(unknown, 50.0, Measured(50.0, 1.0), None)
    at_rim, _ = leaf_plane(unknown, 0.0, Measured(50.0, 1.0), None)
    assert assumed.u_mm**2 - at_rim.u_mm**2 == pytest.approx(50.0**2 / 12.0)


def test_without_a_side_photo_the_outline_tells_the_height():
    """Rim 60 mm above the card, medium 20 mm below it: a canopy 80 mm above the rim is 100 tall."""
    plane = plane_by_outline(SIZE, 60.0, 80.0)
    assert plane.height_mm == pytest.approx(60.0 - 20.0 + LEAF_SHARE_OF_HEIGHT * 100.0)
    measured, _ = leaf_plane(SIZE, 60.0, Measured(100.0, 1.0), None)
    assumed, _ = leaf_plane(SIZE, 60.0, None, None)
    assert measured.u_mm < plane.u_mm < assumed.u_mm


def test_the_outline_needs_no_fill_for_what_stands_above_the_rim():
    """An unknown fill changes how deep stems go, of which the plane holds three tenths."""
    known, unknown = (
        plane_by_outline(TraySize(500.0, 250.0, fill, 60.0), 60.0, 80.0) for fill in (10.0, None)
    )
    assert known.height_mm - unknown.height_mm == pytest.approx(0.3 * 10.0)
    assert unknown.u_mm > known.u_mm
