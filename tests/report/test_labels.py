"""Labels are read back from the printed page, at their size, and stay blind."""

from pathlib import Path

import numpy as np
import pymupdf
import pytest

from traymorph.errors import ListError
from traymorph.intake.labels import read_labels
from traymorph.model.photo import CameraInfo, Photo
from traymorph.report.labels import TrayLabel, module_mm, write_labels

STRANGE = ("T01", "Tablett 7 ü", "トレイ 12", 'a,b "c"', "поднос-3", "T 01/ß", "🌱1", "x" * 40)


def pages(path, dpi=150):
    """Every page as a photo."""
    with pymupdf.open(path) as document:
        for page in document:
            drawn = page.get_pixmap(dpi=dpi)
            rgb = np.frombuffer(drawn.samples, np.uint8).reshape(drawn.h, drawn.w, 3).copy()
            yield Photo(Path("page.png"), "", rgb, CameraInfo()), page.get_text()


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_codes_are_read_back_whatever_the_name(tmp_path, paper):
    write_labels(tmp_path / "l.pdf", [TrayLabel(name) for name in STRANGE], paper=paper)
    ((photo, _),) = pages(tmp_path / "l.pdf")
    assert {label.tray_id for label in read_labels(photo)} == set(STRANGE)


def test_a_code_measures_on_paper_what_is_stated(tmp_path):
    write_labels(tmp_path / "l.pdf", [TrayLabel("T01")])
    ((photo, _),) = pages(tmp_path / "l.pdf", dpi=254)  # 10 pixels are 1 mm
    (label,) = read_labels(photo)
    side = np.linalg.norm(label.outline_px[1] - label.outline_px[0]) / 10.0
    assert side == pytest.approx(25 * module_mm("T01"), abs=0.3)  # version 2 has 25 modules


def test_modules_are_large_enough_for_photos_from_700_mm():
    # 26 mm lens (35 mm equivalent), 4000 x 3000 pixels: 26 / 43.27 x 5000 = 3004 px focal length
    mm_per_px = 700.0 / (26.0 / np.hypot(36.0, 24.0) * 5000.0)
    for name in STRANGE:
        assert module_mm(name) / mm_per_px > 5.0


def test_ten_to_a_page_and_the_map_on_a_page_of_its_own(tmp_path):
    labels = [TrayLabel(f"T{number:02d}", ("radish",)) for number in range(1, 13)]
    write_labels(tmp_path / "l.pdf", labels, rack_map=["Block 1", "  shelf 1: [T01 15 g]"])
    drawn = list(pages(tmp_path / "l.pdf"))
    assert [len(read_labels(photo)) for photo, _ in drawn] == [0, 10, 2]
    assert "15 g" in drawn[0][1]
    assert not any("15 g" in text for _, text in drawn[1:])
    assert "T12" in drawn[2][1]


def test_names_too_long_for_a_code_are_all_named(tmp_path):
    labels = [TrayLabel("T01"), TrayLabel("y" * 70), TrayLabel("z" * 80)]
    with pytest.raises(ListError, match=r"y{70}, z{80}"):
        write_labels(tmp_path / "l.pdf", labels)
