"""The ``traymorph`` command: loads a command only when asked for, turns errors into exit codes."""

import importlib
import os
import sys
from typing import Any, NoReturn

import click

from traymorph import __version__
from traymorph.errors import ExitCode, MissingDependencyError, TraymorphError

# Command name -> one line of help, so that `traymorph --help` imports none of them.
_COMMANDS = {
    "card": "Draw the reference card to print.",
    "calibrate": "Register the colours that your print of the card really has.",
    "plan": "Lay out a fair trial: places by lot, tray labels, how many trays.",
    "measure": "Measure trays from their photos.",
    "compare": "Compare the treatments of a measured trial.",
    "drift": "Watch batch after batch: what moved, since when, by how much.",
    "repeatability": "Tell how much of the spread is the measuring itself.",
    "report": "Show a measured trial as one page.",
    "metrics": "Explain every column of the results.",
}


class _LazyGroup(click.Group):
    """Imports a command's module when the command is used."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in _COMMANDS:
            return None
        module = importlib.import_module(f"traymorph.cli.{cmd_name}")
        command: click.Command = module.command
        return command

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401 - click's signature
        """Run the command; a reader who has seen enough (``| head``) is no failure."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            # Python writes what is left when it ends; there is nobody to take it.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return ExitCode.DONE

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl(list(_COMMANDS.items()))


@click.group(cls=_LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="traymorph")
def cli() -> None:
    """Measure microgreens trays truly from phone photos with a printed card in view."""


def run(arguments: list[str] | None = None) -> int:
    """Run the command line and return its exit code; every error becomes one clear sentence."""
    try:
        outcome = cli.main(args=arguments, prog_name="traymorph", standalone_mode=False)
    except click.ClickException as err:
        err.show()
        return ExitCode.USAGE
    except (click.Abort, KeyboardInterrupt):
        click.echo("Interrupted. Run the same command again to go on from here.", err=True)
        return ExitCode.INTERRUPTED
    except TraymorphError as err:
        _say(err)
        return err.exit_code
    except ImportError as err:
        _say(_explain_import(err))
        return ExitCode.MISSING_DEPENDENCY
    return int(outcome or 0)


def main() -> NoReturn:
    """Entry point of the installed command."""
    sys.exit(run())


def _say(err: TraymorphError) -> None:
    click.echo(f"Error: {err.message}", err=True)
    if err.hint:
        click.echo(err.hint, err=True)


def _explain_import(err: ImportError) -> MissingDependencyError:
    """Say which command installs what a fresh machine lacks."""
    # OpenCV's binary names the shared library it misses; there is no class or field to go by.
    if err.name in {"cv2", "cv2.cv2"} or "libGL" in str(err) or "libgthread" in str(err):
        return MissingDependencyError(
            f"OpenCV cannot be loaded: {err}.",
            hint="On a Linux server without a screen install its system libraries: "
            "apt install libgl1 libglib2.0-0",
        )
    return MissingDependencyError(
        f"A library is missing: {err}.", hint="Install traymorph again: pip install traymorph"
    )
