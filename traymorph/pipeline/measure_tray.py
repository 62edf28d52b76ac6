"""One tray's job: its photos are measured together, since areas need the side photo's height."""

from dataclasses import dataclass, field
from datetime import date

from PIL import Image

import traymorph
from traymorph.errors import PhotoContradictionError, TraymorphError
from traymorph.measure.cut_plant_means import TrayOfPlants, tray_of_plants
from traymorph.measure.cut_plant_readings import PlantReading
from traymorph.measure.photo_checks import PhotoQuality, check_photo
from traymorph.model.metrics import METRICS
from traymorph.model.photo import View
from traymorph.model.results import (
    Failure,
    Measured,
    PhotoCheck,
    PlantRow,
    PrintUsed,
    Provenance,
    TrayResult,
    TrayRow,
)
from traymorph.pipeline.attribution import refuse_other_labels
from traymorph.pipeline.board import measure_board_photo
from traymorph.pipeline.combine import combine_photos, group_by_day
from traymorph.pipeline.jobs import JobPhoto, TrayJob
from traymorph.pipeline.mask_photo import class_mask
from traymorph.pipeline.outcome import PhotoOutcome
from traymorph.pipeline.overhead import SideHeights, measure_overhead_photo
from traymorph.pipeline.pack import measure_pack_photo
from traymorph.pipeline.seen import SeenPhoto, see, segment
from traymorph.pipeline.side import measure_side_photo
from traymorph.report.files import save_picture

_Photo = tuple[JobPhoto, SeenPhoto]
_MISSING_VIEW = {View.OVERHEAD: "no_overhead_photo", View.SIDE: "no_side_photo"}


@dataclass(slots=True)
class _Day:
    """What the photos of one day have given so far."""

    readings: dict[View, list[dict[str, Measured]]]
    flags: list[str] = field(default_factory=list)
    used: list[SeenPhoto] = field(default_factory=list)
    methods: list[str] = field(default_factory=list)
    plants: list[PlantReading] = field(default_factory=list)


def measure_tray(job: TrayJob) -> TrayResult:
    """Measure every photo of one tray; what fails is listed, the rest goes on.

    Parameters
    ----------
    job : TrayJob
        Paths and settings.

    Returns
    -------
    TrayResult
        One row per day on which at least one photo could be measured.
    """
    return _TrayWork(job).measure()


class _TrayWork:
    """The state of one tray's measuring: checks and failures gather while photos are measured."""

    def __init__(self, job: TrayJob) -> None:
        self._job = job
        self._checks: list[PhotoCheck] = []
        self._failures: list[Failure] = []
        self._plants: list[PlantRow] = []
        self._board_days = 0

    def measure(self) -> TrayResult:
        """Measure day by day."""
        seen = []
        for wanted in self._job.photos:
            try:
                bar_mm = self._job.settings.card.printed_bar_mm
                photo = see(wanted.entry, bar_mm, self._job.registered)
                _refuse_part(wanted, photo)
                if self._job.heed_labels:
                    sample = self._job.sample
                    refuse_other_labels(photo, sample.tray_id, sample.repeat_of)
            except TraymorphError as err:
                self._fail(wanted, str(wanted.entry.view or ""), err)
            else:
                seen.append((self._day_of(photo), (wanted, photo)))
        days = group_by_day(seen)
        self._board_days = sum(
            any(photo.view is View.BOARD for _, photo in photos) for photos in days.values()
        )
        rows = [self._measure_day(day, photos) for day, photos in days.items()]
        order = {wanted.name: place for place, wanted in enumerate(self._job.photos)}
        self._checks.sort(key=lambda check: order[check.photo])
        return TrayResult(
            self._job.sample.tray_id,
            tuple(row for row in rows if row is not None),
            tuple(self._checks),
            tuple(self._failures),
            tuple(self._plants),
        )

    def _measure_day(self, day: date | None, photos: list[_Photo]) -> TrayRow | None:
        """Side photos first: they give the height at which overhead areas are taken."""
        done = _Day({view: [] for view in View})
        for view in (View.SIDE, View.OVERHEAD, View.BOARD, View.PACK):
            for wanted, photo in (one for one in photos if one[1].view is view):
                self._measure_photo(wanted, photo, done, day)
        if not done.used:
            return None
        metrics = {name: Measured() for name in METRICS}
        for readings in done.readings.values():
            metrics |= combine_photos(readings)
        done.flags.extend(self._missing_views(done))
        cut = self._cut_plants(done, day)
        return TrayRow(
            tray_id=self._job.sample.tray_id,
            photographed_on=day,
            columns=self._job.sample.columns,
            metrics={name: (metrics | cut.metrics)[name] for name in METRICS},
            flags=tuple(dict.fromkeys(done.flags)),
            provenance=Provenance(
                program_version=traymorph.__version__,
                settings_fingerprint=self._job.settings.fingerprint(),
                card_versions=tuple(sorted({one.sighting.version for one in done.used})),
                photo_sha256=tuple(one.photo.sha256 for one in done.used),
                mask_method=" ".join(dict.fromkeys(done.methods)),
                prints=self._prints(done),
            ),
            spread=cut.spread,
            n_plants=cut.n_plants if done.readings[View.BOARD] else None,
        )

    def _prints(self, done: _Day) -> tuple[PrintUsed, ...]:
        """Name the registered prints whose colours a day's photos were corrected to."""
        used = {(one.sighting.colour.card_id, one.sighting.role) for one in done.used}
        return tuple(
            dict.fromkeys(
                PrintUsed(card.card_id, card.fingerprint())
                for card in self._job.registered
                if (card.card_id, card.role) in used
            )
        )

    def _missing_views(self, done: _Day) -> list[str]:
        """Name the views of a tray that are missing; packs and loose photos lack none."""
        if self._job.sample.kind != "tray":
            return []
        return [flag for view, flag in _MISSING_VIEW.items() if not done.readings[view]]

    def _cut_plants(self, done: _Day, day: date | None) -> TrayOfPlants:
        """Put the cut plants of a day's board photos together."""
        sample = self._job.sample
        if not done.readings[View.BOARD]:
            if sample.weights and not self._board_days:
                done.flags.append("weight_not_used")
            return TrayOfPlants({}, {}, 0, ())
        weight = sample.weight_on(day, only_day=self._board_days == 1)
        if sample.weights and weight is None:
            done.flags.append("weight_not_used")
        cut = tray_of_plants(done.plants, weight)
        done.flags.extend(cut.flags)
        if sample.kind != "pack" and not sample.columns.get("cut_above_medium_mm"):
            done.flags.append("cut_differs")
        return cut

    def _measure_photo(
        self, wanted: JobPhoto, photo: SeenPhoto, done: _Day, day: date | None
    ) -> None:
        """Measure one photo of a day into what the day has given so far."""
        try:
            outcome = self._outcome(photo, done)
        except TraymorphError as err:
            self._fail(wanted, photo.view.value, err, photo)
            return
        self._write_pictures(wanted, photo, outcome)
        self._checks.append(self._check(wanted.name, photo, outcome.quality))
        done.readings[photo.view].append(outcome.metrics)
        done.flags.extend((*outcome.flags, *outcome.quality.flags))
        done.used.append(photo)
        done.methods.append(outcome.masks.method)
        done.plants.extend(outcome.plants)
        self._plants.extend(
            PlantRow(
                photo=wanted.name,
                tray_id=self._job.sample.tray_id,
                plant=number,
                x_mm=plant.x_mm,
                y_mm=plant.y_mm,
                metrics=plant.metrics(),
                flags=plant.flags,
                photographed_on=day,
            )
            for number, plant in enumerate(outcome.plants, start=1)
        )

    def _outcome(self, photo: SeenPhoto, done: _Day) -> PhotoOutcome:
        if photo.view is View.BOARD:
            return measure_board_photo(photo, self._job.sample.crop)
        size, settings = self._job.sample.size, self._job.settings
        segmented = segment(photo)
        if photo.view is View.PACK:
            return measure_pack_photo(photo, segmented)
        if photo.view is View.SIDE:
            return measure_side_photo(photo, segmented, size, settings)
        side = combine_photos(done.readings[View.SIDE])
        heights = SideHeights(
            side.get("canopy_height_mm", Measured()), side.get("leaf_layer_mm", Measured())
        )
        return measure_overhead_photo(photo, segmented, size, settings, heights)

    def _write_pictures(self, wanted: JobPhoto, photo: SeenPhoto, outcome: PhotoOutcome) -> None:
        overlay, mask = self._job.overlay_of(wanted), self._job.mask_of(wanted)
        if overlay is not None:
            save_picture(outcome.overlay, overlay)
        if mask is not None:
            classes = class_mask(outcome.masks, photo.photo.size_px, photo.sighting)
            save_picture(Image.fromarray(classes), mask)

    def _day_of(self, photo: SeenPhoto) -> date | None:
        """When the photo was taken: the list, else the phone, else the stated day."""
        taken = photo.entry.taken_on or photo.photo.camera.taken_on
        return taken.date() if taken is not None else self._job.sample.photographed_on

    def _check(
        self, name: str, photo: SeenPhoto, quality: PhotoQuality, error: str = ""
    ) -> PhotoCheck:
        return PhotoCheck(
            photo=name,
            tray_id=self._job.sample.tray_id,
            view=photo.view.value,
            sha256=photo.photo.sha256,
            mm_per_px=quality.mm_per_px,
            tilt_deg=photo.sighting.viewpoint.tilt_deg,
            card_residual_px=photo.sighting.residual_px,
            colour_error_de00=photo.sighting.colour.error_de00,
            sharpness=quality.sharpness,
            clipped_pct=quality.clipped_pct,
            flags=quality.flags,
            error=error,
        )

    def _fail(
        self, wanted: JobPhoto, view: str, err: TraymorphError, photo: SeenPhoto | None = None
    ) -> None:
        """List a failed photo, with what its card told if it was found."""
        tray_id, name = self._job.sample.tray_id, wanted.name
        self._failures.append(Failure(tray_id, name, str(err), err.exit_code))
        if photo is None:
            self._checks.append(PhotoCheck(photo=name, tray_id=tray_id, view=view, error=str(err)))
        else:
            quality = check_photo(photo.photo.rgb, photo.sighting)
            self._checks.append(self._check(name, photo, quality, str(err)))


def _refuse_part(wanted: JobPhoto, photo: SeenPhoto) -> None:
    """Two trays in one overhead or side photo would both get the numbers of the larger."""
    part = wanted.entry.part
    if part != "whole" and photo.view in _MISSING_VIEW:
        message = (
            f"{wanted.name}: listed as its {part} part, "
            f"but photos of the {photo.view} view show one tray each."
        )
        hint = "Photograph each tray by itself; plants on a board and packs may share a photo."
        raise PhotoContradictionError(message, hint=hint)
