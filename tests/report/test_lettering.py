"""Words on pictures hold only signs that the font draws."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from traymorph.card.layout import card_layout
from traymorph.model.card import CardRole
from traymorph.report.lettering import draw_text, font, has_sign, legible, text_length

INK = (0, 0, 0)
RAISED = set("²³")


def ink_rows(text, size=40.0):
    """Rows that hold ink when a text is drawn at the top left."""
    picture = Image.new("RGB", (900, 80), (255, 255, 255))
    draw_text(ImageDraw.Draw(picture), (5.0, 5.0), text, size, INK)
    return np.flatnonzero((np.asarray(picture) < 128).any(axis=(1, 2)))


def test_the_font_knows_ascii_and_the_signs_of_measuring():
    for sign in (*map(chr, range(32, 127)), "±", "°", "·", "…"):
        assert has_sign(sign), sign


def test_a_missing_sign_is_told_from_a_drawn_one():
    # What the built-in font of Pillow lacks; drawn, each of them would be an empty box.
    box = bytes(font(20.0).getmask("\uffff"))
    for sign in "²–é字🌱":
        assert bytes(font(20.0).getmask(sign)) == box
        assert not has_sign(sign)


@given(st.text(max_size=40))
def test_what_is_drawn_is_always_in_the_font(text):
    assert all(has_sign(sign) or sign in RAISED for sign in legible(text))


@pytest.mark.parametrize(
    ("text", "drawn"),
    [
        ("1145 ± 13 cm²", "1145 ± 13 cm²"),
        ("Trüb é Łódź", "Trub e Lodz"),
        ("500 × 250 – 3 µm", "500 x 250 - 3 um"),
        ("Straße", "Strasse"),
        ("tray 🌱 字", "tray ? ?"),
        ("a\u202eb\u200d", "ab"),
        ("u\u0308", "u"),
        ("two\nlines", "two?lines"),
        ("", ""),
    ],
)
def test_other_signs_are_written_another_way(text, drawn):
    assert legible(text) == drawn


def test_a_square_is_a_small_raised_two():
    plain, raised = ink_rows("2"), ink_rows("²")
    assert len(raised) < 0.75 * len(plain)
    assert raised.max() < plain.mean() + 0.25 * len(plain)
    assert text_length("cm²", 40.0) < text_length("cm2", 40.0)


def test_length_is_that_of_what_is_drawn():
    picture = Image.new("RGB", (900, 80), (255, 255, 255))
    draw_text(ImageDraw.Draw(picture), (0.0, 5.0), "leaf 1145 cm²", 40.0, INK)
    right = np.flatnonzero((np.asarray(picture) < 128).any(axis=(0, 2))).max()
    assert right == pytest.approx(text_length("leaf 1145 cm²", 40.0), abs=5)


@pytest.mark.parametrize("role", CardRole)
def test_words_on_the_card_are_in_the_font(role):
    for words in card_layout(role).words:
        assert all(has_sign(sign) for sign in words.text), words.text
