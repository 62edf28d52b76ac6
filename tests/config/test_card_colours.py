"""card_colours.csv and typed-in values: what is read, and that every bad row is named at once."""

import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traymorph.config.card_colours import (
    CARD_COLOURS_FILE,
    MEASURED_U_DE00,
    CardColours,
    PrintColours,
    read_card_colours,
    read_measured_lab,
    write_card_colours,
)
from traymorph.errors import ExitCode, ListError, StoreError
from traymorph.model.card import CardRole

PATCHES = ("grey 240", "leaf green", "red", "paper")
# Foliage, red and white 9.5 of the widely used 24-patch chart as its maker published them after
# November 2014 (CIELAB, D50); here they serve as values that an instrument gives, nothing more.
FOLIAGE, RED, WHITE = (43.46, -12.74, 22.72), (42.43, 51.05, 28.62), (95.19, -1.03, 2.93)


def lab_file(tmp_path, text, name="lab.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def error_of(tmp_path, text):
    with pytest.raises(ListError) as caught:
        read_measured_lab(lab_file(tmp_path, text), PATCHES)
    assert caught.value.exit_code is ExitCode.LISTS
    return str(caught.value)


def rows(*lines):
    return "\n".join(("patch,l,a,b", *lines)) + "\n"


GREY = "grey 240,95.19,-1.03,2.93"
GREEN = "leaf green,43.46,-12.74,22.72"
RED_ROW = "red,42.43,51.05,28.62"


def test_typed_values_are_read(tmp_path):
    lab, u = read_measured_lab(lab_file(tmp_path, rows(GREY, GREEN, RED_ROW)), PATCHES)
    assert lab == {"grey 240": WHITE, "leaf green": FOLIAGE, "red": RED}
    assert set(u.values()) == {MEASURED_U_DE00}


def test_order_case_spaces_and_a_stated_doubt_do_not_matter(tmp_path):
    text = (
        "b;a;l;Patch no;u_de00;patch\n"
        "28,62;51,05;42,43;1;0,3;Red\n"
        "22,72;−12,74;43,46;2;;LEAF  green\n"
        "2,93;-1,03;95,19;3;1;Grey 240\n"
        "-4,1;0,9;93,5;4;1;paper\n"
    )
    lab, u = read_measured_lab(lab_file(tmp_path, text), PATCHES)
    assert lab["red"] == RED
    assert lab["leaf green"] == FOLIAGE
    assert lab["paper"] == (93.5, 0.9, -4.1)
    assert u == {"red": 0.3, "leaf green": MEASURED_U_DE00, "grey 240": 1.0, "paper": 1.0}


def test_every_bad_cell_is_named_at_once(tmp_path):
    message = error_of(
        tmp_path,
        rows(
            "grey 240,952,0,0",
            "leaf gren,43.46,-12.74,22.72",
            "red,42.43,,28 .6",
            "red,42.43,51.05,28.62",
            ",1,2,3",
            'red,"42,4",1,2',
        ),
    )
    for part in (
        'lab.csv line 2, l = "952": lies outside 0 to 105',
        'lab.csv line 3, patch = "leaf gren": is no patch of the card. Perhaps leaf green',
        'lab.csv line 4, a = "": is empty',
        'lab.csv line 4, b = "28 .6": is not a number',
        'lab.csv line 5, patch = "red": stands in line 4 already',
        'lab.csv line 6, patch = "": is empty',
        'lab.csv line 7, l = "42,4": has a decimal comma. Write 42.4',
        "lacks leaf green",
    ):
        assert part in message, message


def test_missing_patches_are_named_but_the_paper_may_be_missing(tmp_path):
    message = error_of(tmp_path, rows(GREEN))
    assert "lacks grey 240, red" in message
    assert "paper" not in message


def test_a_missing_column_is_named(tmp_path):
    assert "lacks the column b" in error_of(tmp_path, "patch,l,a\nred,1,2\n")


@pytest.mark.parametrize("value", ["nan", "inf", "1e999", "0x1f", "--3", "50%"])
def test_what_is_no_number_is_refused(tmp_path, value):
    assert "line 4, b" in error_of(tmp_path, rows(GREY, GREEN, f"red,42,51,{value}"))


# --- what is kept in the trial folder


def a_print(card_id="home", role=CardRole.OVERHEAD, red=RED):
    lab = {"grey 240": WHITE, "leaf green": FOLIAGE, "red": red}
    return PrintColours(card_id, role, 1, lab, dict.fromkeys(lab, 2.0), "photo a, b.jpg")


def test_without_the_file_nothing_is_registered(tmp_path):
    assert read_card_colours(tmp_path, PATCHES) == CardColours()


number = st.floats(-100, 100).map(lambda value: round(value, 2) + 0.0)


@given(st.tuples(st.floats(0, 100).map(lambda value: round(value, 2)), number, number))
def test_what_is_written_is_read_again(tmp_path_factory, lab):
    folder = tmp_path_factory.mktemp("trial")
    held = CardColours((a_print(red=lab), a_print(role=None), a_print("shop print", None)))
    write_card_colours(folder, held)
    assert read_card_colours(folder, PATCHES) == held


def test_one_card_of_a_print_serves_the_others():
    cards = {card.role: card for card in CardColours((a_print(),)).cards_of("home")}
    assert set(cards) == set(CardRole)
    assert all(card.lab["red"] == RED and card.card_id == "home" for card in cards.values())
    assert all(card.is_for(role, 1) for role, card in cards.items())


def test_a_card_with_colours_of_its_own_uses_them():
    own, other, every = (42.0, 1.0, 1.0), (43.0, 1.0, 1.0), (44.0, 1.0, 1.0)
    held = CardColours(
        (
            a_print(role=CardRole.SIDE, red=other),
            a_print(role=CardRole.BOARD, red=own),
            a_print(role=None, red=every),
        )
    )
    cards = {card.role: card.lab["red"] for card in held.cards_of("home")}
    assert cards == {CardRole.OVERHEAD: every, CardRole.SIDE: other, CardRole.BOARD: own}
    assert held.cards_of("unknown") == ()


def test_registering_anew_replaces():
    held = CardColours((a_print(), a_print("second")))
    new = held.with_print(a_print(red=(1.0, 2.0, 3.0)))
    assert [one.card_id for one in new.prints] == ["home", "second"]
    assert new.prints[0].lab["red"] == (1.0, 2.0, 3.0)
    assert len(held.with_print(a_print(role=CardRole.SIDE)).prints) == 3


def test_every_bad_row_of_the_kept_list_is_named_at_once(tmp_path):
    write_card_colours(tmp_path, CardColours((a_print(),)))
    path = tmp_path / CARD_COLOURS_FILE
    lines = path.read_text(encoding="utf-8").splitlines()
    lines[1] = lines[1].replace("95.19", "bright")
    lines[2] = lines[2].replace("overhead", "above")
    lines[3] = lines[3].replace("home", "=home")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(ListError) as caught:
        read_card_colours(tmp_path, PATCHES)
    message = str(caught.value)
    assert f'{CARD_COLOURS_FILE} line 2, l = "bright"' in message
    assert f'{CARD_COLOURS_FILE} line 3, role = "above"' in message
    assert f'{CARD_COLOURS_FILE} line 4, card_id = "=home"' in message
    assert "traymorph calibrate" in message


def test_two_versions_of_one_card_are_refused(tmp_path):
    write_card_colours(tmp_path, CardColours((a_print(),)))
    path = tmp_path / CARD_COLOURS_FILE
    path.write_text(
        path.read_text(encoding="utf-8").replace("overhead,1,red", "overhead,2,red"),
        encoding="utf-8",
    )
    with pytest.raises(ListError, match="line 4, version"):
        read_card_colours(tmp_path, PATCHES)


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_list_that_cannot_be_written_leaves_the_old_one(tmp_path):
    write_card_colours(tmp_path, CardColours((a_print(),)))
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(StoreError):
            write_card_colours(tmp_path, CardColours((a_print("other"),)))
    finally:
        tmp_path.chmod(0o700)
    assert read_card_colours(tmp_path, PATCHES).card_ids == ("home",)


def test_a_folder_in_the_way_ends_in_one_sentence(tmp_path):
    (tmp_path / CARD_COLOURS_FILE).mkdir()
    with pytest.raises(StoreError, match="cannot be written"):
        write_card_colours(tmp_path, CardColours((a_print(),)))
    assert [path.name for path in tmp_path.iterdir()] == [CARD_COLOURS_FILE]
