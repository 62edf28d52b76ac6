"""What one photo costs: ``python -m tests.benchmarks.photo_cost PHOTO --view overhead``.

Processor time is given as a ratio to decoding the same photo in the same process, one thread, the
least of several runs; memory as the peak of a fresh process that measures this photo once.
"""

from __future__ import annotations

import argparse
import math
import resource
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2

from traymorph.config.settings import Settings
from traymorph.model.photo import View
from traymorph.model.results import Measured
from traymorph.model.trial import PhotoEntry, TraySize
from traymorph.pipeline import board
from traymorph.pipeline.overhead import SideHeights, measure_overhead_photo
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
_HEIGHT_TOLD = "measure, height told"
_HEIGHTS = SideHeights(Measured(70.0, 2.0), Measured())
"""As a side photo tells them; without one five heights are tried."""


class _Clock:
    """Seconds of each stage, run by run."""

    def __init__(self) -> None:
        self.stages: dict[str, list[float]] = {}

    def timed(self, stage: str, call: Callable[..., Any]) -> Callable[..., Any]:
        """Wrap a call so that its time is kept."""

        def wrapped(*values: Any, **named: Any) -> Any:
            begin = time.process_time()
            result = call(*values, **named)
            self.stages.setdefault(stage, []).append(time.process_time() - begin)
            return result

        return wrapped

    def least(self) -> dict[str, float]:
        """Least of each stage, the first run aside, which loads libraries and the network."""
        return {name: min(times[1:]) for name, times in self.stages.items()}


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
    peak_mib = 0.0
    for _ in range(arguments.runs + 1):
        decode(str(arguments.photo))
        seen = read(entry, 100.0)
        measure(seen, arguments.crop)
        width, height = seen.photo.size_px
        del seen  # or the next run would hold two photos
        peak_mib = peak_mib or resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    least = clock.least()
    if entry.view is View.BOARD:
        named = sum(least[stage] for stage in _BOARD_STAGES)
        least["the rest"] = least.pop("whole board") - named
    print(f"{width * height / 1e6:.1f} MP {arguments.view}, one thread, {arguments.runs} runs")
    for name, seconds in least.items():
        print(f"{name:>20}  {seconds:6.3f} s  {seconds / least['decode']:6.1f} x decode")
    told = least.pop(_HEIGHT_TOLD, math.nan)
    whole = sum(least.values()) - least["decode"]
    print(f"{'whole':>20}  {whole:6.3f} s  {whole / least['decode']:6.1f} x decode")
    if math.isfinite(told):
        whole += told - least["measure"]
        print(f"{'with a side photo':>20}  {whole:6.3f} s  {whole / least['decode']:6.1f} x decode")
    print(f"peak memory {peak_mib:.0f} MiB, libraries included")


def _of_tray(clock: _Clock, view: View) -> Callable[..., Any]:
    """Measure a tray's photo, its masks and the rest timed apart."""
    tell = clock.timed("masks", segment)
    size = TraySize(500.0, 250.0, 10.0, 52.0)
    rest = clock.timed(
        "measure", measure_side_photo if view is View.SIDE else measure_overhead_photo
    )

    told = clock.timed(_HEIGHT_TOLD, measure_overhead_photo)

    def measure(seen: Any, _crop: str) -> None:
        masks = tell(seen)
        rest(seen, masks, size, Settings())
        if view is View.OVERHEAD:
            told(seen, masks, size, Settings(), _HEIGHTS)

    return measure


if __name__ == "__main__":
    main()
