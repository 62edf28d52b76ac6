"""Typical plates out of photos: one scale, true colours, and a reason where there is none."""

import csv
import hashlib
import io
import math
import shutil
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

from tests.cli.running import TRIAL
from tests.pipeline.board_photos import Board
from traymorph.config.settings import Settings
from traymorph.config.tray_metrics import read_tray_metrics
from traymorph.model.comparison import Question
from traymorph.model.photo import View
from traymorph.model.plates import Plates
from traymorph.pipeline.plate_cuttings import canopy_top_mm
from traymorph.pipeline.plate_photos import TrialPhotos
from traymorph.pipeline.plates import typical_plates
from traymorph.pipeline.seen import see

CARD_MARKERS_APART_MM = 97.0
"""From the left edge of the card's top left marker to that of the top right one, as printed."""


def write(path, rows):
    path.parent.mkdir(parents=True, exist_ok=True)
    columns = list(dict.fromkeys(name for row in rows for name in row))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="")
        writer.writeheader()
        writer.writerows(rows)


def check(folder, photo, tray_id, view, **more):
    path = folder / "photos" / photo
    sha256 = hashlib.sha256(path.read_bytes()).hexdigest() if path.exists() else ""
    return {"photo": photo, "tray_id": tray_id, "view": view, "sha256": sha256, **more}


def results(folder, trays, checks):
    """What `measure` would have left behind."""
    write(folder / "results" / "tray_metrics.csv", trays)
    write(folder / "results" / "photo_checks.csv", checks)
    return folder


def plates_of(folder, **question) -> Plates:
    table = read_tray_metrics(folder / "results" / "tray_metrics.csv")
    return typical_plates(folder, table, Question(**question))


def picture(plate):
    image = Image.open(io.BytesIO(plate.jpeg))
    assert image.size == (plate.width_px, plate.height_px)
    return np.array(image)


def marker_distance_px(rgb):
    """Distance between the upper left corners of the card's two upper corner markers.

    Found by OpenCV's own detector, which knows nothing of plates.
    """
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(grey)
    by_id = {int(one): where.reshape(4, 2) for one, where in zip(ids.ravel(), corners, strict=True)}
    first = 10 * (min(by_id) // 10)
    return float(np.linalg.norm(by_id[first + 2][0] - by_id[first][0]))


@pytest.fixture(scope="module")
def boards(tmp_path_factory):
    """Cut plants on one board, photographed from two heights, once at a slant.

    Each photo stands for two samples: drawing a board is slow.
    """
    folder = tmp_path_factory.mktemp("boards")
    board = Board("blue").row([20, 45], 95, [25, 30]).row([200, 225], 95, [28, 45])
    for names, height, tilt in (("AB", 240.0, 0.0), ("CD", 290.0, 9.0)):
        shot = board.photograph(folder / "photos" / "shot.jpg", height=height, tilt_deg=tilt)
        for name in names:
            shutil.copy(shot, folder / "photos" / f"{name}.jpg")
        shot.unlink()
    trays = [
        {"tray_id": "A", "treatment": "15 g", "kind": "tray", "stem_length_mm": 29.0},
        {"tray_id": "B", "treatment": "15 g", "kind": "tray", "stem_length_mm": 30.0},
        {"tray_id": "C", "treatment": "30 g", "kind": "tray", "stem_length_mm": 44.0},
        {"tray_id": "D", "treatment": "", "kind": "pack", "stem_length_mm": 43.0},
    ]
    return results(folder, trays, [check(folder, f"{n}.jpg", n, "board") for n in "ABCD"])


@pytest.fixture(scope="module")
def of_boards(boards):
    return plates_of(boards, control="30 g", primary="stem_length_mm")


@pytest.fixture
def copied(boards, tmp_path):
    return shutil.copytree(boards, tmp_path / "trial")


def reasons(plates):
    return {(gap.treatment, gap.view): gap.reason for gap in plates.gaps}


@pytest.mark.slow
def test_treatments_and_packs_stand_side_by_side_in_one_frame(of_boards):
    assert [(p.treatment, p.tray_id, p.view) for p in of_boards.shown] == [
        ("30 g", "C", "board"),
        ("15 g", "A", "board"),
        ("pack", "D", "board"),
    ]
    assert of_boards.gaps == ()
    assert len({(p.width_px, p.height_px, p.px_per_mm) for p in of_boards.shown}) == 1
    assert all(len(p.jpeg) <= 120_000 and p.true_colour for p in of_boards.shown)
    assert "length of cut stems" in of_boards.rule
    assert "15 g: A" in of_boards.rule


@pytest.mark.slow
def test_the_card_in_a_plate_is_as_large_as_it_was_printed(of_boards):
    for plate in of_boards.shown:
        seen = marker_distance_px(picture(plate)) / plate.px_per_mm
        assert seen == pytest.approx(CARD_MARKERS_APART_MM, rel=0.01)


@pytest.mark.slow
def test_the_same_photos_give_the_same_bytes(boards, of_boards):
    again = plates_of(boards, control="30 g", primary="stem_length_mm")
    assert [p.jpeg for p in again.shown] == [p.jpeg for p in of_boards.shown]


@pytest.mark.slow
def test_bad_photos_are_gaps_with_a_reason_each(copied):
    photos = copied / "photos"
    (photos / "A.jpg").unlink()
    shutil.copy(photos / "B.jpg", photos / "C.jpg")
    plates = plates_of(copied, control="30 g", primary="stem_length_mm")
    assert [p.tray_id for p in plates.shown] == ["D"]
    told = reasons(plates)
    assert "There is no photo" in told["15 g", "board"]
    assert "A.jpg" in told["15 g", "board"]
    assert "is not the photo that was measured" in told["30 g", "board"]
    assert "15 g" not in plates.rule


@pytest.mark.slow
def test_text_and_cardless_photos_are_gaps(copied):
    Board("blue").row([20, 45], 95, [30, 30]).photograph(
        copied / "photos" / "C.jpg", with_card=False
    )
    (copied / "photos" / "A.jpg").write_text("not a picture")
    trays = [
        {"tray_id": name, "treatment": treatment, "kind": "tray", "stem_length_mm": 30}
        for name, treatment in (("A", "15 g"), ("C", "30 g"))
    ]
    results(copied, trays, [check(copied, f"{n}.jpg", n, "board") for n in "AC"])
    plates = plates_of(copied)
    assert plates.shown == ()
    assert plates.rule == ""
    told = reasons(plates)
    assert "text" in told["15 g", "board"]
    assert "card" in told["30 g", "board"]


def test_a_moved_folder_of_photos_is_gaps_only(tmp_path):
    trays = [
        {"tray_id": "A", "treatment": "15 g", "kind": "tray", "stem_length_mm": 30},
        {"tray_id": "C", "treatment": "30 g", "kind": "tray", "stem_length_mm": 40},
        {"tray_id": "D", "treatment": "", "kind": "pack", "stem_length_mm": 40},
    ]
    checks = [check(tmp_path, f"{name}.jpg", name, "board") for name in "ACD"]
    plates = plates_of(results(tmp_path, trays, checks))
    assert plates.shown == ()
    assert {gap.treatment for gap in plates.gaps} == {"15 g", "30 g", "pack"}
    assert all("There is no photo" in gap.reason for gap in plates.gaps)


def test_a_photo_that_failed_at_measuring_says_so_again(tmp_path):
    trays = [{"tray_id": "A", "treatment": "15 g", "kind": "tray", "stem_length_mm": 30}]
    failed = check(tmp_path, "A.jpg", "A", "board", error="The board is patterned.")
    plates = plates_of(results(tmp_path, trays, [failed]))
    assert reasons(plates) == {("15 g", "board"): "The board is patterned."}


@pytest.mark.slow
def test_a_treatment_without_a_photo_of_a_view_is_named(copied):
    trays = [
        {"tray_id": name, "treatment": treatment, "kind": "tray", "stem_length_mm": 30}
        for name, treatment in (("A", "15 g"), ("C", "30 g"), ("D", "30 g"))
    ]
    results(copied, trays, [check(copied, "D.jpg", "D", "board")])
    plates = plates_of(copied)
    # C comes first by name but has no photo; nobody has one from above: that is no gap
    assert [(p.treatment, p.tray_id) for p in plates.shown] == [("30 g", "D")]
    assert list(reasons(plates)) == [("15 g", "board")]
    assert "on the board" in reasons(plates)["15 g", "board"]


def test_nothing_measured_gives_nothing(tmp_path):
    write(
        tmp_path / "results" / "tray_metrics.csv",
        [{"tray_id": "A", "treatment": "15 g", "stem_length_mm": 30}],
    )
    assert plates_of(tmp_path) == Plates("", (), ())


@pytest.mark.slow
def test_two_samples_in_one_photo_are_parted_at_the_card(tmp_path):
    board = Board("blue")
    board.row([20, 45], 95, [30, 35]).row([205, 230], 95, [30, 40])
    board.photograph(tmp_path / "photos" / "both.jpg", tilt_deg=3.0)
    write(
        tmp_path / "photos.csv",
        [
            {"photo": "both.jpg", "tray_id": "L", "view": "board", "part": "left"},
            {"photo": "both.jpg", "tray_id": "R", "view": "board", "part": "right"},
        ],
    )
    trays = [
        {"tray_id": name, "treatment": name, "kind": "tray", "stem_length_mm": 30} for name in "LR"
    ]
    results(tmp_path, trays, [check(tmp_path, "both.jpg", name, "board") for name in "LR"])
    left, right = plates_of(tmp_path).shown
    for plate in (left, right):
        rgb = picture(plate).astype(int)
        green = (rgb[..., 1] > rgb[..., 0] + 15) & (rgb[..., 1] > rgb[..., 2] + 15)
        # two plants, and not the other two
        _, _, stats, _ = cv2.connectedComponentsWithStats(green.astype(np.uint8))
        large = stats[1:, cv2.CC_STAT_AREA] > 0.3 * stats[1:, cv2.CC_STAT_AREA].max()
        assert large.sum() == 2
    assert not np.array_equal(picture(left), picture(right))


@pytest.mark.slow
def test_a_pack_is_shown_flat_but_without_a_scale(copied):
    trays = [{"tray_id": "D", "treatment": "bought", "kind": "pack", "pack_green_share": 0.4}]
    results(copied, trays, [check(copied, "D.jpg", "D", "pack")])
    (plate,) = plates_of(copied).shown
    assert (plate.treatment, plate.view) == ("bought", "pack")
    assert math.isnan(plate.px_per_mm)
    assert plate.true_colour


@pytest.mark.slow
def test_where_the_light_forbids_colour_the_photo_is_shown_as_it_is(copied, monkeypatch):
    def see_under_a_grow_lamp(*arguments):
        seen = see(*arguments)
        colour = replace(seen.sighting.colour, matrix=np.eye(3) * 0.5, shows_colour=False)
        return replace(seen, sighting=replace(seen.sighting, colour=colour))

    trays = [{"tray_id": "A", "treatment": "15 g", "kind": "tray", "stem_length_mm": 30}]
    results(copied, trays, [check(copied, "A.jpg", "A", "board")])
    monkeypatch.setattr("traymorph.pipeline.plates.see", see_under_a_grow_lamp)
    (plate,) = plates_of(copied).shown
    assert not plate.true_colour
    photo = np.asarray(Image.open(copied / "photos" / "A.jpg"))
    # the board fills most of both: its colour is that of the photo, not half of it
    assert np.median(picture(plate), axis=(0, 1)) == pytest.approx(
        np.median(photo, axis=(0, 1)), abs=12
    )


def test_of_several_days_the_last_is_shown(tmp_path):
    write(
        tmp_path / "photos.csv",
        [
            {"photo": "early.jpg", "tray_id": "A", "view": "board", "taken_on": "2026-03-08"},
            {"photo": "late.jpg", "tray_id": "A", "view": "board", "taken_on": "2026-03-12"},
            {"photo": "failed.jpg", "tray_id": "A", "view": "board", "taken_on": "2026-03-13"},
        ],
    )
    names = ("early.jpg", "late.jpg", "failed.jpg")
    for name in names:
        (tmp_path / "photos").mkdir(exist_ok=True)
        (tmp_path / "photos" / name).write_bytes(b"never opened")
    checks = [check(tmp_path, name, "A", "board") for name in names]
    checks[2]["error"] = "no card"
    results(tmp_path, [{"tray_id": "A"}], checks)
    photos = TrialPhotos(tmp_path, Settings())
    assert [one.name for one in photos.latest("A", View.BOARD)] == ["late.jpg"]
    assert len(photos.of("A", View.BOARD)) == 3


def test_photos_are_known_from_the_lists_where_results_do_not_name_them(tmp_path):
    (tmp_path / "photos" / "T1").mkdir(parents=True)
    (tmp_path / "photos" / "T1" / "a.jpg").write_bytes(b"never opened")
    (tmp_path / "photos" / "b.jpg").write_bytes(b"never opened")
    write(tmp_path / "photos.csv", [{"photo": "b.jpg", "tray_id": "T2", "view": "side"}])
    photos = TrialPhotos(tmp_path, Settings())
    assert [one.name for one in photos.of("T2", View.SIDE)] == ["b.jpg"]
    # the view of T1/a.jpg is written on its card alone, which nobody has read yet
    assert photos.of("T1", View.OVERHEAD) == ()


@pytest.mark.parametrize(
    ("tops", "p95", "expected"),
    [
        ([80.0, 90.0, 85.0, math.nan], math.nan, 90.0),
        ([80.0, 110.0, 85.0], 90.0, 110.0),  # one tall plant is shown whole
        ([80.0, 290.0, 85.0], math.nan, 1.6 * 85.0),  # greenery behind one column
        ([290.0, 290.0, 85.0], 90.0, 1.25 * 90.0),  # and behind most of them
        ([math.nan, math.nan], 90.0, 90.0),
        ([math.nan], math.nan, 0.0),
    ],
)
def test_plates_from_the_side_reach_to_the_plants_and_not_up_a_green_backdrop(tops, p95, expected):
    assert canopy_top_mm(np.array(tops), p95) == pytest.approx(expected)


@pytest.fixture(scope="module")
def of_trays(tmp_path_factory):
    """The small trial of rendered trays, with the results that its geometry gives."""
    folder = tmp_path_factory.mktemp("trays") / "trial"
    shutil.copytree(TRIAL, folder)
    trays = [
        {"tray_id": "T01", "treatment": "15 g", "kind": "tray", "canopy_height_mm": 92.0},
        {"tray_id": "T02", "treatment": "30 g", "kind": "tray", "canopy_height_mm": 96.0},
    ]
    checks = [
        check(folder, f"{path.parent.name}/{path.name}", path.parent.name, path.stem[4:])
        for path in sorted((folder / "photos").glob("*/*.jpg"))
    ]
    return plates_of(results(folder, trays, checks))


def of_view(plates, view):
    return [plate for plate in plates.shown if plate.view == view]


@pytest.mark.slow
def test_trays_are_shown_from_above_and_from_the_side(of_trays):
    assert [(p.treatment, p.view) for p in of_trays.shown] == [
        ("15 g", "overhead"),
        ("30 g", "overhead"),
        ("15 g", "side"),
        ("30 g", "side"),
    ]
    assert of_trays.gaps == ()
    for view in ("overhead", "side"):
        sizes = {(p.width_px, p.height_px, p.px_per_mm) for p in of_view(of_trays, view)}
        assert len(sizes) == 1


@pytest.mark.slow
def test_the_canopy_from_above_is_as_wide_as_the_tray_and_its_overhang(of_trays):
    # radish sown to the rim of a tray of 500 x 250 mm covers it and hangs over by 0 to 60 mm
    for plate in of_view(of_trays, "overhead"):
        rgb = picture(plate).astype(int)
        green = rgb[..., 1] > rgb[..., [0, 2]].max(axis=2) + 12
        for axis, inside in ((0, 500.0), (1, 250.0)):
            along = green.mean(axis=axis)
            seen = np.flatnonzero(along > 0.5 * np.median(along[along > 0.1]))
            length = (seen.max() - seen.min() + 1) / plate.px_per_mm
            assert inside - 5.0 <= length <= inside + 120.0


@pytest.mark.slow
def test_the_front_wall_stands_level_at_one_height_and_is_as_long_as_the_tray(of_trays):
    for plate in of_view(of_trays, "side"):
        rgb = picture(plate)
        dark = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY) < 90
        wall = dark[-round(6 * plate.px_per_mm)]  # a row of the wall, 6 mm above the plate's foot
        seen = np.flatnonzero(wall)
        length = (seen.max() - seen.min() + 1) / plate.px_per_mm
        # the wall's outside is a rim's width longer than the inside, on either side
        assert 500.0 <= length <= 524.0
        assert math.isclose((seen.max() + seen.min()) / 2, plate.width_px / 2, abs_tol=8)
