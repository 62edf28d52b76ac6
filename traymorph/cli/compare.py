"""``traymorph compare``: differences between treatments, in words and in numbers."""

import json
import math
import re
from dataclasses import asdict
from pathlib import Path

import click

from traymorph.cli.options import as_json
from traymorph.model.comparison import Comparison, Difference, Margin


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

    Reads results/tray_metrics.csv and the section [compare] of trial.toml; writes
    results/comparison.csv.
    """
    from traymorph.pipeline.compare import compare_folder

    report = compare_folder(folder, crop=crop, margins=margins)
    if as_json:
        click.echo(_as_json(report.comparison, report.sentences))
    else:
        _print(report.comparison, report.sentences)
    for warning in report.comparison.warnings:
        click.echo(warning, err=True)
    click.echo(f"Table: {report.out}", err=True)
    return 0


def _print(comparison: Comparison, sentences: tuple[str, ...]) -> None:
    counts = ", ".join(
        f"{name} ({n} {comparison.unit}{'s' if n > 1 else ''})"
        for name, n in comparison.treatments.items()
    )
    blocks = f" in {comparison.blocks} blocks" if comparison.blocks else ""
    click.echo(f"{counts}{blocks}")
    for sentence in sentences:
        click.echo(f"  {sentence}")
    click.echo()
    for line in _table(comparison):
        click.echo(line)
    click.echo(_families(comparison))


def _families(comparison: Comparison) -> str:
    """Say what the p values are adjusted for, wherever they stand."""
    primary = comparison.question.primary
    exploratory = sum(
        row.family == "exploratory" and math.isfinite(row.p) for row in comparison.differences
    )
    declared = (
        f"Primary family: {primary}, adjusted for its pairs."
        if primary
        else "No primary metric is declared ([compare] primary in trial.toml)."
    )
    return f"{declared} Exploratory family: {exploratory} differences, adjusted together (Holm)."


def _table(comparison: Comparison) -> list[str]:
    header = ["metric", "between", "difference", "95 % interval", "%", "95 % interval", "p adj."]
    body = [
        _line(row) for row in comparison.differences if math.isfinite(row.difference) or row.flags
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
    unit = "" if row.unit == "1" else f" {row.unit}"
    return [
        row.metric,
        between,
        f"{row.difference:+.3g}{unit}",
        _span(row.ci_low, row.ci_high),
        f"{row.difference_pct:+.1f}" if math.isfinite(row.difference_pct) else "",
        _span(row.ci_low_pct, row.ci_high_pct),
        f"{row.p_adjusted:.3f}" if math.isfinite(row.p_adjusted) else "",
    ]


def _span(low: float, high: float) -> str:
    return f"{low:+.3g} to {high:+.3g}" if math.isfinite(low) else ""


def _as_json(comparison: Comparison, sentences: tuple[str, ...]) -> str:
    """Everything that the table holds; null = not told."""
    content = {
        "treatments": dict(comparison.treatments),
        "replicate": comparison.unit,
        "blocks": comparison.blocks,
        "differences": [_plain(row) for row in comparison.differences],
        "sentences": list(sentences),
        "warnings": list(comparison.warnings),
    }
    return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)


def _plain(row: Difference) -> dict[str, object]:
    return {
        name: None if isinstance(value, float) and not math.isfinite(value) else value
        for name, value in asdict(row).items()
    }
