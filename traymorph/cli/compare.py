"""``traymorph compare``: differences between treatments, in words and in numbers."""

import json
import math
import re
import textwrap
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from traymorph.cli.options import as_json
from traymorph.model.comparison import Comparison, Difference, Margin, plural
from traymorph.report.findings import findings, missing_metrics, treatments_in_words
from traymorph.report.sentences import unit_of_differences

if TYPE_CHECKING:
    from traymorph.model.outcome_results import Foretold
    from traymorph.pipeline.compare import ComparisonReport
    from traymorph.pipeline.trial_outcomes import OutcomeReport

_WIDTH = 100  # characters of a line on the terminal


class _MarginType(click.ParamType[Margin]):
    """``METRIC=SIZE`` in the metric's unit, or ``METRIC=SIZE%`` of the control."""

    name = "METRIC=SIZE[%]"

    def convert(
        self,
        value: str | Margin,
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> Margin:
        """Read a margin."""
        if isinstance(value, Margin):
            return value
        found = re.fullmatch(r"\s*([a-z0-9_]+)\s*=\s*(\d+\.?\d*|\.\d+)\s*(%?)\s*", value)
        if found is None or float(found[2]) <= 0:
            self.fail(f"{value!r} is no margin; write stem_length_mm=2 or stem_length_mm=5%.",
                      param, ctx)  # fmt: skip
        return Margin(found[1], float(found[2]), in_percent=bool(found[3]))


@click.command(name="compare")
@click.argument("folder", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option("--crop", help="Compare the trays of one crop only.")
@click.option(
    "--within",
    "margins",
    type=_MarginType(),
    multiple=True,
    help="Ask whether a difference is surely within a margin: stem_length_mm=5%.",
)
@as_json
def command(*, folder: Path, crop: str | None, margins: tuple[Margin, ...], as_json: bool) -> int:
    """Compare the treatments of a measured trial FOLDER.

    Reads results/tray_metrics.csv, outcomes.csv where there is one, and the sections [compare] and
    [outcomes] of trial.toml; writes results/comparison.csv and results/outcomes_*.csv.
    """
    from traymorph.pipeline.compare import compare_folder

    report = compare_folder(folder, crop=crop, margins=margins)
    if as_json:
        click.echo(_as_json(report))
    else:
        _print(report.comparison)
        _print_sections(report.outcomes)
    for warning in report.comparison.warnings:
        click.echo(warning, err=True)
    for path in report.out:
        click.echo(f"Table: {path}", err=True)
    return 0


def _print(comparison: Comparison) -> None:
    found = findings(comparison)
    click.echo(treatments_in_words(comparison))
    groups = {
        "": found.asked,
        "Also shown": found.shown,
        "Hints, no more": found.hints,
        f"Not told by these {plural(comparison.unit)}": _wrapped("; ".join(found.untold)),
    }
    for title, lines in groups.items():
        if lines and title:
            click.echo(f"{title}:")
        for line in lines:
            click.echo(f"  {line}")
    click.echo()
    for line in _table(comparison):
        click.echo(line)
    for flags, names in missing_metrics(comparison).items():
        click.echo("\n".join(_wrapped(f"Not compared ({flags}): {', '.join(names)}")))
    click.echo(_families(comparison))


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, break_long_words=False, break_on_hyphens=False)


def _print_sections(outcomes: "OutcomeReport") -> None:
    for title, said in (outcomes.sections or {}).items():
        click.echo()
        click.echo(title)
        for line in said:
            click.echo(f"  {line}")


def _families(comparison: Comparison) -> str:
    """Say what the p values are adjusted for, wherever they stand."""
    primary = comparison.question.primary
    exploratory = sum(
        row.family == "exploratory" and math.isfinite(row.p) for row in comparison.differences
    )
    declared = (
        f"Primary family: {primary}, adjusted for its pairs."
        if primary
        else "No primary metric is declared for these ([compare] primary in trial.toml)."
    )
    return f"{declared} Exploratory family: {exploratory} differences, adjusted together (Holm)."


def _table(comparison: Comparison) -> list[str]:
    header = ["metric", "between", "difference", "95 % interval", "%", "95 % interval", "p adj."]
    unmet = {name for names in missing_metrics(comparison).values() for name in names}
    body = [
        _line(row)
        for row in comparison.differences
        if math.isfinite(row.difference) or (row.flags and row.metric not in unmet)
    ]
    rows = [header, *body]
    widths = [max(len(row[place]) for row in rows) for place in range(len(header))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]


def _line(row: Difference) -> list[str]:
    between = f"{row.treatment} - {row.control}"
    if not math.isfinite(row.difference):
        return [row.metric, between, "–", " ".join(row.flags), "", "", ""]
    unit = f" {unit_of_differences(row.unit)}".rstrip()
    return [
        row.metric,
        between,
        f"{row.difference:+.3g}{unit}",
        _span(row.ci_low, row.ci_high),
        f"{row.difference_pct:+.1f}" if row.is_relative else "",
        _span(row.ci_low_pct, row.ci_high_pct) if row.is_relative else "",
        _p_cell(row.p_adjusted),
    ]


def _span(low: float, high: float) -> str:
    return f"{low:+.3g} to {high:+.3g}" if math.isfinite(low) else ""


def _p_cell(p: float) -> str:
    if not math.isfinite(p):
        return ""
    return "<0.001" if p < 0.0005 else f"{p:.3f}"


def _as_json(report: "ComparisonReport") -> str:
    """Everything that the tables hold; null = not told."""
    comparison, outcomes = report.comparison, report.outcomes
    content = {
        "treatments": dict(comparison.treatments),
        "replicate": comparison.unit,
        "blocks": comparison.blocks,
        "differences": [_plain(row) for row in comparison.differences],
        "sentences": list(report.sentences),
        "warnings": list(comparison.warnings),
        "outcomes": {
            "lots": [_plain(row) for row in outcomes.lots.differences] if outcomes.lots else [],
            "laboratory": [_plain(row) for row in outcomes.contents],
            "claims": [
                {
                    "analyte": claim.content.analyte,
                    "treatment": claim.content.treatment,
                    "control": claim.content.control,
                    "rule": claim.rule.name,
                    "source": claim.rule.source,
                    "claim": "threshold reached" if not claim.missing else "no claim",
                    "missing": claim.missing,
                }
                for claim in outcomes.claims
            ],
            "keeping": [_plain(row) for row in (*outcomes.kept, *outcomes.kept_pairs)],
            "fading": [_plain(row) for row in outcomes.fading],
            "tasting": [_plain(row) for row in (*outcomes.counted, *outcomes.scored)],
            "with_metrics": [_plain(row) for row in outcomes.going],
            "foretold": _model(outcomes.foretold),
            "sections": outcomes.sections or {},
        },
    }
    return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)


def _model(model: "Foretold | None") -> dict[str, object] | None:
    if model is None:
        return None
    held = _plain(replace(model, values=None))
    values = [] if model.values is None else model.values.tolist()
    held["values"] = [one if math.isfinite(one) else None for one in values]
    return held


def _plain(row: Any) -> dict[str, object]:  # noqa: ANN401 - any row of results
    return {
        name: None if isinstance(value, float) and not math.isfinite(value) else value
        for name, value in asdict(row).items()
    }
