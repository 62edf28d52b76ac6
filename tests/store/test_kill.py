"""Killed at 50 random moments while writing: the ledger opens, with whole trays only."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.store.databases import count
from tests.store.killed_writer import CHECKS, PLANTS, tray
from traymorph.store.ledger import open_ledger

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not hasattr(os, "fork"), reason="no such processes here"),
]

ROOT = Path(__file__).parents[2]
LEDGERS, KILLS = 5, 10
LONGEST_S = 0.06  # a tray takes 1 to 10 ms, more on a busy disk


@pytest.fixture
def nursery():
    command = [sys.executable, "-m", "tests.store.killed_writer"]
    with subprocess.Popen(  # noqa: S603 - our own program
        command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        yield process
        process.stdin.close()


def _write_and_be_killed(nursery, place, name, draw):
    """Give the trays that a writer said it had recorded before it was killed."""
    nursery.stdin.write(f"{place} {name}\n")
    nursery.stdin.flush()
    child = int(nursery.stdout.readline())
    said = []
    if draw.random() < 0.7:  # else the moment may lie in the opening, or in the making of tables
        said.append(nursery.stdout.readline().strip())
    time.sleep(draw.uniform(0.0, LONGEST_S))
    os.kill(child, signal.SIGKILL)
    while True:
        word = nursery.stdout.readline().strip()
        if word in {"killed", "failed"}:
            assert word == "killed"
            return said
        said.append(word)


def test_killed_at_random_moments_it_holds_every_finished_tray_and_no_half_one(new_place, nursery):
    draw = random.Random(50)  # noqa: S311 - not for secrets
    finished_in_all = 0
    for _ in range(LEDGERS):
        place, finished = new_place(), set()
        for attempt in range(KILLS):
            finished |= set(_write_and_be_killed(nursery, place, str(attempt), draw))
            open_ledger(place).close()
        with open_ledger(place, Path("/farm/spring")) as ledger:
            kept = {result.tray_id: result for result in ledger.latest()}
        assert finished <= set(kept)
        assert repr(list(kept.values())) == repr([tray(name) for name in kept])
        # what was recorded but could not be said any more: one tray of each writer at most
        unsaid = [name.split("-")[0] for name in set(kept) - finished]
        assert len(unsaid) == len(set(unsaid))
        expected = {"photo_checks": CHECKS, "cut_plants": PLANTS}
        for table in ("measurements", "kept", "tray_rows", "failures", *expected):
            assert count(place, table) == len(kept) * expected.get(table, 1)
        finished_in_all += len(finished)
    # seven writers in ten are left until they have recorded one, however slow the disk is
    assert finished_in_all > LEDGERS * KILLS / 2
