"""Single values of lists: dates and sizes, and what was probably meant."""

import pytest

from traymorph.config.dates import read_moment
from traymorph.config.problems import ValueProblemError
from traymorph.config.sizes import read_size


# ISO 8601-1:2019: calendar, ordinal week and basic forms; times with and without zone.
@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-11-13", (2026, 11, 13, 0, 0, 0)),
        ("20261113", (2026, 11, 13, 0, 0, 0)),
        ("2026-W46-5", (2026, 11, 13, 0, 0, 0)),
        ("2026-11-13T09:30", (2026, 11, 13, 9, 30, 0)),
        ("2026-11-13 09:30:15", (2026, 11, 13, 9, 30, 15)),
        ("2026-11-13T09:30+02:00", (2026, 11, 13, 9, 30, 0)),
        ("2026-11-13T09:30Z", (2026, 11, 13, 9, 30, 0)),
    ],
)
def test_iso_dates_are_read(text, expected):
    moment = read_moment(text)
    assert moment.timetuple()[:6] == expected
    assert moment.tzinfo is None


@pytest.mark.parametrize(
    ("text", "advice"),
    [
        ("13.11.2026", "Write 2026-11-13"),
        ("13.11.26", "Write 2026-11-13"),
        ("3.4.2026", "Write 2026-04-03"),  # points: day first wherever they are used
        ("13/11/2026", "Write 2026-11-13"),
        ("11/13/2026", "Write 2026-11-13"),
        ("3/4/2026", "Write 2026-03-04 or 2026-04-03, whichever is meant"),
        ("4/4/2026", "Write 2026-04-04"),
        ("2026/11/13", "Write 2026-11-13"),
        ("2026-1-5", "Write 2026-01-05"),
        ("13 Nov 2026", "Write 2026-11-13"),
        ("November 13th, 2026", "Write 2026-11-13"),
        ("46339", "Write 2026-11-13"),  # day number as spreadsheets count (1900-03-01 = 61)
        ("31.02.2026", "Write year-month-day, for example 2026-11-13"),
        ("yesterday", "Write year-month-day, for example 2026-11-13"),
    ],
)
def test_other_dates_are_refused_with_what_was_meant(text, advice):
    with pytest.raises(ValueProblemError, match="is not written as year-month-day") as caught:
        read_moment(text)
    assert caught.value.advice == advice


def test_a_year_that_cannot_be_meant_is_refused():
    with pytest.raises(ValueProblemError, match="the year 1026"):
        read_moment("1026-11-13")


@pytest.mark.parametrize(
    ("name", "text", "expected"),
    [
        ("inside_length_mm", "508", 508.0),
        ("inside_length_mm", "5e2", 500.0),
        ("rim_above_medium_mm", "32.5", 32.5),
        ("rim_above_medium_mm", "0", 0.0),
    ],
)
def test_plain_numbers_are_read(name, text, expected):
    assert read_size(name, text) == expected


def test_a_decimal_comma_is_read_only_where_commas_do_not_separate_cells():
    assert read_size("rim_above_medium_mm", "32,5", decimal_comma=True) == 32.5
    with pytest.raises(ValueProblemError, match="decimal comma") as caught:
        read_size("rim_above_medium_mm", "32,5")
    assert caught.value.advice == "Write 32.5"


@pytest.mark.parametrize(
    ("name", "text", "advice"),
    [
        ("inside_length_mm", "50", "If centimetres were meant, write 500; if inches, 1270"),
        ("inside_length_mm", "5", "If inches were meant, write 127"),  # 50 mm is no tray
        ("inside_length_mm", '20"', "Write 508"),
        ("inside_length_mm", "20 in", "Write 508"),
        ("inside_length_mm", "50.8 cm", "Write 508"),
        ("inside_length_mm", "508mm", "Write 508"),
        ("inside_length_mm", "-508", "Measure it and give millimetres"),
        ("inside_length_mm", "0", "Measure it and give millimetres"),
        ("inside_length_mm", "5080", "Measure it and give millimetres"),
        ("inside_length_mm", "nan", "Write digits only, for example 52.5"),
        ("inside_length_mm", "1_000", "Write digits only, for example 52.5"),
        ("inside_length_mm", "1,2,3 cm", "Write digits only, for example 52.5"),
        ("rim_above_bench_mm", "2.5", "If centimetres were meant, write 25; if inches, 63.5"),
        ("rim_above_medium_mm", "-1", "Measure it and give millimetres"),
    ],
)
def test_sizes_that_cannot_be_meant_are_refused_with_advice(name, text, advice):
    with pytest.raises(ValueProblemError) as caught:
        read_size(name, text)
    assert caught.value.advice == advice
