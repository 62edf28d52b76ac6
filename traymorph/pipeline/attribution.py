"""Which tray a photo shows, by the label in it; a label that contradicts the lists is reported."""

from collections.abc import Callable, Sequence, Set
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

from traymorph.config.photo_files import natural_order
from traymorph.errors import PhotoContradictionError, TraymorphError
from traymorph.intake.labels import Label, read_labels
from traymorph.intake.photos import read_photo
from traymorph.model.results import Failure
from traymorph.model.trial import PhotoEntry, Sample, TraySize, Trial
from traymorph.pipeline.seen import SeenPhoto

_MOST_AT_ONCE = 8
"""Photos held in memory together: 12 megapixels are 36 MB each."""


@dataclass(frozen=True, slots=True)
class _Read:
    """What a photo's labels say, or why it could not be read."""

    labels: tuple[Label, ...] = ()
    error: TraymorphError | None = None


def attribute_by_labels(
    trial: Trial,
    size: TraySize,
    *,
    workers: int = 1,
    progress: Callable[[int, int], None] = lambda _done, _all: None,
) -> tuple[Trial, list[Failure]]:
    """Attribute the photos that no list and no sub-folder names.

    Parameters
    ----------
    trial : Trial
        As lists and folders have it.
    size : TraySize
        Sizes of trays that only a label names.
    workers : int
        Photos to read at once.
    progress : callable
        Told (photos looked at, photos in all) after each.

    Returns
    -------
    trial : Trial
        With those photos attributed; without ``trays.csv`` each label is a sample. Photos whose
        labels decide nothing are not in it; photos without label are, still without tray.
    failures : list of Failure
        Photos that cannot be read, show labels of several trays, or of a tray not listed.
    """
    open_paths = list(dict.fromkeys(one.path for one in trial.photos if one.tray_id is None))
    if not open_paths:
        return trial, []
    read: dict[Path, _Read] = {}
    with ThreadPoolExecutor(max(1, min(workers, _MOST_AT_ONCE))) as pool:
        for path, found in zip(open_paths, pool.map(_labels_in, open_paths), strict=True):
            read[path] = found
            progress(len(read), len(open_paths))
    known = {sample.tray_id.strip(): sample.tray_id for sample in trial.samples}
    entries, failures = [], []
    for entry in trial.photos:
        if entry.tray_id is not None:
            entries.append(entry)
            continue
        try:
            entries.append(
                _attributed(entry, read[entry.path], known, listed=bool(trial.list_columns))
            )
        except TraymorphError as err:
            name = trial.name_of(entry.path)
            failures.append(Failure("", name, str(err), err.exit_code))
    samples = _with_new(trial.samples, entries, size)
    return replace(trial, samples=samples, photos=tuple(entries)), failures


def refuse_other_labels(seen: SeenPhoto, tray_id: str, repeat_of: str = "") -> None:
    """Refuse a photo whose labels say another tray than list or sub-folder do.

    Parameters
    ----------
    seen : SeenPhoto
        The photo; of a part, only labels on its side of the card count.
    tray_id : str
        The tray that it was attributed to.
    repeat_of : str
        Where this measures a tray again, that tray: its label may be seen too.

    Raises
    ------
    PhotoContradictionError
        A label of another tray is in the photo.
    """
    labels = read_labels(seen.photo)
    own = {tray_id.strip(), repeat_of.strip()} - {""}
    if seen.entry.part != "whole":
        _refuse_wrong_side(seen, labels, own)
        labels = tuple(one for one in labels if _side(seen, one) == seen.entry.part)
    names = {one.tray_id for one in labels}
    if names <= own:
        return
    name = seen.entry.path.name
    if len(names) > 1:
        raise _several(name, names)
    (other,) = names
    message = f"{name}: its label says tray {other}, but list or sub-folder say {tray_id}."
    hint = "Correct photos.csv or move the photo, or photograph the tray with its own label."
    raise PhotoContradictionError(message, hint=hint)


def _refuse_wrong_side(seen: SeenPhoto, labels: Sequence[Label], own: Set[str]) -> None:
    for one in labels:
        if one.tray_id in own and _side(seen, one) != seen.entry.part:
            message = (
                f"{seen.entry.path.name}: listed as the {seen.entry.part} part for tray "
                f"{one.tray_id}, "
                f"but its label lies {_side(seen, one)} of the card."
            )
            raise PhotoContradictionError(message, hint="Correct part in photos.csv.")


def _side(seen: SeenPhoto, label: Label) -> str:
    """Side of the card on which a label lies, in the upright photo."""
    return "left" if label.middle_px[0] < seen.sighting.outline_px[:, 0].mean() else "right"


def _labels_in(path: Path) -> _Read:
    try:
        return _Read(read_labels(read_photo(path)))
    except TraymorphError as err:
        return _Read(error=err)


def _attributed(
    entry: PhotoEntry, read: _Read, known: dict[str, str], *, listed: bool
) -> PhotoEntry:
    """Give the entry its tray; unchanged where the photo shows no label."""
    if read.error is not None:
        raise read.error
    if not read.labels:
        return entry
    named = _of_part(entry, read.labels)
    if len(named) > 1:
        raise _several(entry.path.name, named)
    (tray,) = named
    if listed and tray not in known:
        message = f"{entry.path.name}: its label says tray {tray}, which is not in trays.csv."
        hint = "Add the tray to trays.csv, or name the right one in photos.csv."
        raise PhotoContradictionError(message, hint=hint)
    return replace(entry, tray_id=known.get(tray, tray))


def _of_part(entry: PhotoEntry, labels: Sequence[Label]) -> set[str]:
    """Trays that the labels of a photo's part name; two labels lie one in each part."""
    if entry.part == "whole" or len(labels) != 2:
        return {one.tray_id for one in labels}
    from_left = sorted(labels, key=lambda one: float(one.middle_px[0]))
    return {from_left[0 if entry.part == "left" else 1].tray_id}


def _several(name: str, trays: set[str]) -> PhotoContradictionError:
    shown = " and ".join(sorted(trays, key=natural_order))
    message = f"{name}: labels of {shown} are in one photo: whose plants it shows cannot be told."
    hint = "Photograph each tray with its own label alone in view."
    return PhotoContradictionError(message, hint=hint)


def _with_new(
    samples: Sequence[Sample], entries: Sequence[PhotoEntry], size: TraySize
) -> tuple[Sample, ...]:
    """Add the trays that only labels name."""
    there = {sample.tray_id for sample in samples}
    new = {one.tray_id for one in entries if one.tray_id is not None} - there
    if not new:
        return tuple(samples)
    added = [Sample(name, "tray", size, None) for name in new]
    return tuple(sorted([*samples, *added], key=lambda sample: natural_order(sample.tray_id)))
