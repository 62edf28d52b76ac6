"""A trial's lists become jobs: one per tray, with every photo that shows it."""

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import traymorph
from traymorph.config.settings import Settings
from traymorph.errors import ExitCode
from traymorph.model.card import RegisteredCard
from traymorph.model.results import Failure
from traymorph.model.trial import PhotoEntry, Sample, Trial

_HASH_BLOCK = 1 << 20
_LONGEST_STEM = 80


@dataclass(frozen=True, slots=True)
class JobPhoto:
    """A photo of a job.

    Parameters
    ----------
    entry : PhotoEntry
        The photo as the lists describe it.
    name : str
        How tables and messages name it: relative to ``photos/`` in a trial, else its file name.
    picture : str
        Stem of the pictures made of it, unlike that of any other photo of the run.
    """

    entry: PhotoEntry
    name: str
    picture: str


@dataclass(frozen=True, slots=True)
class TrayJob:
    """What a worker is handed: paths and settings, never pictures.

    Parameters
    ----------
    sample : Sample
        The tray.
    photos : tuple of JobPhoto
        Its photos.
    settings : Settings
        Of the trial.
    overlays, masks : Path or None
        Folders to write to; None = do not write.
    registered : tuple of RegisteredCard
        Colours of the print that stands in the photos; none where it is not registered.
    heed_labels : bool
        A photo with the label of another tray is refused.
    """

    sample: Sample
    photos: tuple[JobPhoto, ...]
    settings: Settings
    overlays: Path | None
    masks: Path | None
    registered: tuple[RegisteredCard, ...] = ()
    heed_labels: bool = True

    def fingerprint(self) -> str:
        """Hash of everything that the tray's numbers depend on, photo bytes included.

        Columns that only name things (treatment, block) are left out: correcting them must not
        have the photos measured again.
        """
        sample = self.sample
        digest = hashlib.sha256()
        facts = (
            traymorph.__version__,
            self.settings.fingerprint(),
            repr((sample.kind, sample.size, sample.photographed_on, sample.columns.get("crop"))),
            repr((sample.weights, sample.columns.get("cut_above_medium_mm"))),
            repr(self.registered),
            repr([(p.name, p.entry.view, p.entry.taken_on, p.entry.part) for p in self.photos]),
            sample.repeat_of,  # whose label may be seen
        )
        for fact in facts:
            digest.update(fact.encode())
        for photo in self.photos:
            digest.update(_file_digest(photo.entry.path))
        return digest.hexdigest()

    def overlay_of(self, photo: JobPhoto) -> Path | None:
        """Where a photo's overlay goes."""
        return self.overlays / f"{photo.picture}.jpg" if self.overlays else None

    def mask_of(self, photo: JobPhoto) -> Path | None:
        """Where a photo's class mask goes."""
        return self.masks / f"{photo.picture}.png" if self.masks else None

    def pictures(self) -> list[Path]:
        """Every picture that measuring this tray leaves behind."""
        wanted = [
            place(photo) for photo in self.photos for place in (self.overlay_of, self.mask_of)
        ]
        return [path for path in wanted if path is not None]


def _file_digest(path: Path) -> bytes:
    digest = hashlib.sha256()
    try:
        with path.open("rb") as stream:
            while block := stream.read(_HASH_BLOCK):
                digest.update(block)
    except OSError:
        return b"unreadable"  # the reading itself will say why
    return digest.digest()


def _picture_stems(photos: Sequence[PhotoEntry]) -> list[str]:
    """File names (without suffix) for the pictures made of photos, in their order.

    The photo's own stem, with its tray before it where two share one (``T1/overhead.jpg``,
    ``T2/overhead.jpg``, or a board photo that shows two trays); its number in the list where even
    these are alike.
    """
    stems = [photo.path.stem for photo in photos]
    for prefixes in ([photo.tray_id for photo in photos], range(1, len(photos) + 1)):
        shared = Counter(stem.casefold() for stem in stems)
        stems = [
            stem if shared[stem.casefold()] == 1 else f"{prefix}_{stem}"
            for stem, prefix in zip(stems, prefixes, strict=True)
        ]
    return [_safe(stem) for stem in stems]


def _safe(wanted: str) -> str:
    """Replace what a file system may refuse; a short hash keeps names apart that were changed."""
    safe = "".join(char if char.isalnum() or char in "-_ ." else "_" for char in wanted)
    safe = safe.strip(" .")[:_LONGEST_STEM]
    if safe != wanted:
        safe = f"{safe}_{hashlib.sha256(wanted.encode()).hexdigest()[:8]}"
    return safe


def plan_jobs(
    trial: Trial,
    settings: Settings,
    *,
    overlays: Path | None,
    masks: Path | None,
    cards: Mapping[str, tuple[RegisteredCard, ...]] | None = None,
    heed_labels: bool = True,
) -> tuple[list[TrayJob], list[Failure]]:
    """Attribute photos to trays.

    Parameters
    ----------
    trial : Trial
        The lists.
    settings : Settings
        Of the trial.
    overlays, masks : Path or None
        Folders to write pictures to; None = do not write.
    cards : mapping of str to tuple of RegisteredCard, or None
        Registered colours of the cards in each tray's photos.
    heed_labels : bool
        Photos with the label of another tray are refused; loose photos are samples of their own,
        whatever labels they show.

    Returns
    -------
    jobs : list of TrayJob
        One per sample that has photos, in list order. A photo listed for two samples stands in
        the jobs of both.
    failures : list of Failure
        Photos that nothing attributes, and samples without photos.
    """
    by_tray: dict[str, list[JobPhoto]] = {sample.tray_id: [] for sample in trial.samples}
    stems = _picture_stems(trial.photos)
    failures = []
    for entry, stem in zip(trial.photos, stems, strict=True):
        name = trial.name_of(entry.path)
        if entry.tray_id is None:
            message = (
                f"{name}: nothing says which tray it shows, and no tray label can be read in it. "
                "Put it into a sub-folder of photos/ named by the tray, or name its tray in "
                "photos.csv."
            )
            failures.append(Failure("", name, message, ExitCode.PHOTO))
        else:
            by_tray[entry.tray_id].append(JobPhoto(entry, name, stem))
    jobs = []
    for sample in trial.samples:
        photos = by_tray[sample.tray_id]
        if photos:
            registered = (cards or {}).get(sample.tray_id, ())
            jobs.append(
                TrayJob(sample, tuple(photos), settings, overlays, masks, registered, heed_labels)
            )
        else:
            message = (
                f"Tray {sample.tray_id} is listed but has no photo. "
                f"Put its photos into photos/{sample.tray_id}/ or name them in photos.csv."
            )
            failures.append(Failure(sample.tray_id, "", message, ExitCode.PHOTO))
    return jobs, failures
