"""Cut plants on a board: drawn pictures whose plant area is known."""

import cv2
import numpy as np
import pytest

from tests.segment.board_pictures import BOARDS, CROPS, MM_PER_PX, Picture, linear
from traymorph.errors import BoardError
from traymorph.segment.board import segment_board


def told(picture, ignore=None, **look):
    rgb, plant, stem = picture.shoot(**look)
    return segment_board(rgb, mm_per_px=MM_PER_PX, ignore=ignore), plant, stem


def dice(found, plant):
    a, b = found > 0.5, plant > 0.5
    return 2 * np.count_nonzero(a & b) / (a.sum() + b.sum())


def small(board, seed=1, **look):
    return Picture(62.0, 46.0, board=BOARDS[board], seed=seed, **look)


def one_plant(board, crop, **look):
    return small(board, **look).seedling(8, 23, crop, length=24)


def elsewhere_mm2(found, plant):
    """Plant found farther than 1.5 mm from any drawn plant."""
    near = cv2.dilate((plant > 0).astype(np.uint8), np.ones((25, 25), np.uint8)) > 0
    return float(found[~near].sum()) * MM_PER_PX**2


@pytest.mark.slow
@pytest.mark.parametrize("board", BOARDS)
@pytest.mark.parametrize("crop", ["green", "yellow", "purple", "red"])
def test_plants_of_any_colour_are_found_on_any_board(board, crop):
    result, plant, stem = told(one_plant(board, crop))
    assert dice(result.plant, plant) > 0.97
    assert result.plant.sum() == pytest.approx(plant.sum(), rel=0.05)
    assert np.mean(result.plant[stem > 0.9] > 0.5) > 0.9  # the stem is not lost
    assert "no_plants_on_board" not in result.flags


@pytest.mark.slow
@pytest.mark.parametrize("board", ["white", "grey", "blue"])
def test_nearly_black_plants_are_found(board):
    result, plant, _ = told(one_plant(board, "dark"))
    assert dice(result.plant, plant) > 0.95


@pytest.mark.slow
@pytest.mark.parametrize(("shadow", "soft_mm"), [(0.3, 0.8), (0.6, 1.5), (0.75, 0.4)])
def test_dull_blades_are_no_shade_of_a_white_board(shadow, soft_mm):
    """Grey leaves, with a tenth of the board's light; shade has a quarter or more."""
    picture = one_plant(
        "white", "dull", shadow=shadow, shadow_soft_mm=soft_mm, shadow_mm=(1.5, 1.5)
    )
    result, plant, _ = told(picture)
    assert dice(result.plant, plant) > 0.95


@pytest.mark.slow
@pytest.mark.parametrize(("shadow", "soft_mm"), [(0.3, 0.8), (0.6, 1.5)])
def test_grey_blades_too_wide_to_be_so_dark_a_shade_are_found(shadow, soft_mm):
    """With a fifth of a white board's light, as only narrow shade has."""
    picture = one_plant("white", "dim", shadow=shadow, shadow_soft_mm=soft_mm, shadow_mm=(1.5, 1.5))
    result, plant, _ = told(picture)
    assert dice(result.plant, plant) > 0.95


@pytest.mark.slow
@pytest.mark.parametrize("board", ["blue", "black", "grey"])
def test_nearly_white_stems_are_found(board):
    result, _, stem = told(one_plant(board, "pale"))
    assert np.mean(result.plant[stem > 0.9] > 0.5) > 0.95


def oval(x, y, length, width):
    t = np.linspace(0, 2 * np.pi, 400)
    return np.stack([x + length / 2 * np.cos(t), y + width / 2 * np.sin(t)], axis=-1)


def shoelace(points):
    x, y = points.T
    return abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))) / 2


@pytest.mark.slow
@pytest.mark.parametrize("board", ["white", "black"])
def test_area_of_drawn_shapes_with_holes_lobes_and_notches(board):
    """Against closed forms: pi/4 a b of an ellipse, Gauss's shoelace formula of a polygon."""
    picture = small(board, shadow=0.0)
    green = CROPS["green"][0]
    t = np.linspace(0, 2 * np.pi, 600, endpoint=False)
    lobed = 8 * (1 + 0.18 * np.cos(5 * t))
    lobes = np.stack([15 + lobed * np.cos(t), 14 + lobed * np.sin(t)], axis=-1)
    notched = np.array([[34, 4], [58, 4], [58, 22], [47, 12], [34, 22]], dtype=float)
    picture.shape(lobes, green, veins=0).shape(notched, green, veins=0)
    picture.shape(oval(30, 34, 36, 18), green, veins=0)
    picture.shape(oval(28, 34, 9, 6), BOARDS[board], plant=False, shadow=False, veins=0)
    result, _, _ = told(picture)
    area = shoelace(lobes) + shoelace(notched) + np.pi / 4 * (36 * 18 - 9 * 6)
    assert result.plant.sum() * MM_PER_PX**2 == pytest.approx(area, rel=0.01)


def root(picture):
    return picture.thread([(34, 40), (44, 43), (56, 41)], 0.4, [(240, 236, 226)] * 2, plant=False)


def hull(picture):
    return picture.leaf(45, 40, 5, 3, 20, (88, 66, 50), plant=False)


def crumbs(picture):
    for k in range(6):
        picture.leaf(8 + 9 * k, 41, 1.2, 0.9, 30 * k, (70, 54, 40), plant=False)
    return picture


def scratch(picture):
    ends = [(3, 42), (58, 38)]
    return picture.thread(ends, 0.25, [(214, 214, 212)] * 2, plant=False, shadow=False)


def drop(picture):
    ring = tuple(int(0.9 * v) for v in picture.board)
    picture.leaf(50, 40, 4, 4, 0, ring, plant=False)
    return picture.leaf(49.4, 39.5, 0.8, 0.5, 0, (250, 250, 250), plant=False)


def gloss(picture):
    y, x = np.ogrid[: picture.plant.shape[0], : picture.plant.shape[1]]
    away = ((x / picture.per_mm - 50) / 5) ** 2 + ((y / picture.per_mm - 41) / 2.5) ** 2
    light = 0.12 * np.exp(-away)[..., None] * (picture.plant == 0)[..., None]
    picture.colour = (picture.colour + light).astype(np.float32)
    return picture


@pytest.mark.slow
@pytest.mark.parametrize("thing", [root, hull, crumbs, scratch, drop, gloss])
@pytest.mark.parametrize("board", ["blue", "grey"])
def test_what_lies_about_is_no_plant(thing, board):
    result, plant, _ = told(thing(one_plant(board, "green")))
    assert elsewhere_mm2(result.plant, plant) < 1.0
    assert dice(result.plant, plant) > 0.96


@pytest.mark.slow
@pytest.mark.parametrize("board", ["white", "grey", "blue"])
@pytest.mark.parametrize("soft_mm", [0.0, 1.5])
def test_shadows_are_no_plant(board, soft_mm):
    picture = one_plant(board, "green", shadow=0.75, shadow_mm=(2.5, 3.0), shadow_soft_mm=soft_mm)
    result, plant, _ = told(picture)
    assert dice(result.plant, plant) > 0.95


@pytest.mark.slow
def test_the_bench_beyond_the_board_is_no_plant():
    picture = Picture(90.0, 70.0, board=BOARDS["white"])
    right = picture.colour[:, round(70 * picture.per_mm) :]
    right[:] = linear((150, 104, 66))
    picture.seedling(10, 35, "green", length=24)
    result, plant, _ = told(picture)
    assert elsewhere_mm2(result.plant, plant) < 1.0
    assert not result.board[:, round(80 / MM_PER_PX) :].any()


@pytest.mark.slow
def test_a_wedge_of_bench_beyond_a_slanting_edge_is_no_plant():
    """Narrower than anything that is told as bench by its width."""
    picture = Picture(90.0, 70.0, board=BOARDS["black"])
    wedge = np.array([[83, 0], [90, 0], [90, 70], [78, 70]], dtype=float)
    picture.shape(wedge, (150, 104, 66), plant=False, shadow=False)
    picture.seedling(10, 35, "green", length=24)
    result, plant, _ = told(picture)
    assert elsewhere_mm2(result.plant, plant) < 1.0
    assert not result.board[:, round(85 / MM_PER_PX) :].any()
    assert "board_unclear" not in result.flags


@pytest.mark.slow
def test_a_hand_is_left_out_and_said():
    picture = Picture(120.0, 90.0, board=BOARDS["white"]).seedling(10, 25, "green", length=24)
    arm = np.array([[70, 90], [70, 50], [80, 40], [100, 40], [112, 50], [112, 90]], dtype=float)
    picture.shape(arm, (214, 160, 130), plant=False)
    result, plant, _ = told(picture)
    assert "board_unclear" in result.flags
    assert elsewhere_mm2(result.plant, plant) < 5.0


def test_a_patterned_cloth_is_refused():
    picture = small("white")
    y, x = np.ogrid[: picture.plant.shape[0], : picture.plant.shape[1]]
    check = (np.floor(x / picture.per_mm / 3) + np.floor(y / picture.per_mm / 3)) % 2
    picture.colour *= (0.3 + 0.7 * check[..., None]).astype(np.float32)
    rgb, _, _ = picture.shoot()
    with pytest.raises(BoardError, match="pattern"):
        segment_board(rgb, mm_per_px=MM_PER_PX, ignore=None)


def test_an_empty_board_has_no_plants():
    result, _, _ = told(small("blue"))
    assert result.flags == ("no_plants_on_board",)
    assert result.plant.max() == 0


def test_a_hull_alone_is_no_plant():
    result, _, _ = told(hull(small("blue")))
    assert "no_plants_on_board" in result.flags
    assert result.plant.max() == 0


def test_plants_hardly_unlike_the_board_are_flagged():
    result, _, stem = told(one_plant("white", "pale"))
    assert "board_too_alike" in result.flags
    assert result.doubt[stem > 0.9].mean() > 0.1


@pytest.mark.slow
@pytest.mark.parametrize("shadow", [0.25, 0.5])
def test_a_stem_of_nearly_the_boards_colour_is_followed_to_its_cut(shadow):
    result, plant, stem = told(one_plant("white", "faint", shadow=shadow, shadow_mm=(0.3, 0.3)))
    assert np.mean(result.plant[stem > 0.9] > 0.5) > 0.9
    assert elsewhere_mm2(result.plant, plant) < 1.0
    assert "board_too_alike" in result.flags


def test_nothing_is_told_where_the_card_lies():
    picture = one_plant("white", "green").leaf(50, 8, 12, 8, 0, (70, 130, 40))
    ignore = np.zeros((picture.plant.shape[0] // 3, picture.plant.shape[1] // 3), dtype=bool)
    ignore[:120, 330:] = True
    result, _, _ = told(picture, ignore=ignore)
    assert result.plant[ignore].max() == 0
    assert result.plant.sum() > 0


def test_a_cloth_with_flowers_is_no_board():
    rgb, _, _ = one_plant("white", "green").shoot()
    scattered = np.random.default_rng(2)
    for number in range(48):
        hue = np.uint8([[[number % 8 * 22, 200, 200]]])
        colour = [int(c) for c in cv2.cvtColor(hue, cv2.COLOR_HSV2RGB)[0, 0]]
        place = scattered.integers([10, 10], [rgb.shape[1] - 10, rgb.shape[0] - 10])
        cv2.circle(rgb, [int(c) for c in place], 9, colour, -1)
    with pytest.raises(BoardError, match="many colours"):
        segment_board(rgb, mm_per_px=MM_PER_PX, ignore=None)
