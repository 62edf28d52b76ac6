"""The map of the rack: which tray stands where, as lines of plain text."""

from collections.abc import Sequence
from itertools import groupby

from traymorph.model.plan import PlannedTray

_NAMES = {"shelf": "Block", "side": "Side", "day": "Day"}


def rack_map(trays: Sequence[PlannedTray], block_name: str) -> tuple[str, ...]:
    """Draw the map.

    Parameters
    ----------
    trays : sequence of PlannedTray
        In the order in which they stand.
    block_name : str
        What a block is: ``shelf``, ``side`` or ``day``.

    Returns
    -------
    tuple of str
        One line per shelf, from its left to its right end, under a line for each block.
    """
    names = max(len(tray.tray_id) for tray in trays)
    words = max(len(tray.treatment) for tray in trays)
    lines = []
    for block, held in groupby(trays, key=lambda tray: tray.block):
        of_block = list(held)
        day = of_block[0].sown_on
        lines.append(f"{_NAMES[block_name]} {block}" + (f", sown {day.isoformat()}" if day else ""))
        for shelf, row in groupby(of_block, key=lambda tray: tray.shelf):
            cells = " ".join(
                f"[{tray.tray_id.ljust(names)} {tray.treatment.ljust(words)}]" for tray in row
            )
            lines.append(f"  shelf {shelf}: {cells}")
    return tuple(lines)
