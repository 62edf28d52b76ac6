"""trial.toml: defaults, every key of the contract, and every kind of mistake named at once."""

import pytest

from traymorph.config.settings import Settings, read_settings
from traymorph.errors import ExitCode, SettingsError
from traymorph.model.trial import TraySize


def _write(folder, text):
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    return folder


def _error(folder, text):
    with pytest.raises(SettingsError) as caught:
        read_settings(_write(folder, text))
    return str(caught.value)


def test_without_a_file_the_defaults_hold(tmp_path):
    settings = read_settings(tmp_path)
    assert settings == Settings()
    assert settings.card.printed_bar_mm == 100.0
    assert settings.card.plane == "bench"
    assert settings.compare.treatment_column == "treatment"
    assert settings.drift.baseline == 20
    assert settings.tray_size() == TraySize()


def test_every_key_is_read(tmp_path):
    text = """
    [tray]
    inside_length_mm = 508
    inside_width_mm = 254.0
    rim_above_medium_mm = 32
    rim_above_bench_mm = 62
    [card]
    printed_bar_mm = 98.6
    plane = "rim"
    [canopy]
    height_above_medium_mm = 55
    [compare]
    treatment_column = "density"
    treatment_meaning = "seed sown per tray"
    control = "150 g"
    primary = "canopy_height_mm"
    [report]
    title = "How dense to sow"
    [drift]
    baseline = 12
    """
    settings = read_settings(_write(tmp_path, text))
    assert settings.tray_size() == TraySize(508.0, 254.0, 32.0, 62.0)
    assert (settings.card.printed_bar_mm, settings.card.plane) == (98.6, "rim")
    assert settings.canopy.height_above_medium_mm == 55.0
    assert settings.compare.model_dump() == {
        "treatment_column": "density",
        "treatment_meaning": "seed sown per tray",
        "control": "150 g",
        "primary": "canopy_height_mm",
    }
    assert settings.report.title == "How dense to sow"
    assert settings.drift.baseline == 12


def test_a_byte_order_mark_does_not_matter(tmp_path):
    settings = read_settings(_write(tmp_path, "\ufeff[tray]\ninside_length_mm = 500\n"))
    assert settings.tray.inside_length_mm == 500.0


def test_all_mistakes_are_named_at_once(tmp_path):
    told = _error(
        tmp_path,
        "[tray]\ninside_length_mm = -5\ninside_width_mm = 20\n[card]\nplane = 'Bench'\n[cart]\n",
    )
    assert "3 problems" not in told
    assert "4 problems" in told
    assert "tray.inside_length_mm = -5" in told
    assert "write 200; if inches, 508" in told  # 20 inches of 25.4 mm
    assert "'bench' or 'rim'" in told
    assert "[cart]: is not a known section. Perhaps card was meant" in told


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("[tray]\ninside_length_mm = '500'\n", "must be a number"),
        ("[tray]\ninside_length_mm = true\n", "must be a number"),
        ("[tray]\ninside_length_mm = nan\n", "is not a size"),
        ("[tray]\ninside_length_mm = inf\n", "is not a size"),
        ("[tray]\ninside_length_mm = 0\n", "zero or negative"),
        ("[tray]\ninside_length_mm = 50000\n", "outside 60 to 3000 mm"),
        ("[tray]\nrim_above_bench_mm = 2.5\n", "if inches, 63.5"),  # 2.5 inches of 25.4 mm
        ("[tray]\nrim_above_medium_mm = 60\nrim_above_bench_mm = 60\n", "below the bench"),
        ("[tray]\ninside_lenght_mm = 500\n", "Perhaps inside_length_mm was meant"),
        ("[tray]\nplane = 'rim'\n", "belongs into the section [card]"),
        ("inside_length_mm = 500\n", "belongs into the section [tray]"),
        ("tray = 500\n", "Write [tray] on a line of its own"),
        ("[card]\nprinted_bar_mm = 3.9\n", "Measure the bar"),
        ("[canopy]\nheight_above_medium_mm = 900\n", "outside 1 to 600 mm"),
        ("[compare]\ncontrol = ''\n", "is empty"),
        ("[compare]\nprimary = 3\n", "Put it in quotes"),
        ("[drift]\nbaseline = 1\n", "at least 2"),
        ("[drift]\nbaseline = 2.5\n", "whole number"),
    ],
)
def test_each_mistake_has_its_advice(tmp_path, text, expected):
    assert expected in _error(tmp_path, text)


def test_a_slip_in_the_syntax_is_shown_with_its_line(tmp_path):
    told = _error(tmp_path, "[tray]\n\ninside_length_mm = 508,5\n")
    assert "line 3" in told
    assert "inside_length_mm = 508,5" in told
    assert "decimals have a point" in told


def test_text_in_another_encoding_is_refused(tmp_path):
    (tmp_path / "trial.toml").write_bytes("[compare]\ncontrol = 'früh'\n".encode("cp1252"))
    with pytest.raises(SettingsError, match="not UTF-8") as caught:
        read_settings(tmp_path)
    assert caught.value.exit_code is ExitCode.LISTS


def test_the_fingerprint_follows_what_changes_measurements_and_nothing_else(tmp_path):
    plain = Settings().fingerprint()
    compared = read_settings(_write(tmp_path, "[compare]\ncontrol = 'sparse'\n"))
    measured = read_settings(_write(tmp_path, "[card]\nprinted_bar_mm = 99\n"))
    same = read_settings(_write(tmp_path, "[card]\nprinted_bar_mm = 99.0\n"))
    assert compared.fingerprint() == plain
    assert measured.fingerprint() != plain
    assert measured.fingerprint() == same.fingerprint()
    assert len(plain) == 64
