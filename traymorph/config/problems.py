"""What is wrong with settings and lists, in words that lead to the mending of it."""

from collections.abc import Sequence
from dataclasses import dataclass

_LONGEST_VALUE = 60  # characters of a value that a message repeats
_SAID_IN_FULL = 3  # rows with one and the same mistake


class ValueProblemError(ValueError):
    """A value that cannot be meant.

    Parameters
    ----------
    what : str
        What is wrong, to be read after the value.
    advice : str
        What to do, as a sentence without its full stop.
    """

    def __init__(self, what: str, advice: str) -> None:
        super().__init__(what)
        self.what = what
        self.advice = advice


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that cannot be used.

    Parameters
    ----------
    file : str
        Name of the file or folder within the trial folder.
    what : str
        What is wrong, to be read after place and value.
    advice : str
        What to do, as a sentence without its full stop.
    line : int or None
        Line in the file, counted from 1.
    column : str
        Column or key.
    value : str or None
        The value as written, text in quotes; None where none was.
    """

    file: str
    what: str
    advice: str
    line: int | None = None
    column: str = ""
    value: str | None = None

    def __str__(self) -> str:
        place = self.file
        if self.line is not None:
            place += f" line {self.line}"
        if self.column:
            place += f", {self.column}"
        if self.value is not None:
            place += f" = {self.value}"
        return f"{place}: {self.what}. {self.advice}."


def quoted(value: str) -> str:
    """Text as a message repeats it: in quotes, on one line, cut where it is long."""
    text = value if len(value) <= _LONGEST_VALUE else value[: _LONGEST_VALUE - 3] + "..."
    return '"' + text.replace("\n", "\\n").replace("\r", "\\r") + '"'


def told(problems: Sequence[Problem], subject: str) -> str:
    """One message that names every problem.

    Parameters
    ----------
    problems : sequence of Problem
        At least one.
    subject : str
        What they were found in, plural: "settings", "lists".
    """
    if len(problems) == 1:
        return str(problems[0])
    alike: dict[tuple[str, str, str], list[Problem]] = {}
    for problem in problems:
        alike.setdefault((problem.file, problem.column, problem.what), []).append(problem)
    lines = "\n".join(f"  {line}" for group in alike.values() for line in _lines(group))
    return f"The {subject} hold {len(problems)} problems:\n{lines}"


def _lines(alike: Sequence[Problem]) -> list[str]:
    """Say in full what is wrong where few rows have it; of many rows the others by their lines."""
    others = [problem.line for problem in alike[_SAID_IN_FULL:]]
    if len(others) < 2 or None in others:
        return [str(problem) for problem in alike]
    first = alike[0]
    column = f", {first.column}" if first.column else ""
    numbers = ", ".join(str(line) for line in others)
    the_same = f"{first.file} lines {numbers}{column}: the same ({first.what})."
    return [*(str(problem) for problem in alike[:_SAID_IN_FULL]), the_same]
