"""Copies of one photo under several names: counted once, and never as two trays.

Phones and messengers make them (``IMG_12.jpg``, ``IMG_12 (1).jpg``). A copy brings nothing new, but
would narrow the doubt of a tray's mean, or pass for a second tray.
"""

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from traymorph.errors import PhotoContradictionError, TraymorphError
from traymorph.model.results import Failure
from traymorph.model.trial import PhotoEntry, Trial


def refuse_copies(trial: Trial) -> tuple[Trial, list[Failure]]:
    """Leave out copies of a photo.

    Parameters
    ----------
    trial : Trial
        Its photos attributed to trays, as far as they can be.

    Returns
    -------
    trial : Trial
        Of a tray's copies the first is left; of copies that stand for different trays none, since
        nothing says which tray they show. The two parts of a photo do not count as copies.
    failures : list of Failure
        The photos left out.
    """
    photos = [entry for entry in trial.photos if entry.tray_id is not None]
    refused: dict[Path, TraymorphError] = {}
    for alike in _alike(dict.fromkeys(entry.path for entry in photos)):
        of_file = [entry for entry in photos if entry.path in alike]
        for first, other in _pairs(of_file):
            if first.tray_id != other.tray_id:
                refused[first.path] = _of_two_trays(trial, first, other)
                refused[other.path] = _of_two_trays(trial, other, first)
            elif first.path not in refused:
                refused.setdefault(other.path, _counted_already(trial, other, first))
    left = tuple(entry for entry in trial.photos if entry.path not in refused)
    failures = [
        Failure("", trial.name_of(path), str(err), err.exit_code) for path, err in refused.items()
    ]
    return replace(trial, photos=left), failures


def _alike(paths: Iterable[Path]) -> Iterator[set[Path]]:
    """Group files of one content; only files of one size are read, and empty ones are no copies."""
    of_size: dict[int, list[Path]] = defaultdict(list)
    for path in paths:
        try:
            of_size[path.stat().st_size].append(path)
        except OSError:
            continue  # the reading itself will say why
    for size, same_size in of_size.items():
        if size and len(same_size) > 1:
            of_content: dict[bytes, set[Path]] = defaultdict(set)
            for path in same_size:
                of_content[_digest(path)].add(path)
            yield from (group for group in of_content.values() if len(group) > 1)


def _digest(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").digest()
    except OSError:
        return str(path).encode()  # like no other; the reading itself will say why


def _pairs(entries: Sequence[PhotoEntry]) -> Iterator[tuple[PhotoEntry, PhotoEntry]]:
    """Two files each that show the same part of the photo, in the order of the trial."""
    for place, first in enumerate(entries):
        for other in entries[place + 1 :]:
            overlap = first.part == other.part or "whole" in (first.part, other.part)
            if overlap and first.path != other.path:
                yield first, other


def _counted_already(trial: Trial, copy: PhotoEntry, first: PhotoEntry) -> TraymorphError:
    name, other = trial.name_of(copy.path), trial.name_of(first.path)
    message = f"{name} is a copy of {other}, which is counted already."
    return PhotoContradictionError(message, hint="Delete one of the two.")


def _of_two_trays(trial: Trial, entry: PhotoEntry, other: PhotoEntry) -> TraymorphError:
    message = (
        f"{trial.name_of(entry.path)}, given to tray {entry.tray_id}, is a copy of "
        f"{trial.name_of(other.path)}, given to tray {other.tray_id}: which of the two it shows "
        "cannot be told."
    )
    hint = "Keep the file of the tray that it shows and delete the other."
    return PhotoContradictionError(message, hint=hint)
