"""``card_colours.csv``: the colours that the printed cards of a trial really have.

A *print* is one set of cards that left a printer together, on one paper with one set of inks. It
has a name, ``card_id``. Colours registered for one of its cards serve the others too, since the
patches of one name share their ink; a card with colours of its own uses those.
"""

import csv
import io
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

from traymorph.config.cells import CellReader
from traymorph.config.numbers import NUMBER
from traymorph.config.problems import Problem, ValueProblemError, told
from traymorph.config.tables import Row, read_table
from traymorph.errors import ListError
from traymorph.model.card import CardRole, RegisteredCard
from traymorph.whole_file import whole_file

CARD_COLOURS_FILE = "card_colours.csv"
CARD_ID = "card_id"
"""Column of this list, and of trays.csv where a trial uses several prints."""
MEASURED_U_DE00 = 0.7
"""Standard uncertainty of typed-in values that state none: how far two well-kept handheld
spectrophotometers differ on paper (common practice, no source)."""

_LAB = ("l", "a", "b")
_U = "u_de00"
_COLUMNS = (CARD_ID, "role", "version", "patch", *_LAB, _U, "source")
_LIMITS = {"l": (0.0, 105.0), "a": (-128.0, 128.0), "b": (-128.0, 128.0), _U: (0.0, 20.0)}
_MEANINGS = {"l": "lightness L*", "a": "a*", "b": "b*", _U: "an uncertainty in CIEDE2000"}
_LONGEST_ID = 40
_ID = re.compile(rf"\w[\w .-]{{0,{_LONGEST_ID - 1}}}")

Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class PrintColours:
    """Registered colours of one card of one print.

    Parameters
    ----------
    card_id : str
        Name of the print.
    role : CardRole or None
        The card that was registered; None where the values hold for all cards of the print.
    version : int
        Version of the printed layout.
    lab : dict of str to tuple of float
        CIELAB (D65, 2 degrees) by patch name.
    u_de00 : dict of str to float
        Standard uncertainty of each, CIEDE2000.
    source : str
        Where the colours come from, for people.
    """

    card_id: str
    role: CardRole | None
    version: int
    lab: dict[str, Lab]
    u_de00: dict[str, float]
    source: str


@dataclass(frozen=True, slots=True)
class CardColours:
    """Everything that is registered in a trial, in the order of the file."""

    prints: tuple[PrintColours, ...] = ()

    @property
    def card_ids(self) -> tuple[str, ...]:
        """Names of the prints, each once."""
        return tuple(dict.fromkeys(one.card_id for one in self.prints))

    def with_print(self, new: PrintColours) -> "CardColours":
        """Add a registration; it takes the place of one of the same print and card."""
        place = [(one.card_id, one.role) for one in self.prints]
        if (new.card_id, new.role) not in place:
            return CardColours((*self.prints, new))
        index = place.index((new.card_id, new.role))
        return CardColours((*self.prints[:index], new, *self.prints[index + 1 :]))

    def cards_of(self, card_id: str) -> tuple[RegisteredCard, ...]:
        """Colours for every card of a print: its own, else those of another card of the print."""
        known = [one for one in self.prints if one.card_id == card_id]
        if not known:
            return ()
        cards = []
        for role in CardRole:
            # own colours first, then those stated for all cards, then those of any other card
            best = min(known, key=lambda one: (one.role is not role, one.role is not None))
            u_de00 = sum(best.u_de00.values()) / len(best.u_de00)
            cards.append(RegisteredCard(card_id, role, best.version, dict(best.lab), u_de00))
        return tuple(cards)


def check_card_id(card_id: str) -> str:
    """Give back a name that a print can have.

    Raises
    ------
    ValueProblemError
        It is empty, too long, or holds other signs than letters, digits, spaces, dots, dashes
        and underscores.
    """
    if not _ID.fullmatch(card_id):
        what = "cannot be the name of a print"
        advice = f"Give at most {_LONGEST_ID} letters, digits, spaces, dots, dashes or underscores"
        raise ValueProblemError(what, advice)
    return card_id


def read_card_colours(folder: Path, patches: Sequence[str]) -> CardColours:
    """Read ``card_colours.csv`` of a trial folder.

    Parameters
    ----------
    folder : Path
        The trial folder; without the file nothing is registered.
    patches : sequence of str
        Names of the printed patches, all of which a registration must state, and of the bare
        paper last, which it may state.

    Raises
    ------
    ListError
        The file holds rows that cannot be used; all of them are named.
    """
    path = folder / CARD_COLOURS_FILE
    if not path.exists():
        return CardColours()
    problems: list[Problem] = []
    table = read_table(path, (CARD_ID, "patch", *_LAB), problems)
    reader = CellReader(table, problems)
    groups: dict[tuple[str, str | None], list[Row]] = {}
    for row in table.rows:
        _check_row_id(reader, row)
        role = reader.word(row, "role", tuple(CardRole))
        groups.setdefault((row.get(CARD_ID), role), []).append(row)
    prints = tuple(_print_of(reader, key, rows, patches) for key, rows in groups.items())
    if problems:
        hint = f"Correct {CARD_COLOURS_FILE}, or run traymorph calibrate again, and run again."
        raise ListError(told(problems, "lists"), hint=hint)
    return CardColours(prints)


def read_measured_lab(
    path: Path, patches: Sequence[str]
) -> tuple[dict[str, Lab], dict[str, float]]:
    """Read measured colours of a card's patches that a person has typed in.

    Parameters
    ----------
    path : Path
        CSV with the columns ``patch, l, a, b`` and optionally ``u_de00``.
    patches : sequence of str
        As for :func:`read_card_colours`.

    Returns
    -------
    lab : dict of str to tuple of float
        CIELAB by patch name.
    u_de00 : dict of str to float
        Their standard uncertainties, CIEDE2000.

    Raises
    ------
    ListError
        Rows cannot be used or patches are missing; all of it is named.
    """
    problems: list[Problem] = []
    table = read_table(path, ("patch", *_LAB), problems)
    reader = CellReader(table, problems)
    lab, u = _colours_of(reader, table.rows, patches, "")
    if problems:
        raise ListError(told(problems, "lists"), hint=f"Correct {path.name} and run again.")
    return lab, u


def write_card_colours(folder: Path, colours: CardColours) -> Path:
    """Write ``card_colours.csv``, whole or not at all.

    Raises
    ------
    StoreError
        It cannot be written; what was there stays as it was.
    """
    path = folder / CARD_COLOURS_FILE
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for one in colours.prints:
        for patch, values in one.lab.items():
            cells = [f"{value:.2f}" for value in (*values, one.u_de00[patch])]
            writer.writerow([one.card_id, one.role or "", one.version, patch, *cells, one.source])
    with whole_file(path) as part:
        part.write_text(text.getvalue(), encoding="utf-8", newline="")
    return path


def _check_row_id(reader: CellReader, row: Row) -> None:
    try:
        check_card_id(row.get(CARD_ID))
    except ValueProblemError as err:
        reader.note(row, CARD_ID, err.what, err.advice)


def _print_of(
    reader: CellReader, key: tuple[str, str | None], rows: list[Row], patches: Sequence[str]
) -> PrintColours:
    card_id, role = key
    title = f"{card_id}, {role} card" if role else card_id
    lab, u = _colours_of(reader, rows, patches, title)
    return PrintColours(
        card_id=card_id,
        role=CardRole(role) if role else None,
        version=_version(reader, rows),
        lab=lab,
        u_de00=u,
        source=next((row.get("source") for row in rows if row.get("source")), ""),
    )


def _version(reader: CellReader, rows: Iterable[Row]) -> int:
    """Version that the rows agree on, 1 where none says."""
    found = 1
    first = None
    for row in rows:
        text = row.get("version")
        if not text:
            continue
        if not text.isdecimal() or int(text) < 1:
            what, advice = "is no version of a card", "Write the number that the card shows"
            reader.note(row, "version", what, advice)
        elif first is None:
            first, found = row.line, int(text)
        elif int(text) != found:
            what = f"differs from line {first}, which is of the same card"
            reader.note(row, "version", what, "Write one version for all rows of one card")
    return found


def _colours_of(
    reader: CellReader, rows: Iterable[Row], patches: Sequence[str], title: str
) -> tuple[dict[str, Lab], dict[str, float]]:
    """Read the patches of one card; every bad cell and every missing patch is noted."""
    spelt = {name.casefold(): name for name in patches}
    lines: dict[str, int] = {}
    lab: dict[str, Lab] = {}
    u: dict[str, float] = {}
    for row in rows:
        name = spelt.get(" ".join(row.get("patch").casefold().split()))
        values = [_number(reader, row, column, required=True) for column in _LAB]
        doubt = _number(reader, row, _U, required=False)
        if name is None:
            reader.note(row, "patch", *_unknown(row.get("patch"), spelt))
        elif name in lines:
            what = f"stands in line {lines[name]} already"
            reader.note(row, "patch", what, "Give each patch one line, the mean of its readings")
        else:
            lines[name] = row.line
            lab[name] = (values[0] or 0.0, values[1] or 0.0, values[2] or 0.0)
            u[name] = MEASURED_U_DE00 if doubt is None else doubt
    missing = [name for name in patches[:-1] if name not in lines]
    if missing:
        what = f"lacks {', '.join(missing)}" + (f" of {title}" if title else "")
        advice = "Give every colour and grey of the card"
        reader.problems.append(Problem(reader.table.name, what, advice))
    return lab, u


def _unknown(text: str, spelt: dict[str, str]) -> tuple[str, str]:
    if not text:
        return "is empty", "Name the patch"
    near = get_close_matches(text.casefold(), spelt, n=1, cutoff=0.6)
    advice = f"Perhaps {spelt[near[0]]} was meant" if near else f"Write {', '.join(spelt.values())}"
    return "is no patch of the card", advice


def _number(reader: CellReader, row: Row, column: str, *, required: bool) -> float | None:
    """Read a value; None where the cell holds none that can be meant, noted unless it may be."""
    text = row.get(column)
    if not text:
        if required:
            reader.note(row, column, "is empty", f"Give {_MEANINGS[column]} as measured")
        return None
    plain = text.replace("−", "-")  # the minus sign that spreadsheets like to make of a hyphen
    plain = plain.replace(",", ".") if reader.table.decimal_comma else plain
    low, high = _LIMITS[column]
    if not NUMBER.fullmatch(plain):
        comma = NUMBER.fullmatch(plain.replace(",", "."))
        what = "has a decimal comma" if comma else "is not a number"
        advice = f"Write {plain.replace(',', '.')}" if comma else "Write digits only, as 48.25"
        reader.note(row, column, what, advice)
        return None
    value = float(plain)
    if not (math.isfinite(value) and low <= value <= high):
        what = f"lies outside {low:g} to {high:g}, so it is not {_MEANINGS[column]}"
        reader.note(row, column, what, "Give CIELAB values for D65 and the 2 degree observer")
        return None
    return value
