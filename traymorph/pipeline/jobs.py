"""A trial's lists become jobs: one per tray, with every photo that shows it."""

import hashlib
from dataclasses import dataclass
from pathlib import Path

import traymorph
from traymorph.config.settings import Settings
from traymorph.errors import ExitCode
from traymorph.model.results import Failure
from traymorph.model.trial import PhotoEntry, Sample, Trial

_HASH_BLOCK = 1 << 20


@dataclass(frozen=True, slots=True)
class TrayJob:
    """What a worker is handed: paths and settings, never pictures.

    Parameters
    ----------
    sample : Sample
        The tray.
    photos : tuple of PhotoEntry
        Its photos.
    settings : Settings
        Of the trial.
    overlays, masks : Path or None
        Folders to write to; None = do not write.
    """

    sample: Sample
    photos: tuple[PhotoEntry, ...]
    settings: Settings
    overlays: Path | None
    masks: Path | None

    def fingerprint(self) -> str:
        """Hash of everything that the tray's numbers depend on, photo bytes included."""
        digest = hashlib.sha256()
        facts = (
            traymorph.__version__,
            self.settings.fingerprint(),
            repr(self.sample),
            repr([(p.path.name, p.view, p.taken_on, p.part) for p in self.photos]),
        )
        for fact in facts:
            digest.update(fact.encode())
        for photo in self.photos:
            digest.update(_file_digest(photo.path))
        return digest.hexdigest()

    def pictures(self) -> list[Path]:
        """Every picture that measuring this tray may leave behind."""
        stems = [picture_stem(self.sample.tray_id, photo.path) for photo in self.photos]
        overlays = [self.overlays / f"{stem}.jpg" for stem in stems] if self.overlays else []
        masks = (
            [self.masks / f"{photo.path.stem}.png" for photo in self.photos] if self.masks else []
        )
        return overlays + masks


def _file_digest(path: Path) -> bytes:
    digest = hashlib.sha256()
    try:
        with path.open("rb") as stream:
            while block := stream.read(_HASH_BLOCK):
                digest.update(block)
    except OSError:
        return b"unreadable"  # the reading itself will say why
    return digest.digest()


def picture_stem(tray_id: str, photo: Path) -> str:
    """File name (without suffix) of a photo's overlay; safe whatever the tray is called.

    Photos of different trays may share a file name, so the tray's name goes first; characters
    that a file system may refuse become ``_`` and a short hash keeps such names apart.
    """
    wanted = f"{tray_id}_{photo.stem}"
    safe = "".join(char if char.isalnum() or char in "-_" else "_" for char in wanted)[:80]
    if safe != wanted:
        safe = f"{safe}_{hashlib.sha256(wanted.encode()).hexdigest()[:8]}"
    return safe


def plan_jobs(
    trial: Trial, settings: Settings, *, overlays: Path | None, masks: Path | None
) -> tuple[list[TrayJob], list[Failure]]:
    """Attribute photos to trays.

    Returns
    -------
    jobs : list of TrayJob
        One per sample that has photos, in list order.
    failures : list of Failure
        Photos that nothing attributes, and samples without photos.
    """
    by_tray: dict[str, list[PhotoEntry]] = {sample.tray_id: [] for sample in trial.samples}
    failures = []
    for photo in trial.photos:
        if photo.tray_id is None:
            message = (
                f"{photo.path.name}: nothing says which tray it shows. Put it into a sub-folder "
                "of photos/ named by the tray, or list it in photos.csv."
            )
            failures.append(Failure("", photo.path.name, message, ExitCode.PHOTO))
        else:
            by_tray[photo.tray_id].append(photo)
    jobs = []
    for sample in trial.samples:
        photos = by_tray[sample.tray_id]
        if photos:
            jobs.append(TrayJob(sample, tuple(photos), settings, overlays, masks))
        else:
            message = (
                f"Tray {sample.tray_id} is listed but has no photo. "
                f"Put its photos into photos/{sample.tray_id}/ or name them in photos.csv."
            )
            failures.append(Failure(sample.tray_id, "", message, ExitCode.PHOTO))
    return jobs, failures
