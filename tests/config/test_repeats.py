"""Which rows measure a tray again, and every row that cannot be meant."""

import numpy as np
import pytest

from traymorph.config.repeats import find_repeats
from traymorph.errors import DesignError, ListError
from traymorph.model.comparison import TrayTable


def table(*rows, columns=("tray_id", "repeat_of", "operator", "photographed_on")):
    """Rows of text; columns may name others."""
    cells = list(zip(*rows, strict=True))
    return TrayTable(
        {name: tuple(held) for name, held in zip(columns, cells, strict=True)},
        {},
        {},
        (frozenset(),) * len(rows),
        {},
    )


DAY = "2026-05-12"


def test_the_trays_own_row_is_its_first_measurement():
    held = table(
        ("T1", "", "Ana", DAY),
        ("T2", "", "Ana", DAY),
        ("T3", "", "", DAY),
        ("T1b", "T1", "Ben", DAY),
        ("T2b", "T2", "Ben", DAY),
    )
    repeats, warnings = find_repeats(held)
    assert repeats.rows.tolist() == [0, 1, 3, 4]
    assert repeats.trays == ("T1", "T2")
    assert repeats.tray.tolist() == [0, 1, 0, 1]
    assert repeats.operators == ("Ana", "Ben")
    assert repeats.operator.tolist() == [0, 0, 1, 1]
    assert repeats.own.tolist() == [0, 1]
    assert warnings == ()


def test_without_operators_all_count_as_one():
    held = table(
        ("T1", "", DAY), ("b", "T1", DAY), columns=("tray_id", "repeat_of", "photographed_on")
    )
    repeats, _ = find_repeats(held)
    assert repeats.operators == ()
    assert repeats.operator.tolist() == [0, 0]


def test_batches_are_those_of_the_trays():
    held = table(
        ("T1", "", "B1"), ("b", "T1", ""), ("T2", "", "B2"), ("c", "T2", "B2"),
        columns=("tray_id", "repeat_of", "batch"),
    )  # fmt: skip
    repeats, _ = find_repeats(held)
    assert repeats.batches == ("B1", "B2")
    assert repeats.batch.tolist() == [0, 0, 1, 1]


def test_each_day_counts_as_a_tray_of_its_own_and_is_said_to():
    held = table(
        ("T1", "", "", DAY),
        ("T1", "", "", "2026-05-14"),
        ("a", "T1", "", DAY),
        ("b", "T1", "", "2026-05-14"),
        ("T2", "", "", DAY),
        ("c", "T2", "", DAY),
    )
    repeats, (said,) = find_repeats(held)
    assert repeats.trays == (f"T1 {DAY}", "T1 2026-05-14", "T2")
    assert repeats.tray.tolist() == [0, 1, 0, 1, 2, 2]
    assert said.startswith("T1: photographed on several days; plants grow")


def test_a_row_without_a_day_belongs_to_the_only_day():
    repeats, _ = find_repeats(table(("T1", "", "", DAY), ("a", "T1", "", "")))
    assert repeats.tray.tolist() == [0, 0]


def test_every_row_that_cannot_be_meant_is_named():
    held = table(
        ("T1", "", "Ana", DAY),
        ("T1b", "T1", "", DAY),
        ("T1c", "T1", "Ben", "2026-05-13"),
        ("T1d", "T9", "Ben", DAY),
        ("T1e", "T1b", "Ben", DAY),
        ("T1f", "T1f", "Ben", DAY),
    )
    with pytest.raises(ListError) as refused:
        find_repeats(held)
    said = str(refused.value)
    assert "hold 5 problems" in said
    assert 'tray T1d, repeat_of = "T9": names no tray' in said
    assert 'tray T1e, repeat_of = "T1b": names a repeat itself. Name the tray that T1b' in said
    assert 'tray T1f, repeat_of = "T1f": names itself' in said
    assert f"was photographed on another day than its tray (T1: {DAY}); plants grow" in said
    assert 'tray T1c, photographed_on = "2026-05-13": was' in said
    assert "tray T1b, operator: is empty where other rows name one" in said


@pytest.mark.parametrize(
    ("column", "own", "again"),
    [
        ("crop", "radish", "pea"),
        ("kind", "tray", "pack"),
        ("batch", "B1", "B2"),
        ("sown_on", "2026-05-01", "2026-05-02"),
        ("rim_above_medium_mm", "12", "10"),
        ("rim_above_medium_mm", "12", ""),
        ("cut_above_medium_mm", "", "15"),
    ],
)
def test_repeats_that_differ_from_their_tray_are_refused(column, own, again):
    held = table(("T1", "", own), ("T1b", "T1", again), columns=("tray_id", "repeat_of", column))
    with pytest.raises(ListError, match=f"tray T1b, {column}.*: differs from T1, which it repeats"):
        find_repeats(held)


@pytest.mark.parametrize(
    ("column", "own", "again"),
    [
        ("crop", "radish", "Radish"),
        ("crop", "radish", ""),
        ("batch", "B1", ""),
        ("treatment", "15 g", ""),
        ("rim_above_medium_mm", "12", "12.0"),
    ],
)
def test_repeats_may_leave_empty_what_their_tray_says(column, own, again):
    held = table(("T1", "", own), ("T1b", "T1", again), columns=("tray_id", "repeat_of", column))
    assert np.array_equal(find_repeats(held)[0].tray, [0, 0])


def test_names_spelt_two_ways_are_asked_about():
    held = table(("T1", "", "Ana", DAY), ("a", "T1", "ana", DAY))
    with pytest.raises(ListError, match='Are "Ana" and "ana" one person or phone'):
        find_repeats(held)


def test_a_table_without_repeats_says_how_to_get_them():
    with pytest.raises(DesignError) as refused:
        find_repeats(table(("T1", "", "", DAY), ("T2", "", "", DAY)))
    assert "No tray of the table was measured again" in refused.value.message
    assert "column repeat_of" in refused.value.hint
