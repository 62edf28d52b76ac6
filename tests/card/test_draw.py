"""What is written to files: true scale, whole files, clear refusals."""

import xml.etree.ElementTree as ET

import cv2
import numpy as np
import pymupdf
import pytest
from PIL import Image

from traymorph.card.draw import card_picture, draw_card
from traymorph.card.layout import DICTIONARY, card_layout
from traymorph.errors import ExitCode, SettingsError, StoreError
from traymorph.model.card import CardRole

MM_PER_INCH = 25.4
MM_PER_POINT = MM_PER_INCH / 72


@pytest.mark.parametrize("role", list(CardRole))
def test_the_picture_shows_opencvs_markers_where_the_layout_says(role):
    """Outside check: pixel by pixel against cv2.aruco.generateImageMarker, 14 px per mm."""
    picture = card_picture(card_layout(role), 14 * MM_PER_INCH)
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    for marker_id, corners in card_layout(role).markers.items():
        left, top = np.round(corners[0] * 14).astype(int)
        expected = cv2.aruco.generateImageMarker(dictionary, marker_id, 210)
        assert np.array_equal(picture[top : top + 210, left : left + 210, 1], expected)


def test_opencv_reads_ids_and_corners_off_the_picture():
    """Outside check: OpenCV's detector on the drawing; pixel centres lie on whole numbers."""
    layout = card_layout(CardRole.SIDE)
    grey = cv2.cvtColor(card_picture(layout, 300), cv2.COLOR_RGB2GRAY)
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(DICTIONARY))
    quads, ids, _ = detector.detectMarkers(grey)
    found = dict(zip(np.ravel(ids).tolist(), quads, strict=True))
    assert set(found) == set(layout.markers)
    for marker_id, corners in layout.markers.items():
        expected = corners * 300 / MM_PER_INCH - 0.5
        assert np.abs(found[marker_id].reshape(4, 2) - expected).max() < 1.0


def test_patches_are_drawn_in_their_colours():
    layout = card_layout(CardRole.BOARD)
    picture = card_picture(layout, 300)
    for patch in layout.patches:
        x, y = np.round(patch.corners.mean(axis=0) * 300 / MM_PER_INCH).astype(int)
        assert tuple(picture[y, x]) == patch.rgb


@pytest.mark.parametrize("dpi", [150, 300])
def test_png_states_its_size(tmp_path, dpi):
    out = tmp_path / "card.png"
    draw_card(out, CardRole.OVERHEAD, dpi=dpi)
    with Image.open(out) as picture:
        # PNG keeps whole pixels per metre, so 300 dpi reads back as 299.9994.
        assert picture.info["dpi"] == pytest.approx((dpi, dpi), abs=0.02)
        size = np.array(picture.size) / picture.info["dpi"] * MM_PER_INCH
    assert size == pytest.approx(card_layout(CardRole.OVERHEAD).size, abs=MM_PER_INCH / dpi)


def test_svg_is_well_formed_and_in_mm(tmp_path):
    out = tmp_path / "card.svg"
    draw_card(out, CardRole.SIDE)
    root = ET.parse(out).getroot()  # noqa: S314 (our own file)
    layout = card_layout(CardRole.SIDE)
    assert (root.get("width"), root.get("height")) == ("120mm", "90mm")
    assert root.get("viewBox") == "0 0 120 90"
    words = [node.text for node in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "measure me: 100 mm" in words
    page = pymupdf.open(out)[0]
    raster = _raster(page, 14 * MM_PER_INCH)
    scale = raster.shape[1] / layout.size[0]
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    for marker_id, corners in layout.markers.items():
        middle = (np.arange(7) + 0.5) / 7 * 15
        x, y = ((corners[0][i] + middle) * scale for i in (0, 1))
        cells = raster[y.astype(int)[:, None], x.astype(int)[None, :]] < 128
        expected = cv2.aruco.generateImageMarker(dictionary, marker_id, 7) < 128
        assert np.array_equal(cells, expected)


def _raster(page, dpi):
    pixels = page.get_pixmap(dpi=round(dpi), colorspace=pymupdf.csGRAY)
    return np.frombuffer(pixels.samples, np.uint8).reshape(pixels.height, pixels.width)


def _bar_mm(page, dpi=600):
    """Length of the longest horizontal stretch of ink, measured in the rasterised page."""
    raster = _raster(page, dpi).astype(float)
    ink = 1.0 - raster / 255.0
    lengths = []
    for row in ink[ink.sum(axis=1) > 80 / MM_PER_INCH * dpi]:
        dark = np.flatnonzero(row > 0.5)
        runs = np.split(dark, np.flatnonzero(np.diff(dark) > 1) + 1)
        run = max(runs, key=len)
        if len(run) > 10:
            low, high = run[0], run[-1]
            # Pixels that an end covers in part count in part; the ink itself is not quite black.
            part = row[max(low - 1, 0) : high + 2]
            lengths.append(part.sum() / row[(low + high) // 2])
    return max(lengths) / dpi * MM_PER_INCH


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_pdf_is_at_true_scale(tmp_path, paper):
    """ISO 216 (A4: 210 x 297 mm) and ANSI/ASME Y14.1 (letter: 8.5 x 11 in); bar to 0.1 %."""
    out = tmp_path / "cards.pdf"
    draw_card(out, None, paper=paper)
    sheets = pymupdf.open(out)
    expected = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}[paper]
    assert len(sheets) == 2
    for page in sheets:
        size = (page.rect.width * MM_PER_POINT, page.rect.height * MM_PER_POINT)
        assert size == pytest.approx(expected, abs=0.1)
        assert _bar_mm(page) == pytest.approx(100.0, abs=0.1)


def test_pdf_asks_not_to_be_scaled_and_is_the_same_every_time(tmp_path):
    first, second = tmp_path / "a.pdf", tmp_path / "b.pdf"
    draw_card(first, None)
    draw_card(second, None)
    assert first.read_bytes() == second.read_bytes()
    assert b"/PrintScaling /None" in first.read_bytes()


def test_the_folding_sheet_holds_side_above_and_overhead_below_the_fold(tmp_path):
    out = tmp_path / "cards.pdf"
    draw_card(out, None)
    sheets = pymupdf.open(out)
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(DICTIONARY))
    raster = _raster(sheets[0], 150)
    quads, ids, _ = detector.detectMarkers(raster)
    height = {
        int(i): quad.reshape(4, 2)[:, 1].mean() for i, quad in zip(ids.ravel(), quads, strict=True)
    }
    fold = raster.shape[0] / 2
    assert set(height) == set(card_layout(CardRole.SIDE).markers) | set(
        card_layout(CardRole.OVERHEAD).markers
    )
    assert all(height[i] < fold for i in card_layout(CardRole.SIDE).markers)
    assert all(height[i] > fold for i in card_layout(CardRole.OVERHEAD).markers)
    _, ids, _ = detector.detectMarkers(_raster(sheets[1], 150))
    assert set(ids.ravel().tolist()) == set(card_layout(CardRole.BOARD).markers)


@pytest.mark.parametrize("role", list(CardRole))
def test_pdf_of_one_role_is_one_page_with_that_card(tmp_path, role):
    out = tmp_path / "card.pdf"
    draw_card(out, role)
    sheets = pymupdf.open(out)
    assert len(sheets) == 1
    assert str(role).upper() in sheets[0].get_text()


@pytest.mark.parametrize(
    ("name", "role", "options", "said"),
    [
        ("card.jpg", CardRole.SIDE, {}, ".pdf, .svg or .png"),
        ("card", CardRole.SIDE, {}, ".pdf, .svg or .png"),
        ("card.png", None, {}, "overhead, side or board"),
        ("card.svg", None, {}, "overhead, side or board"),
        ("card.pdf", None, {"paper": "a3"}, "a4 or letter"),
        ("card.png", CardRole.SIDE, {"dpi": 10}, "72 to 1200"),
    ],
)
def test_what_cannot_be_drawn_is_refused_in_one_sentence(tmp_path, name, role, options, said):
    with pytest.raises(SettingsError, match=said) as refused:
        draw_card(tmp_path / name, role, **options)
    assert refused.value.exit_code == ExitCode.LISTS
    assert list(tmp_path.iterdir()) == []


def test_a_failed_drawing_leaves_the_old_file_and_no_rest(tmp_path, monkeypatch):
    out = tmp_path / "card.png"
    out.write_bytes(b"old")

    def full_disk(*_args, **_options):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Image.Image, "save", full_disk)
    with pytest.raises(StoreError, match="No space left"):
        draw_card(out, CardRole.BOARD, dpi=100)
    assert out.read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["card.png"]
