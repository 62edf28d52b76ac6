"""``python -m tests.accuracy RENDERED_SET --out DIR``: the table of docs/accuracy.md."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

from tests.accuracy.readings import read_scene

# Metrics whose error is judged relative to the truth, in per cent.
_RELATIVE = {
    "projected_leaf_area_cm2", "overhang_area_cm2",
    "blade_width_mm", "stem_to_leaf_ratio", "canopy_height_cv_pct",
}  # fmt: skip
_WORST = 5


def main() -> int:
    """Measure what has not been measured yet, then print the tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy", description=__doc__)
    parser.add_argument("rendered", type=Path, help="folder with one sub-folder per scene")
    parser.add_argument("--out", type=Path, required=True, help="where readings are kept")
    parser.add_argument("--light", choices=["all", "white", "grow"], default="white")
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    scenes = []
    for truth in sorted(arguments.rendered.glob("*/truth.json")):
        scenes.append(read_scene(truth.parent, arguments.out))
        print(truth.parent.name, *scenes[-1]["failures"], file=sys.stderr, flush=True)
    print(report(scenes, arguments.light))
    return 0


def report(scenes: list[dict], light: str) -> str:
    """Tables in Markdown, then the worst scenes of every metric."""
    wanted = [
        {**scene, kind: [row for row in scene[kind] if _lit(row, light)]}
        for scene in scenes
        for kind in ("readings",)
    ]
    lines = ["| metric | trays | mean error | worst | bias | holds | rms of error/u |"]
    lines += ["|---|---|---|---|---|---|---|"]
    worst = []
    for metric in dict.fromkeys(row["metric"] for scene in wanted for row in scene["readings"]):
        rows = [row for scene in wanted for row in scene["readings"] if row["metric"] == metric]
        lines.append(_metric_line(metric, rows))
        worst.append(f"{metric}: {_worst(metric, rows)}")
    lines += ["", "| overlap (Dice) | photos | plant | leaf | stem | plant area |"]
    lines += ["|---|---|---|---|---|---|"]
    overlaps = [row for scene in scenes for row in scene["overlaps"] if _lit(row, light)]
    for view in ("overhead", "side"):
        lines.append(_overlap_line(view, [row for row in overlaps if row["view"] == view]))
        ranked = sorted((r for r in overlaps if r["view"] == view), key=lambda r: r["plant"])
        worst.append(
            f"{view} plant: "
            + ", ".join(f"{r['scene']} {r['crop']} {r['plant']:.3f}" for r in ranked[:_WORST])
        )
    failed = [message for scene in scenes for message in scene["failures"]]
    lines += ["", f"{len(scenes)} trays; photos refused: {len(failed)}", *failed, "", *worst]
    return "\n".join(lines)


def _lit(row: dict, light: str) -> bool:
    return light == "all" or (row["light"] == "grow") == (light == "grow")


def _errors(metric: str, rows: list[dict]) -> np.ndarray:
    value, truth = (np.array([row[key] for row in rows], float) for key in ("value", "truth"))
    error = value - truth
    return 100 * error / np.maximum(np.abs(truth), 1e-9) if metric in _RELATIVE else error


def _metric_line(metric: str, rows: list[dict]) -> str:
    error = _errors(metric, rows)
    value, u, truth = (np.array([row[k] for row in rows], float) for k in ("value", "u", "truth"))
    known = np.isfinite(error)
    if not known.any():
        return f"| `{metric}` | 0 of {len(rows)} | | | | | |"
    error, z = error[known], ((value - truth) / u)[known]
    sign = " %" if metric in _RELATIVE else ""
    worst = error[np.argmax(np.abs(error))]
    return (
        f"| `{metric}` | {known.sum()} of {len(rows)} | {np.abs(error).mean():.2f}{sign} "
        f"| {worst:+.2f}{sign} | {error.mean():+.2f}{sign} "
        f"| {(np.abs(z) <= 1.96).sum()} of {len(z)} | {np.sqrt(np.mean(z**2)):.2f} |"
    )


def _worst(metric: str, rows: list[dict]) -> str:
    error = _errors(metric, rows)
    order = np.argsort(-np.where(np.isfinite(error), np.abs(error), -1))[:_WORST]
    return ", ".join(f"{rows[k]['scene']} {rows[k]['crop']} {error[k]:+.1f}" for k in order)


def _overlap_line(view: str, rows: list[dict]) -> str:
    if not rows:
        return f"| {view} | 0 | | | | |"
    cells = [
        f"{np.mean([row[k] for row in rows]):.3f} (worst {np.min([row[k] for row in rows]):.3f})"
        for k in ("plant", "leaf", "stem")
    ]
    area = np.mean([row["plant_area_pct"] for row in rows])
    return f"| {view} | {len(rows)} | {' | '.join(cells)} | {area:+.1f} % |"


if __name__ == "__main__":
    sys.exit(main())
