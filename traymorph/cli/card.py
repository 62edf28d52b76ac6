"""``traymorph card``: draw the reference card."""

from pathlib import Path

import click

from traymorph.model.card import CardRole


@click.command(name="card")
@click.argument("out", type=click.Path(path_type=Path, dir_okay=False))
@click.option(
    "--role",
    type=click.Choice([role.value for role in CardRole]),
    help="Draw the card of one view alone. Without it a PDF holds them all.",
)
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="For PDF."
)
@click.option(
    "--dpi",
    type=click.IntRange(72, 2400),
    default=300,
    show_default=True,
    help="Dots per inch of a PNG.",
)
def command(out: Path, role: str | None, paper: str, dpi: int) -> None:
    """Draw the reference card to OUT; its suffix (.pdf, .svg, .png) picks the kind of file.

    Print a PDF at 100 %, never "fit to page", then measure its 100 mm bar. If the bar is not
    100 mm long, write what it measures as printed_bar_mm into trial.toml.
    """
    if out.suffix.lower() not in {".pdf", ".svg", ".png"}:
        msg = f"{out.name}: the name must end in .pdf, .svg or .png."
        raise click.UsageError(msg)
    if role is None and out.suffix.lower() != ".pdf":
        msg = f"{out.name} holds one card only: add --role overhead, side or board."
        raise click.UsageError(msg)
    from traymorph.card.draw import draw_card

    draw_card(out, CardRole(role) if role else None, paper=paper, dpi=dpi)
    click.echo(f"Wrote {out}", err=True)
