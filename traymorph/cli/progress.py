"""How far the work is: a bar on a terminal, a line now and then elsewhere."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

_LINES_OFF_TERMINAL = 10


@contextmanager
def progress_line() -> Iterator[Callable[[int, int], None]]:
    """Give a function to be told (trays done, trays in all); everything goes to stderr."""
    on_terminal = sys.stderr.isatty()

    def tell(done: int, total: int) -> None:
        if on_terminal:
            filled = round(30 * done / total) if total else 30
            click.echo(
                f"\rMeasuring trays  {'█' * filled}{'·' * (30 - filled)}  {done} of {total}",
                nl=False,
                err=True,
            )
        elif total and (done == total or done % max(1, total // _LINES_OFF_TERMINAL) == 0):
            click.echo(f"{done} of {total} trays done", err=True)

    try:
        yield tell
    finally:
        if on_terminal:
            click.echo("", err=True)
