"""Runs the command line in this process and keeps apart what it writes where."""

import csv
import io
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from traymorph.cli.main import run

DATA = Path(__file__).parents[1] / "data"
TRIAL = DATA / "trial"


@dataclass(frozen=True)
class Outcome:
    code: int
    stdout: str
    stderr: str


@contextmanager
def caught(name: str) -> Iterator[io.BytesIO]:
    """Replace sys.stdout or sys.stderr by a stream of bytes, as a pipe would be."""
    before, content = getattr(sys, name), io.BytesIO()
    stream = io.TextIOWrapper(content, encoding="utf-8", write_through=True)
    setattr(sys, name, stream)
    try:
        yield content
    finally:
        setattr(sys, name, before)


def traymorph(*arguments: object) -> Outcome:
    with caught("stdout") as out, caught("stderr") as err:
        code = run([str(one) for one in arguments])
        written = out.getvalue().decode(), err.getvalue().decode()
    return Outcome(int(code), *written)


def copy_trial(to: Path) -> Path:
    """A trial folder of its own, as a person would have it before the first run."""
    shutil.copytree(TRIAL, to, ignore=shutil.ignore_patterns("truth.json"))
    return to


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
