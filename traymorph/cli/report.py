"""``traymorph report``: the page that shows a trial."""

import json
from pathlib import Path

import click

from traymorph.cli.options import as_json


class _LocaleType(click.ParamType[str]):
    """A language, or language and country."""

    name = "LOCALE"

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Read ``en``, ``de`` or ``fr-CA``."""
        from traymorph.report.page.numbers import parse_locale

        try:
            return str(parse_locale(value))
        except ValueError as err:
            self.fail(str(err), param, ctx)


@click.command(name="report")
@click.argument("folder", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False),
    help="Write the page here (results/report.html unless told).",
)  # fmt: skip
@click.option(
    "--locale", type=_LocaleType(), default="en_GB", show_default=True,
    help="How numbers, units and days are written; words stay English.",
)  # fmt: skip
@click.option("--crop", help="Show the trays of one crop only.")
@as_json
def command(*, folder: Path, out: Path | None, locale: str, crop: str | None, as_json: bool) -> int:
    """Show the measured trial FOLDER as one page: pictures, findings, charts, every tray.

    Reads results/tray_metrics.csv, photo_checks.csv and overlays, the lists and trial.toml; writes
    one HTML file that needs nothing beside it. What compare and drift write is written anew.
    """
    from traymorph.pipeline.report import report_folder

    page = report_folder(folder, out=out, locale=locale, crop=crop)
    if as_json:
        content = {
            "page": str(page.path),
            "size_bytes": page.size_bytes,
            "trays": page.trays,
            "findings": list(page.findings),
            "missing": list(page.missing),
        }
        click.echo(json.dumps(content, indent=2, ensure_ascii=False))
    else:
        for sentence in page.findings:
            click.echo(sentence)
    for sentence in page.missing:
        click.echo(sentence, err=True)
    click.echo(f"Page: {page.path} ({page.size_bytes / 1e6:.1f} MB)", err=True)
    return 0
