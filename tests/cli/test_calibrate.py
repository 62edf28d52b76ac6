"""``traymorph calibrate``: a print is registered, shown, registered anew, or refused."""

import json

import numpy as np
import pytest
from PIL import Image

from tests.card.conftest import Lens, Look, Studio, place_card
from tests.card.prints import NAMES, NOMINAL
from tests.cli.running import TRIAL, table, traymorph
from tests.scenes.colour import linear_to_lab
from traymorph.model.card import CardRole

FILE = "card_colours.csv"
# Overcast daylight as a phone records it: nearly white, a little blue.
DAYLIGHT = {"light": (0.72, 0.75, 0.79), "tone": 0.15, "noise": 0.003}


def photograph(path, role=CardRole.OVERHEAD, **look):
    studio = Studio(Lens(2000, 1500), Look(**{**DAYLIGHT, **look}), seed=4)
    photo = studio.photograph((role, place_card(330, 6, 12)))
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = "2026:03:04 12:00:00"
    Image.fromarray(photo.rgb).save(path, quality=95, exif=exif)
    return path


@pytest.fixture(scope="module")
def daylight(tmp_path_factory):
    return photograph(tmp_path_factory.mktemp("photos") / "daylight.jpg")


def measured(path, change=lambda _name, lab: lab, leave_out=()):
    """A list as a person types it from an instrument: the design, changed."""
    lines = ["patch,l,a,b"]
    for name, lab in dict(zip(NAMES, linear_to_lab(NOMINAL), strict=True)).items():
        if name not in leave_out:
            lines.append(",".join([name, *(f"{value:.2f}" for value in change(name, lab))]))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.mark.slow
def test_a_daylight_photo_registers_the_print(tmp_path, daylight):
    outcome = traymorph("calibrate", tmp_path, "--photo", daylight)
    assert outcome.code == 0, outcome.stderr
    for name in set(NAMES):
        assert name in outcome.stdout
    assert "photo daylight.jpg of 2026-03-04" in outcome.stdout
    rows = table(tmp_path / FILE)
    assert {row["patch"] for row in rows} == set(NAMES)
    assert {row["role"] for row in rows} == {"overhead"}
    assert rows[0]["card_id"].startswith("print-")
    assert [path.name for path in tmp_path.iterdir()] == [FILE]


@pytest.mark.slow
def test_what_is_registered_is_shown(tmp_path, daylight):
    empty = traymorph("calibrate", tmp_path)
    assert empty.code == 0
    assert "No card is registered" in empty.stderr
    assert "as designed" in empty.stderr
    assert empty.stdout == ""
    registered = traymorph("calibrate", tmp_path, "--photo", daylight)
    assert traymorph("calibrate", tmp_path).stdout == registered.stdout


def test_json_holds_every_patch(tmp_path):
    lab = measured(tmp_path / "lab.csv", lambda name, lab: lab + np.eye(3)[0] * (name == "red"))
    outcome = traymorph("calibrate", tmp_path, "--lab", lab, "--card-id", "home", "--json")
    (one,) = json.loads(outcome.stdout)
    assert one["card_id"] == "home"
    assert one["role"] is None
    red = next(patch for patch in one["patches"] if patch["patch"] == "red")
    assert red["lab"][0] == pytest.approx(red["nominal_lab"][0] + 1.0, abs=0.02)
    assert 0.7 < red["de00"] < 1.3
    assert len(one["patches"]) == len(set(NAMES))


def test_a_wrong_patch_is_pointed_at(tmp_path):
    lab = measured(tmp_path / "lab.csv", lambda name, lab: -lab if name == "blue" else lab)
    outcome = traymorph("calibrate", tmp_path, "--lab", lab)
    assert outcome.code == 3
    lab = measured(tmp_path / "lab.csv", lambda name, lab: lab * (1, 1, 1 - 2 * (name == "blue")))
    outcome = traymorph("calibrate", tmp_path, "--lab", lab)
    assert outcome.code == 0
    assert "far from what was designed: blue." in outcome.stderr


def test_every_bad_row_of_typed_values_is_named_and_nothing_is_written(tmp_path):
    lab = measured(tmp_path / "lab.csv", leave_out=("cream", "brown"))
    lab.write_text(lab.read_text().replace("purple,", "purpel,", 1).replace("pink,", "pink,x"))
    outcome = traymorph("calibrate", tmp_path, "--lab", lab)
    assert outcome.code == 3
    for part in ('patch = "purpel"', 'l = "x', "lacks", "cream", "brown"):
        assert part in outcome.stderr
    assert not (tmp_path / FILE).exists()


@pytest.mark.slow
def test_other_cards_join_the_print_and_a_second_print_needs_a_name(tmp_path, daylight):
    traymorph("calibrate", tmp_path, "--photo", daylight, "--card-id", "home")
    side = photograph(tmp_path / "side.jpg", CardRole.SIDE)
    assert traymorph("calibrate", tmp_path, "--photo", side).code == 0
    assert {(row["card_id"], row["role"]) for row in table(tmp_path / FILE)} == {
        ("home", "overhead"),
        ("home", "side"),
    }
    before = (tmp_path / FILE).read_bytes()
    again = traymorph("calibrate", tmp_path, "--photo", daylight)
    assert again.code == 3
    assert "holds the overhead card already: home" in again.stderr
    assert "--card-id" in again.stderr
    assert (tmp_path / FILE).read_bytes() == before
    assert traymorph("calibrate", tmp_path, "--photo", daylight, "--card-id", "home").code == 0
    assert (tmp_path / FILE).read_bytes() == before
    assert traymorph("calibrate", tmp_path, "--photo", daylight, "--card-id", "new").code == 0
    assert {row["card_id"] for row in table(tmp_path / FILE)} == {"home", "new"}


BAD_PHOTOS = {
    "grow lamp": ({"light": (0.7, 0.07, 0.85)}, "not daylight"),
    "light bulb": ({"light": (0.95, 0.75, 0.45)}, "not daylight"),
    "blurred": ({"blur_px": 9.0}, "not sharp|markers|no reference card"),
    "shadow": ({"shadow": 0.5}, "unevenly|broken light|not seen clearly"),
    "burnt out": ({"light": (1.6, 1.6, 1.6)}, "burnt out"),
    "at night": ({"light": (0.05, 0.05, 0.05)}, "too dark|no reference card"),
}


@pytest.mark.slow
@pytest.mark.parametrize("case", BAD_PHOTOS)
def test_a_photo_that_cannot_serve_is_refused_in_a_sentence(tmp_path, case):
    look, words = BAD_PHOTOS[case]
    outcome = traymorph("calibrate", tmp_path, "--photo", photograph(tmp_path / "bad.jpg", **look))
    assert outcome.code == 5, outcome.stderr
    assert outcome.stderr.startswith("Error: bad.jpg: ")
    assert any(word in outcome.stderr for word in words.split("|")), outcome.stderr
    assert outcome.stdout == ""
    assert not (tmp_path / FILE).exists()


def test_a_photo_without_card_or_no_photo_at_all_is_refused(tmp_path):
    plain = tmp_path / "plain.jpg"
    Image.fromarray(np.full((1200, 1600, 3), 160, np.uint8)).save(plain)
    outcome = traymorph("calibrate", tmp_path, "--photo", plain)
    assert outcome.code == 5
    assert "no reference card" in outcome.stderr
    plain.write_bytes(b"Dear grower, this is no photo.\n" * 40)
    assert traymorph("calibrate", tmp_path, "--photo", plain).code == 4


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["--card-id", "home"], 2, "--card-id"),
        (["--photo", "not there.jpg"], 2, "not there.jpg"),
        (["--photo", str(TRIAL / "trays.csv"), "--lab", str(TRIAL / "trays.csv")], 2, "not both"),
        (["--lab", str(TRIAL / "trays.csv")], 3, "patch"),
    ],
)
def test_wrong_use_is_explained(tmp_path, arguments, code, words):
    outcome = traymorph("calibrate", tmp_path, *arguments)
    assert outcome.code == code
    assert words in outcome.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_strange_name_or_a_missing_folder_is_refused(tmp_path):
    lab = measured(tmp_path / "lab.csv")
    outcome = traymorph("calibrate", tmp_path, "--lab", lab, "--card-id", "=cmd()")
    assert outcome.code == 3
    assert '"=cmd()"' in outcome.stderr
    outcome = traymorph("calibrate", tmp_path / "no such", "--lab", lab)
    assert outcome.code == 3
    assert "no such" in outcome.stderr


@pytest.mark.slow
def test_the_printed_bar_of_the_trial_is_used(tmp_path, daylight):
    (tmp_path / "trial.toml").write_text("[card]\nprinted_bar_mm = 99.0\n")
    assert traymorph("calibrate", tmp_path, "--photo", daylight).code == 0
    (tmp_path / "trial.toml").write_text("[card]\nprinted_bar_mm = 10.0\n")
    assert traymorph("calibrate", tmp_path, "--photo", daylight).code == 3


@pytest.fixture(scope="module")
def one_tray(tmp_path_factory):
    """One overhead photo, measured with the card as designed: the folder and its row."""
    folder = tmp_path_factory.mktemp("used") / "trial"
    photos = folder / "photos" / "T01"
    photos.mkdir(parents=True)
    (folder / "trial.toml").write_bytes((TRIAL / "trial.toml").read_bytes())
    name = "T01_overhead.jpg"
    (photos / name).write_bytes((TRIAL / "photos" / "T01" / name).read_bytes())
    return folder, measured_row(folder)


def measured_row(folder):
    outcome = traymorph("measure", folder, "--workers", 1)
    assert outcome.code == 0, outcome.stderr
    (row,) = table(folder / "results" / "tray_metrics.csv")
    return row


@pytest.mark.slow
def test_measuring_aims_at_the_registered_colours(one_tray):
    """A print that is lighter by 4 than designed: leaves beside it are lighter by about as much."""
    folder, before = one_tray
    assert "card_nominal" in before["flags"].split()
    assert traymorph("calibrate", folder, "--lab", measured(folder / "same.csv")).code == 0
    same = measured_row(folder)
    assert "card_nominal" not in same["flags"].split()
    assert float(same["leaf_l"]) == pytest.approx(float(before["leaf_l"]), abs=0.1)
    lighter = measured(folder / "lighter.csv", lambda _name, lab: lab + 4.0 * np.eye(3)[0])
    (print_id,) = {row["card_id"] for row in table(folder / FILE)}
    assert traymorph("calibrate", folder, "--lab", lighter, "--card-id", print_id).code == 0
    after = measured_row(folder)
    assert float(after["leaf_l"]) - float(before["leaf_l"]) == pytest.approx(4.0, abs=1.5)
    assert "card_nominal" not in after["flags"].split()


@pytest.mark.slow
def test_of_two_prints_the_list_must_say_which_before_anything_is_measured(one_tray):
    folder, _ = one_tray
    (folder / FILE).unlink(missing_ok=True)
    for name in ("first", "second"):
        lab = measured(folder / "lab.csv")
        assert traymorph("calibrate", folder, "--lab", lab, "--card-id", name).code == 0
    outcome = traymorph("measure", folder, "--workers", 1)
    assert outcome.code == 3
    assert "first or second into the column card_id of trays.csv" in outcome.stderr
    (folder / "trays.csv").write_text(
        "tray_id,crop,treatment,block,batch,card_id\nT01,radish,a,1,1,second\n"
    )
    assert "card_nominal" not in measured_row(folder)["flags"].split()
