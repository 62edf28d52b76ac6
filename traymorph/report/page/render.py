"""From everything gathered to one HTML file that needs nothing beside it."""

from pathlib import Path

import jinja2

from traymorph.model.report import TrialReport
from traymorph.report.page import wording
from traymorph.report.page.findings import find, opening
from traymorph.report.page.methods import lead, methods
from traymorph.report.page.numbers import Numbers, isolated
from traymorph.report.page.racks import mapped_metric, rack
from traymorph.report.page.sections import (
    batch_charts,
    metric_charts,
    ordered_metrics,
    pair_charts,
    plate_rows,
    plates_said,
    single_rows,
    surety_key,
    treatment_marks,
)
from traymorph.report.page.trays import tray_sections
from traymorph.whole_file import whole_file

_ENVIRONMENT = jinja2.Environment(
    loader=jinja2.PackageLoader("traymorph.report.page"),
    autoescape=True,
    undefined=jinja2.StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_ENVIRONMENT.filters["isolated"] = isolated


def render_page(report: TrialReport, numbers: Numbers) -> tuple[str, tuple[str, ...]]:
    """Make the page.

    Parameters
    ----------
    report : TrialReport
        Everything that it shows.
    numbers : Numbers
        How numbers, units and days are written.

    Returns
    -------
    text : str
        The HTML file.
    findings : tuple of str
        The sentences that it opens with.
    """
    marks = treatment_marks(report)
    names = tuple(dict.fromkeys([*marks, *report.table.text("tray_id")]))
    found = find(report, names, numbers)
    first, further = ordered_metrics(report)
    outcomes = _told_once(report)
    content = {
        "title": report.name,
        "lead": lead(report, numbers),
        "treatment_meaning": report.treatment_meaning,
        "treatments": [(name, mark, _count(report, name)) for name, mark in marks.items()],
        "found": found,
        "plates": plate_rows(report, numbers),
        "plates_said": plates_said(report, numbers),
        "charts": metric_charts(report, first, numbers),
        "further_charts": metric_charts(report, further, numbers),
        "singles": single_rows(report, first, numbers),
        "further_singles": single_rows(report, further, numbers),
        "surety_key": surety_key(),
        "pairs": pair_charts(report, numbers),
        "dots_caption": wording.DOTS_CAPTION.format(replicate=report.replicate),
        "map_lead": wording.map_lead(mapped_metric(report)),
        "blocks": rack(report, numbers),
        "outcomes_title": wording.outcomes_title(
            report.outcome_sections, weighed=bool(report.outcomes)
        ),
        "outcome_charts": metric_charts(report, outcomes, numbers),
        "outcome_singles": single_rows(report, outcomes, numbers),
        "outcome_sections": [
            (title, [numbers.sentence(one, names) for one in said])
            for title, said in report.outcome_sections.items()
        ],
        "batches": batch_charts(report, names, numbers),
        "batch_notes": [numbers.sentence(one, names) for one in report.drift_notes],
        "trays": tray_sections(report, numbers),
        "methods": methods(report, numbers),
        "missing": [numbers.sentence(one, names) for one in report.missing],
        "w": wording,
    }
    return _ENVIRONMENT.get_template("page.html").render(content), opening(found)


def _told_once(report: TrialReport) -> list[str]:
    """Leave out yield for an area where trays of one size give it the picture of their weight."""
    same = "fresh_weight" in report.outcomes and len(report.tray_sizes_mm) == 1
    return [name for name in report.outcomes if not (same and name == "yield_g_per_m2")]


def _count(report: TrialReport, treatment: str) -> str:
    column = report.table.text(report.treatment_column)
    trays = {
        tray
        for tray, one in zip(report.table.text("tray_id"), column, strict=True)
        if one == treatment
    }
    return wording.of(len(trays), "tray", "trays")


def save_page(path: Path, text: str) -> None:
    """Write the page, whole or not at all.

    Parameters
    ----------
    path : Path
        Where to; folders that lack are made.
    text : str
        The page.

    Raises
    ------
    StoreError
        It cannot be written; what was there stays as it was.
    """
    with whole_file(path) as part:
        part.write_text(text, encoding="utf-8", newline="\n")
