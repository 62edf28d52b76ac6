"""A trial's lists and folders: takes a folder, gives a checked trial, names every problem at once.

Lists are optional: without ``trays.csv`` each sub-folder of ``photos/`` is a sample.
"""

import difflib
from collections import Counter
from collections.abc import Sequence
from pathlib import Path, PurePosixPath

from traymorph.config.outcomes import OUTCOMES_FILE, read_weights
from traymorph.config.photo_files import PHOTO_FOLDER, PHOTO_SUFFIXES, natural_order, photo_files
from traymorph.config.photos import PHOTOS_FILE, ListedPhoto, read_photos
from traymorph.config.problems import Problem, quoted, told
from traymorph.config.settings import Settings
from traymorph.config.spellings import other_spelling
from traymorph.config.trays import TRAYS_FILE, read_trays
from traymorph.errors import ListError
from traymorph.model.trial import PhotoEntry, Sample, TraySize, Trial

_NOT_CSV = (".xlsx", ".xls", ".xlsm", ".ods", ".numbers", ".csv.txt", ".csv")


def read_trial(folder: Path, settings: Settings) -> Trial:
    """Read ``trays.csv``, ``photos.csv``, ``outcomes.csv`` and the photos of a trial folder.

    Parameters
    ----------
    folder : Path
        The trial folder.
    settings : Settings
        Its ``trial.toml``; sizes there hold where a row of trays.csv gives none.

    Returns
    -------
    Trial
        Photos that no list and no folder names have no ``tray_id``.

    Raises
    ------
    ListError
        There are no photos, or lists, photos and folders do not fit; every problem is named.
    """
    _check_folder(folder)
    files = photo_files(folder / PHOTO_FOLDER)
    if not files:
        msg = f"There are no photos in {folder / PHOTO_FOLDER}."
        raise ListError(msg, hint=_copy_hint(folder))
    problems: list[Problem] = []
    samples: tuple[Sample, ...] | None = None
    columns: tuple[str, ...] = ()
    listed: tuple[ListedPhoto, ...] = ()
    if (folder / TRAYS_FILE).is_file():
        samples, columns = read_trays(folder / TRAYS_FILE, settings.tray_size(), problems)
    if (folder / PHOTOS_FILE).is_file():
        listed = read_photos(folder / PHOTOS_FILE, files, problems)
    problems.extend(_other_spellings(folder))
    entries = _entries(files, listed)
    if samples is None:
        samples = _samples_of_entries(entries, settings.tray_size())
    else:
        problems.extend(_unknown_trays(samples, files, listed))
    if (folder / OUTCOMES_FILE).is_file():
        samples = read_weights(folder / OUTCOMES_FILE, samples, problems)
    if problems:
        raise ListError(told(problems, "lists"), hint="Correct this and run again.")
    return Trial(folder, samples, entries, columns)


def loose_trial(photos: Sequence[Path], size: TraySize) -> Trial:
    """Make a trial of loose photos: each is a sample named by its file.

    Parameters
    ----------
    photos : sequence of Path
        The photos; one given twice counts once.
    size : TraySize
        Sizes that hold for all of them.

    Returns
    -------
    Trial
        In the order given. Photos of one name are told apart by suffix, folder or number.
    """
    unique = list({path.resolve(): path for path in photos}.values())
    if not unique:
        msg = "No photo was given."
        raise ListError(msg, hint="Name at least one photo.")
    names = _distinct_names(unique)
    samples = tuple(Sample(name, "photo", size, None) for name in names)
    entries = tuple(
        PhotoEntry(path, name, None, None) for path, name in zip(unique, names, strict=True)
    )
    return Trial(unique[0].parent, samples, entries, ())


def _distinct_names(paths: Sequence[Path]) -> list[str]:
    namings = (
        lambda path: path.stem,
        lambda path: path.name,
        lambda path: f"{path.resolve().parent.name}/{path.name}",
    )
    names = [namings[0](path) for path in paths]
    for naming in namings[1:]:
        often = Counter(names)
        names = [
            naming(path) if often[name] > 1 else name
            for path, name in zip(paths, names, strict=True)
        ]
    taken: Counter[str] = Counter()
    for index, name in enumerate(names):
        taken[name] += 1
        if taken[name] > 1:
            names[index] = f"{name} ({taken[name]})"
    return names


def _check_folder(folder: Path) -> None:
    if not folder.exists():
        msg = f"There is no folder {folder}."
        raise ListError(msg, hint="Check the name.")
    if not folder.is_dir():
        msg = f"{folder} is a file, not a trial folder."
        raise ListError(msg, hint="Give the folder that holds photos/.")
    if not (folder / PHOTO_FOLDER).is_dir():
        msg = f"{folder} has no folder {PHOTO_FOLDER}/."
        raise ListError(msg, hint=_copy_hint(folder))


def _copy_hint(folder: Path) -> str:
    lying_loose = any(path.suffix.lower() in PHOTO_SUFFIXES for path in folder.iterdir())
    source = "that lie beside it" if lying_loose else "from the phone"
    return (
        f"Copy the photos {source} into {PHOTO_FOLDER}/; a tray label in each, a sub-folder for "
        f"each tray or {PHOTOS_FILE} says which tray it shows."
    )


def _other_spellings(folder: Path) -> list[Problem]:
    """Find lists in another format or spelling, which would be overlooked in silence."""
    problems = []
    present = {path.name for path in folder.iterdir() if path.is_file()}
    for wanted in (TRAYS_FILE, PHOTOS_FILE, OUTCOMES_FILE):
        stem = wanted.removesuffix(".csv")
        others = {stem + suffix for suffix in _NOT_CSV}
        found = sorted(name for name in present if name.lower() in others)
        if found and not (folder / wanted).is_file():
            advice = f"Save or rename it as {wanted} (CSV, UTF-8), or move it away"
            problems.append(Problem(found[0], f"is not read: the list must be {wanted}", advice))
    return problems


def _entries(files: dict[str, Path], listed: Sequence[ListedPhoto]) -> tuple[PhotoEntry, ...]:
    by_name: dict[str, list[PhotoEntry]] = {name: [] for name in files}
    for photo in listed:
        by_name.setdefault(photo.name, []).append(photo.entry)
    entries = []
    for name in sorted(by_name, key=natural_order):
        of_folder = _folder_of(name)
        if not by_name[name]:
            entries.append(PhotoEntry(files[name], of_folder, None, None))
        for entry in by_name[name]:
            tray_id = entry.tray_id or of_folder
            entries.append(PhotoEntry(entry.path, tray_id, entry.view, entry.taken_on, entry.part))
    return tuple(entries)


def _folder_of(name: str) -> str | None:
    parts = PurePosixPath(name).parts
    return parts[0] if len(parts) > 1 else None


def _samples_of_entries(entries: Sequence[PhotoEntry], size: TraySize) -> tuple[Sample, ...]:
    names = {entry.tray_id for entry in entries if entry.tray_id is not None}
    return tuple(Sample(name, "tray", size, None) for name in sorted(names, key=natural_order))


def _unknown_trays(
    samples: Sequence[Sample], files: dict[str, Path], listed: Sequence[ListedPhoto]
) -> list[Problem]:
    known = {sample.tray_id for sample in samples}
    problems = []
    for photo in listed:
        tray_id = photo.entry.tray_id
        if tray_id is not None and tray_id not in known:
            what, value = f"is not in {TRAYS_FILE}", quoted(tray_id)
            near = difflib.get_close_matches(tray_id, known, n=1)
            spelt = other_spelling(tray_id, known) or (near[0] if near else None)
            otherwise = f"Correct it or add it to {TRAYS_FILE}"
            advice = f"Perhaps {spelt} was meant" if spelt else otherwise
            problems.append(Problem(PHOTOS_FILE, what, advice, photo.line, "tray_id", value))
    attributed = {photo.name for photo in listed if photo.entry.tray_id is not None}
    folders = [_folder_of(name) for name in files if name not in attributed]
    for folder in dict.fromkeys(folders):
        if folder is not None and folder not in known:
            what = f"no tray of this name is in {TRAYS_FILE}"
            advice = f"Rename the folder, add the tray, or list its photos in {PHOTOS_FILE}"
            problems.append(Problem(f"{PHOTO_FOLDER}/{folder}/", what, advice))
    return problems
