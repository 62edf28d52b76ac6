"""Tray labels are read off photos; other codes and damaged ones are not taken for them."""

from pathlib import Path

import cv2
import numpy as np
import pytest
import segno

from traymorph.intake.labels import read_labels
from traymorph.model.labels import label_text, tray_of_label
from traymorph.model.photo import CameraInfo, Photo


def code(text, px=6):
    """A code with its quiet zone, grey levels."""
    made = segno.make_qr(text, error="m", mode="byte", encoding="utf-8")
    cells = np.pad(np.array([list(row) for row in made.matrix], np.uint8), 4)
    return np.kron(255 - 255 * cells, np.ones((px, px), np.uint8)).astype(np.uint8)


def photo_of(*codes, size=(900, 1200), at=((60, 80), (500, 700))):
    grey = np.full(size, 120, np.uint8)
    for one, (row, column) in zip(codes, at, strict=False):
        grey[row : row + one.shape[0], column : column + one.shape[1]] = one
    return Photo(Path("p.jpg"), "", np.dstack([grey] * 3), CameraInfo())


def test_a_label_and_where_it_is():
    (label,) = read_labels(photo_of(code(label_text("T07"))))
    assert label.tray_id == "T07"
    expected = np.array([[104, 84], [254, 84], [254, 234], [104, 234]]) - 0.5
    assert np.abs(label.outline_px - expected).max() < 2.0
    assert label.middle_px == pytest.approx([178.5, 158.5], abs=1.5)


def test_two_labels_are_both_read():
    photo = photo_of(code(label_text("T07")), code(label_text("T08")))
    assert {label.tray_id for label in read_labels(photo)} == {"T07", "T08"}


def test_other_codes_are_not_labels():
    texts = ["https://example.org/T07", "T07", "traymorph", "TRAYMORPH TRAY T07", "traymorph tray "]
    for text in texts:
        assert read_labels(photo_of(code(text))) == ()


def test_a_photo_without_label_has_none():
    assert read_labels(photo_of()) == ()


def test_turned_labels_are_read():
    for turns in range(4):
        (label,) = read_labels(photo_of(np.rot90(code(label_text("T07")), turns)))
        assert label.tray_id == "T07"


def test_a_half_covered_code_is_not_guessed():
    covered = code(label_text("T07"))
    covered[:, covered.shape[1] // 2 :] = 255
    assert read_labels(photo_of(covered)) == ()


def test_names_are_one_text_however_their_accents_are_typed():
    assert tray_of_label(label_text("u\u0308")) == "ü"
    assert tray_of_label("something else") is None


@pytest.mark.slow
def test_labels_in_overhead_photos_from_500_to_700_mm():
    """Slant, blur and noise as hand-held phones give them; the rate stands in the photo guide."""
    draw = np.random.default_rng(5)
    read = 0
    for number in range(40):
        name = f"T{number:02d}"
        grey = seen_from(code(label_text(name), px=8), 1.45, draw)
        photo = Photo(Path("p.jpg"), "", np.dstack([grey] * 3), CameraInfo())
        found = {label.tray_id for label in read_labels(photo)}
        assert found <= {name}, "a wrong text was read"
        read += bool(found)
    assert read >= 38


def seen_from(drawn, module_mm, draw):
    """Photograph a printed code (8 px a module) with a 12-megapixel phone from 500 to 700 mm."""
    px_per_module = module_mm * 3004.0 / draw.uniform(500.0, 700.0)
    modules = drawn.shape[0] / 8
    half = modules * px_per_module / 2
    turn = draw.uniform(0, 2 * np.pi)
    corners = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    corners = corners @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    corners[:, 1] *= np.cos(np.radians(draw.uniform(0, 25)))
    corners *= 1 + draw.uniform(-0.04, 0.04, (4, 1))
    corners += np.array([300.0, 250.0]) + draw.uniform(-20, 20, 2)
    start = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * (drawn.shape[0] - 1.0)
    matrix = cv2.getPerspectiveTransform(start.astype(np.float32), corners.astype(np.float32))
    seen = np.full((500, 600), 110.0) + draw.normal(0, 25, (500, 600))
    paper = cv2.warpPerspective(drawn, matrix, (600, 500), flags=cv2.INTER_AREA, borderValue=0)
    where = cv2.warpPerspective(np.full_like(drawn, 255), matrix, (600, 500)) > 127
    lit = 0.15 * 255 + paper * 0.65
    seen[where] = lit[where]
    seen *= np.linspace(1.0, draw.uniform(0.6, 1.0), 600)
    seen = cv2.GaussianBlur(seen, (0, 0), draw.uniform(0.6, 1.6))
    seen += draw.normal(0, draw.uniform(2, 8), seen.shape)
    return np.clip(seen, 0, 255).astype(np.uint8)
