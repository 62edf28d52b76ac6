"""Each tray by itself: its photos, what was measured in it, and what to know about it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from markupsafe import Markup

from traymorph.flags import FLAGS
from traymorph.model.report import Floats, PhotoShown, TrialReport
from traymorph.report.page import svg, wording
from traymorph.report.page.numbers import Numbers
from traymorph.report.page.sections import ordered_metrics, treatment_marks
from traymorph.report.page.thumbnails import Thumbnail, thumbnail, width_for

_MANY = 60
"""From so many trays on a tray's section holds the foremost metrics only."""
_STRIP = 110.0
_FACTS = ("crop", "block", "shelf", "position", "batch", "lot")


@dataclass(frozen=True, slots=True)
class FlagShown:
    """A flag in words."""

    name: str
    meaning: str
    advice: str


@dataclass(frozen=True, slots=True)
class ValueRow:
    """One metric of a tray: its values by day, and where it lies among all trays."""

    name: str
    values: tuple[str, ...]
    strip: Markup


@dataclass(frozen=True, slots=True)
class PictureShown:
    """The picture of what was measured in one photo, or why there is none."""

    caption: str
    alt: str
    photo: str
    picture: Thumbnail | None
    link: str
    problem: str


@dataclass(frozen=True, slots=True)
class TrayShown:
    """A tray's section."""

    ident: str
    tray_id: str
    treatment: str
    mark: Markup
    facts: tuple[tuple[str, str], ...]
    days: tuple[str, ...]
    pictures: tuple[PictureShown, ...]
    rows: tuple[ValueRow, ...]
    further: tuple[ValueRow, ...]
    flags: tuple[FlagShown, ...]
    flags_title: str
    among: str
    no_photos: str
    nothing: str


@dataclass(frozen=True, slots=True)
class TraysShown:
    """All trays, and what is said of every one."""

    trays: tuple[TrayShown, ...]
    common: tuple[FlagShown, ...]
    advice: tuple[FlagShown, ...]
    shortened: bool


def tray_sections(report: TrialReport, numbers: Numbers) -> TraysShown:
    """Make the sections of all trays, those whose photos failed among them."""
    ids = report.table.text("tray_id")
    order = list(dict.fromkeys([*ids, *(name for name in report.photos if name)]))
    shortened = len(order) > _MANY
    width = width_for(sum(one.overlay is not None for held in report.photos.values()
                          for one in held))  # fmt: skip
    common = _common(report)
    strips = _Strips(report)
    marks = treatment_marks(report)
    first, further = ordered_metrics(report)
    if shortened:
        further = []
    shown = []
    for place, name in enumerate(order, 1):
        rows = [row for row, one in enumerate(ids) if one == name]
        treatment = _last(report, report.treatment_column, rows)
        flags = {flag for row in rows for flag in report.table.flags[row]} - common
        shown.append(
            TrayShown(
                ident=f"tray-{place}",
                tray_id=name,
                treatment=treatment,
                mark=marks.get(treatment, Markup()),
                facts=_facts(report, rows),
                days=tuple(
                    _day(report.table.text("photographed_on")[row], numbers) for row in rows
                ),
                pictures=_pictures(name, report.photos.get(name, ()), width),
                rows=_values(report, rows, [*first, *report.outcomes], strips, numbers),
                further=_values(report, rows, further, strips, numbers),
                flags=tuple(map(_flag, sorted(flags))),
                **_said_of("pack" if _last(report, "kind", rows) == "pack" else "tray"),
            )
        )
    every = {flag for held in report.table.flags for flag in held if flag in FLAGS}
    advice = tuple(map(_flag, sorted(every)))
    return TraysShown(tuple(shown), tuple(map(_flag, sorted(common))), advice, shortened)


def _said_of(kind: str) -> dict[str, str]:
    """Name a tray a tray and a pack a pack."""
    return {
        "flags_title": wording.FLAGS_OF_TRAY.format(kind=kind),
        "among": wording.AMONG if kind == "tray" else wording.AMONG_SAMPLES,
        "no_photos": wording.NO_PHOTOS_OF_TRAY.format(kind=kind),
        "nothing": wording.NOTHING_OF_TRAY.format(kind=kind),
    }


def _common(report: TrialReport) -> set[str]:
    """Give the flags of every tray: they are said once."""
    kinds = report.table.text("kind")
    held = [
        set(flags) for flags, kind in zip(report.table.flags, kinds, strict=True) if kind != "pack"
    ]
    return set.intersection(*held) if len(held) > 1 else set()


def _flag(name: str) -> FlagShown:
    known = FLAGS.get(name)
    shown = name.replace("_", " ")
    return FlagShown(shown, known.meaning, known.advice) if known else FlagShown(shown, "", "")


def _last(report: TrialReport, column: str, rows: Sequence[int]) -> str:
    cells = report.table.text(column)
    return next((cells[row] for row in reversed(rows) if cells[row]), "")


def _facts(report: TrialReport, rows: Sequence[int]) -> tuple[tuple[str, str], ...]:
    held = ((name, _last(report, name, rows)) for name in _FACTS)
    return tuple((name, cell) for name, cell in held if cell)


def _day(cell: str, numbers: Numbers) -> str:
    try:
        return numbers.day(date.fromisoformat(cell[:10]))
    except ValueError:
        return cell or wording.VALUE


def _pictures(tray_id: str, photos: Sequence[PhotoShown], width: int) -> tuple[PictureShown, ...]:
    shown = []
    views = list(wording.VIEWS)
    by_view = sorted(
        photos, key=lambda one: views.index(one.view) if one.view in views else len(views)
    )
    for one in by_view:
        picture = thumbnail(one.overlay, width) if one.overlay else None
        problem = ""
        if picture is None:
            problem = f"{wording.PHOTO_FAILED} {one.error}" if one.error else ""
            problem = problem or wording.OVERLAY_MISSING
        caption = wording.capital(wording.VIEWS.get(one.view, one.view)) or one.photo
        alt = wording.photo_alt(tray_id, one.view, one.photo)
        shown.append(PictureShown(caption, alt, one.photo, picture, one.link, problem))
    return tuple(shown)


def _values(
    report: TrialReport,
    rows: Sequence[int],
    names: Sequence[str],
    strips: "_Strips",
    numbers: Numbers,
) -> tuple[ValueRow, ...]:
    shown = []
    for name in names:
        values, doubts = report.table.values[name], report.table.doubts[name]
        known = [row for row in rows if np.isfinite(values[row])]
        if not known:
            continue
        unit = report.table.units.get(name, "")
        written = tuple(
            numbers.measured(float(values[row]), float(doubts[row]), unit) for row in rows
        )
        strip = strips.strip(name, float(values[known[-1]]))
        shown.append(ValueRow(wording.capital(wording.metric_name(name)), written, strip))
    return tuple(shown)


class _Strips:
    """Where a tray lies among all: lowest to highest, median, this one."""

    def __init__(self, report: TrialReport) -> None:
        trays = report.table.text("tray_id")
        self._spread = {
            name: _spread(_last_values(trays, report.table.values[name]))
            for name in (*report.metrics, *report.outcomes)
        }

    def strip(self, name: str, value: float) -> Markup:
        """Draw one; nothing where all trays are alike."""
        low, middle, high = self._spread[name]
        if not high > low:
            return Markup()
        axis = svg.Axis(low, high, 6.0, _STRIP - 6.0)
        body = (
            svg.line((6.0, 8.0), (_STRIP - 6.0, 8.0), colour=svg.QUIET)
            + svg.line((axis.x(middle), 4.0), (axis.x(middle), 12.0), colour=svg.QUIET)
            + svg.mark(0, (axis.x(value), 8.0), 4.0)
        )
        return Markup(
            '<svg class="strip" viewBox="0 0 {w:.0f} 16" width="{w:.0f}" height="16" '
            'aria-hidden="true">{body}</svg>'
        ).format(w=_STRIP, body=body)


def _last_values(trays: Sequence[str], values: Floats) -> Floats:
    """Give the last measured value of every tray."""
    last = {
        tray: value
        for tray, value in zip(trays, values.tolist(), strict=True)
        if math.isfinite(value)
    }
    return np.array(list(last.values()), dtype=np.float64)


def _spread(values: Floats) -> tuple[float, float, float]:
    if not len(values):
        return math.nan, math.nan, math.nan
    return float(values.min()), float(np.median(values)), float(values.max())
