"""``traymorph measure``: photos in, tables and overlays out."""

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from traymorph.cli.options import TraySizeType, as_json
from traymorph.cli.progress import progress_line
from traymorph.cli.tables import print_report, report_as_json
from traymorph.model.trial import TraySize

if TYPE_CHECKING:
    from traymorph.pipeline.run import RunReport


def _not_empty(_context: click.Context, _option: click.Parameter, value: str | None) -> str | None:
    """Refuse an empty place, which is a variable of the shell that was never set."""
    if value is not None and not value.strip():
        msg = "the value is empty. Name a file or a database URL, or leave the option out."
        raise click.BadParameter(msg)
    return value


@click.command(name="measure")
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--tray", type=TraySizeType(), help="Inside size in mm of the tray on loose photos: 500x250."
)
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), help="Folder to write results to."
)
@click.option(
    "--ledger",
    envvar="TRAYMORPH_LEDGER",
    callback=_not_empty,
    help="Where measured trays are kept: a file or a database URL "
    "(default: traymorph.sqlite in the trial folder).",
)
@click.option(
    "--workers",
    type=click.IntRange(1, 256),
    default=os.cpu_count() or 1,
    show_default="one per processor",
    help="Trays measured at once.",
)
@click.option("--masks/--no-masks", default=False, help="Write class masks to masks/.")
@as_json
def command(
    *,
    paths: tuple[Path, ...],
    tray: TraySize | None,
    out: Path | None,
    ledger: str | None,
    workers: int,
    masks: bool,
    as_json: bool,
) -> int:
    """Measure a trial FOLDER, or loose PHOTOs.

    A folder gets its tables and overlays in results/. Loose photos are samples named by their
    files; the table goes to the terminal and, with --out, to a folder.
    """
    folder = _trial_folder(paths)
    if folder is not None and tray is not None:
        msg = "--tray is for loose photos; a trial folder states it in trial.toml or trays.csv."
        raise click.UsageError(msg)
    if folder is None and masks:
        msg = (
            "--masks is for a trial folder; for a loose photo call traymorph.mask_photo in Python."
        )
        raise click.UsageError(msg)
    from traymorph.pipeline.run import Watching, measure_folder, measure_photos

    with (
        progress_line("Reading labels", "photos looked at for labels") as reading,
        progress_line() as progress,
    ):
        if folder is not None:
            report = measure_folder(
                folder,
                out=out,
                ledger_location=ledger,
                workers=workers,
                with_masks=masks,
                watching=Watching(labels=reading, trays=progress),
            )
        else:
            report = measure_photos(
                list(paths), size=tray or TraySize(), out=out, workers=workers, progress=progress
            )
    if as_json:
        click.echo(report_as_json(report))
    print_report(report, table=not as_json)
    if folder is not None:
        _hint_at_sizes(report, folder / "trial.toml")
    if report.ledger:
        click.echo(f"Ledger: {report.ledger}", err=True)
    if folder is not None and report.results and "treatment" in report.list_columns:
        click.echo(f"Next: traymorph compare {folder}, traymorph report {folder}", err=True)
    return int(report.exit_code)


def _hint_at_sizes(report: "RunReport", settings: Path) -> None:
    """Name the file that is missing where trays lack sizes: flags speak of trays, not of files."""
    flags = {flag for result in report.results for row in result.rows for flag in row.flags}
    if not settings.exists() and flags & {"tray_size_missing", "rim_height_missing"}:
        click.echo(
            f"There is no {settings}: sizes that trays.csv does not give are not known.", err=True
        )


def _trial_folder(paths: tuple[Path, ...]) -> Path | None:
    """Return the one folder given, or None for loose photos; a mixture is refused."""
    missing = [str(path) for path in paths if not path.exists()]
    if missing:
        msg = f"No such file or folder: {', '.join(missing)}"
        raise click.UsageError(msg)
    folders = [path for path in paths if path.is_dir()]
    if folders and len(paths) > 1:
        msg = (
            f"Give one trial folder, or photos; {folders[0]} is a folder among {len(paths)} paths."
        )
        raise click.UsageError(msg)
    return folders[0] if folders else None
