"""Where jobs run: in this process, or in several that are started fresh (never forked).

OpenCV may hang in a forked process, so workers are spawned; each uses one thread, since trays are
independent and a process per core is the better use of the machine.
"""

import multiprocessing
import signal
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from typing import Protocol

from traymorph.model.results import TrayResult
from traymorph.pipeline.jobs import TrayJob

Work = Callable[[TrayJob], TrayResult]


class Executor(Protocol):
    """Runs jobs and hands results back as they come."""

    def run(self, work: Work, jobs: list[TrayJob]) -> Iterator[tuple[TrayJob, TrayResult]]:
        """Yield each job with its result, in any order."""


class SerialExecutor:
    """One job after the other, in this process."""

    def run(self, work: Work, jobs: list[TrayJob]) -> Iterator[tuple[TrayJob, TrayResult]]:
        """Yield each job with its result, in order."""
        for job in jobs:
            yield job, work(job)


class ProcessExecutor:
    """Several jobs at once, a fresh process each.

    Parameters
    ----------
    workers : int
        Number of processes.
    """

    def __init__(self, workers: int) -> None:
        self._workers = workers

    def run(self, work: Work, jobs: list[TrayJob]) -> Iterator[tuple[TrayJob, TrayResult]]:
        """Yield each job with its result as soon as it is done."""
        strangers = set(multiprocessing.active_children())
        pool = ProcessPoolExecutor(
            max_workers=min(self._workers, len(jobs)),
            mp_context=multiprocessing.get_context("spawn"),
            initializer=_begin_worker,
        )
        try:
            with _interrupts_held_back():
                pending = {pool.submit(work, job): job for job in jobs}
            for future in as_completed(pending):
                yield pending[future], future.result()
        except KeyboardInterrupt:
            # What is being measured is lost anyway; nobody should wait for it.
            for worker in set(multiprocessing.active_children()) - strangers:
                worker.terminate()
            raise
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def _interrupts_held_back() -> Iterator[None]:
    """Let workers start deaf to Ctrl-C, which reaches every process of a terminal.

    The main process alone decides what happens then; it gets the signal at the end of the block.
    """
    if sys.platform == "win32":
        yield  # no such masks there; workers turn deaf a little later, in their own code
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin_worker() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    import cv2  # noqa: PLC0415 - in the worker only

    cv2.setNumThreads(1)


def choose_executor(workers: int, jobs: int) -> Executor:
    """Return the plain executor where one process is enough."""
    if workers <= 1 or jobs <= 1:
        return SerialExecutor()
    return ProcessExecutor(workers)
