"""Overlays of board photos: every plant has its number, and no number hides a plant."""

import numpy as np
import pytest

from traymorph.model.cut_plants import CutPlant
from traymorph.model.masks import PlantMasks
from traymorph.model.metrics import METRICS
from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.results import Measured, PlantSpread
from traymorph.model.viewpoint import Viewpoint
from traymorph.report.board_overlay import PlantsOnBoard, board_overlay
from traymorph.report.canvas import BLUE, INK, ORANGE, Canvas

SHAPE = (240, 320)  # of the picture and of the grid: one cell is one pixel, 0.5 mm
STEP_MM, HEIGHT_MM = 0.5, 400.0
SPREAD = {name: PlantSpread(12.3, 5) for name in METRICS}
READ = {name: Measured((spec.low + spec.high) / 2, 1.25) for name, spec in METRICS.items()}
GREEN, PALE, BOARD = (60, 140, 40), (200, 210, 170), (150, 152, 155)


def plant_at(x, y, *, flags=(), stem=True):
    """An upright plant 40 cells high: its cut at (x, y), its blade above the node."""
    leaf, stalk = np.zeros((41, 25), np.float32), np.zeros((41, 25), np.float32)
    leaf[:14, 2:-2] = 1
    stalk[14:, 11:14] = 1
    line = np.column_stack([np.full(27, x, float), np.arange(y, y - 27.0, -1.0)])
    box = (slice(y - 40, y + 1), slice(x - 12, x + 13))
    return CutPlant(box, leaf, stalk, line if stem else line[:0], 3.0, (), flags)


def board_of(plants):
    leaf, stem, left_out = (np.zeros(SHAPE, np.float32) for _ in range(3))
    for one in plants:
        leaf[one.box] += one.leaf
        stem[one.box] += one.stem
        if not one.stands_alone:
            left_out[one.box] += one.leaf + one.stem
    rgb = np.full((*SHAPE, 3), BOARD, np.uint8)
    rgb[leaf > 0], rgb[stem > 0] = GREEN, PALE
    matrix = np.array([[HEIGHT_MM / STEP_MM, 0, 0], [0, HEIGHT_MM / STEP_MM, 0], [0, 0, 1]])
    eye = Viewpoint(
        matrix, np.zeros(2), np.eye(3), np.array([0.0, 0.0, HEIGHT_MM]), SHAPE[::-1], 0.01, 1.0,
        focal_from_exif=True,
    )  # fmt: skip
    card_px = np.array([[220.0, 140.0], [310.0, 140.0], [310.0, 210.0], [220.0, 210.0]])
    masks = PlantMasks(leaf, stem, 1.0, "drawn 1", np.zeros(SHAPE, np.float32))
    grid = PlaneGrid(np.zeros(2), np.array([1.0, 0.0]), STEP_MM, SHAPE, 0.0)
    return PlantsOnBoard(rgb, masks, left_out, plants, grid, eye, card_px)


@pytest.fixture
def written(monkeypatch):
    """What is written on the photo: words, where, and which canvas pixels the plate changed."""
    said = []
    real = Canvas.write

    def write(self, text, at, **more):
        before = self.rgb.copy()
        real(self, text, at, **more)
        said.append((text, np.array(at), self, (before != self.rgb).any(axis=2)))

    monkeypatch.setattr(Canvas, "write", write)
    return said


def numbers_of(written):
    return [one for one in written if "mm" not in one[0]]


def holds(image, colour):
    return bool((np.asarray(image) == colour).all(axis=2).any())


ROW = [plant_at(x, 80) for x in (40, 90, 140, 190, 240)]
CROWD = [plant_at(x, y) for y in (60, 130) for x in range(14, 200, 26)]
AT_THE_EDGE = [plant_at(14, 236), plant_at(160, 236), plant_at(14, 44, stem=False)]


def test_plants_are_numbered_in_their_order_beside_their_cuts(written):
    board_overlay(board_of(ROW), "T1", READ, SPREAD)
    numbers = numbers_of(written)
    assert [text for text, *_ in numbers] == ["1", "2", "3", "4", "5"]
    for one, (_, at, canvas, _) in zip(ROW, numbers, strict=True):
        cut = canvas.to_canvas(one.centre_line[:1])[0]
        assert np.hypot(*(at - cut)) < 30 * canvas.unit
        assert at[1] > cut[1], "away from the plant, which stands above its cut"


@pytest.mark.parametrize("plants", [ROW, CROWD, AT_THE_EDGE])
def test_numbers_cover_neither_plants_nor_card_nor_each_other(written, plants):
    board = board_of(plants)
    board_overlay(board, "T1", READ, SPREAD)
    numbers = numbers_of(written)
    assert len(numbers) == len(plants)
    canvas = numbers[0][2]
    shape = numbers[0][3].shape
    kept_free = canvas.layer(board.masks.plant) >= 0.5
    corners = canvas.to_canvas(board.card_px)
    rows, columns = np.indices(shape)
    (left, top), (right, bottom) = corners.min(axis=0), corners.max(axis=0)
    kept_free |= (columns > left) & (columns < right) & (rows > top) & (rows < bottom)
    for text, _, _, plate in numbers:
        assert plate.any()
        assert not (plate & kept_free).any(), text
        kept_free |= plate


def test_a_plant_left_out_is_faded_and_says_why(written):
    plants = [
        plant_at(40, 80),
        plant_at(110, 80, flags=("plants_touch",), stem=False),
        plant_at(180, 80, flags=("plant_cut_off",)),
        plant_at(250, 80, flags=("stem_unclear",), stem=False),
    ]
    picture = np.asarray(board_overlay(board_of(plants), "T1", READ, SPREAD))
    numbers = numbers_of(written)
    assert [text for text, *_ in numbers] == [
        "1", "2: plants that touch", "3: cut off or covered", "4: stem not followed",
    ]  # fmt: skip
    canvas = numbers[0][2]
    greens, inks = [], []
    for one in plants:
        x, y = canvas.to_canvas(np.array([[one.box[1].start + 12.0, one.box[0].start + 7.0]]))[0]
        blade = picture[round(y) - 20 : round(y) + 20, round(x) - 20 : round(x) + 20]
        greens.append(bool((np.abs(blade.astype(int) - GREEN).max(axis=2) < 4).all()))
        inks.append(bool((blade == INK).all(axis=2).any()))
    assert greens == [True, False, False, True], "who counts keeps the full colour"
    assert inks == [False, True, True, False], "who does not is hatched"


def test_the_strip_holds_values_doubt_spread_and_number(monkeypatch):
    said = []
    real = Canvas.finish

    def finish(self, title, values, legend, swatch=None):
        said.append((title, values, [entry.words for entry in legend]))
        return real(self, title, values, legend, swatch)

    monkeypatch.setattr(Canvas, "finish", finish)
    read = {"stem_length_mm": Measured(43.714, 0.46), "leaf_area_mm2": Measured(280.3, 4.0)}
    spread = {"stem_length_mm": PlantSpread(4.75, 12), "leaf_area_mm2": PlantSpread(61.0, 12)}
    plants = [
        plant_at(40, 80),
        plant_at(110, 80, flags=("heap",), stem=False),
        plant_at(180, 80, flags=("plant_cut_off",)),
        plant_at(250, 80, flags=("plants_touch",), stem=False),
    ]
    board_overlay(board_of(plants), "T01  ·  a.jpg", read, spread)
    title, values, legend = said[0]
    assert title == "T01  ·  a.jpg  ·  1 plant measured, 1 left out, 2 groups left out"
    assert "stem length  43.71 ± 0.46 mm, spread 4.8" in values
    assert "leaf area a plant  280.3 ± 4.0 mm², spread 61" in values
    assert "stem : leaf  not measured" in values
    assert any(words.startswith("hatched") for words in legend)


def test_the_bar_is_as_long_as_its_words_say(monkeypatch):
    lengths = []
    monkeypatch.setattr(
        Canvas,
        "scale_bar",
        lambda self, per_mm, length, _card: lengths.append((per_mm, length, self)),
    )
    board_overlay(board_of(ROW), "T1", READ, SPREAD)
    per_mm, length, canvas = lengths[0]
    two = canvas.to_canvas(np.array([[0.0, 0.0], [1.0, 0.0]]))
    assert per_mm == pytest.approx((two[1, 0] - two[0, 0]) / STEP_MM, rel=1e-6)
    # less than 160 mm of board are seen
    assert length == 20.0


@pytest.mark.parametrize("metrics", [READ, {}])
@pytest.mark.parametrize(
    "plants", [[], ROW[:1], [plant_at(60, 90, flags=("no_node",), stem=False)]]
)
def test_whatever_was_measured_is_drawn(metrics, plants):
    picture = board_overlay(board_of(plants), "T1", metrics, {})
    assert picture.width == 1600
    assert 300 < picture.height < 4000
    assert holds(picture, BLUE), "in the legend at least"
    assert holds(picture, ORANGE) == (plants == ROW[:1]), "only where a stem is told"
