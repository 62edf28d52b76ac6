"""A nursery of writers to be killed: ``python -m tests.store.killed_writer``.

Each line on standard input is a place and a name. A child is forked, which is up at once since
everything is imported here; its process id is told, then every tray that it has recorded, then that
it is dead.
"""

import os
import sys
from pathlib import Path

import psycopg  # noqa: F401 - loaded before the fork

from traymorph.model.results import (
    Failure,
    Measured,
    PhotoCheck,
    PlantRow,
    Provenance,
    TrayResult,
    TrayRow,
)
from traymorph.store.ledger import open_ledger

CHECKS, PLANTS = 3, 2


def tray(name):
    """A tray's result with a row in every table of the ledger."""
    made = Provenance("0.1.0", "5" * 64, (1,), ("a" * 64,), "mixture 1", ())
    metrics = {"canopy_cover_pct": Measured(81.25, 0.5)}
    return TrayResult(
        name,
        (TrayRow(name, None, {"tray_id": name}, metrics, ("blurred",), made),),
        tuple(PhotoCheck(f"{part}.jpg", name, "side") for part in range(CHECKS)),
        (Failure(name, "x.jpg", "No card.", 5),),
        tuple(PlantRow("b.jpg", name, plant, 1.0, 2.0, {}, ()) for plant in range(PLANTS)),
    )


def _say(word):
    os.write(1, f"{word}\n".encode())


def _record_without_end(place, name):
    with open_ledger(place if "://" in place else Path(place), Path("/farm/spring")) as ledger:
        run = ledger.begin_run()
        number = 0
        while True:
            one = tray(f"{name}-{number}")
            ledger.record(run, "f" * 64, one)
            _say(one.tray_id)
            number += 1


def main():
    for line in sys.stdin:
        place, name = line.split()
        child = os.fork()
        if child == 0:
            try:
                _record_without_end(place, name)
            finally:
                os._exit(1)
        _say(child)
        _, status = os.waitpid(child, 0)
        _say("killed" if os.WIFSIGNALED(status) else "failed")


if __name__ == "__main__":
    main()
