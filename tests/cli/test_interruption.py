"""An interrupted run loses at most the trays being measured."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.running import table, traymorph
from traymorph.pipeline import run as pipeline_run
from traymorph.store.ledger import open_ledger

pytestmark = pytest.mark.slow


@pytest.fixture
def trial(fresh):
    """Two trays with one photo each."""
    for tray in ("T01", "T02"):
        (fresh / "photos" / tray / f"{tray}_overhead.jpg").unlink()
    return fresh


def test_done_trays_are_kept_and_the_next_run_goes_on(trial, monkeypatch):
    real, asked = pipeline_run.measure_tray, []

    def measure(job):
        asked.append(job.sample.tray_id)
        if len(asked) == 2:
            raise KeyboardInterrupt
        return real(job)

    monkeypatch.setattr(pipeline_run, "measure_tray", measure)
    outcome = traymorph("measure", trial, "--workers", 1)
    assert outcome.code == 130
    assert "Interrupted" in outcome.stderr
    assert "Traceback" not in outcome.stderr
    assert not list((trial / "results").glob("*.csv")), "no table of half a trial"
    with open_ledger(trial / "traymorph.sqlite", trial) as ledger:
        assert [result.tray_id for result in ledger.latest()] == ["T01"]

    assert traymorph("measure", trial, "--workers", 1).code == 0
    assert asked == ["T01", "T02", "T02"]
    assert [row["tray_id"] for row in table(trial / "results" / "tray_metrics.csv")] == [
        "T01",
        "T02",
    ]


@pytest.fixture
def heard():
    """Ctrl-C is heard here, so that children hear it too.

    A shell starts what runs in its background deaf to Ctrl-C, and children inherit that.
    """
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("heard")
@pytest.mark.skipif(sys.platform == "win32", reason="process groups are told apart otherwise")
def test_ctrl_c_on_a_terminal_reaches_all_processes_and_is_quiet(trial):
    command = Path(sys.executable).with_name("traymorph")
    process = subprocess.Popen(  # noqa: S603 - our own command
        [command, "measure", trial, "--workers", "2"],
        stderr=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    first = process.stderr.readline()
    assert "0 of 2 trays done" in first
    time.sleep(1.0)  # the workers are starting or at work
    os.killpg(process.pid, signal.SIGINT)
    stdout, stderr = process.communicate(timeout=120)
    assert process.returncode == 130, stderr
    assert stderr.splitlines()[-1].startswith("Interrupted.")
    assert "Traceback" not in stderr
    assert stdout == ""
