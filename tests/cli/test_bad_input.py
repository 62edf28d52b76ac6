"""Bad input: one clear sentence, the right exit code, nothing half-written, the rest measured."""

import numpy as np
import pytest
from PIL import Image

from tests.cli.running import TRIAL, copy_trial, table, traymorph

T01_OVERHEAD = TRIAL / "photos" / "T01" / "T01_overhead.jpg"
T01_SIDE = TRIAL / "photos" / "T01" / "T01_side.jpg"
T02_OVERHEAD = TRIAL / "photos" / "T02" / "T02_overhead.jpg"


def changed(photo, to, change):
    """Save a changed copy with the EXIF data kept."""
    with Image.open(photo) as picture:
        pixels = np.array(picture)
        exif = picture.getexif().tobytes()
    change(pixels)
    to.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(pixels).save(to, quality=90, exif=exif)


def card_box(truth):
    corners = np.array(truth["T01"]["overhead_card_px"])
    left, top = np.floor(corners.min(axis=0)).astype(int) - 3
    right, bottom = np.ceil(corners.max(axis=0)).astype(int) + 3
    return top, bottom, left, right


def add(folder, tray_id, line_of="T01"):
    """Add a tray like another to trays.csv; gives the folder for its photos."""
    trays = folder / "trays.csv"
    text = trays.read_text(encoding="utf-8")
    like = next(line for line in text.splitlines() if line.startswith(line_of))
    trays.write_text(text + like.replace(line_of, tray_id, 1) + "\n", encoding="utf-8")
    return folder / "photos" / tray_id


@pytest.fixture(scope="module")
def mixed(tmp_path_factory, truth):
    """A trial with one of every bad photo among good ones, measured once."""
    folder = copy_trial(tmp_path_factory.mktemp("mixed") / "trial")
    (folder / "photos" / "T01" / "T01_overhead.jpg").unlink()
    (folder / "photos" / "T02" / "T02_side.jpg").unlink()
    top, bottom, left, right = card_box(truth)

    def hide_card(pixels):
        pixels[top:bottom, left:right] = pixels[top:bottom, left - 30 : left - 29]

    def hide_half(pixels):
        middle = (left + right) // 2 - 30
        pixels[top:bottom, middle:right] = pixels[top:bottom, right + 5 : right + 6]

    def second_card(pixels):
        card = pixels[top:bottom, left:right].copy()
        pixels[5 : 5 + bottom - top, 5 : 5 + right - left] = card

    changed(T01_OVERHEAD, add(folder, "no card") / "nocard.jpg", hide_card)
    changed(T01_OVERHEAD, add(folder, "half a card") / "half.jpg", hide_half)
    changed(T01_OVERHEAD, add(folder, "two cards") / "two.jpg", second_card)
    for tray_id, name, content in (
        ("cut short", "short.jpg", T01_OVERHEAD.read_bytes()[:90_000]),
        ("a text", "letter.jpg", b"Dear grower, this is no photo.\n" * 40),
        ("nothing", "empty.jpg", b""),
    ):
        place = add(folder, tray_id) / name
        place.parent.mkdir()
        place.write_bytes(content)
    contradiction = add(folder, "contradiction") / "contradiction.jpg"
    contradiction.parent.mkdir()
    contradiction.write_bytes(T01_SIDE.read_bytes() + b"\0")  # no copy of tray T01's
    add(folder, "no photo at all")
    (folder / "photos" / "stray.jpg").write_bytes(T01_OVERHEAD.read_bytes())
    (folder / "photos.csv").write_text(
        "photo,tray_id,view\ncontradiction/contradiction.jpg,contradiction,overhead\n"
    )
    return folder, traymorph("measure", folder, "--workers", 1)


def test_a_reason_that_many_share_stands_once(tmp_path):
    (tmp_path / "photos").mkdir()
    for name in ("letter.jpg", "1/note.jpg"):
        place = tmp_path / "photos" / name
        place.parent.mkdir(exist_ok=True)
        place.write_bytes(name.encode() * 20)
    rows = "".join(f"{tray},radish,15 g,1,1\n" for tray in ("1", "T02", "T03", "T04"))
    (tmp_path / "trays.csv").write_text(f"tray_id,crop,treatment,block,batch\n{rows}")
    outcome = traymorph("measure", tmp_path, "--workers", 1)
    lines = [line for line in outcome.stderr.splitlines() if line.startswith("Not measured")]
    assert lines[:2] == [
        "Not measured: letter.jpg holds text, not a picture. Put the photo itself in its place.",
        "Not measured: 1/note.jpg holds text, not a picture. Put the photo itself in its place.",
    ]
    assert lines[2].startswith("Not measured: Tray T02 is listed but has no photo. Put its photos")
    assert lines[3:] == ["Not measured, for the same reason: T03, T04"]


@pytest.mark.slow
class TestMixedFailures:
    def test_exit_code_says_that_some_failed(self, mixed):
        assert mixed[1].code == 9

    @pytest.mark.parametrize(
        ("name", "words"),
        [
            ("no card/nocard.jpg", "no reference card"),
            ("half a card/half.jpg", "markers"),
            ("two cards/two.jpg", "two overhead cards"),
            ("cut short/short.jpg", "is cut short"),
            ("a text/letter.jpg", "holds text"),
            ("nothing/empty.jpg", "is empty"),
            ("contradiction/contradiction.jpg", "side card"),
            ("no photo at all", "no photo"),
            ("stray.jpg", "nothing says which tray it shows"),
        ],
    )
    def test_each_failure_is_one_line_that_names_it(self, mixed, name, words):
        lines = [line for line in mixed[1].stderr.splitlines() if name in line]
        assert len(lines) == 1, mixed[1].stderr
        assert lines[0].startswith("Not measured: ")
        assert words in lines[0].replace(name, "").lower()

    def test_no_failure_shows_the_program_s_insides(self, mixed):
        assert "Traceback" not in mixed[1].stderr
        assert "Error(" not in mixed[1].stderr

    def test_card_failures_are_told_apart(self, mixed):
        errors = {row["photo"]: row["error"] for row in checks(mixed)}
        cards = [errors[f"{one}"] for one in (
            "no card/nocard.jpg", "half a card/half.jpg", "two cards/two.jpg"
        )]  # fmt: skip
        assert all(cards)
        assert len({error.split(":", 1)[-1] for error in cards}) == 3

    def test_other_trays_are_measured(self, mixed):
        rows = {row["tray_id"]: row for row in table(mixed[0] / "results" / "tray_metrics.csv")}
        assert set(rows) == {"T01", "T02"}
        assert "no_overhead_photo" in rows["T01"]["flags"].split()
        assert rows["T01"]["canopy_cover_pct"] == ""
        assert float(rows["T01"]["canopy_height_mm"]) > 0
        assert "no_side_photo" in rows["T02"]["flags"].split()
        assert rows["T02"]["canopy_height_mm"] == ""
        assert float(rows["T02"]["canopy_cover_pct"]) > 0

    def test_every_photo_has_its_check(self, mixed):
        rows = checks(mixed)
        assert len(rows) == 10
        assert sum(bool(row["error"]) for row in rows) == 8
        (stray,) = (row for row in rows if row["photo"] == "stray.jpg")
        assert stray["tray_id"] == ""

    def test_nothing_is_left_half_written(self, mixed):
        overlays = {path.name for path in (mixed[0] / "results" / "overlays").iterdir()}
        assert overlays == {"T01_side.jpg", "T02_overhead.jpg"}


def checks(mixed):
    return table(mixed[0] / "results" / "photo_checks.csv")


def only(folder, *names):
    """Leave these photos in a trial without lists."""
    (folder / "trays.csv").unlink()
    for path in (folder / "photos").rglob("*.jpg"):
        if path.name not in names:
            path.unlink()


def test_nothing_measured_and_one_cause_gives_its_code(fresh, truth):
    only(fresh)
    top, bottom, left, right = card_box(truth)

    def hide_card(pixels):
        pixels[top:bottom, left:right] = 180

    changed(T01_OVERHEAD, fresh / "photos" / "T01" / "nocard.jpg", hide_card)
    assert traymorph("measure", fresh).code == 5
    (fresh / "photos" / "T01" / "nocard.jpg").write_bytes(b"")
    assert traymorph("measure", fresh).code == 4


def test_nothing_measured_and_two_causes_gives_the_mixed_code(fresh, truth):
    only(fresh)
    top, bottom, left, right = card_box(truth)

    def hide_card(pixels):
        pixels[top:bottom, left:right] = 180

    changed(T01_OVERHEAD, fresh / "photos" / "T01" / "nocard.jpg", hide_card)
    (fresh / "photos" / "T02" / "empty.jpg").write_bytes(b"")
    outcome = traymorph("measure", fresh, "--workers", 1)
    assert outcome.code == 9
    assert outcome.stdout == ""


def test_one_photo_of_two_trays_gives_neither_the_other_s_numbers(fresh):
    only(fresh, "T01_side.jpg")
    lines = ["photo,tray_id,view,part"]
    lines += [f"T01/T01_side.jpg,{part},side,{part}" for part in ("left", "right")]
    set_list(fresh, "photos.csv", "\n".join(lines) + "\n")
    outcome = traymorph("measure", fresh, "--workers", 1)
    assert outcome.code == 4
    for part in ("left", "right"):
        assert f"T01/T01_side.jpg: listed as its {part} part" in outcome.stderr


def test_a_missing_view_alone_is_no_failure(measured):
    only(measured, "T02_side.jpg")
    outcome = traymorph("measure", measured, "--workers", 1)
    assert outcome.code == 0, outcome.stderr
    assert "no_overhead_photo" in outcome.stderr


@pytest.mark.parametrize("with_photos_folder", [False, True])
def test_a_folder_without_photos_is_refused_and_left_alone(tmp_path, with_photos_folder):
    if with_photos_folder:
        (tmp_path / "photos").mkdir()
    before = sorted(tmp_path.rglob("*"))
    outcome = traymorph("measure", tmp_path)
    assert outcome.code == 3
    assert "photos" in outcome.stderr
    assert outcome.stdout == ""
    assert sorted(tmp_path.rglob("*")) == before


def set_list(folder, name, text):
    (folder / name).write_text(text, encoding="utf-8")


FIRST_LINE = "tray_id,crop,treatment,block,batch"
LISTS = {
    "tray id not in the list": (
        "photos.csv",
        ["photo,tray_id", "T01/T01_side.jpg,T99"],
        ["photos.csv line 2", "tray_id", '"T99"'],
    ),
    "duplicate ids": (
        "trays.csv",
        [FIRST_LINE, "T01,pea,a,1,1", "T02,pea,a,1,1", "T01,pea,b,1,1"],
        ["trays.csv line 4", "tray_id", '"T01"', "line 2"],
    ),
    "date in another format": (
        "trays.csv",
        [f"{FIRST_LINE},sown_on", "T01,pea,a,1,1,13.11.2026", "T02,pea,a,1,1,"],
        ["trays.csv line 2", "sown_on", '"13.11.2026"', "2026-11-13"],
    ),
    "negative size": (
        "trays.csv",
        [f"{FIRST_LINE},rim_above_medium_mm", "T01,pea,a,1,1,-4", "T02,pea,a,1,1,9"],
        ["trays.csv line 2", "rim_above_medium_mm", '"-4"'],
    ),
    "tray without a line": ("trays.csv", [FIRST_LINE, "T01,pea,a,1,1"], ["photos/T02/"]),
    "broken settings": ("trial.toml", ["[tray"], ["trial.toml"]),
    "negative setting": (
        "trial.toml",
        ["[tray]", "inside_length_mm = -500"],
        ["trial.toml", "inside_length_mm", "-500"],
    ),
}


@pytest.mark.parametrize("case", LISTS)
def test_lists_that_cannot_be_used_stop_before_anything_is_done(fresh, case):
    name, lines, words = LISTS[case]
    set_list(fresh, name, "\n".join(lines) + "\n")
    outcome = traymorph("measure", fresh)
    assert outcome.code == 3
    assert outcome.stderr.startswith("Error: ")
    for word in words:
        assert word in outcome.stderr
    assert "Traceback" not in outcome.stderr
    assert not (fresh / "results").exists()
    assert not (fresh / "traymorph.sqlite").exists()


def test_every_bad_row_is_named_at_once(fresh):
    set_list(
        fresh,
        "trays.csv",
        "tray_id,crop,treatment,block,batch,sown_on,inside_width_mm\n"
        "T01,pea,a,1,1,yesterday,250\nT02,pea,a,1,1,,-3\nT02,pea,a,1,1,,250\n",
    )
    outcome = traymorph("measure", fresh)
    assert outcome.code == 3
    for place in ("line 2", "line 3", "line 4"):
        assert place in outcome.stderr


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["measure"], "PATHS"),
        (["measure", "not there.jpg"], "not there.jpg"),
        (["weigh"], "weigh"),
        (["measure", str(TRIAL), "--tray", "500x250"], "--tray"),
        (["measure", str(T01_SIDE), "--masks"], "--masks"),
        (["measure", str(TRIAL), str(T01_SIDE)], "folder"),
        (["measure", str(T01_SIDE), "--tray", "500"], "500x250"),
        (["measure", str(T01_SIDE), "--tray", "50x25 cm"], "500x250"),
        (["measure", str(T01_SIDE), "--tray", "19x9"], "millimetres"),
        (["measure", str(T01_SIDE), "--tray", "50x25"], "If centimetres were meant, write 500;"),
        (["measure", str(T01_SIDE), "--tray", "-500x250"], "500x250"),
        (["measure", str(TRIAL), "--workers", "0"], "--workers"),
        (["measure", str(TRIAL), "--out", str(T01_SIDE)], "--out"),
        (["measure", str(TRIAL), "--frobnicate"], "--frobnicate"),
    ],
)
def test_wrong_use_is_explained(arguments, words):
    outcome = traymorph(*arguments)
    assert outcome.code == 2
    assert words in outcome.stderr
    assert outcome.stdout == ""
    assert not (TRIAL / "results").exists()


def test_results_that_cannot_be_written_end_in_one_sentence(measured, tmp_path):
    (tmp_path / "in the way").write_text("a file")
    outcome = traymorph("measure", measured, "--out", tmp_path / "in the way" / "results")
    assert outcome.code == 7
    assert "in the way" in outcome.stderr
    assert "Traceback" not in outcome.stderr
    assert outcome.stdout == ""
