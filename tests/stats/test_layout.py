"""Places are drawn by lot, every block holds every treatment, the seed draws them again."""

from collections import Counter
from datetime import date

import pytest

from traymorph.errors import DesignError
from traymorph.model.plan import Wanted
from traymorph.stats.planning.layout import blind_codes, lay_out

TWO = ("15 g", "30 g")


def test_every_block_holds_every_treatment_equally_often():
    trays = lay_out(Wanted(TWO, 6, blocks=3, seed=4))
    assert Counter((tray.block, tray.treatment) for tray in trays) == {
        (block, name): 2 for block in "123" for name in TWO
    }
    assert [tray.tray_id for tray in trays[:3]] == ["T01", "T02", "T03"]
    assert len({tray.tray_id for tray in trays}) == 12


def test_numbers_that_do_not_divide_keep_blocks_balanced():
    trays = lay_out(Wanted(("a", "b", "c"), 5, blocks=2))
    counts = Counter((tray.block, tray.treatment) for tray in trays)
    assert {counts["1", name] for name in "abc"} == {3}
    assert {counts["2", name] for name in "abc"} == {2}


def test_the_seed_draws_the_same_places_and_another_draws_others():
    once = lay_out(Wanted(TWO, 10, seed=7))
    assert lay_out(Wanted(TWO, 10, seed=7)) == once
    assert lay_out(Wanted(TWO, 10, seed=8)) != once


def test_every_treatment_comes_to_every_place_equally_often():
    at_first = sum(lay_out(Wanted(TWO, 3, seed=seed))[0].treatment == "15 g" for seed in range(400))
    assert 160 < at_first < 240  # binomial 400, 1/2: four standard deviations


def test_shelves_end_where_they_are_full_and_their_ends_are_at_the_edge():
    trays = lay_out(Wanted(TWO, 4, across=3))
    assert [(tray.shelf, tray.position) for tray in trays] == [
        ("1", 1), ("1", 2), ("1", 3), ("2", 1), ("2", 2), ("2", 3), ("3", 1), ("3", 2),
    ]  # fmt: skip
    assert [tray.at_edge for tray in trays] == [
        True, False, True, True, False, True, True, True,
    ]  # fmt: skip


@pytest.mark.parametrize("seed", range(12))
def test_ends_of_shelves_are_shared_evenly(seed):
    """By lot alone, seven plans in twelve gave one of two treatments three ends of four."""
    for names, trays, blocks in ((TWO, 4, 2), (("a", "b", "c"), 3, 3), (TWO, 5, 1)):
        plan = lay_out(Wanted(names, trays, blocks=blocks, seed=seed))
        ends = Counter(tray.treatment for tray in plan if tray.at_edge)
        assert len({ends[name] for name in names}) == 1


def test_no_shelf_of_a_block_is_left_to_one_treatment():
    for seed in range(30):
        trays = lay_out(Wanted(TWO, 4, across=2, seed=seed))
        held = {}
        for tray in trays:
            held.setdefault(tray.shelf, set()).add(tray.treatment)
        assert list(held.values()) == [set(TWO)] * 4


@pytest.mark.parametrize(
    ("wanted", "said"),
    [
        (Wanted(TWO, 3, blocks=3, whole_shelves=True), "single trays"),
        (Wanted(TWO, 6, blocks=2, whole_shelves=True, across=2), "would hold 3 trays"),
    ],
)
def test_shelves_that_cannot_be_meant_are_refused(wanted, said):
    with pytest.raises(DesignError, match=said):
        lay_out(wanted)


def test_days_are_sown_one_after_another_on_the_same_shelf():
    trays = lay_out(Wanted(TWO, 2, blocks=2, block_name="day", sown_on=date(2026, 12, 1)))
    assert {(tray.block, tray.shelf, tray.sown_on) for tray in trays} == {
        ("1", "1", date(2026, 12, 1)),
        ("2", "1", date(2026, 12, 2)),
    }


def test_whole_shelves_hold_one_treatment():
    trays = lay_out(Wanted(TWO, 6, blocks=3, block_name="side", whole_shelves=True, seed=1))
    held = {}
    for tray in trays:
        held.setdefault(tray.shelf, set()).add(tray.treatment)
    assert len(held) == 6
    assert all(len(treatments) == 1 for treatments in held.values())


def test_more_blocks_than_trays_are_refused():
    with pytest.raises(DesignError, match="5 blocks cannot each hold every treatment"):
        lay_out(Wanted(TWO, 3, blocks=5))


def test_blind_codes_have_three_digits_and_are_all_different():
    names = tuple(f"treatment {number}" for number in range(200))
    codes = blind_codes(Wanted(names, 2, seed=3))
    assert list(codes) == list(names)
    assert len(set(codes.values())) == 200
    assert all(len(code) == 3 and code.isdigit() and code[0] != "0" for code in codes.values())
    assert codes != blind_codes(Wanted(names, 2, seed=4))
