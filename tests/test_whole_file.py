"""Checks of files that are written whole or not at all."""

from pathlib import Path

import pytest

from traymorph.errors import StoreError
from traymorph.whole_file import whole_file


def test_a_file_takes_its_place_when_its_block_ends(tmp_path: Path) -> None:
    path = tmp_path / "new" / "table.csv"
    with whole_file(path) as part:
        part.write_text("a", encoding="utf-8")
        assert part.suffix == ".csv"
        assert not path.exists()
    assert path.read_text(encoding="utf-8") == "a"
    assert list(path.parent.iterdir()) == [path]


def half_written(path: Path, failing: Exception) -> None:
    with whole_file(path) as part:
        part.write_text("half", encoding="utf-8")
        raise failing


def test_a_block_that_fails_leaves_what_was_there(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    path.write_text("old", encoding="utf-8")
    with pytest.raises(StoreError, match=r"table\.csv cannot be written \(No space left"):
        half_written(path, OSError(28, "No space left on device"))
    with pytest.raises(ValueError, match="a bug"):
        half_written(path, ValueError("a bug"))
    assert path.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("", encoding="utf-8")
    with (
        pytest.raises(StoreError, match="cannot be written"),
        whole_file(tmp_path / "taken" / "table.csv"),
    ):
        pytest.fail("there is nowhere to write to")
