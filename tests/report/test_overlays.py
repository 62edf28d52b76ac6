"""Overlays are drawn whatever was or was not measured."""

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from traymorph.errors import StoreError
from traymorph.model.card import ColourFit
from traymorph.model.masks import PlantMasks
from traymorph.model.metrics import METRICS
from traymorph.model.results import Measured
from traymorph.model.tray import FrontWall, TrayOpening, TrayOverhead, TraySide
from traymorph.model.trial import TraySize
from traymorph.model.viewpoint import Viewpoint
from traymorph.report import lettering
from traymorph.report.canvas import BLUE, INK, ORANGE, Canvas, Legend
from traymorph.report.files import save_picture
from traymorph.report.overlays import HeightLine, overhead_overlay, plain_overlay, side_overlay

CARD_MM = np.array([[0.0, 0.0], [120.0, 0.0], [120.0, 90.0], [0.0, 90.0]])
SIZE = TraySize(300.0, 160.0, 10.0, 50.0)
NOTHING = {name: Measured() for name in METRICS}
READ = {name: Measured((spec.low + spec.high) / 2, 1.25) for name, spec in METRICS.items()}
COLOUR = ColourFit(np.eye(3), 0.5, shows_colour=True)


def viewpoint(width, height):
    """A camera straight above the card, or straight before it: 1.25 mm per photo pixel."""
    matrix = np.array([[400.0, 0, width / 2], [0, 400.0, height / 2], [0, 0, 1]])
    return Viewpoint(
        matrix, np.zeros(2), np.eye(3), np.array([-60.0, -45.0, 500.0]), (width, height), 0.01, 1.0,
        focal_from_exif=True,
    )  # fmt: skip


def scene(*, shape=(150, 240), scale=2.0, plants=True):
    """A grey picture with a green block of leaf and a strip of stem."""
    leaf, stem = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    if plants:
        leaf[shape[0] // 5 : shape[0] // 2, shape[1] // 4 : -shape[1] // 4] = 1
        stem[shape[0] // 2 : shape[0] * 3 // 5, shape[1] // 4 : -shape[1] // 4] = 1
    rgb = np.full((*shape, 3), 150, np.uint8)
    rgb[leaf > 0] = (60, 140, 40)
    masks = PlantMasks(leaf, stem, scale, "drawn 1", np.zeros(shape, np.float32))
    eye = viewpoint(round(shape[1] * scale), round(shape[0] * scale))
    card_px = eye.project(np.column_stack([CARD_MM, np.zeros(4)]))
    return rgb, masks, eye, card_px


def overhead(metrics, title="T1", *, opening=True, **more):
    rgb, masks, eye, card_px = scene(**more)
    corners = np.array([[-90.0, -60.0], [210.0, -60.0], [210.0, 100.0], [-90.0, 100.0]])
    found = TrayOpening(corners, 50.0, 1.0, 1.0, 1.0, 1.0) if opening else None
    tray = TrayOverhead(rgb, masks, eye, SIZE, found, COLOUR)
    return overhead_overlay(tray, card_px, 70.0, title, metrics)


def side(metrics, title="T1", *, size=SIZE, profile=True, **more):
    rgb, masks, eye, card_px = scene(**more)
    tray = TraySide(masks, eye, size, FrontWall(40.0, 0.01, -90.0, 210.0, 1.0, 0.9))
    x = np.arange(-90.0, 210.0, 5.0)
    tops = eye.project(np.column_stack([x, np.full_like(x, -30.0), np.zeros_like(x)]))
    line = HeightLine(tops, abs(x - 60.0) < 100.0)
    if not profile:
        line = HeightLine(tops[:0], line.counts[:0])
    return side_overlay(tray, rgb, card_px, line, title, metrics)


def holds(image, colour):
    return bool((np.asarray(image) == colour).all(axis=2).any())


@pytest.mark.parametrize("draw", [overhead, side])
@pytest.mark.parametrize("metrics", [READ, NOTHING, {**READ, "canopy_height_p95_mm": Measured()}])
@pytest.mark.parametrize("plants", [True, False])
def test_whatever_was_measured_is_drawn(draw, metrics, plants):
    picture = draw(metrics, plants=plants)
    assert picture.width == 1600
    assert 300 < picture.height < 4000
    assert holds(picture, BLUE)
    assert holds(picture, ORANGE), "in the legend at least"


@pytest.mark.parametrize("draw", [overhead, side])
@pytest.mark.parametrize("shape", [(2, 2), (6, 8), (30, 12), (12, 30)])
def test_tiny_and_narrow_pictures_are_drawn_at_a_bearable_size(draw, shape):
    picture = draw(READ, shape=shape, scale=1.0)
    assert picture.width == 1600
    assert picture.height < 6_000


def test_a_sliver_of_a_picture_is_not_enlarged_beyond_measure():
    rgb = np.zeros((1000, 1000, 3), np.uint8)
    canvas = Canvas(rgb, 1.0, (500.0, 0.0, 502.0, 1000.0))
    assert canvas.rgb.shape[0] <= 2.5 * canvas.rgb.shape[1]


def test_without_opening_sizes_or_profile():
    assert overhead(NOTHING, opening=False).width == 1600
    assert side(NOTHING, size=TraySize(300.0, 160.0), profile=False).width == 1600
    rgb, masks, _, card_px = scene()
    assert plain_overlay(rgb, masks.scale, masks.plant, card_px, "T1").width == 1600


def test_ends_that_do_not_count_are_drawn_in_dashes(monkeypatch):
    drawn = []
    monkeypatch.setattr(
        Canvas,
        "path",
        lambda _self, points, colour, _units=1.5, *, closed=False, dashed=False: drawn.append(
            (points, dashed) if colour == INK and not closed else (np.empty((0, 2)), False)
        ),
    )
    side(READ, size=TraySize(300.0, 160.0))
    lines = [(len(points), dashed) for points, dashed in drawn if len(points)]
    # 60 columns of 5 mm, of which the middle 200 mm count; neighbouring lines share a point
    assert lines == [(12, True), (11, True), (39, False)]


@pytest.mark.parametrize(
    ("top_mm", "labels"), [(107.0, ["0 mm", "50", "100"]), (31.0, ["0 mm", "50"])]
)
def test_the_ruler_names_every_fifty_millimetres(monkeypatch, top_mm, labels):
    written = []
    monkeypatch.setattr(Canvas, "write", lambda _self, text, *_, **__: written.append(text))
    side({**READ, "canopy_height_p95_mm": Measured(top_mm, 2.0)})
    assert written[-len(labels) :] == labels, "after all lines, and nothing else beside the ruler"
    assert len(written) == len(labels) + 2


def test_a_legend_names_the_medium_only_where_it_is_drawn(monkeypatch):
    legends = []
    monkeypatch.setattr(
        Canvas, "finish", lambda _self, _title, _values, legend: legends.append(legend)
    )
    side(READ)
    side(READ, size=TraySize(300.0, 160.0))
    named = [any("medium" in entry.words for entry in legend) for legend in legends]
    assert named == [True, False]


def test_plants_keep_their_colour_and_the_rest_is_faded():
    rgb, masks, _, card_px = scene()
    picture = np.asarray(plain_overlay(rgb, masks.scale, masks.leaf, card_px, "T1"))
    zoom = 1600 / rgb.shape[1]

    def at(row, column):
        return picture[round((row + 0.5) * zoom), round((column + 0.5) * zoom)].tolist()

    assert at(50, 120) == [60, 140, 40]
    faded = at(130, 10)
    assert min(faded) > 170, "150 grey is mixed with the colour of paper"


def test_points_land_on_the_pixels_that_they_name():
    rgb = np.zeros((100, 200, 3), np.uint8)
    canvas = Canvas(rgb, 4.0, (-0.5, -0.5, 799.5, 399.5), width=1600)
    # 200 picture columns of 4 photo pixels on 1600 canvas columns: photo pixel n is 2n to 2n + 1.
    assert canvas.to_canvas(np.array([[0.0, 0.0], [399.5, 199.5]])) == pytest.approx(
        np.array([[0.5, 0.5], [799.5, 399.5]])
    )


def test_the_scale_bar_has_its_length_and_leaves_the_card_visible():
    rgb = np.full((100, 200, 3), 255, np.uint8)
    for card_left, expected_side in ((120.0, "left"), (0.0, "right")):
        canvas = Canvas(rgb, 1.0, (-0.5, -0.5, 199.5, 99.5), width=1600)
        card = np.array([[0.0, 60], [50, 60], [50, 99], [0, 99]])
        card[:, 0] += card_left
        canvas.scale_bar(6.0, 50.0, card)
        dark = (canvas.rgb[-40:-32] < 60).all(axis=(0, 2))
        columns = np.flatnonzero(dark)
        assert len(columns) == pytest.approx(300, abs=2)
        assert ("left" if columns.mean() < 800 else "right") == expected_side


@pytest.mark.parametrize("title", ["T1 ± 2 cm²", "🌱 字 <script> Trüb", "x" * 400, "", "מגש"])
def test_every_word_drawn_is_in_the_font_and_on_the_picture(monkeypatch, title):
    said = []
    real = ImageDraw.ImageDraw.text

    def text(self, xy, words, *args, font, **more):
        said.append((xy, words, font))
        return real(self, xy, words, *args, font=font, **more)

    monkeypatch.setattr(ImageDraw.ImageDraw, "text", text)
    overhead(NOTHING, title)
    side(READ, title)
    assert {"leaf area from above  not measured"} <= {words for _, words, _ in said}
    for (x, _), words, font in said:
        assert isinstance(font, ImageFont.FreeTypeFont)
        assert all(lettering.has_sign(sign) for sign in words), words
        assert x + font.getlength(words) <= 1600, words


def test_legends_break_into_rows_that_fit(monkeypatch):
    said = []
    monkeypatch.setattr(
        "traymorph.report.canvas.draw_text",
        lambda _draw, at, words, size, _fill: said.append((at, words, size)),
    )
    canvas = Canvas(np.zeros((20, 40, 3), np.uint8), 1.0, (0.0, 0.0, 40.0, 20.0))
    canvas.finish("", [], [Legend(ORANGE, f"a rather long entry, number {n}") for n in range(9)])
    rows = {at[1] for at, words, _ in said if words}
    assert len(rows) > 1
    for at, words, size in said:
        assert at[0] + lettering.text_length(words, size) <= 1600


class TestSaving:
    @pytest.mark.parametrize("suffix", [".jpg", ".png"])
    def test_folders_are_made_and_nothing_else_is_left(self, tmp_path, suffix):
        path = tmp_path / "a" / "b" / f"picture{suffix}"
        save_picture(Image.new("L", (8, 8)), path)
        assert [one.name for one in path.parent.iterdir()] == [path.name]
        with Image.open(path) as picture:
            assert picture.size == (8, 8)

    def test_a_place_that_cannot_be_written_is_one_clear_error(self, tmp_path):
        (tmp_path / "file").write_text("in the way")
        with pytest.raises(StoreError, match=r"picture\.jpg cannot be written"):
            save_picture(Image.new("L", (8, 8)), tmp_path / "file" / "picture.jpg")

    def test_what_was_there_stays_when_writing_fails(self, tmp_path, monkeypatch):
        path = tmp_path / "picture.png"
        path.write_bytes(b"before")

        def full(_self, _target):
            raise OSError(28, "No space left on device")

        monkeypatch.setattr("pathlib.Path.replace", full)
        with pytest.raises(StoreError, match="No space left"):
            save_picture(Image.new("L", (8, 8)), path)
        assert [one.name for one in tmp_path.iterdir()] == ["picture.png"]
        assert path.read_bytes() == b"before"
