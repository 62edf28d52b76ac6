"""``traymorph drift``: control charts across batches, in words and in numbers."""

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from traymorph.cli.options import as_json
from traymorph.errors import ExitCode

if TYPE_CHECKING:
    from traymorph.model.drift import Chart, MetricDrift
    from traymorph.pipeline.drift import DriftReport

_SHORTEST_RUN, _LONGEST_RUN = 20.0, 10_000.0


@click.command(name="drift")
@click.argument("folder", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option(
    "--metric", "metrics", multiple=True, metavar="NAME",
    help="Watch this metric; may be repeated.",
)  # fmt: skip
@click.option("--crop", metavar="NAME", help="Watch the trays of one crop only.")
@click.option("--treatment", metavar="NAME", help="Watch the trays of one treatment only.")
@click.option(
    "--since", metavar="BATCH", help="Watch from this batch on, after a change that was meant."
)
@click.option(
    "--leave-out", "left_out", multiple=True, metavar="BATCH",
    help="Keep a batch with a known cause out of the baseline; may be repeated.",
)  # fmt: skip
@click.option(
    "--rules", type=click.Choice(["western-electric", "nelson"]),
    help="Run rules beside the first, by the set that published them.",
)  # fmt: skip
@click.option(
    "--run-length", type=click.FloatRange(_SHORTEST_RUN, _LONGEST_RUN),
    help="Batches to a false alarm of EWMA and CUSUM (370 and 465 unless told).",
)  # fmt: skip
@click.option(
    "--alarm", is_flag=True,
    help="Exit with 9 when the newest batch signals or fails the standard.",
)  # fmt: skip
@as_json
def command(
    *,
    folder: Path,
    metrics: tuple[str, ...],
    crop: str | None,
    treatment: str | None,
    since: str | None,
    left_out: tuple[str, ...],
    rules: str | None,
    run_length: float | None,
    alarm: bool,
    as_json: bool,
) -> int:
    """Watch the batches of FOLDER: what moved, since when, by how much.

    Reads results/tray_metrics.csv, standard.csv and events.csv where they are, and the section
    [drift] of trial.toml; writes results/drift.csv and, for each metric, charts in
    results/drift/.
    """
    from traymorph.pipeline.drift import Asked, watch_folder

    asked = Asked(metrics, crop, treatment, since, left_out, rules, run_length)
    report = watch_folder(folder, asked)
    if as_json:
        click.echo(_as_json(report))
    else:
        _print(report)
    for warning in report.warnings:
        click.echo(warning, err=True)
    table, *pictures = report.out
    click.echo(f"Table: {table}", err=True)
    if pictures:
        click.echo(f"Charts: {', '.join(map(str, pictures))}", err=True)
    if report.older:
        older = ", ".join(path.name for path in report.older)
        click.echo(f"Charts of an earlier run, not drawn anew: {older}", err=True)
    calls = bool(report.signalling or report.failing)
    return ExitCode.SOME_FAILED if alarm and calls else ExitCode.DONE


def _print(report: "DriftReport") -> None:
    names, days = report.batches.names, report.batches.days
    crop = f" of {report.batches.crop}" if report.batches.crop else ""
    span = f"{names[0]} ({days[0]}) to {names[-1]} ({days[-1]})"
    click.echo(f"{len(names)} batches{crop}, {span}.")
    if report.signalling:
        click.echo(f"The newest batch signals: {', '.join(report.signalling)}.")
    else:
        click.echo("The newest batch signals nothing.")
    if report.failing:
        click.echo(f"The newest batch fails the standard: {', '.join(report.failing)}.")
    pairs = zip(report.watched, report.sentences, strict=True)
    for _, said in sorted(pairs, key=lambda pair: not pair[0].moves):
        for sentence in said:
            click.echo(f"  {sentence}")


def _as_json(report: "DriftReport") -> str:
    """Everything that the table holds, with what moved; null = none."""
    content = {
        "batches": [
            {"batch": name, "day": day.isoformat()}
            for name, day in zip(report.batches.names, report.batches.days, strict=True)
        ],
        "crop": report.batches.crop,
        "metrics": [
            _metric(one, said) for one, said in zip(report.watched, report.sentences, strict=True)
        ],
        "signals_now": list(report.signalling),
        "fails_standard_now": list(report.failing),
        "warnings": list(report.warnings),
    }
    return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)


def _metric(one: "MetricDrift", said: tuple[str, ...]) -> dict[str, object]:
    held = one.capability
    return {
        "metric": one.metric,
        "unit": one.unit,
        "baseline": [name for name, inside in zip(one.names, one.baseline, strict=True) if inside],
        "few": one.few,
        "centre": _or_null(one.centre),
        "sigma": _or_null(one.sigma),
        "sentences": list(said),
        "moves": [
            {
                "direction": "up" if move.direction > 0 else "down",
                "since": one.names[move.start],
                "signalled": one.names[move.signalled],
                "until": one.names[move.end],
                "charts": list(move.charts),
                "mean": move.mean,
            }
            for move in one.moves
        ],
        "capability": None
        if held is None
        else {"cpk": held.cpk, "low": held.low, "high": held.high, "n": held.n},
        "charts": {chart.name: _chart(chart, one) for chart in one.charts},
    }


def _chart(chart: "Chart", one: "MetricDrift") -> list[dict[str, object]]:
    return [
        {
            "batch": one.names[k],
            "value": _or_null(float(chart.values[k])),
            "centre": _or_null(float(chart.centre[k])),
            "lower": _or_null(float(chart.lower[k])),
            "upper": _or_null(float(chart.upper[k])),
            "signal": chart.signals[k],
        }
        for k in range(len(one.names))
    ]


def _or_null(number: float) -> float | None:
    return number if math.isfinite(number) else None
