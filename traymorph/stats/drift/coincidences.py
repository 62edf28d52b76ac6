"""What else changed when batches moved. That two things coincide makes neither the cause."""

from collections.abc import Sequence

from traymorph.model.drift import Batches, Event, MetricDrift, Move

_BEFORE_DAYS = 21
"""A batch photographed today may have met whatever happened since it was sown."""
_FEWEST_ALIKE = 2


def coinciding(
    move: Move, one: MetricDrift, batches: Batches, events: Sequence[Event]
) -> tuple[str, ...]:
    """Name events and changes of list columns near the begin of a move.

    Parameters
    ----------
    move : Move
        What moved.
    one : MetricDrift
        The metric that moved.
    batches : Batches
        All batches, for their columns.
    events : sequence of Event
        Written by the grower.

    Returns
    -------
    tuple of str
        Such as ``lamp changed (2026-05-01)`` and ``seed_lot S9 instead of S7 (batch 24)``.
    """
    first = one.days[move.start].toordinal() - _BEFORE_DAYS
    last = one.days[move.signalled].toordinal()
    told = [
        f"{event.what} ({event.on.isoformat()})"
        for event in events
        if first <= event.on.toordinal() <= last
    ]
    start, signalled = (batches.names.index(one.names[k]) for k in (move.start, move.signalled))
    return (*told, *_columns(batches, max(1, start - 1), signalled))


def _columns(batches: Batches, start: int, signalled: int) -> list[str]:
    """Columns that held one value before, and another from one of these batches on."""
    found = []
    for column, cells in batches.texts.items():
        for place in range(start, signalled + 1):
            old, new = cells[place - 1], cells[place]
            held = cells[:place].count(old) >= _FEWEST_ALIKE
            if old and new and old != new and held and new not in cells[:place]:
                found.append(f"{column} {new} instead of {old} (batch {batches.names[place]})")
    return found
