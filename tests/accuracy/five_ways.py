"""``python -m tests.accuracy.five_ways RENDERED_SET --out DIR``: how photos of one tray differ."""

from __future__ import annotations

import argparse
import json
import sys
from collections import defaultdict
from pathlib import Path

import numpy as np

from tests.accuracy.readings import read_scene

IN_PER_CENT = ("projected_leaf_area_cm2",)
METRICS = (*IN_PER_CENT, "canopy_cover_pct", "canopy_height_mm", "leaf_l", "leaf_a", "leaf_b")


def main() -> int:
    """Measure what has not been measured yet, then print one row per tray and metric."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.five_ways", description=__doc__)
    parser.add_argument("rendered", type=Path, help="folder with one sub-folder per photo pair")
    parser.add_argument("--out", type=Path, required=True, help="where readings are kept")
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    trays: dict[str, dict[str, dict]] = defaultdict(dict)
    for truth in sorted(arguments.rendered.glob("*/truth.json")):
        way = json.loads(truth.read_text("utf-8"))["spec"]["way"]
        tray = truth.parent.name[:-1]
        trays[tray][way] = read_scene(truth.parent, arguments.out)
        print(tray, way, *trays[tray][way]["failures"], file=sys.stderr, flush=True)
    print("\n".join(report(trays)))
    return 0


def report(trays: dict[str, dict[str, dict]]) -> list[str]:
    """Table in Markdown: each way's value less the tray's mean, and their standard deviation."""
    ways = list(next(iter(trays.values())))
    lines = [f"| tray | metric | {' | '.join(ways)} | standard deviation | error/u, rms |"]
    lines.append("|---" * (len(ways) + 4) + "|")
    for tray, photos in trays.items():
        for metric in METRICS:
            rows = [_row(photos[way], metric) for way in ways]
            value, u, truth = (np.array([row[k] for row in rows]) for k in ("value", "u", "truth"))
            apart = departures(metric, value)
            cells = [f"{part:+.2f}" for part in apart]
            cells += [f"{np.nanstd(apart, ddof=1):.2f}"]
            cells += [f"{np.sqrt(np.nanmean(((value - truth) / u) ** 2)):.2f}"]
            lines.append(f"| {tray} | `{metric}` | {' | '.join(cells)} |")
    return lines


def departures(metric: str, values: np.ndarray) -> np.ndarray:
    """Values less their mean, in per cent of it for areas."""
    mean = np.nanmean(values)
    return (values - mean) * (100 / mean if metric in IN_PER_CENT else 1.0)


def _row(scene: dict, metric: str) -> dict[str, float]:
    (row,) = (r for r in scene["readings"] if r["metric"] == metric)
    return {k: float(row[k]) for k in ("value", "u", "truth")}


if __name__ == "__main__":
    sys.exit(main())
