"""Which registered print stands in a tray's photos, and that measuring depends on it."""

from dataclasses import replace
from pathlib import Path

import pytest

from traymorph.card.registering import printed_names
from traymorph.config.card_colours import CardColours, PrintColours
from traymorph.config.settings import Settings
from traymorph.errors import ListError
from traymorph.model.card import CardRole
from traymorph.model.trial import PhotoEntry, Sample, TraySize, Trial
from traymorph.pipeline.calibrate import cards_of_samples
from traymorph.pipeline.jobs import plan_jobs

NAMES = printed_names(CardRole.OVERHEAD)


def a_print(card_id, lightness=50.0):
    lab = dict.fromkeys(NAMES, (lightness, 0.0, 0.0))
    u_de00 = dict.fromkeys(NAMES, 1.0) | {NAMES[0]: 1.0 + len(NAMES)}
    return PrintColours(card_id, CardRole.OVERHEAD, 1, lab, u_de00, "")


def tray(tray_id, **columns):
    return Sample(tray_id, "tray", TraySize(), None, {"tray_id": tray_id, **columns})


ONE = CardColours((a_print("home"),))
TWO = CardColours((a_print("home"), a_print("shop", 60.0)))


def test_without_registration_no_tray_has_registered_colours():
    assert cards_of_samples(CardColours(), [tray("T1"), tray("T2", card_id="home")]) == {}


def test_one_print_serves_all_trays_and_all_roles():
    cards = cards_of_samples(ONE, [tray("T1"), tray("T2", card_id="home")])
    assert set(cards) == {"T1", "T2"}
    for own in cards.values():
        assert [card.role for card in own] == list(CardRole)
        assert {card.card_id for card in own} == {"home"}
        assert all(card.u_de00 == pytest.approx(2.0) for card in own)


def test_of_several_prints_the_list_says_which():
    cards = cards_of_samples(TWO, [tray("T1", card_id="shop"), tray("T2", card_id="home")])
    assert [cards[name][0].lab["red"][0] for name in ("T1", "T2")] == [60.0, 50.0]


def test_trays_that_name_none_or_an_unknown_print_are_named_together():
    samples = [tray(f"T{k}") for k in range(8)] + [tray("T8", card_id="hom")]
    with pytest.raises(ListError) as refused:
        cards_of_samples(TWO, samples)
    message = str(refused.value)
    assert (
        "holds 2 prints, and nothing says which one stands in trays T0, T1, T2, T3, T4 and 3"
        in (message)
    )
    assert 'trays.csv, card_id = "hom": trays T8 name a print' in message
    assert "home or shop" in message


def fingerprint(tmp_path, colours):
    photo = tmp_path / "photos" / "T1" / "a.jpg"
    photo.parent.mkdir(parents=True, exist_ok=True)
    photo.write_bytes(b"the same bytes")
    samples = (tray("T1"),)
    trial = Trial(tmp_path, samples, (PhotoEntry(photo, "T1", None, None),), ())
    cards = cards_of_samples(colours, samples)
    (job,), _ = plan_jobs(trial, Settings(), overlays=None, masks=None, cards=cards)
    return job.fingerprint()


def test_a_tray_is_measured_anew_when_its_print_is_registered_or_corrected(tmp_path: Path):
    plain = fingerprint(tmp_path, CardColours())
    home = fingerprint(tmp_path, ONE)
    corrected = fingerprint(tmp_path, CardColours((a_print("home", 51.0),)))
    assert len({plain, home, corrected}) == 3
    elsewhere = CardColours((replace(a_print("home"), source="photo of another day"),))
    assert fingerprint(tmp_path, elsewhere) == home
