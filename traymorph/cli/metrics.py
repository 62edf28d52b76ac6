"""``traymorph metrics``: what each column means."""

import json
import textwrap
from dataclasses import asdict

import click

from traymorph.cli.options import as_json
from traymorph.flags import FLAGS
from traymorph.model.metrics import METRICS

_WIDTH = 88


@click.command(name="metrics")
@as_json
def command(*, as_json: bool) -> None:
    """Explain every column of the results: unit, view, definition, source; then every flag."""
    if as_json:
        content = {
            "metrics": [asdict(spec) for spec in METRICS.values()],
            "flags": [asdict(flag) for flag in FLAGS.values()],
        }
        click.echo(json.dumps(content, indent=2))
        return
    for spec in METRICS.values():
        click.echo(f"{spec.name}  [{spec.unit}]  from the {spec.view} photo")
        click.echo(_paragraph(spec.definition))
        click.echo(_paragraph(f"Source: {spec.source}."))
    click.echo("Each <column>_u is the standard uncertainty of measuring what was in the photo.\n")
    click.echo("Flags")
    for flag in FLAGS.values():
        click.echo(f"{flag.name}")
        click.echo(_paragraph(f"{flag.meaning} {flag.advice}"))


def _paragraph(text: str) -> str:
    return textwrap.fill(text, _WIDTH, initial_indent="    ", subsequent_indent="    ")
