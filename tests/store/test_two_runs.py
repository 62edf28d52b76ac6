"""Two runs at once write one ledger: nothing is lost, nothing is there twice."""

import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from tests.store.databases import count
from traymorph.store.ledger import open_ledger

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
TRAYS, SHARED = 25, 10
WRITER = textwrap.dedent(
    """
    import sys
    from pathlib import Path

    from tests.store.killed_writer import tray
    from traymorph.store.ledger import open_ledger

    place, name, number, shared = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
    sys.stdin.readline()  # both begin at once
    with open_ledger(place if "://" in place else Path(place), Path("/farm/spring")) as ledger:
        run = ledger.begin_run()
        for index in range(number):
            ledger.record(run, "f" * 64, tray(f"{name}{index}"))
        for index in range(shared):
            ledger.record(run, "f" * 64, tray(f"both{index}"))
    """
)


def test_two_runs_at_once_keep_everything_once(place):
    command = [sys.executable, "-c", WRITER, str(place)]
    writers = [
        subprocess.Popen(  # noqa: S603 - our own program
            [*command, name, str(TRAYS), str(SHARED)], cwd=ROOT, stdin=subprocess.PIPE, text=True
        )
        for name in ("A", "B")
    ]
    for writer in writers:
        writer.stdin.write("\n")
        writer.stdin.flush()
    for writer in writers:
        writer.communicate(timeout=120)
        assert writer.returncode == 0
    with open_ledger(place, Path("/farm/spring")) as ledger:
        kept = {result.tray_id for result in ledger.latest()}
    alone = {f"{name}{index}" for name in "AB" for index in range(TRAYS)}
    assert kept == alone | {f"both{index}" for index in range(SHARED)}
    assert count(place, "measurements") == len(kept)
    assert count(place, "kept") == 2 * (TRAYS + SHARED)
    assert count(place, "runs") == 2
