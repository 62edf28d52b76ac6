"""``events.csv``: what was changed in the grow room, and on which day."""

from pathlib import Path

from traymorph.config.cells import CellReader
from traymorph.config.problems import Problem, told
from traymorph.config.tables import read_table
from traymorph.errors import ListError
from traymorph.model.drift import Event

EVENTS_FILE = "events.csv"
_REQUIRED = ("on_date", "what")


def read_events(folder: Path) -> tuple[Event, ...]:
    """Read the events of a folder, in the order of their days; none without the list.

    Raises
    ------
    ListError
        The list cannot be read, or rows of it cannot be meant; all are named.
    """
    path = folder / EVENTS_FILE
    if not path.exists():
        return ()
    problems: list[Problem] = []
    table = read_table(path, _REQUIRED, problems)
    cells = CellReader(table, problems)
    events = []
    for row in table.rows:
        moment, what = cells.moment(row, "on_date"), row.get("what")
        if not row.get("on_date"):
            cells.note(row, "on_date", "is empty", "Write the day as year-month-day")
        if not what:
            cells.note(row, "what", "is empty", "Say what was changed, like new seed lot")
        if moment is not None and what:
            events.append(Event(moment.date(), what))
    if problems:
        raise ListError(told(problems, "events"), hint="Correct the list.")
    return tuple(sorted(events, key=lambda event: event.on))
