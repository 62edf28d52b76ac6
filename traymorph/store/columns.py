"""What a column of a result table is called and what it means; headers and dictionary read it.

Types are those of the Frictionless Table Schema (Data Package standard, version 2,
https://datapackage.org/standard/table-schema/), the tables' missing value being the empty cell.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from traymorph.flags import FLAGS


class Type(StrEnum):
    """Type of a column's values, by its name in the Table Schema."""

    STRING = "string"
    NUMBER = "number"
    INTEGER = "integer"
    BOOLEAN = "boolean"
    DATE = "date"


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a result table.

    Parameters
    ----------
    name : str
        As it stands in the header.
    meaning : str
        What its values are, in words that stand alone.
    type : Type
        Of its values.
    unit : str
        Unit symbol, ``1`` for a plain number; "" where a number's unit stands in another column
        (the meaning says so), and for what is no number.
    allowed : tuple of str
        Every value that can stand there; () where there is no such list.
    several : bool
        Several of ``allowed`` may stand in one cell, separated by spaces.
    low, high : float or None
        Values outside these limits cannot be meant.
    source : str
        Published definition, where there is one.
    """

    name: str
    meaning: str
    type: Type = Type.STRING
    unit: str = ""
    allowed: tuple[str, ...] = ()
    several: bool = False
    low: float | None = None
    high: float | None = None
    source: str = ""


def text(name: str, meaning: str, *allowed: str) -> Column:
    """Describe a column of text."""
    return Column(name, meaning, allowed=allowed)


def number(name: str, meaning: str, unit: str = "") -> Column:
    """Describe a column of numbers, with six significant digits."""
    return Column(name, meaning, Type.NUMBER, unit)


def count(name: str, meaning: str) -> Column:
    """Describe a column of whole numbers, none below nought."""
    return Column(name, meaning, Type.INTEGER, "1", low=0.0)


def yes_or_no(name: str, meaning: str, yes: str = "yes", no: str = "no") -> Column:
    """Describe a column that says yes or no."""
    return Column(name, meaning, Type.BOOLEAN, allowed=(yes, no))


def share_of_chance(name: str, meaning: str) -> Column:
    """Describe a column of p values."""
    return Column(name, meaning, Type.NUMBER, "1", low=0.0, high=1.0)


def interval(name: str, of: str, unit: str = "") -> tuple[Column, Column]:
    """Describe the columns of a 95 % interval, ``<name>_low`` and ``<name>_high``."""
    return (
        number(f"{name}_low", f"Lower end of the 95 % interval of {of}.", unit),
        number(f"{name}_high", f"Upper end of the 95 % interval of {of}.", unit),
    )


def quality_flags(meaning: str) -> Column:
    """Describe a column of quality flags; what each means stands in ``docs/flags.md``."""
    return Column("flags", meaning, allowed=tuple(FLAGS), several=True)


def names_of(columns: Sequence[Column]) -> list[str]:
    """Give the header of a table."""
    return [column.name for column in columns]
