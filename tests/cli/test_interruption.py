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


def test_done_trays_are_kept_and_the_next_run_goes_on(fresh, monkeypatch):
    real, asked = pipeline_run.measure_tray, []

    def measure(job):
        asked.append(job.sample.tray_id)
        if len(asked) == 2:
            raise KeyboardInterrupt
        return real(job)

    (fresh / "photos" / "T01" / "T01_overhead.jpg").unlink()
    (fresh / "photos" / "T02" / "T02_overhead.jpg").unlink()
    monkeypatch.setattr(pipeline_run, "measure_tray", measure)
    outcome = traymorph("measure", fresh, "--workers", 1)
    assert outcome.code == 130
    assert "Interrupted" in outcome.stderr
    assert "Traceback" not in outcome.stderr
    assert not list((fresh / "results").glob("*.csv")), "no table of half a trial"
    with open_ledger(fresh / "traymorph.sqlite", fresh) as ledger:
        assert [result.tray_id for result in ledger.latest()] == ["T01"]

    assert traymorph("measure", fresh, "--workers", 1).code == 0
    assert asked == ["T01", "T02", "T02"]
    assert [row["tray_id"] for row in table(fresh / "results" / "tray_metrics.csv")] == [
        "T01",
        "T02",
    ]


@pytest.mark.skipif(sys.platform == "win32", reason="process groups are told apart otherwise")
def test_ctrl_c_on_a_terminal_reaches_all_processes_and_is_quiet(fresh):
    command = Path(sys.executable).with_name("traymorph")
    process = subprocess.Popen(  # noqa: S603 - our own command
        [command, "measure", fresh, "--workers", "2"],
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
