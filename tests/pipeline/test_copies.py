"""Copies of a photo are counted once, and never stand for two trays."""

import pytest

from traymorph.errors import ExitCode
from traymorph.model.trial import PhotoEntry, Sample, TraySize, Trial
from traymorph.pipeline.copies import refuse_copies


def trial(folder, *photos):
    """A trial of photos: (name, content, tray, part)."""
    entries = []
    for name, content, tray_id, part in photos:
        path = folder / "photos" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        entries.append(PhotoEntry(path, tray_id, None, None, part))
    samples = tuple(Sample(one, "tray", TraySize(), None) for one in ("T01", "T02"))
    return Trial(folder, samples, tuple(entries), ())


def left(made):
    return [made.name_of(entry.path) for entry in made.photos]


def test_a_copy_within_a_tray_counts_once(tmp_path):
    made, failures = refuse_copies(
        trial(
            tmp_path,
            ("T01/IMG_12.jpg", b"leaves", "T01", "whole"),
            ("T01/IMG_12 (1).jpg", b"leaves", "T01", "whole"),
            ("T01/IMG_13.jpg", b"leaveS", "T01", "whole"),
        )
    )
    assert left(made) == ["T01/IMG_12.jpg", "T01/IMG_13.jpg"]
    (failure,) = failures
    assert (failure.tray_id, failure.photo) == ("", "T01/IMG_12 (1).jpg")
    assert failure.exit_code == ExitCode.PHOTO
    assert failure.message == (
        "T01/IMG_12 (1).jpg is a copy of T01/IMG_12.jpg, which is counted already. "
        "Delete one of the two."
    )


def test_a_photo_given_to_two_trays_counts_for_neither(tmp_path):
    made, failures = refuse_copies(
        trial(
            tmp_path,
            ("T01/a.jpg", b"leaves", "T01", "whole"),
            ("T01/b.jpg", b"leaves", "T01", "whole"),
            ("T02/a.jpg", b"leaves", "T02", "whole"),
            ("T02/c.jpg", b"others", "T02", "whole"),
        )
    )
    assert left(made) == ["T02/c.jpg"]
    said = {failure.photo: failure.message for failure in failures}
    assert set(said) == {"T01/a.jpg", "T01/b.jpg", "T02/a.jpg"}
    for name, message in said.items():
        assert name in message
        assert "cannot be told. Keep the file of the tray that it shows" in message


@pytest.mark.parametrize(
    ("parts", "kept"), [(("left", "right"), 2), (("left", "left"), 0), (("whole", "right"), 0)]
)
def test_two_parts_of_a_photo_are_two_samples(tmp_path, parts, kept):
    made, failures = refuse_copies(
        trial(
            tmp_path,
            ("one.jpg", b"leaves", "T01", parts[0]),
            ("other.jpg", b"leaves", "T02", parts[1]),
        )
    )
    assert len(made.photos) == kept
    assert len(failures) == 2 - kept


def test_one_file_in_two_rows_and_photos_of_no_tray_are_no_copies(tmp_path):
    made = trial(
        tmp_path,
        ("one.jpg", b"leaves", "T01", "left"),
        ("one.jpg", b"leaves", "T02", "right"),
        ("stray.jpg", b"leaves", None, "whole"),
    )
    assert refuse_copies(made) == (made, [])


def test_files_that_cannot_be_read_are_left_to_the_reading(tmp_path):
    made = trial(tmp_path, ("a.jpg", b"", "T01", "whole"), ("b.jpg", b"", "T02", "whole"))
    assert refuse_copies(made) == (made, [])
    for entry in made.photos:
        entry.path.unlink()
    assert refuse_copies(made) == (made, [])
