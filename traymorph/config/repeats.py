"""Which rows of a table of trays measure a tray again: columns ``repeat_of`` and ``operator``.

The tray's own row is its first measurement. Each further one is a row with a name of its own whose
``repeat_of`` names the tray; ``operator`` says which person or phone photographed it.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from traymorph.config.problems import Problem, quoted, told
from traymorph.config.sizes import SIZE_LIMITS
from traymorph.config.spellings import spelt_two_ways
from traymorph.config.tray_metrics import REPEAT_OF, RESULTS_FILE
from traymorph.errors import DesignError, ListError
from traymorph.model.comparison import TrayTable
from traymorph.model.repeatability import Repeats

OPERATOR = "operator"
_DAY = "photographed_on"
_MOST_PROBLEMS = 50
_INHERITED = ("kind", "crop", "batch", "sown_on", "seed_lot")
"""May be left empty in the row of a repeat."""
_MEASURED_WITH = tuple(SIZE_LIMITS)
"""Empty cells there stand for the sizes of trial.toml, so that both rows must hold the same."""


def find_repeats(table: TrayTable) -> tuple[Repeats, tuple[str, ...]]:
    """Find the trays that were measured again, and every row that measures them.

    Parameters
    ----------
    table : TrayTable
        As read.

    Returns
    -------
    repeats : Repeats
        Trays without repeats are not in it.
    warnings : tuple of str
        What was taken how.

    Raises
    ------
    ListError
        Rows contradict themselves or each other; all are named.
    DesignError
        No tray was measured again.
    """
    own = _own_rows(table)
    home, problems = _homes(table, own)
    used = [row for row, first in enumerate(home) if first is not None]
    problems += _differing(table, home, used)
    problems += _operators(table, used)
    if problems:
        raise ListError(told(problems[:_MOST_PROBLEMS], "results"), hint="Correct the table.")
    questions = spelt_two_ways((table.text(OPERATOR)[row] for row in used), "person or phone")
    if questions:
        raise ListError(" ".join(questions))
    if not used:
        msg = "No tray of the table was measured again: no row has a repeat_of."
        hint = (
            "Photograph trays again, give each repeat a row of its own in trays.csv with the "
            "tray's name in the column repeat_of, and measure."
        )
        raise DesignError(msg, hint=hint)
    return _coded(table, home, used)


def _own_rows(table: TrayTable) -> dict[str, list[int]]:
    """Rows of each tray under its own name, one for each day."""
    again = table.text(REPEAT_OF)
    own: dict[str, list[int]] = {}
    for row, name in enumerate(table.text("tray_id")):
        if not again[row]:
            own.setdefault(name, []).append(row)
    return own


def _homes(table: TrayTable, own: dict[str, list[int]]) -> tuple[list[int | None], list[Problem]]:
    """Row of the tray's own measurement that each row repeats; its own where others repeat it."""
    names, again, days = table.text("tray_id"), table.text(REPEAT_OF), table.text(_DAY)
    home: list[int | None] = [None] * len(table)
    problems = []
    for row, tray in enumerate(again):
        if not tray:
            continue
        if tray not in own:
            what, advice = "names no tray", "Name a tray_id of the table"
            if tray == names[row]:
                what, advice = "names itself", "Leave it empty in the tray's own row"
            elif tray in names:
                what, advice = "names a repeat itself", f"Name the tray that {tray} repeats"
            problems.append(_problem(table, row, REPEAT_OF, what, advice))
            continue
        first = _of_day(own[tray], days, days[row])
        if first is None:
            held = " and ".join(sorted({days[one] or "no day" for one in own[tray]}))
            what = f"was photographed on another day than its tray ({tray}: {held}); plants grow"
            advice = "Repeat a tray on one day, or correct the day"
            problems.append(_problem(table, row, _DAY, what, advice))
            continue
        home[row] = home[first] = first
    return home, problems


def _of_day(rows: Sequence[int], days: Sequence[str], day: str) -> int | None:
    """Give the tray's row of that day; a row without a day belongs to the only day there is."""
    same = [row for row in rows if days[row][:10] == day[:10]]
    if same:
        return same[0]
    known = {days[row][:10] for row in rows} - {""}
    return rows[0] if len(rows) == 1 and (not day or not known) else None


def _differing(table: TrayTable, home: Sequence[int | None], used: Sequence[int]) -> list[Problem]:
    """Find repeats that cannot be of the tray they name, or were measured with other sizes."""
    problems = []
    for column in (*_INHERITED, *_MEASURED_WITH):
        cells = table.text(column)
        for row in used:
            first = home[row]
            if first is None or _agree(cells[row], cells[first], column):
                continue
            tray = table.text("tray_id")[first]
            held = quoted(cells[first]) if cells[first] else "empty"
            what = f"differs from {tray}, which it repeats ({held})"
            problems.append(_problem(table, row, column, what, "Write the same in both rows"))
    return problems


def _agree(one: str, other: str, column: str) -> bool:
    if one.casefold() == other.casefold() or (column in _INHERITED and not one):
        return True
    try:
        return float(one.replace(",", ".")) == float(other.replace(",", "."))
    except ValueError:
        return False


def _operators(table: TrayTable, used: Sequence[int]) -> list[Problem]:
    """Ask for the operators of single rows where others have one."""
    operators = table.text(OPERATOR)
    if not any(operators[row] for row in used):
        return []
    what, advice = "is empty where other rows name one", "Name the person or phone"
    return [_problem(table, row, OPERATOR, what, advice) for row in used if not operators[row]]


def _coded(
    table: TrayTable, home: Sequence[int | None], used: Sequence[int]
) -> tuple[Repeats, tuple[str, ...]]:
    names, days = table.text("tray_id"), table.text(_DAY)
    firsts = list(dict.fromkeys(one for row in used if (one := home[row]) is not None))
    of_tray = [names[first] for first in firsts]
    trays = tuple(
        names[first] if of_tray.count(names[first]) == 1 else f"{names[first]} {days[first]}"
        for first in firsts
    )
    batches = [table.text("batch")[first] for first in firsts]
    place = {first: code for code, first in enumerate(firsts)}
    tray = [place[one] for row in used if (one := home[row]) is not None]
    operators, operator = _codes([table.text(OPERATOR)[row] for row in used])
    known, batch = _codes([batches[code] for code in tray])
    repeats = Repeats(
        rows=np.array(used, dtype=np.intp),
        own=np.array(firsts, dtype=np.intp),
        trays=trays,
        tray=np.array(tray, dtype=np.intp),
        operators=operators,
        operator=np.maximum(operator, 0),
        batches=known,
        batch=batch,
    )
    several = sorted({name for name in of_tray if of_tray.count(name) > 1})
    if not several:
        return repeats, ()
    told_so = (
        f"{', '.join(several)}: photographed on several days; plants grow, so that each day counts "
        "as a tray of its own."
    )
    return repeats, (told_so,)


def _codes(cells: Sequence[str]) -> tuple[tuple[str, ...], NDArray[np.intp]]:
    """Names in order of appearance, and the code of each cell; -1 for an empty one."""
    names = tuple(dict.fromkeys(cell for cell in cells if cell))
    places = {name: code for code, name in enumerate(names)}
    return names, np.array([places.get(cell, -1) for cell in cells], dtype=np.intp)


def _problem(table: TrayTable, row: int, column: str, what: str, advice: str) -> Problem:
    held = table.text(column)[row]
    place = f"{RESULTS_FILE}, tray {table.text('tray_id')[row]}"
    return Problem(place, what, advice, None, column, quoted(held) if held else None)
