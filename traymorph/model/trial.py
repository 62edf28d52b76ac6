"""A trial as its lists describe it."""

from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

from traymorph.model.photo import View


@dataclass(frozen=True, slots=True)
class TraySize:
    """Sizes of one tray, mm; None where neither trays.csv nor trial.toml gives them."""

    inside_length_mm: float | None = None
    inside_width_mm: float | None = None
    rim_above_medium_mm: float | None = None
    rim_above_bench_mm: float | None = None


@dataclass(frozen=True, slots=True)
class SampleWeight:
    """Fresh weight of the cut plants that lie on a sample's board photos of one day.

    Parameters
    ----------
    grams : float
        All of them together.
    weighed_on : date or None
        The day; None where the list does not say.
    n_plants : int or None
        How many plants were weighed, if the list says.
    """

    grams: float
    weighed_on: date | None = None
    n_plants: int | None = None


@dataclass(frozen=True, slots=True)
class Sample:
    """One row of trays.csv: a tray, or a pack that has no tray any more; or a loose photo.

    Parameters
    ----------
    tray_id : str
        Unique name.
    kind : str
        ``tray`` or ``pack``; ``photo`` for a loose photo, of which no other view is expected.
    size : TraySize
        The tray's sizes, trial.toml already applied; all None for a pack.
    photographed_on : date or None
        Stated day of the photos.
    columns : dict of str to str
        Every column of the row as written, in file order, ``tray_id`` included; empty dict when
        there is no trays.csv.
    weights : tuple of SampleWeight
        What outcomes.csv says of its cut plants, one per day at most.
    """

    tray_id: str
    kind: str
    size: TraySize
    photographed_on: date | None
    columns: dict[str, str] = field(default_factory=dict)
    weights: tuple[SampleWeight, ...] = ()

    @property
    def crop(self) -> str:
        """Crop as the list names it; "" where it does not."""
        return self.columns.get("crop", "")

    @property
    def repeat_of(self) -> str:
        """Tray that this row measures again, in a study of the measuring; else ""."""
        return self.columns.get("repeat_of", "")

    def weight_on(self, day: date | None, *, only_day: bool = True) -> SampleWeight | None:
        """Weight of the cut plants photographed on a day.

        Parameters
        ----------
        day : date or None
            The day; None where it is not known.
        only_day : bool
            No board photo shows the sample on another day: a single weight is then that of this
            day where either has no date.
        """
        dated = [one for one in self.weights if one.weighed_on == day and day is not None]
        if dated or len(self.weights) != 1 or not only_day:
            return dated[0] if dated else None
        (only,) = self.weights
        return only if only.weighed_on is None or day is None else None


@dataclass(frozen=True, slots=True)
class PhotoEntry:
    """One photo of the trial, as far as lists and folders attribute it.

    ``tray_id`` and ``view`` are None where no list or folder names them; ``part`` is ``whole``,
    ``left`` or ``right``.
    """

    path: Path
    tray_id: str | None
    view: View | None
    taken_on: datetime | None
    part: str = "whole"


@dataclass(frozen=True, slots=True)
class Trial:
    """A trial folder, read and checked.

    Parameters
    ----------
    folder : Path
        The trial folder.
    samples : tuple of Sample
        In the order of trays.csv, or of sub-folders without it.
    photos : tuple of PhotoEntry
        Every photo found, in a stable order.
    list_columns : tuple of str
        Header of trays.csv; empty without it.
    """

    folder: Path
    samples: tuple[Sample, ...]
    photos: tuple[PhotoEntry, ...]
    list_columns: tuple[str, ...]

    def name_of(self, photo: Path) -> str:
        """How tables and messages name a photo: relative to ``photos/``, else its file name."""
        photos = self.folder / "photos"
        return photo.relative_to(photos).as_posix() if photo.is_relative_to(photos) else photo.name
