"""``traymorph calibrate``: register the colours that a print of the card really has."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from traymorph.cli.options import as_json

if TYPE_CHECKING:
    from traymorph.pipeline.calibrate import Registration

_FAR_DE00 = 12.0  # a patch as far off as this is another colour to anybody


@click.command(name="calibrate")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--photo",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="Daylight photo of the printed card (overcast sky or open shade, no lamps).",
)
@click.option(
    "--lab",
    "lab_file",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="CSV of measured CIELAB values (D65, 2 degrees): patch, l, a, b.",
)
@click.option(
    "--card-id", help="Name of the print; needed only where a trial uses more than one print."
)
@as_json
def command(
    *,
    folder: Path,
    photo: Path | None,
    lab_file: Path | None,
    card_id: str | None,
    as_json: bool,
) -> None:
    """Register the colours of your print in a trial FOLDER; without an option, show them.

    Home printers do not print known colours. Do this once for each print of the card, from a
    daylight photo of it or from measured values; measure then aims at the colours that the card
    really has. They are kept in card_colours.csv in FOLDER.
    """
    if photo is not None and lab_file is not None:
        msg = "Give --photo or --lab, not both."
        raise click.UsageError(msg)
    if card_id is not None and photo is None and lab_file is None:
        msg = "--card-id names what --photo or --lab registers: give one of them."
        raise click.UsageError(msg)
    from traymorph.pipeline.calibrate import register_measured, register_photo, registered

    found: tuple[Registration, ...]
    if photo is not None:
        found = (register_photo(folder, photo, card_id),)
    elif lab_file is not None:
        found = (register_measured(folder, lab_file, card_id),)
    else:
        found = registered(folder)
    if as_json:
        click.echo(json.dumps([_as_data(one) for one in found], indent=2))
    else:
        for one in found:
            click.echo(_table(one))
    _say_what_it_means(found, folder)


def _table(one: "Registration") -> str:
    """One line per patch: as printed, as designed, how far apart."""
    width = max(len(patch.name) for patch in one.patches)
    head = f"{'patch'.ljust(width)}   printed L* a* b*      designed L* a* b*      ΔE00   ± u"
    lines = [f"{_title(one)}", "", head, "─" * len(head)]
    for patch in one.patches:
        numbers = "   ".join(
            "".join(f"{round(value, 1) + 0.0:7.1f}" for value in lab)  # + 0.0: no -0.0
            for lab in (patch.lab, patch.nominal)
        )
        lines.append(f"{patch.name.ljust(width)} {numbers}  {patch.de00:5.1f}  {patch.u_de00:4.1f}")
    lines.append(f"{'mean'.ljust(width)} {'':45}  {one.mean_de00:5.1f}\n")
    return "\n".join(lines)


def _title(one: "Registration") -> str:
    colours = one.colours
    card = f"{colours.role} card" if colours.role else "all cards"
    return f"{colours.card_id}  ·  {card}  ·  {colours.source}"


def _as_data(one: "Registration") -> dict[str, object]:
    return {
        "card_id": one.colours.card_id,
        "role": one.colours.role,
        "version": one.colours.version,
        "source": one.colours.source,
        "mean_de00": round(one.mean_de00, 2),
        "patches": [
            {
                "patch": patch.name,
                "lab": [round(value, 2) for value in patch.lab],
                "nominal_lab": [round(value, 2) for value in patch.nominal],
                "de00": round(patch.de00, 2),
                "u_de00": round(patch.u_de00, 2),
            }
            for patch in one.patches
        ],
    }


def _say_what_it_means(found: "tuple[Registration, ...]", folder: Path) -> None:
    if not found:
        click.echo(
            f"No card is registered in {folder}: colours are relative to the card as designed. "
            "Register your print with --photo or --lab.",
            err=True,
        )
    for one in found:
        if one.mean_de00 < one.mean_u_de00:
            click.echo(
                f"{one.colours.card_id}: the print agrees with the design within what is known "
                f"of its colours (± {one.mean_u_de00:.1f} ΔE00).",
                err=True,
            )
        far = [patch.name for patch in one.patches if patch.de00 > _FAR_DE00]
        if far:
            click.echo(
                f"{one.colours.card_id}: far from what was designed: {', '.join(far)}. "
                "Look whether the print is faded, an ink has run out, or a value is mistyped.",
                err=True,
            )
