"""Which photos there are of each tray, as they were measured."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from traymorph.config.lists import read_trial
from traymorph.config.photo_checks import CHECKS_FILE, read_photo_checks
from traymorph.config.photo_files import PHOTO_FOLDER, photo_files
from traymorph.config.photos import PHOTOS_FILE, read_photos
from traymorph.config.settings import Settings
from traymorph.config.trays import TRAYS_FILE, read_trays
from traymorph.errors import ListError, TraymorphError, UnreadablePhotoError
from traymorph.intake.photos import read_photo
from traymorph.model.photo import View
from traymorph.model.trial import PhotoEntry, Sample, TraySize


@dataclass(frozen=True, slots=True)
class TrialPhoto:
    """One photo of one tray.

    Parameters
    ----------
    entry : PhotoEntry
        Where it is and what it shows; its view is known.
    name : str
        Relative to ``photos/``.
    sha256 : str
        Hash of the file that was measured; "" where that is not known.
    error : str
        Why nothing was measured in it; "" where something was.
    """

    entry: PhotoEntry
    name: str
    sha256: str = ""
    error: str = ""


class TrialPhotos:
    """The photos of a trial by tray and view; lists with bad rows tell what they can.

    Parameters
    ----------
    folder : Path
        The trial folder.
    settings : Settings
        Of the trial.
    """

    def __init__(self, folder: Path, settings: Settings) -> None:
        self._size = settings.tray_size()
        self._samples = {one.tray_id: one for one in _samples(folder, self._size)}
        self._photos = _measured(folder) or _listed(folder, settings)

    @property
    def samples(self) -> tuple[Sample, ...]:
        """Rows of trays.csv."""
        return tuple(self._samples.values())

    def size_of(self, tray_id: str) -> TraySize:
        """Sizes of a tray; those that hold for all where no list names it."""
        known = self._samples.get(tray_id)
        return self._size if known is None else known.size

    def of(self, tray_id: str, view: View) -> tuple[TrialPhoto, ...]:
        """Give the photos that show a tray in a view, in their order."""
        return tuple(
            one for one in self._photos if one.entry.tray_id == tray_id and one.entry.view is view
        )

    def latest(self, tray_id: str, view: View) -> tuple[TrialPhoto, ...]:
        """Give the usable photos of the last day on which a tray was photographed in a view."""
        usable = [one for one in self.of(tray_id, view) if not one.error]
        if len(usable) < 2:
            return tuple(usable)
        days = [self._day_of(one) for one in usable]
        last = max(days)
        return tuple(one for one, day in zip(usable, days, strict=True) if day == last)

    def _day_of(self, photo: TrialPhoto) -> date:
        """When a photo was taken: the list, else the phone, else the stated day."""
        if photo.entry.taken_on is not None:
            return photo.entry.taken_on.date()
        try:
            taken = read_photo(photo.entry.path).camera.taken_on
        except TraymorphError:
            taken = None  # its reading for the plate will say why
        if taken is not None:
            return taken.date()
        sample = self._samples.get(photo.entry.tray_id or "")
        stated = sample.photographed_on if sample is not None else None
        return stated or date.min


def refuse_other_file(photo: TrialPhoto, sha256: str) -> None:
    """Refuse a photo that is not the one that was measured.

    Parameters
    ----------
    photo : TrialPhoto
        As measured.
    sha256 : str
        Hash of the file as it is now.

    Raises
    ------
    UnreadablePhotoError
        The file has changed.
    """
    if photo.sha256 and photo.sha256 != sha256:
        msg = f"{photo.name} is not the photo that was measured: the file has changed since."
        raise UnreadablePhotoError(msg, hint="Run `traymorph measure` on the folder again.")


def _samples(folder: Path, size: TraySize) -> Sequence[Sample]:
    path = folder / TRAYS_FILE
    try:
        return read_trays(path, size, [])[0] if path.is_file() else ()
    except ListError:
        return ()


def _measured(folder: Path) -> tuple[TrialPhoto, ...]:
    """Take the photos that results name, with what photos.csv adds to them."""
    photos = folder / PHOTO_FOLDER
    try:
        checks = read_photo_checks(folder / "results" / CHECKS_FILE)
    except ListError:
        return ()
    listed = {
        (path.relative_to(photos).as_posix(), tray_id): entry
        for path, tray_id, entry in _rows_of_list(folder)
    }
    found = []
    for one in checks:
        if not one.tray_id or one.view not in set(View):
            continue
        entry = listed.get((one.photo, one.tray_id)) or listed.get((one.photo, ""))
        entry = entry or PhotoEntry(photos / one.photo, None, None, None)
        entry = replace(entry, tray_id=one.tray_id, view=View(one.view))
        found.append(TrialPhoto(entry, one.photo, one.sha256, one.error))
    return tuple(found)


def _rows_of_list(folder: Path) -> list[tuple[Path, str, PhotoEntry]]:
    path = folder / PHOTOS_FILE
    if not path.is_file():
        return []
    try:
        rows = read_photos(path, photo_files(folder / PHOTO_FOLDER), [])
    except ListError:
        return []
    return [(one.entry.path, one.entry.tray_id or "", one.entry) for one in rows]


def _listed(folder: Path, settings: Settings) -> tuple[TrialPhoto, ...]:
    """Take the photos whose tray and view lists name: results may have been made by hand."""
    try:
        trial = read_trial(folder, settings)
    except ListError:
        return ()
    photos = folder / PHOTO_FOLDER
    return tuple(
        TrialPhoto(entry, entry.path.relative_to(photos).as_posix()) for entry in trial.photos
    )
