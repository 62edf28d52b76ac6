"""How far the work is: a bar on a terminal, a line now and then elsewhere."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

_LINES_OFF_TERMINAL = 10


@contextmanager
def progress_line(
    doing: str = "Measuring trays", things: str = "trays done"
) -> Iterator[Callable[[int, int], None]]:
    """Give a function to be told (things done, things in all); everything goes to stderr.

    Parameters
    ----------
    doing : str
        What stands before the bar on a terminal.
    things : str
        What a line says elsewhere, after "3 of 12".
    """
    on_terminal = sys.stderr.isatty()
    line_open = False

    def tell(done: int, total: int) -> None:
        nonlocal line_open
        if on_terminal:
            line_open = done < total
            filled = round(30 * done / total) if total else 30
            click.echo(
                f"\r{doing}  {'█' * filled}{'·' * (30 - filled)}  {done} of {total}",
                nl=not line_open,
                err=True,
            )
        elif total and (done == total or done % max(1, total // _LINES_OFF_TERMINAL) == 0):
            click.echo(f"{done} of {total} {things}", err=True)

    try:
        yield tell
    finally:
        if line_open:
            click.echo("", err=True)
