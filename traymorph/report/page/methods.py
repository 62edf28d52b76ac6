"""How the numbers came about: definitions, card, light, statistics, versions, cautions."""

import math
from dataclasses import dataclass
from datetime import date

from traymorph.model.report import TrialReport
from traymorph.report.page import wording
from traymorph.report.page.numbers import Numbers
from traymorph.report.page.sections import definitions, treatments_of


@dataclass(frozen=True, slots=True)
class MethodsShown:
    """Sentences by heading, and the table of definitions."""

    parts: tuple[tuple[str, tuple[str, ...]], ...]
    definitions: tuple[tuple[str, str, str, str, str], ...]


def methods(report: TrialReport, numbers: Numbers) -> MethodsShown:
    """Say how the numbers came about."""
    parts = (
        (wording.CARD, _card(report, numbers)),
        (wording.LIGHT, _light(report, numbers)),
        (wording.STATISTICS, _statistics(report)),
        (wording.MADE, _made(report)),
        (wording.CAUTIONS, wording.CAUTION_SENTENCES),
    )
    return MethodsShown(parts, tuple(definitions(report, numbers)))


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
                methods=", ".join(made.mask_methods) or wording.UNKNOWN,
            )
        )
    said.append(wording.FINGERPRINT.format(fingerprint=made.settings_fingerprint))
    return tuple(said)


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
    days = _days(report)
    if days:
        first, last = numbers.day(min(days)), numbers.day(max(days))
        said.append(wording.photographed(first, last))
    return tuple(said)


def _days(report: TrialReport) -> list[date]:
    days = []
    for cell in report.table.text("photographed_on"):
        try:
            days.append(date.fromisoformat(cell[:10]))
        except ValueError:
            continue
    return days
