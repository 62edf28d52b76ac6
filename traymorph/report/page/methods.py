"""How the numbers came about: definitions, card, light, statistics, versions, cautions."""

import math
import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup

from traymorph.model.report import TrialReport
from traymorph.report.page import wording
from traymorph.report.page.numbers import Numbers
from traymorph.report.page.sections import definitions, treatments_of

_SHORT = 12
_MOST_SIZES = 3


@dataclass(frozen=True, slots=True)
class MethodsShown:
    """Sentences by heading, and the table of definitions."""

    parts: tuple[tuple[str, tuple[Markup, ...]], ...]
    definitions: tuple[tuple[str, str, str, str, str], ...]


def methods(report: TrialReport, numbers: Numbers) -> MethodsShown:
    """Say how the numbers came about."""
    parts = (
        (wording.TYPICAL, (report.plates.rule,) if report.plates.rule else ()),
        (wording.CARD, _card(report, numbers)),
        (wording.LIGHT, _light(report, numbers)),
        (wording.STATISTICS, _statistics(report)),
        (wording.MADE, _made(report)),
        (wording.CAUTIONS, wording.CAUTION_SENTENCES),
    )
    return MethodsShown(
        tuple(
            (heading, tuple(numbers.sentence(one) for one in said))
            for heading, said in parts
            if said
        ),
        tuple(definitions(report, numbers)),
    )


def _card(report: TrialReport, numbers: Numbers) -> tuple[str, ...]:
    bar = report.made_by.printed_bar_mm
    decimals = 0 if bar == round(bar) else 1
    return (
        wording.CARD_SENTENCE.format(bar=numbers.with_unit(numbers.plain(bar, decimals), "mm")),
        wording.PLANES[report.made_by.card_plane],
    )


def _light(report: TrialReport, numbers: Numbers) -> tuple[str, ...]:
    errors = [
        one.colour_error_de00
        for photos in report.photos.values()
        for one in photos
        if math.isfinite(one.colour_error_de00)
    ]
    said = [
        wording.LIGHT_SENTENCE.format(
            low=numbers.plain(min(errors), 1), high=numbers.plain(max(errors), 1)
        )
        if errors
        else wording.LIGHT_UNKNOWN
    ]
    if any("card_nominal" in flags for flags in report.table.flags):
        said.append(wording.RELATIVE_COLOUR)
    unfit = sum("light_unfit_for_colour" in flags for flags in report.table.flags)
    if unfit:
        said.append(wording.UNFIT_LIGHT.format(trays=wording.replicates(unfit, "tray")))
    return tuple(said)


def _statistics(report: TrialReport) -> tuple[str, ...]:
    comparison = report.comparison
    if comparison is None:
        return (wording.STATISTICS_SENTENCES[0],)
    used = sorted({row.method for row in comparison.differences if row.method})
    methods_used = (wording.METHODS_USED.format(methods="; ".join(used)),) if used else ()
    return (*wording.STATISTICS_SENTENCES, *methods_used, wording.DOTS_NOTE)


def _made(report: TrialReport) -> tuple[str, ...]:
    made = report.made_by
    said = [wording.WRITTEN_BY.format(version=made.page_version)]
    if made.program_versions:
        said.append(
            wording.MEASURED_BY.format(
                versions=", ".join(made.program_versions),
                methods=", ".join(_parts(made.mask_methods)) or wording.UNKNOWN,
            )
        )
    said.append(wording.FINGERPRINT.format(fingerprint=made.settings_fingerprint[:_SHORT]))
    return tuple(said)


def _parts(mask_methods: Sequence[str]) -> list[str]:
    """Name every method once, whatever photos of a tray it was used in."""
    pieces = [
        piece.strip()
        for held in mask_methods
        for piece in re.split(r" \+ |(?<=\d) (?=[a-z])|(?<=[0-9a-f]{8}) (?=[a-z])", held)
    ]
    return list(dict.fromkeys(piece for piece in pieces if piece))


def lead(report: TrialReport, numbers: Numbers) -> tuple[str, ...]:
    """Say in a few words what the trial was."""
    table = report.table
    kinds = dict(zip(table.text("tray_id"), table.text("kind"), strict=True))
    packs = sum(kind == "pack" for kind in kinds.values())
    crops = sorted(set(table.text("crop")) - {""})
    said = [wording.trays_of(len(kinds) - packs, packs, crops)]
    blocks = set(table.text("block")) - {""}
    if len(blocks) > 1:
        said.append(wording.of(len(blocks), "block", "blocks"))
    batches = set(table.text("batch")) - {""}
    if len(batches) > 1:
        said.append(wording.of(len(batches), "batch", "batches"))
    count = len(treatments_of(report))
    if count > 1:
        said.append(wording.of(count, "treatment", "treatments"))
    days = _days(report, "photographed_on")
    sown = _days(report, "sown_on")
    if sown:
        said.append(wording.sown(numbers.day(min(sown.values())), numbers.day(max(sown.values()))))
    if days:
        first, last = numbers.day(min(days.values())), numbers.day(max(days.values()))
        ages = [(days[row] - sown[row]).days for row in days if row in sown]
        said.append(wording.photographed(first, last, ages))
    sizes = [
        wording.SIZE.format(length=numbers.plain(length, 0), width=numbers.plain(width, 0))
        for length, width in report.tray_sizes_mm
    ]
    if sizes:
        said.append(wording.TRAY_SIZES.format(sizes=wording.listed(sizes, _MOST_SIZES)))
    return tuple(said)


def _days(report: TrialReport, column: str) -> dict[int, date]:
    """Give the day of every row of a tray that states one."""
    days = {}
    kinds = report.table.text("kind")
    for row, cell in enumerate(report.table.text(column)):
        if kinds[row] == "pack":
            continue
        with suppress(ValueError):
            days[row] = date.fromisoformat(cell[:10])
    return days
