"""What is wrong with settings and lists, in words that lead to the mending of it."""

from collections.abc import Sequence
from dataclasses import dataclass

_LONGEST_VALUE = 60  # characters of a value that a message repeats


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
    lines = "\n".join(f"  {problem}" for problem in problems)
    return f"The {subject} hold {len(problems)} problems:\n{lines}"
