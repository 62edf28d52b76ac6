"""What one photo costs: ``python -m tests.benchmarks.photo_cost PHOTO --view overhead``.

Time is given as a ratio to decoding the same photo in the same run, one thread; memory as the peak
of a fresh process that measures this photo alone.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2

from traymorph.config.settings import Settings
from traymorph.model.photo import View
from traymorph.model.trial import PhotoEntry, TraySize
from traymorph.pipeline import board
from traymorph.pipeline.overhead import measure_overhead_photo
from traymorph.pipeline.seen import see, segment
from traymorph.pipeline.side import measure_side_photo

_BOARD_STAGES = {
    "masks": "segment_board",
    "plants apart": "find_cut_plants",
    "measure": "measure_cut_plants",
    "checks": "check_photo",
    "picture": "board_overlay",
}
"""Calls by which the pipeline measures a board photo."""


class _Clock:
    """Seconds of each stage, run by run."""

    def __init__(self) -> None:
        self.stages: dict[str, list[float]] = {}

    def timed(self, stage: str, call: Callable[..., Any]) -> Callable[..., Any]:
        """Wrap a call so that its time is kept."""

        def wrapped(*values: Any, **named: Any) -> Any:
            begin = time.perf_counter()
            result = call(*values, **named)
            self.stages.setdefault(stage, []).append(time.perf_counter() - begin)
            return result

        return wrapped

    def typical(self) -> dict[str, float]:
        """Median of each stage; the first run loads libraries and the network."""
        return {name: statistics.median(times[1:]) for name, times in self.stages.items()}


def main() -> None:
    """Time the stages and print a line for each."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks.photo_cost", description=__doc__
    )
    parser.add_argument("photo", type=Path)
    parser.add_argument("--view", choices=["overhead", "side", "board"], required=True)
    parser.add_argument("--crop", default="radish", help="of the plants on a board")
    parser.add_argument("--runs", type=int, default=5)
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    entry = PhotoEntry(arguments.photo, "bench", View(arguments.view), None)
    clock = _Clock()
    decode = clock.timed("decode", cv2.imread)
    read = clock.timed("read and card", see)
    if entry.view is View.BOARD:
        for stage, name in _BOARD_STAGES.items():
            setattr(board, name, clock.timed(stage, getattr(board, name)))
        measure = clock.timed("whole board", board.measure_board_photo)
    else:
        measure = _of_tray(clock, entry.view)
    for _ in range(arguments.runs + 1):
        decode(str(arguments.photo))
        seen = read(entry, 100.0)
        measure(seen, arguments.crop)
        width, height = seen.photo.size_px
        del seen  # or the next run would hold two photos
    typical = clock.typical()
    if entry.view is View.BOARD:
        named = sum(typical[stage] for stage in _BOARD_STAGES)
        typical["the rest"] = typical.pop("whole board") - named
    print(f"{width * height / 1e6:.1f} MP {arguments.view}, one thread, {arguments.runs} runs")
    for name, seconds in typical.items():
        print(f"{name:>14}  {seconds:6.3f} s  {seconds / typical['decode']:6.1f} x decode")
    whole = sum(typical.values()) - typical["decode"]
    print(f"{'whole':>14}  {whole:6.3f} s  {whole / typical['decode']:6.1f} x decode")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory {peak:.0f} MiB, libraries included")


def _of_tray(clock: _Clock, view: View) -> Callable[..., Any]:
    """Measure a tray's photo, its masks and the rest timed apart."""
    tell = clock.timed("masks", segment)
    size = TraySize(500.0, 250.0, 10.0, 52.0)
    rest = clock.timed(
        "measure", measure_side_photo if view is View.SIDE else measure_overhead_photo
    )

    def measure(seen: Any, _crop: str) -> None:
        rest(seen, tell(seen), size, Settings())

    return measure


if __name__ == "__main__":
    main()
