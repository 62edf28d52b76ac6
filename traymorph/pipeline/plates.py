"""Side by side: the typical tray of every treatment, cut out of its photos at one scale."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from traymorph.card.colour import correct
from traymorph.config.settings import Settings, read_settings
from traymorph.errors import TraymorphError
from traymorph.intake.photos import read_photo
from traymorph.model.card import ColourFit, RegisteredCard
from traymorph.model.comparison import Question, TrayTable
from traymorph.model.photo import View
from traymorph.model.plates import Plate, PlateGap, Plates
from traymorph.model.results import Measured
from traymorph.pipeline.calibrate import cards_of_samples, read_colours
from traymorph.pipeline.plate_cuttings import Place, TrayFacts, place_of
from traymorph.pipeline.plate_photos import TrialPhoto, TrialPhotos, refuse_other_file
from traymorph.pipeline.seen import see
from traymorph.report.plate_sentences import column_name, not_photographed, rule_sentence
from traymorph.report.plates import Flattened, Frame, common_frame, jpeg_of, with_bar
from traymorph.stats.treatments.typical import TypicalTrays, rank_trays

_VIEWS = {
    "tray": (View.OVERHEAD, View.SIDE, View.BOARD),
    "pack": (View.BOARD, View.PACK),
}


@dataclass(frozen=True, slots=True, eq=False)
class _Chosen:
    """A photo whose place is known; the photo itself is read again when the plate is made."""

    treatment: str
    tray_id: str
    photo: TrialPhoto
    place: Place
    colour: ColourFit


@dataclass(frozen=True, slots=True)
class _Shot:
    """What the plates of a view have in common."""

    view: View
    frame: Frame
    exposure: float


def typical_plates(folder: Path, table: TrayTable, question: Question) -> Plates:
    """Cut typical trays out of their photos, side by side at one scale.

    Parameters
    ----------
    folder : Path
        The trial folder.
    table : TrayTable
        ``results/tray_metrics.csv``, or the rows of it that are wanted.
    question : Question
        Column of the treatments, the control and the declared metric.

    Returns
    -------
    Plates
        What cannot be shown is a gap with its reason.

    Raises
    ------
    SettingsError, ListError
        ``trial.toml`` or ``card_colours.csv`` cannot be used.
    """
    return _Gathering(folder, table, question).plates()


class _Gathering:
    """The plates of a trial while they are gathered."""

    def __init__(self, folder: Path, table: TrayTable, question: Question) -> None:
        self._table = table
        self._settings: Settings = read_settings(folder)
        self._photos = TrialPhotos(folder, self._settings)
        self._cards: dict[str, tuple[RegisteredCard, ...]] = cards_of_samples(
            read_colours(folder), self._photos.samples
        )
        self._ranking = rank_trays(table, question)
        self._gaps: list[PlateGap] = []

    def plates(self) -> Plates:
        """Make the plates view by view."""
        shown = [plate for view in View for plate in self._of_view(view)]
        ranking = self._ranking
        if not shown:
            return Plates("", (), tuple(self._gaps))
        rule = rule_sentence(ranking.primary, ranking.metrics, shown, ranking.last)
        return Plates(rule, tuple(shown), tuple(self._gaps))

    def _of_view(self, view: View) -> list[Plate]:
        """All plates of a view, in one frame; no gap where nobody was photographed so."""
        groups = [one for one in self._ranking.groups if view in _VIEWS[one.kind]]
        known = [(one, self._typical(one, view)) for one in groups]
        if all(tray is None for _, tray in known):
            return []
        chosen = [self._chosen(group, tray, view) for group, tray in known]
        there = [one for one in chosen if one is not None]
        if not there:
            return []
        shot = _Shot(
            view,
            common_frame([one.place.cutting for one in there]),
            min(one.place.exposure for one in there),
        )
        made = [self._plate(one, shot) for one in there]
        return [one for one in made if one is not None]

    def _typical(self, group: TypicalTrays, view: View) -> str | None:
        """Name the first tray in order that was measured in a view, else one that failed."""
        for usable in (self._photos.latest, self._photos.of):
            for tray_id in group.ranked:
                if usable(tray_id, view):
                    return tray_id
        return None

    def _chosen(self, group: TypicalTrays, tray_id: str | None, view: View) -> _Chosen | None:
        treatment = self._column(group)
        if tray_id is None:
            reason = not_photographed(group.kind, view)
            self._gaps.append(PlateGap(treatment, view.value, reason))
            return None
        photos = self._photos.latest(tray_id, view)
        if not photos:
            failed = self._photos.of(tray_id, view)[0]
            self._gaps.append(PlateGap(treatment, view.value, failed.error))
            return None
        (photo, *_) = photos
        try:
            seen = see(
                photo.entry, self._settings.card.printed_bar_mm, self._cards.get(tray_id, ())
            )
            refuse_other_file(photo, seen.photo.sha256)
            place = place_of(seen, self._facts(tray_id))
        except TraymorphError as err:
            self._gaps.append(PlateGap(treatment, view.value, str(err)))
            return None
        return _Chosen(treatment, tray_id, photo, place, seen.sighting.colour)

    def _column(self, group: TypicalTrays) -> str:
        trays_too = any(
            one.kind == "tray" and one.treatment == group.treatment for one in self._ranking.groups
        )
        return column_name(group.treatment, group.kind, trays_too=trays_too)

    def _plate(self, one: _Chosen, shot: _Shot) -> Plate | None:
        view, frame = shot.view, shot.frame
        try:
            rgb = read_photo(one.photo.entry.path).rgb
        except TraymorphError as err:
            self._gaps.append(PlateGap(one.treatment, view.value, str(err)))
            return None
        flat = Flattened(rgb, one.place.cutting, frame)
        true_colour = one.colour.shows_colour
        fit = replace(one.colour, matrix=shot.exposure * one.colour.matrix)
        picture = flat.picture(correct(flat.rgb, fit) if true_colour else flat.rgb)
        to_scale = view is not View.PACK
        if to_scale:
            picture = with_bar(picture, frame.px_per_mm)
        return Plate(
            treatment=one.treatment,
            tray_id=one.tray_id,
            view=view.value,
            photo=one.photo.name,
            jpeg=jpeg_of(picture),
            width_px=frame.width_px,
            height_px=frame.height_px,
            px_per_mm=frame.px_per_mm if to_scale else float("nan"),
            true_colour=true_colour,
        )

    def _facts(self, tray_id: str) -> TrayFacts:
        return TrayFacts(
            self._photos.size_of(tray_id),
            self._settings,
            self._measured(tray_id, "canopy_height_mm"),
            self._measured(tray_id, "canopy_height_p95_mm"),
            self._measured(tray_id, "leaf_layer_mm"),
        )

    def _measured(self, tray_id: str, metric: str) -> Measured:
        """Last value of a tray's metric; NaN where it was never measured."""
        values = self._table.values.get(metric)
        if values is None:
            return Measured()
        names, days = self._table.text("tray_id"), self._table.text("photographed_on")
        rows = [
            row for row, name in enumerate(names) if name == tray_id and np.isfinite(values[row])
        ]
        if not rows:
            return Measured()
        last = max(rows, key=lambda row: days[row])
        return Measured(float(values[last]), float(self._table.doubts[metric][last]))
