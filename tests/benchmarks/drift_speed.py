"""How long `traymorph drift` takes on a long table, from the start of the process to its end.

Invented batches, 100 000 tray rows. ``python -m tests.benchmarks.drift_speed``; ``--wide`` adds
the columns of every metric of tray and board, as ``measure`` writes them. Seconds on the clock grow
with whatever else the computer does; those of the processor less so.
"""

import argparse
import random
import resource
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

from traymorph.model.metrics import METRICS

_WATCHED = ("canopy_cover_pct", "canopy_height_mm", "leaf_hue_deg", "stem_length_mm")
_TEXTS = ("tray_id", "photographed_on", "crop", "treatment", "block", "batch", "sown_on", "shelf")


def write(path, rows, batches, *, wide):
    draw = random.Random(1)  # noqa: S311 - not for secrets
    metrics = [name for name in METRICS if not name.startswith("pack_")] if wide else _WATCHED
    with path.open("w", encoding="utf-8") as file:
        columns = [name + ending for name in metrics for ending in ("", "_u")]
        file.write(",".join((*_TEXTS, *columns, "flags")) + "\n")
        for batch in range(batches):
            sown = date(2026, 1, 5) + timedelta(days=2 * batch)
            level = 60.0 + draw.gauss(0.0, 2.0)
            for tray in range(rows // batches):
                texts = (f"{batch}-{tray}", (sown + timedelta(8)).isoformat(), "radish", "30 g",
                         str(tray % 4), f"B{batch + 1}", sown.isoformat(), "1")  # fmt: skip
                numbers = (
                    f"{level + draw.gauss(0.0, 1.0):.6g},0.8" if name in _WATCHED else "0.5,0.1"
                    for name in metrics
                )
                file.write(",".join((*texts, *numbers, "edge_plants")) + "\n")


def _processor_seconds():
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=100_000)
    parser.add_argument("--batches", type=int, default=200)
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("--wide", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        results = Path(folder) / "results"
        results.mkdir()
        write(results / "tray_metrics.csv", asked.rows, asked.batches, wide=asked.wide)
        for _ in range(asked.times):
            before, start = _processor_seconds(), time.perf_counter()
            command = [sys.executable, "-m", "traymorph", "drift", folder]
            subprocess.run(command, check=True, capture_output=True)  # noqa: S603 - our own
            print(f"{time.perf_counter() - start:.2f} s on the clock, "
                  f"{_processor_seconds() - before:.2f} s of the processor")  # fmt: skip


if __name__ == "__main__":
    main()
