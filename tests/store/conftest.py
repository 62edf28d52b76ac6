"""Results to be stored."""

from dataclasses import replace
from datetime import date

import pytest

from tests.store.databases import KINDS
from traymorph.model.results import (
    Failure,
    Measured,
    PhotoCheck,
    PlantRow,
    PlantSpread,
    Provenance,
    TrayResult,
    TrayRow,
)


@pytest.fixture(params=KINDS)
def new_place(request, tmp_path):
    """Give a function that names a place for a new ledger, on each kind of database."""
    if request.param == "postgresql":
        return request.getfixturevalue("postgresql").new_place
    names = iter(range(100))
    return lambda: tmp_path / f"{next(names)}.sqlite"


@pytest.fixture
def place(new_place):
    """A place for a new ledger, on each kind of database."""
    return new_place()


@pytest.fixture
def file_place(tmp_path):
    """A place for a new ledger in a file."""
    return tmp_path / "traymorph.sqlite"


@pytest.fixture
def result():
    """Give one tray's result: two days, one photo that failed, something not measured."""
    made = Provenance("0.1.0", "5" * 64, (1, 1), ("a" * 64, "b" * 64), "mixture 1")
    columns = {"tray_id": "007", "crop": "pea", "treatment": "=dense", "block": "", "batch": "NA"}
    first = TrayRow(
        tray_id="007",
        photographed_on=date(2026, 11, 13),
        columns=columns,
        metrics={"canopy_cover_pct": Measured(81.25, 0.1 + 0.2), "leaf_l": Measured()},
        flags=("blurred", "no_side_photo"),
        provenance=made,
    )
    second = TrayRow("007", None, columns, {}, (), made)
    checks = (
        PhotoCheck("007/a.jpg", "007", "overhead", "a" * 64, mm_per_px=0.15, flags=("blurred",)),
        PhotoCheck("007/b.jpg", "007", "side", "b" * 64, error="No card."),
    )
    failures = (Failure("007", "007/b.jpg", "No card.", 5),)
    return TrayResult("007", (first, second), checks, failures)


@pytest.fixture
def board_result(result):
    """Give the same tray with a board photo: two plants, one of them left out of the means."""
    first, second = result.rows
    of_board = replace(
        first,
        metrics={"plant_weight_mg": Measured(31.0, 0.4), "stem_length_mm": Measured(46.25, 0.5)},
        spread={"leaf_area_mm2": PlantSpread(), "stem_length_mm": PlantSpread(3.0, 9)},
        n_plants=9,
    )
    plants = (
        PlantRow(
            "=board.jpg",
            "007",
            1,
            -31.5,
            120.25,
            {"leaf_area_mm2": Measured(), "stem_length_mm": Measured(46.25, 0.6)},
            ("blade_folded", "stem_unclear"),
            date(2026, 11, 13),
        ),
        PlantRow("=board.jpg", "007", 2, 0.0, 0.1 + 0.2, {}, ("plants_touch",)),
    )
    return replace(result, rows=(of_board, second), plants=plants)
