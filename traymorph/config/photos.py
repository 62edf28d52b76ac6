"""``photos.csv``: takes the list and the files found, gives an entry for each photo."""

import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath

from traymorph.config.cells import CellReader
from traymorph.config.photo_files import PHOTO_FOLDER
from traymorph.config.problems import Problem
from traymorph.config.tables import Row, Table, read_table
from traymorph.model.photo import View
from traymorph.model.trial import PhotoEntry

PHOTOS_FILE = "photos.csv"
PARTS = ("whole", "left", "right")
_REQUIRED = ("photo", "tray_id")
_KNOWN = (*_REQUIRED, "view", "taken_on", "part")
_ALIKE = 0.7  # short names: "veiw" shares three letters of four with "view"


@dataclass(frozen=True, slots=True)
class ListedPhoto:
    """One usable row of photos.csv: the photo's name relative to photos/, and the entry."""

    name: str
    line: int
    entry: PhotoEntry


def read_photos(
    path: Path, files: dict[str, Path], problems: list[Problem]
) -> tuple[ListedPhoto, ...]:
    """Read ``photos.csv``.

    Parameters
    ----------
    path : Path
        The list.
    files : dict of str to Path
        Photos found, by their name relative to ``photos/``.
    problems : list of Problem
        What is wrong is added here.

    Returns
    -------
    tuple of ListedPhoto
        Rows whose photo was found, in the order of the list.

    Raises
    ------
    ListError
        The file cannot be read as a list at all.
    """
    table = read_table(path, _REQUIRED, problems)
    problems.extend(_column_problems(table))
    reader = CellReader(table, problems)
    parts_seen: dict[str, dict[str, int]] = {}
    named = {row.get("photo") for row in table.rows}
    listed = []
    for row in table.rows:
        view = reader.word(row, "view", tuple(View))
        taken_on = reader.moment(row, "taken_on")
        part = reader.word(row, "part", PARTS) or "whole"
        free = [name for name in files if name not in named]
        found = _found(reader, row, files, free, path.parent / PHOTO_FOLDER)
        if found is None:
            continue
        name, file = found
        _check_part(reader, row, part, parts_seen.setdefault(name, {}))
        entry = PhotoEntry(
            path=file,
            tray_id=row.get("tray_id") or None,
            view=View(view) if view else None,
            taken_on=taken_on,
            part=part,
        )
        listed.append(ListedPhoto(name, row.line, entry))
    return tuple(listed)


def _column_problems(table: Table) -> list[Problem]:
    problems = []
    missing = [known for known in _KNOWN if known not in table.columns]
    for column in table.columns:
        near = difflib.get_close_matches(column.lower(), missing, n=1, cutoff=_ALIKE)
        if column not in _KNOWN and near:
            what = f"looks like {near[0]} but is spelt otherwise and would be ignored"
            advice = f"Rename it to {near[0]} or give it a name of its own"
            problems.append(Problem(table.name, what, advice, line=1, column=column))
    return problems


def _found(
    reader: CellReader, row: Row, files: dict[str, Path], free: Sequence[str], folder: Path
) -> tuple[str, Path] | None:
    written = row.get("photo")
    if not written:
        reader.note(row, "photo", "is empty", "Name the photo as it is called in photos/")
        return None
    name = PurePosixPath(written.replace("\\", "/"))
    if name.is_absolute() or PureWindowsPath(written).drive or ".." in name.parts:
        what = "leads out of photos/"
        reader.note(row, "photo", what, "Move the photo into photos/ and give its name there")
        return None
    plain = str(name)
    if plain in files:
        return plain, files[plain]
    if (folder / plain).is_file():  # a file of another kind: its reading will say what it is
        return plain, folder / plain
    reader.note(row, "photo", "is not in photos/", _nearest(plain, free))
    return None


def _nearest(name: str, files: Sequence[str]) -> str:
    """Advise a photo that no other line names."""
    base = PurePosixPath(name).name.casefold()
    same_name = [one for one in files if PurePosixPath(one).name.casefold() == base]
    without_folder = [one for one in files if f"{PHOTO_FOLDER}/{one}" == name]
    # Phones number their photos: a name with another number is another photo, not a misspelt one.
    alike = [one for one in files if _numbers(one) == _numbers(name)]
    near = without_folder or same_name or difflib.get_close_matches(name, alike, n=1, cutoff=0.8)
    if near:
        return f"Perhaps {near[0]} was meant"
    return "Copy the photo there or correct the name"


def _numbers(name: str) -> list[int]:
    return [int(digits) for digits in re.findall(r"[0-9]+", name)]


def _check_part(reader: CellReader, row: Row, part: str, seen: dict[str, int]) -> None:
    clash = part if part in seen else next((one for one in seen if "whole" in (one, part)), None)
    if clash is not None:
        what = f"is listed in line {seen[clash]} already"
        advice = "List a photo once, or twice with part = left and part = right"
        reader.note(row, "photo", what, advice)
    seen.setdefault(part, row.line)
