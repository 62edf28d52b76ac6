"""``traymorph repeatability``: how much of the spread is the measuring itself."""

import json
import math
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from traymorph.cli.options import as_json

if TYPE_CHECKING:
    from traymorph.model.repeatability import MetricRepeatability
    from traymorph.pipeline.repeatability import RepeatabilityReport

_HEADER = (
    "metric", "trays differ by", "measuring scatters by", "95 % interval", "of variance",
    "told apart from", "two photos",
)  # fmt: skip


@click.command(name="repeatability")
@click.argument("folder", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option("--metric", "metrics", multiple=True, help="Speak of this metric; may be repeated.")
@click.option("--crop", help="Only the trays of one crop.")
@as_json
def command(*, folder: Path, metrics: tuple[str, ...], crop: str | None, as_json: bool) -> None:
    """Tell how much of the spread between trays of FOLDER is the measuring itself.

    Reads results/tray_metrics.csv, in which repeats of a tray name it in the column repeat_of and
    the person or phone in the column operator; writes results/repeatability.csv and
    results/repeatability_parts.csv.
    """
    from traymorph.pipeline.repeatability import study_folder

    report = study_folder(folder, metrics=metrics, crop=crop)
    if as_json:
        click.echo(_as_json(report))
    else:
        _print(report)
    for warning in report.warnings:
        click.echo(warning, err=True)
    for path in report.out:
        click.echo(f"Table: {path}", err=True)


def _print(report: "RepeatabilityReport") -> None:
    most = max(report.studied, key=lambda one: one.n_measurements)
    people = f" by {most.n_operators} people or phones" if most.n_operators > 1 else ""
    crop = f" of {report.crop}" if report.crop else ""
    click.echo(f"{most.n_measurements} measurements of {most.n_trays} trays{crop}{people}")
    for said in report.sentences:
        for place, sentence in enumerate(said):
            click.echo(f"{'  ' if place == 0 else '    '}{sentence}")
    click.echo()
    rows = [_HEADER, *map(_line, report.shown)]
    widths = [max(len(row[place]) for row in rows) for place in range(len(_HEADER))]
    for row in rows:
        cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        click.echo("  ".join(cells).rstrip())


def _line(one: "MetricRepeatability") -> tuple[str, ...]:
    from traymorph.model.repeatability import MEASURING, TRAYS
    from traymorph.report.repeatability_sentences import amount, per_cent

    measuring = one.sum_of(MEASURING)
    return (
        one.metric,
        amount(one.sum_of(TRAYS).sd, one.unit),
        amount(measuring.sd, one.unit),
        f"{measuring.sd_low:.2g} to {measuring.sd_high:.2g}",
        per_cent(measuring.share_pct),
        amount(one.smallest[0].same_operator, one.unit),
        amount(one.smallest[1].same_operator, one.unit),
    )


def _as_json(report: "RepeatabilityReport") -> str:
    """Every metric that was studied; null = not told."""
    said = {
        one.metric: list(lines) for one, lines in zip(report.shown, report.sentences, strict=True)
    }
    content = {
        "crop": report.crop,
        "metrics": [
            {**_plain(asdict(one)), "sentences": said.get(one.metric, [])} for one in report.studied
        ],
        "warnings": list(report.warnings),
    }
    return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)


def _plain(value: Any) -> Any:  # noqa: ANN401 - anything that a result holds
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
