"""The section [outcomes] of trial.toml."""

import pytest

from traymorph.config.settings import Settings, read_settings
from traymorph.errors import SettingsError
from traymorph.model.outcomes import Prices


def _read(folder, text):
    (folder / "trial.toml").write_text(f"[outcomes]\n{text}\n", encoding="utf-8")
    return read_settings(folder)


def test_prices_are_read(tmp_path):
    text = 'pack_fill_g = 50\nprice_per_pack = 2.5\ncost_per_tray = 3\ncurrency = "EUR"'
    assert _read(tmp_path, text).prices() == Prices(
        pack_fill_g=50.0, price_per_pack=2.5, cost_per_tray=3.0, currency="EUR"
    )


def test_prices_change_no_measurement(tmp_path):
    assert _read(tmp_path, "price_per_kg = 30").fingerprint() == Settings().fingerprint()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("pack_fill_g = 0", ["outcomes.pack_fill_g", "more than 0"]),
        ("cost_per_tray = -1", ["outcomes.cost_per_tray", "at least 0"]),
        ("price_per_pack = 2", ["pack_fill_g"]),
        ("pack_fill_g = 50\nprice_per_pack = 2\nprice_per_kg = 30", ["cannot both hold"]),
        ("cost_per_trays = 2", ["cost_per_trays", "Perhaps cost_per_tray was meant"]),
        ('cost_per_tray = "3 EUR"', ["must be a number"]),
    ],
)
def test_prices_that_cannot_be_meant(tmp_path, text, words):
    with pytest.raises(SettingsError) as caught:
        _read(tmp_path, text)
    for word in words:
        assert word in str(caught.value)
