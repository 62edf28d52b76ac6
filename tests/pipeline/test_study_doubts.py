"""A study of the measuring raises doubts that it found too small, and lowers none."""

from datetime import date

import pytest

from traymorph.config.settings import Settings
from traymorph.errors import ListError
from traymorph.model.results import Measured, Provenance, TrayResult, TrayRow
from traymorph.pipeline.study_doubts import scatter_beyond_doubt, with_study_doubts

MADE = Provenance("0", "f", (1,), ("a",), "m")


def result(u, **columns):
    metrics = {"leaf_hue_deg": Measured(110.0, u), "canopy_height_mm": Measured(50.0, 1.0)}
    row = TrayRow("T1", date(2026, 5, 12), columns, metrics, ("tilted",), MADE)
    return TrayResult("T1", (row,), (), ())


def test_a_doubt_found_too_small_is_raised_and_flagged():
    (held,) = with_study_doubts([result(0.2)], {"leaf_hue_deg": 0.7})
    row = held.rows[0]
    assert row.metrics["leaf_hue_deg"] == Measured(110.0, 0.7)
    assert row.metrics["canopy_height_mm"] == Measured(50.0, 1.0)
    assert row.flags == ("tilted", "doubt_from_study")


@pytest.mark.parametrize(
    ("given", "scatter"),
    [
        (result(0.9), {"leaf_hue_deg": 0.7}),  # stated larger than found already
        (result(0.2), {}),
        (result(0.2), {"stem_length_mm": 3.0}),  # not measured here
        (result(0.2, repeat_of="T0"), {"leaf_hue_deg": 0.7}),  # a row of a study itself
        (result(float("nan")), {"leaf_hue_deg": 0.7}),
    ],
)
def test_nothing_else_is_touched(given, scatter):
    (held,) = with_study_doubts([given], scatter)
    assert repr(held) == repr(given)


def test_only_what_was_found_too_small_is_read(tmp_path):
    (tmp_path / "study" / "results").mkdir(parents=True)
    (tmp_path / "study" / "results" / "repeatability.csv").write_text(
        "metric,one_operator_sd,measuring_sd,stated_doubt\n"
        "leaf_hue_deg,0.5,0.7,too_small\n"
        "leaf_l,0.4,,too_small\n"
        "canopy_height_mm,0.9,1.1,covers_one_operator\n"
        "canopy_cover_pct,0.9,1.1,undecided\n"
        "stem_length_mm,0.9,1.1,\n",
        encoding="utf-8",
    )
    settings = Settings.model_validate({"repeatability": {"study": "study"}})
    assert scatter_beyond_doubt(tmp_path, settings) == {"leaf_hue_deg": 0.7, "leaf_l": 0.4}


def test_without_a_study_nothing_is_read_and_a_missing_one_is_told(tmp_path):
    assert scatter_beyond_doubt(tmp_path, Settings()) == {}
    settings = Settings.model_validate({"repeatability": {"study": "../phone"}})
    with pytest.raises(ListError, match="study of trial"):
        scatter_beyond_doubt(tmp_path, settings)


def test_naming_a_study_has_nothing_measured_again():
    settings = Settings.model_validate({"repeatability": {"study": "study"}})
    assert settings.fingerprint() == Settings().fingerprint()
