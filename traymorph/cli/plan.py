"""``traymorph plan``: lay out a fair trial before anything is sown."""

import json
import math
import re
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from traymorph.cli.options import as_json
from traymorph.config.dates import read_moment
from traymorph.config.problems import ValueProblemError

if TYPE_CHECKING:
    from traymorph.model.plan import Plan

_SEEDS = 1_000_000
_LONGEST_PREFIX = 12


class _AmountType(click.ParamType[tuple[float, bool]]):
    """``SIZE`` in the metric's unit, or ``SIZE%`` of the mean."""

    name = "SIZE[%]"

    def convert(
        self,
        value: str | tuple[float, bool],
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> tuple[float, bool]:
        """Read an amount."""
        if isinstance(value, tuple):
            return value
        found = re.fullmatch(r"\s*(\d+\.?\d*|\.\d+)\s*(%?)\s*", value)
        if found is None or float(found[1]) <= 0:
            self.fail(f"{value!r} is no amount above 0; write 10% or 5.", param, ctx)
        return float(found[1]), bool(found[2])


class _DayType(click.ParamType[date]):
    """A day as the lists write it."""

    name = "YEAR-MONTH-DAY"

    def convert(
        self, value: str | date, param: click.Parameter | None, ctx: click.Context | None
    ) -> date:
        """Read a day; what was probably meant is said of anything else."""
        if isinstance(value, date):
            return value
        try:
            return read_moment(value).date()
        except ValueProblemError as err:
            self.fail(f"{value!r} {err.what}. {err.advice}.", param, ctx)


@click.command(name="plan")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option("--treatment", "treatments", multiple=True, help="A treatment; repeat for each.")
@click.option(
    "--trays", type=click.IntRange(1, 500), help="Trays of each treatment.", metavar="NUMBER"
)
@click.option(
    "--blocks",
    type=click.IntRange(1, 100),
    default=1,
    show_default=True,
    help="Blocks; each holds every treatment.",
)
@click.option(
    "--block-name",
    type=click.Choice(["shelf", "side", "day"]),
    default="shelf",
    show_default=True,
    help="What a block is: a shelf, a side of the room, a day of sowing.",
)
@click.option("--across", type=click.IntRange(2, 100), help="Trays side by side on one shelf.")
@click.option(
    "--whole-shelves/--single-trays",
    default=False,
    help="The treatment goes to whole shelves (hours of light), not to single trays.",
)
@click.option("--crop", default="", help="For trays.csv, and which past trays to go by.")
@click.option("--sow", type=_DayType(), help="Day of sowing: 2026-12-01.")
@click.option("--batch", help="Name of the sowing; its day unless told.")
@click.option(
    "--prefix",
    default="T",
    show_default=True,
    help="Names of trays begin with it; give trials that run at once one each.",
)
@click.option("--seed-lot", default="", help="The seed lot, one for all trays.")
@click.option("--metric", help="What you want to tell apart (default stem_length_mm).")
@click.option("--difference", type=_AmountType(), help="Worth finding: 10%, or 5 in its unit.")
@click.option("--spread", type=_AmountType(), help="Standard deviation between trays: 8%.")
@click.option(
    "--study",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Folder with a study of the measuring (traymorph repeatability).",
)
@click.option("--seed", type=click.IntRange(0), help="Draw the places of an earlier plan again.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True)
@click.option(
    "--show-treatment/--blind",
    default=False,
    help="Print the treatment on labels; blind unless told.",
)
@click.option(
    "--labels-only/--no-labels-only",
    default=False,
    help="Print labels of an existing trays.csv, nothing else.",
)
@as_json
def command(
    *,
    folder: Path,
    treatments: tuple[str, ...],
    trays: int | None,
    blocks: int,
    block_name: str,
    across: int | None,
    whole_shelves: bool,
    crop: str,
    sow: date | None,
    batch: str | None,
    prefix: str,
    seed_lot: str,
    metric: str | None,
    difference: tuple[float, bool] | None,
    spread: tuple[float, bool] | None,
    study: Path | None,
    seed: int | None,
    paper: str,
    show_treatment: bool,
    labels_only: bool,
    as_json: bool,
) -> None:
    """Lay out a trial in FOLDER: trays by lot in blocks, labels, how many trays it takes.

    Writes trays.csv, labels.pdf, plan.txt and blind_codes.csv, and overwrites none of them; and
    trial.toml, for the tray's sizes, and a folder photos where they are not there yet.
    Without --treatment it only tells how many trays a difference takes, and writes nothing.
    """
    names = _checked(treatments)
    if labels_only:
        _only_labels(folder, paper, names, show_treatment=show_treatment)
        return
    from traymorph.model.plan import Wanted
    from traymorph.pipeline.plan import Amount, Asked, count_trays, plan_trial

    asked = Asked(
        metric,
        Amount(*difference) if difference else None,
        Amount(*spread) if spread else None,
        study,
    )
    if not names:
        if trays is not None:
            msg = "--trays lays out a trial: name its treatments with --treatment, at least two."
            raise click.UsageError(msg)
        _print(count_trays(folder, asked, crop.strip()), folder, as_json=as_json)
        return
    if trays is None:
        msg = "Say how many trays each treatment gets, for example --trays 6."
        raise click.UsageError(msg)
    wanted = Wanted(
        treatments=names,
        trays=trays,
        blocks=blocks,
        block_name=block_name,
        across=across,
        whole_shelves=whole_shelves,
        crop=crop.strip(),
        batch=(batch or (sow.isoformat() if sow else "1")).strip(),
        seed_lot=seed_lot.strip(),
        sown_on=sow,
        id_prefix=_checked_prefix(prefix),
        seed=_drawn_seed() if seed is None else seed,
    )
    plan = plan_trial(folder, wanted, asked, paper=paper, show_treatment=show_treatment)
    _print(plan, folder, as_json=as_json)


def _checked(treatments: tuple[str, ...]) -> tuple[str, ...]:
    """Give the names without stray blanks; refuse empty ones and two spellings of one."""
    names = tuple(" ".join(name.split()) for name in treatments)
    if not names:
        return ()
    if "" in names:
        msg = "A --treatment is empty; give each a name."
        raise click.UsageError(msg)
    plain = [name.casefold().replace(" ", "") for name in names]
    for place, one in enumerate(plain):
        if one in plain[:place]:
            first = names[plain.index(one)]
            msg = (
                f"{first!r} and {names[place]!r} are one treatment named twice, or two named alike."
            )
            raise click.UsageError(msg)
    if len(names) < 2:
        msg = f"A trial compares at least two treatments; only {names[0]!r} is named."
        raise click.UsageError(msg)
    return names


def _checked_prefix(prefix: str) -> str:
    """Refuse what a label or a folder name cannot hold."""
    if not prefix.isprintable() or prefix != prefix.lstrip() or len(prefix) > _LONGEST_PREFIX:
        msg = f"--prefix {prefix!r} must be at most {_LONGEST_PREFIX} letters on one line."
        raise click.UsageError(msg)
    return prefix


def _only_labels(
    folder: Path, paper: str, treatments: tuple[str, ...], *, show_treatment: bool
) -> None:
    if treatments:
        msg = "--labels-only prints the trays of trays.csv; leave out --treatment."
        raise click.UsageError(msg)
    from traymorph.pipeline.plan import print_labels

    out, unprintable = print_labels(folder, paper=paper, show_treatment=show_treatment)
    click.echo(f"Wrote {out}", err=True)
    if unprintable:
        click.echo(
            f"{', '.join(unprintable)}: the label's letters lack some signs of the name (printed "
            "as ?); its code is right.",
            err=True,
        )


def _drawn_seed() -> int:
    import secrets

    return secrets.randbelow(_SEEDS)


def _print(plan: "Plan", folder: Path, *, as_json: bool) -> None:
    from traymorph.report.plan_text import plan_lines

    if as_json:
        click.echo(json.dumps(_plain(asdict(plan)), indent=2, ensure_ascii=False, allow_nan=False))
    else:
        for line in plan_lines(plan):
            click.echo(line)
    if plan.wanted is None:
        return
    click.echo(f"\nWrote {folder / 'trays.csv'}, plan.txt, labels.pdf, blind_codes.csv", err=True)
    click.echo(
        "The first page of labels.pdf and plan.txt tell the treatments: keep them, and "
        "blind_codes.csv, from those who cut, weigh or taste. Then stick a label on every tray, "
        f"fill in the tray's sizes in {folder / 'trial.toml'}, put the photos into "
        f"{folder / 'photos'} and run `traymorph measure {folder}`.",
        err=True,
    )


def _plain(value: object) -> object:
    """Bring to what JSON knows; null = not known. Codes for tasting stay in their file."""
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items() if key != "blind_codes"}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value.isoformat() if isinstance(value, date) else value
