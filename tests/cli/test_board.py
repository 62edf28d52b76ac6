"""Board photos through `traymorph measure`: from cut plants to tables."""

import json
import shutil
from math import sqrt

import numpy as np
import pytest
from PIL import Image

import traymorph as package
from tests.cli.running import table, traymorph
from tests.pipeline.board_photos import Board

pytestmark = pytest.mark.slow

LEFT, RIGHT = [31.0, 27.0, 33.0, 24.0], [22.0, 26.0, 24.0, 28.0, 25.0]
LISTS = {
    "trays.csv": (
        "tray_id,crop,treatment,block,batch,kind,lot,sown_on,cut_above_medium_mm\n"
        "T1,radish,own,1,a,tray,,2026-03-02,15\n"
        "P1,radish,bought,,a,pack,L7,,\n"
        "P2,radish,bought,,a,pack,L8,,\n"
        "E1,radish,empty,1,a,tray,,2026-03-02,\n"
    ),
    "photos.csv": (
        "photo,tray_id,view,taken_on,part\n"
        "T1.jpg,T1,board,2026-03-10,\n"
        "two.jpg,P1,board,2026-03-10,left\n"
        "two.jpg,P2,board,2026-03-10,right\n"
        "T1_again.jpg,T1,board,2026-03-10,\n"
        "empty.jpg,E1,,2026-03-10,\n"
    ),
    "outcomes.csv": (
        "tray_id,what,value,unit,on_date,n_plants\nT1,sample_fresh_weight,1.8,g,2026-03-10,18\n"
    ),
}


def laid_out(**look):
    """Nine seedlings, four of them left of the card's middle; none touches another."""
    board = Board(**look)
    board.row([20, 50, 80, 110], 46, LEFT)
    board.row([140, 170, 200, 230], 46, RIGHT[:4])
    return board.plant(230, 150, RIGHT[4])


@pytest.fixture(scope="module")
def board_photos(tmp_path_factory):
    """One board with its card and without, and the area of its blades. Not to be changed."""
    folder = tmp_path_factory.mktemp("drawn")
    board = laid_out()
    with_card = board.photograph(folder / "board.jpg")
    return with_card, board.photograph(folder / "bare.jpg", with_card=False), board.leaf_mm2


@pytest.fixture(scope="module")
def board_photo(board_photos):
    return board_photos[0]


@pytest.fixture(scope="module")
def bare_photo(board_photos):
    return board_photos[1]


@pytest.fixture(scope="module")
def board_run(tmp_path_factory, board_photo):
    """A trial of board photos, measured once. Not to be changed."""
    folder = tmp_path_factory.mktemp("board") / "trial"
    (folder / "photos").mkdir(parents=True)
    for name in ("T1.jpg", "T1_again.jpg", "two.jpg"):
        # Bytes behind the picture: a photo of its own, since a copy would not count.
        (folder / "photos" / name).write_bytes(board_photo.read_bytes() + name.encode())
    Board("black").photograph(folder / "photos" / "empty.jpg")
    for name, text in LISTS.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder, traymorph("measure", folder, "--masks", "--workers", 1)


@pytest.fixture
def board_trial(board_run, tmp_path):
    folder = tmp_path / "trial"
    shutil.copytree(board_run[0], folder)
    return folder


def rows_of(run, name):
    return {row["tray_id"]: row for row in table(run[0] / "results" / f"{name}.csv")}


def test_nothing_fails_and_each_sample_has_its_row(board_run):
    assert board_run[1].code == 0, board_run[1].stderr
    assert list(rows_of(board_run, "tray_metrics")) == ["T1", "P1", "P2", "E1"]


def test_stem_length_and_leaf_area_are_those_of_the_drawing(board_run, board_photos):
    rows = rows_of(board_run, "tray_metrics")
    # drawn flat: the lift of blades and stems is taken off all the same, 1.5 % of area at 260 mm
    for tray, lengths in (("T1", LEFT + RIGHT), ("P1", LEFT), ("P2", RIGHT)):
        length = float(rows[tray]["stem_length_mm"])
        assert length == pytest.approx(np.mean(lengths), rel=0.05), tray
        assert float(rows[tray]["stem_length_mm_sd"]) == pytest.approx(
            np.std(lengths, ddof=1), rel=0.15
        )
    leaf = float(rows["T1"]["leaf_area_mm2"])
    assert leaf == pytest.approx(board_photos[2] / 9, rel=0.06)


def test_photos_of_one_tray_are_pooled_and_parts_are_not(board_run):
    rows = rows_of(board_run, "tray_metrics")
    assert {tray: row["n_plants"] for tray, row in rows.items()} == {
        "T1": "18", "P1": "4", "P2": "5", "E1": "0",
    }  # fmt: skip
    for row in (rows["T1"], rows["P1"], rows["P2"]):
        n = int(row["n_plants"])
        assert float(row["stem_length_mm_se"]) == pytest.approx(
            float(row["stem_length_mm_sd"]) / sqrt(n), rel=1e-4
        )


def test_plants_have_rows_of_their_own(board_run):
    plants = table(board_run[0] / "results" / "plants.csv")
    count = {}
    for plant in plants:
        place = (plant["photo"], plant["tray_id"])
        count[place] = count.get(place, 0) + 1
        assert int(plant["plant"]) == count[place]
        assert plant["photographed_on"] == "2026-03-10"
    assert count == {
        ("T1.jpg", "T1"): 9,
        ("T1_again.jpg", "T1"): 9,
        ("two.jpg", "P1"): 4,
        ("two.jpg", "P2"): 5,
    }
    for plant in plants:
        assert float(plant["stem_length_mm_u"]) > 0
        assert float(plant["board_leaf_hue_deg"]) > 90
        # cut ends lie where they were drawn, from the card's corner
        assert float(plant["y_mm"]) == pytest.approx(-4, abs=2) or float(
            plant["y_mm"]
        ) == pytest.approx(100, abs=2)


def test_flags_of_trays_packs_and_empty_boards(board_run):
    flags = {tray: set(row["flags"].split()) for tray, row in rows_of(
        board_run, "tray_metrics").items()}  # fmt: skip
    missing = {"no_overhead_photo", "no_side_photo"}
    assert missing <= flags["T1"]
    assert not missing & (flags["P1"] | flags["P2"])
    assert "cut_differs" not in flags["T1"] | flags["P1"]
    assert "few_plants" in flags["P1"] & flags["P2"]
    assert "few_plants" not in flags["T1"]
    assert {"no_plants_on_board", "cut_differs"} <= flags["E1"]
    assert rows_of(board_run, "tray_metrics")["E1"]["stem_length_mm"] == ""
    assert "no_plants_on_board (E1" in board_run[1].stderr


def test_weight_of_the_sample(board_run):
    row = rows_of(board_run, "tray_metrics")["T1"]
    assert float(row["plant_weight_mg"]) == pytest.approx(100.0)
    per_gram = float(row["leaf_area_mm2"]) * 18 / 100 / 1.8
    assert float(row["leaf_area_per_gram_cm2"]) == pytest.approx(per_gram, rel=1e-4)
    assert float(row["plant_weight_mg_u"]) > 0


def test_a_changed_weight_is_taken_up(board_trial):
    text = LISTS["outcomes.csv"].replace("1.8,g", "3.6,g")
    (board_trial / "outcomes.csv").write_text(text)
    outcome = traymorph("measure", board_trial, "--masks", "--workers", 1)
    assert outcome.code == 0, outcome.stderr
    row = table(board_trial / "results" / "tray_metrics.csv")[0]
    assert float(row["plant_weight_mg"]) == pytest.approx(200.0)
    assert "3 trays are as when measured before" in outcome.stderr


def test_deleted_results_come_back_from_the_ledger(board_trial, monkeypatch):
    results = board_trial / "results"
    before = {path: path.read_bytes() for path in results.glob("*.csv")}
    assert {path.name for path in before} == {
        "tray_metrics.csv", "plants.csv", "photo_checks.csv", "data_dictionary.csv",
    }  # fmt: skip
    for path in before:
        path.unlink()

    def measure(job):
        pytest.fail(f"{job.sample.tray_id} was measured again")

    monkeypatch.setattr("traymorph.pipeline.run.measure_tray", measure)
    assert traymorph("measure", board_trial, "--masks").code == 0
    assert {path: path.read_bytes() for path in before} == before


def test_the_terminal_shows_means_with_their_standard_errors(board_run):
    lines = board_run[1].stdout.splitlines()
    assert "stem mm*" in lines[0]
    assert "plants" in lines[0]
    (of_pack,) = (line for line in lines if line.startswith("P1"))
    row = rows_of(board_run, "tray_metrics")["P1"]
    assert f"{float(row['stem_length_mm']):.1f} ± {float(row['stem_length_mm_se']):.1f}" in of_pack
    assert lines[-1].startswith("* mean over cut plants")


def test_json_holds_plants_and_spread(board_trial):
    outcome = traymorph("measure", board_trial, "--masks", "--json")
    content = json.loads(outcome.stdout)
    rows = table(board_trial / "results" / "plants.csv")
    assert len(content["plants"]) == len(rows) == 27
    for plant, row in zip(content["plants"], rows, strict=True):
        assert (plant["photo"], plant["tray_id"]) == (row["photo"], row["tray_id"])
        assert plant["stem_length_mm"] == pytest.approx(float(row["stem_length_mm"]), rel=1e-5)
        assert plant["flags"] == row["flags"].split()
    (tray,) = (tray for tray in content["trays"] if tray["tray_id"] == "T1")
    assert tray["n_plants"] == 18
    assert tray["stem_length_mm_sd"] > 0
    assert tray["stem_length_mm_se"] > 0


def test_two_samples_of_one_photo_have_pictures_of_their_own(board_run):
    results = board_run[0] / "results"
    names = {"T1", "T1_again", "P1_two", "P2_two", "empty"}
    assert {path.stem for path in (results / "overlays").iterdir()} == names
    masks = {}
    for path in (results / "masks").iterdir():
        with Image.open(path) as picture:
            masks[path.stem] = np.asarray(picture)
    assert set(masks) == names
    left, right = (np.isin(masks[f"{tray}_two"], (1, 2)) for tray in ("P1", "P2"))
    whole = np.isin(masks["T1"], (1, 2))
    assert not (left & right).any()
    assert np.array_equal(left | right, whole)
    middle = np.nonzero(masks["T1"] == 3)[1].mean()
    assert np.nonzero(left)[1].max() < middle < np.nonzero(right)[1].min()
    assert set(np.unique(masks["empty"])) == {0, 3}


def test_mask_photo_of_a_board(board_photo, board_run):
    classes = package.mask_photo(board_photo, view="board")
    with Image.open(board_run[0] / "results" / "masks" / "T1.png") as picture:
        assert np.array_equal(classes, np.asarray(picture))


def test_mask_photo_of_a_board_without_its_card(board_run, bare_photo, caplog):
    with Image.open(board_run[0] / "results" / "masks" / "T1.png") as picture:
        classes = np.asarray(picture)
    bare = package.mask_photo(bare_photo, view="board")
    assert any("uncalibrated" in record.getMessage() for record in caplog.records)
    assert set(np.unique(bare)) == {0, 1, 2}
    plant, other = np.isin(bare, (1, 2)), np.isin(classes, (1, 2))
    assert (plant & other).sum() / (plant | other).sum() > 0.9


def test_loose_board_photos(tmp_path, board_photo):
    outcome = traymorph("measure", board_photo, "--out", tmp_path / "out")
    assert outcome.code == 0, outcome.stderr
    (row,) = table(tmp_path / "out" / "tray_metrics.csv")
    assert row["n_plants"] == "9"
    assert "cut_differs" in row["flags"].split()
    assert len(table(tmp_path / "out" / "plants.csv")) == 9


# --- what cannot be measured


def failing(folder, board):
    """Measure a photo by itself; gives the outcome."""
    return traymorph("measure", board.photograph(folder / "bad.jpg"), "--workers", 1)


def test_a_patterned_cloth_is_refused_or_flagged(tmp_path):
    outcome = failing(tmp_path, laid_out(board="white").cloth())
    assert "Traceback" not in outcome.stderr
    refused = "bad.jpg" in outcome.stderr and outcome.code == 4
    assert refused or "board_unclear" in outcome.stderr


def test_a_card_that_lies_face_down_is_told(bare_photo):
    outcome = traymorph("measure", bare_photo)
    assert outcome.code == 5
    assert "no reference card is seen" in outcome.stderr
    assert "printed side up" in outcome.stderr


def test_a_plant_under_the_card_and_one_beyond_the_edge_do_not_count(tmp_path):
    board = Board().row([20, 50, 110, 140, 170, 200, 230], 46, [28.0] * 7)
    board.plant(80, 66, 30.0)  # its cut end lies under the card
    photo = board.photograph(tmp_path / "cut.jpg", height=170.0)
    outcome = traymorph("measure", photo, "--out", tmp_path / "out")
    assert outcome.code == 0, outcome.stderr
    plants = table(tmp_path / "out" / "plants.csv")
    cut_off = [plant for plant in plants if "plant_cut_off" in plant["flags"].split()]
    assert len(cut_off) >= 1
    (row,) = table(tmp_path / "out" / "tray_metrics.csv")
    assert int(row["n_plants"]) == len(plants) - len(cut_off)
    assert "plant_cut_off" in row["flags"].split()


def test_touching_plants_are_never_counted_as_one(tmp_path):
    board = Board().row([20, 50, 170, 200, 230], 46, [28.0] * 5)
    board.plant(100, 46, 30.0).plant(108, 46, 26.0)  # blades and stalks cross
    outcome = traymorph("measure", board.photograph(tmp_path / "t.jpg"), "--out", tmp_path / "out")
    assert outcome.code == 0, outcome.stderr
    plants = table(tmp_path / "out" / "plants.csv")
    counted = [p for p in plants if "plants_touch" not in p["flags"].split()]
    assert len(counted) in {5, 7}, "five stand alone; the pair is parted or left out"
    if len(counted) == 5:
        (row,) = table(tmp_path / "out" / "tray_metrics.csv")
        assert "plants_touch" in row["flags"].split()


def test_a_heap_gives_no_means(tmp_path):
    board = Board()
    for k in range(12):
        board.plant(25.0 + 6.0 * (k % 4), 70.0 + 9.0 * (k // 4), 30.0)
    outcome = traymorph("measure", board.photograph(tmp_path / "h.jpg"), "--out", tmp_path / "out")
    assert "Traceback" not in outcome.stderr
    if outcome.code == 0:
        (row,) = table(tmp_path / "out" / "tray_metrics.csv")
        assert row["n_plants"] == "0"
        assert row["stem_length_mm"] == row["leaf_area_mm2"] == ""
        assert {"heap", "plants_touch"} & set(row["flags"].split())
    else:
        assert outcome.code == 4
        assert "h.jpg" in outcome.stderr
