"""standard.csv and events.csv: what they give, and every row that cannot be meant."""

import math
from datetime import date

import pytest

from traymorph.config.events import read_events
from traymorph.config.standard import read_standard
from traymorph.errors import ListError
from traymorph.model.drift import Event, StandardLimit


def test_without_lists_there_is_nothing(tmp_path):
    assert read_standard(tmp_path) == ()
    assert read_events(tmp_path) == ()


def test_limits_are_read_and_may_be_one_sided(tmp_path):
    text = "crop;metric;lower;upper\npea;canopy_height_mm;52,5;68\n;canopy_cover_pct;80;\n"
    (tmp_path / "standard.csv").write_text(text)
    first, second = read_standard(tmp_path)
    assert first == StandardLimit("pea", "canopy_height_mm", 52.5, 68.0, line=2)
    assert (second.crop, second.lower) == ("", 80.0)
    assert math.isnan(second.upper)


def test_every_bad_row_of_a_standard_is_named(tmp_path):
    (tmp_path / "standard.csv").write_text(
        "crop,metric,lower,upper\n"
        "pea,canopy_height_mm,68,52\n"
        "pea,canopy height,52,68\n"
        "pea,stem_length_mm,,\n"
        "pea,canopy_cover_pct,eighty,95\n"
        "Pea,canopy_height_mm,50,60\n"
    )
    with pytest.raises(ListError) as caught:
        read_standard(tmp_path)
    lines = caught.value.message.splitlines()
    assert len(lines) == 6
    assert 'line 2, lower = "68": is not less than upper = 52' in lines[1]
    assert "wrong way round" in lines[1]
    assert "line 3" in lines[2]
    assert "Perhaps canopy_height_mm" in lines[2]
    assert "line 4" in lines[3]
    assert "Give one limit" in lines[3]
    assert 'line 5, lower = "eighty"' in lines[4]
    assert "in line 2 already" in lines[5]


def test_halves_of_one_pair_of_limits_are_asked_for_in_one_line(tmp_path):
    (tmp_path / "standard.csv").write_text(
        "crop,metric,lower,upper\nradish,leaf_l,30,\nradish,leaf_l,,60\n"
    )
    with pytest.raises(ListError, match=r"in line 2 already\. Put both limits into one line"):
        read_standard(tmp_path)


def test_events_come_in_the_order_of_their_days(tmp_path):
    (tmp_path / "events.csv").write_text(
        "on_date,what\n2026-05-01,lamp changed\n2026-03-02,new seed lot\n"
    )
    assert read_events(tmp_path) == (
        Event(date(2026, 3, 2), "new seed lot"),
        Event(date(2026, 5, 1), "lamp changed"),
    )


def test_every_bad_row_of_the_events_is_named(tmp_path):
    (tmp_path / "events.csv").write_text("on_date,what\n1.5.2026,lamp\n,seed\n2026-05-01,\n")
    with pytest.raises(ListError) as caught:
        read_events(tmp_path)
    assert "Write 2026-05-01" in caught.value.message
    assert "line 3, on_date" in caught.value.message
    assert "line 4, what" in caught.value.message
