"""Numbers, units and days as locales write them; sentences made elsewhere keep their meaning."""

import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traymorph.report.page.numbers import Numbers, isolated, parse_locale
from traymorph.report.sentences import decimals_for

ENGLISH, GERMAN = Numbers("en"), Numbers("de")
NBSP = "\N{NO-BREAK SPACE}"


@pytest.mark.parametrize(
    ("value", "doubt", "unit", "written"),
    [
        # JCGM 100:2008, 7.2.2: m = 100,021 47 g with a standard uncertainty of 0,35 mg
        (100.02147, 0.00035, "g", "100.02147 ± 0.00035 g"),
        # JCGM 100:2008, 7.2.6: 10,057 62 ohm with 27 mohm is rounded to 10,058 ohm
        (10.05762, 0.027, "ohm", "10.058 ± 0.027 ohm"),
        (math.nan, 1.0, "mm", "–"),
        (-3.2, math.nan, "1", "−3.20"),
        (129.594, 0.87, "deg", "129.59 ± 0.87°"),
    ],
)
def test_values_have_the_digits_that_their_doubt_allows(value, doubt, unit, written):
    assert ENGLISH.measured(value, doubt, unit).replace(NBSP, " ") == written


def test_signs_of_units():
    """Decimal comma and Cyrillic signs: Unicode CLDR; mm, cm², g, mg: SI brochure, 9th ed."""
    written = GERMAN.measured(12.34, 0.56, "mm")
    assert written == f"12,34{NBSP}±{NBSP}0,56{NBSP}mm"
    for locale in ("en", "de", "fr", "es", "it", "pt", "nl", "pl", "sv", "ja", "zh", "tr"):
        signs = [Numbers(locale).unit(unit) for unit in ("mm", "cm2", "mm2", "cm2/g")]
        assert signs[0] in {"mm", "㎜", "毫米"}, locale
        assert not any("length" in sign or "area" in sign for sign in signs)
    assert [Numbers("ru").unit(unit) for unit in ("mm", "mg", "%")] == ["мм", "мг", "%"]
    assert ENGLISH.unit("1") == ""


def test_days():
    assert Numbers("en_GB").day(date(2026, 3, 10)) == "10 Mar 2026"
    assert GERMAN.day(date(2026, 3, 10)) == "10.03.2026"


@pytest.mark.parametrize("text", ["de", "de-CH", "de_CH", "pt_BR", "zh-Hans"])
def test_locales_as_people_write_them(text):
    assert parse_locale(text).language == text[:2]


@pytest.mark.parametrize("text", ["", "xx_yy_zz", "german", "../etc", "1"])
def test_what_is_no_locale(text):
    with pytest.raises(ValueError, match="is not a locale"):
        parse_locale(text)


def test_sentences_keep_names_citations_and_versions():
    said = GERMAN.sentence(
        "1.5 g is 2.25 mm longer (p = 0.023), see 21 CFR 101.54(b), version 0.1.0.", ["1.5 g"]
    )
    assert said.replace(NBSP, " ") == (
        "<bdi>1.5 g</bdi> is 2,25 mm longer (p = 0,023), see 21 CFR 101.54(b), version 0.1.0."
    )


@pytest.mark.parametrize("name", ["15 g", "300 g/m² wet", "80 %", "3 h of light"])
def test_a_number_stays_with_its_unit(name):
    number, rest = name.split(" ", 1)
    kept = f"{number}{NBSP}{rest}"
    assert isolated(name) == f"<bdi>{kept}</bdi>"
    assert ENGLISH.sentence(f"It is {name}.") == f"It is {kept}."


@pytest.mark.parametrize("name", ["6 trays", "T 15 grey", "2 million", "15  g"])
def test_other_words_after_numbers_may_wrap(name):
    assert isolated(name) == f"<bdi>{name}</bdi>"


def test_days_in_sentences():
    said = GERMAN.sentence("In batch 2026-02-11 (2026-02-17), code 2026-02-31.", ["2026-02-11"])
    assert said == "In batch <bdi>2026-02-11</bdi> (17.02.2026), code 2026-02-31."


def test_names_within_words_are_not_names():
    said = ENGLISH.sentence("a is at A12 and 1.15 for 15", ["a", "A", "15"])
    assert said == "<bdi>a</bdi> is at A12 and 1.15 for <bdi>15</bdi>"


def test_metrics_are_named_in_words():
    said = ENGLISH.sentence("canopy_height_mm jumped, canopy_cover_pct did not.")
    assert said == "Height of the canopy jumped, cover of the tray did not."


@given(st.text(max_size=40), st.text(min_size=1, max_size=8))
def test_no_text_becomes_markup(text, name):
    said = str(ENGLISH.sentence(f"{text} {name} <script>", [name]))
    left = said.replace("<bdi>", "").replace("</bdi>", "")
    assert "<" not in left
    assert ">" not in left


@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e3))
def test_an_interval_beside_nought_is_not_written_as_nought(low, width):
    decimals = decimals_for(low, low + width)
    for edge in (low, low + width):
        if abs(edge) > 1e-5:
            assert float(f"{edge:.{decimals}f}") != 0.0 or decimals == 6


@given(st.floats(-1e6, 1e6))
def test_three_digits_are_near_the_value(value):
    written = ENGLISH.rough(value).replace("−", "-")
    assert float(written) == pytest.approx(value, rel=0.006, abs=1e-12)
