"""Photos are attributed by their labels, and contradictions are reported, never guessed."""

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import segno
from PIL import Image

from traymorph.errors import ExitCode, PhotoContradictionError
from traymorph.model.labels import label_text
from traymorph.model.photo import CameraInfo, Photo
from traymorph.model.trial import PhotoEntry, Sample, TraySize, Trial
from traymorph.pipeline.attribution import attribute_by_labels, refuse_other_labels

SIZE = TraySize(500.0, 250.0)
PLACES = {"left": (60, 80), "right": (60, 800), "below": (420, 80)}


def picture(**labels):
    """A picture with the labels of trays at places."""
    rgb = np.full((700, 1100, 3), 120, np.uint8)
    for place, tray_id in labels.items():
        made = segno.make_qr(label_text(tray_id), error="m", mode="byte", encoding="utf-8")
        cells = np.pad(np.array([list(row) for row in made.matrix], np.uint8), 4)
        code = np.kron(255 - 255 * cells, np.ones((6, 6), np.uint8)).astype(np.uint8)
        row, column = PLACES[place]
        rgb[row : row + code.shape[0], column : column + code.shape[1]] = code[:, :, None]
    return rgb


def trial(folder, photos, samples=("T01", "T02"), *, listed=True):
    """A trial of photos: (name, labels, tray by list, part)."""
    entries = []
    for name, labels, tray_id, part in photos:
        path = folder / "photos" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        Image.fromarray(picture(**labels)).save(path)
        entries.append(PhotoEntry(path, tray_id, None, None, part))
    return Trial(
        folder,
        tuple(Sample(name, "tray", SIZE, None) for name in samples),
        tuple(entries),
        ("tray_id",) if listed else (),
    )


def attributed(given):
    told = []
    found, failures = attribute_by_labels(given, SIZE, progress=lambda *one: told.append(one))
    return [entry.tray_id for entry in found.photos], failures, found, told


def test_photos_as_they_come_are_attributed_by_their_labels(tmp_path):
    photos = [
        ("a.png", {"left": "T02"}, None, "whole"),
        ("b.png", {"right": "T01"}, None, "whole"),
        ("c.png", {}, None, "whole"),
        ("d.png", {"left": "T02"}, "T01", "whole"),  # listed: looked at when it is measured
    ]
    trays, failures, _, told = attributed(trial(tmp_path, photos))
    assert trays == ["T02", "T01", None, "T01"]
    assert failures == []
    assert told == [(1, 3), (2, 3), (3, 3)]


def test_nothing_is_read_where_lists_attribute_everything(tmp_path):
    listed = Trial(tmp_path, (), (PhotoEntry(tmp_path / "none.jpg", "T01", None, None),), ("x",))
    assert attribute_by_labels(listed, SIZE) == (listed, [])


def test_a_label_of_an_unknown_tray_is_reported(tmp_path):
    photos = [("a.png", {"left": "T09"}, None, "whole"), ("b.png", {}, None, "whole")]
    trays, (failure,), _, _ = attributed(trial(tmp_path, photos))
    assert trays == [None]
    assert (failure.photo, failure.exit_code) == ("a.png", ExitCode.PHOTO)
    assert "its label says tray T09, which is not in trays.csv" in failure.message


def test_without_a_list_labels_are_samples(tmp_path):
    photos = [("a.png", {"left": "B 2"}, None, "whole"), ("b.png", {"left": "ü1"}, None, "whole")]
    trays, failures, found, _ = attributed(trial(tmp_path, photos, ("C3",), listed=False))
    assert trays == ["B 2", "ü1"]
    assert failures == []
    assert [sample.tray_id for sample in found.samples] == ["B 2", "C3", "ü1"]
    assert found.samples[0].size == SIZE


def test_two_labels_in_one_photo_are_reported(tmp_path):
    photos = [("x/a.png", {"left": "T01", "right": "T02"}, None, "whole")]
    trays, (failure,), _, _ = attributed(trial(tmp_path, photos))
    assert trays == []
    assert failure.photo == "x/a.png"
    assert "labels of T01 and T02" in failure.message


def test_one_tray_labelled_twice_is_no_contradiction(tmp_path):
    photos = [("a.png", {"left": "T01", "right": "T01"}, None, "whole")]
    assert attributed(trial(tmp_path, photos))[0] == ["T01"]


def test_parts_take_the_label_on_their_side(tmp_path):
    labels = {"left": "T02", "right": "T01"}
    photos = [("a.png", labels, None, "left"), ("a.png", labels, None, "right")]
    assert attributed(trial(tmp_path, photos))[0] == ["T02", "T01"]


def test_a_photo_that_cannot_be_read_says_why(tmp_path):
    given = trial(tmp_path, [("a.png", {}, None, "whole")])
    given.photos[0].path.write_bytes(b"")
    trays, (failure,), _, _ = attributed(given)
    assert trays == []
    assert "is empty" in failure.message


def seen(part="whole", **labels):
    """A photo whose card stands in its middle."""
    return SimpleNamespace(
        photo=Photo(Path("p.png"), "", picture(**labels), CameraInfo()),
        entry=PhotoEntry(Path("p.png"), "T01", None, None, part),
        sighting=SimpleNamespace(outline_px=np.array([[450.0, 300.0], [650.0, 300.0]])),
    )


@pytest.mark.parametrize(
    "photo",
    [
        seen(),
        seen(left="T01"),
        seen("left", left="T01", right="T02"),
        seen("left", right="T02"),
        seen("right", right="T01", left="T02"),
    ],
)
def test_labels_that_agree_or_none_pass(photo):
    refuse_other_labels(photo, "T01")


@pytest.mark.parametrize(
    "photo",
    [seen(), seen(left="T01"), seen(left="T01 b"), seen("left", left="T01", right="T02")],
)
def test_a_repeat_may_show_the_label_of_the_tray_that_it_repeats(photo):
    refuse_other_labels(photo, "T01 b", "T01")


@pytest.mark.parametrize(
    ("photo", "said"),
    [
        (seen(left="T02"), "its label says tray T02, but list or sub-folder say T01 b"),
        (seen("left", right="T01"), "part for tray T01, but its label lies right of the card"),
    ],
)
def test_a_repeat_shows_no_other_label(photo, said):
    with pytest.raises(PhotoContradictionError, match=said):
        refuse_other_labels(photo, "T01 b", "T01")


@pytest.mark.parametrize(
    ("photo", "said"),
    [
        (seen(left="T02"), "its label says tray T02, but list or sub-folder say T01"),
        (seen(left="T01", below="T02"), "labels of T01 and T02"),
        (seen("left", left="T02"), "its label says tray T02"),
        (seen("left", right="T01"), "its label lies right of the card"),
    ],
)
def test_labels_that_contradict_are_reported(photo, said):
    with pytest.raises(PhotoContradictionError, match=said):
        refuse_other_labels(photo, "T01")
