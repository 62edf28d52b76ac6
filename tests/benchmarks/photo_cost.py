"""What one photo costs: ``python -m tests.benchmarks.photo_cost PHOTO --view overhead``.

Time is given as a ratio to decoding the same photo in the same run, one thread; memory as the peak
of a fresh process that measures this photo alone.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import time
from pathlib import Path

import cv2

from traymorph.config.settings import Settings
from traymorph.model.photo import View
from traymorph.model.trial import PhotoEntry, TraySize
from traymorph.pipeline.overhead import measure_overhead_photo
from traymorph.pipeline.seen import see, segment
from traymorph.pipeline.side import measure_side_photo


def main() -> None:
    """Time the stages and print a line for each."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks.photo_cost", description=__doc__
    )
    parser.add_argument("photo", type=Path)
    parser.add_argument("--view", choices=["overhead", "side"], required=True)
    parser.add_argument("--runs", type=int, default=5)
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    entry = PhotoEntry(arguments.photo, "bench", View(arguments.view), None)
    size = TraySize(500.0, 250.0, 10.0, 52.0)
    measure = measure_side_photo if entry.view is View.SIDE else measure_overhead_photo
    stages: dict[str, list[float]] = {"decode": [], "read and card": [], "masks": [], "measure": []}
    for _ in range(arguments.runs + 1):
        begin = time.perf_counter()
        picture = cv2.imread(str(arguments.photo))
        stages["decode"].append(time.perf_counter() - begin)
        del picture
        begin = time.perf_counter()
        seen = see(entry, 100.0)
        stages["read and card"].append(time.perf_counter() - begin)
        begin = time.perf_counter()
        segmented = segment(seen)
        stages["masks"].append(time.perf_counter() - begin)
        begin = time.perf_counter()
        measure(seen, segmented, size, Settings())
        stages["measure"].append(time.perf_counter() - begin)
    # The first run loads libraries and the network.
    typical = {name: statistics.median(times[1:]) for name, times in stages.items()}
    width, height = seen.photo.size_px
    print(f"{width * height / 1e6:.1f} MP {arguments.view}, one thread, {arguments.runs} runs")
    for name, seconds in typical.items():
        print(f"{name:>14}  {seconds:6.3f} s  {seconds / typical['decode']:6.1f} x decode")
    whole = sum(typical.values()) - typical["decode"]
    print(f"{'whole':>14}  {whole:6.3f} s  {whole / typical['decode']:6.1f} x decode")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory {peak:.0f} MiB, libraries included")


if __name__ == "__main__":
    main()
