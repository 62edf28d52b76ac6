"""``python -m tests.accuracy.board RENDERED_SET --out DIR``: cut plants against their truth."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

from tests.accuracy.board_readings import OF_PLANT, OF_TRAY, read_board

_WORST = 5


def main() -> int:
    """Measure what has not been measured yet, then print the tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.board", description=__doc__)
    parser.add_argument("rendered", type=Path, help="folder with one sub-folder per board")
    parser.add_argument("--out", type=Path, required=True, help="where readings are kept")
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    scenes = []
    for truth in sorted(arguments.rendered.glob("*/truth.json")):
        scenes.append(read_board(truth.parent, arguments.out))
        print(truth.parent.name, *scenes[-1]["failures"], file=sys.stderr, flush=True)
    print(report(scenes))
    return 0


def report(scenes: list[dict]) -> str:
    """Tables in Markdown: counts, masks, trays, single plants, then every scene on a line."""
    apart = [s for s in scenes if s["groups"] == 0]
    right = sum(s["n_measured"] == s["n_true"] for s in apart)
    mixed = [s for s in scenes if s["groups"] > 0]
    alone = sum(s["n_true_alone"] for s in scenes)
    singly = f"{sum(s['n_measured'] for s in mixed)} of {sum(s['n_true'] for s in mixed)}"
    left_out = sum(s["n_left_out"] for s in mixed)
    ratio = np.median([s["times_decoding"] for s in scenes])
    lines = [
        f"{len(scenes)} boards, {sum(s['n_true'] for s in scenes)} plants.",
        f"- count right with plants apart: {right} of {len(apart)} photos",
        f"- photos with touching or crossing plants: {len(mixed)}",
        f"- of their plants measured singly: {singly}, groups left out: {left_out}",
        f"- two plants taken for one: {sum(len(s['two_as_one']) for s in scenes)}",
        f"- plants that lie alone: {alone}",
        f"- time as a ratio to decoding: median {ratio:.0f}",
        "",
        "| overlap (Dice) | mean | worst |",
        "|---|---|---|",
    ]
    seen = [s["overlap"] for s in scenes if "overlap" in s]
    for key in ("plant", "leaf", "stem", "stem_recall"):
        values = [one[key] for one in seen]
        of_key = f"{np.mean(values):.3f} | {np.min(values):.3f}" if values else "none | none"
        lines.append(f"| {key} | {of_key} |")
    area = [one["area_pct"] for one in seen]
    of_area = f"{np.mean(area):+.1f} % | {max(area, key=abs):+.1f} %" if area else "none | none"
    lines.append(f"| plant area | {of_area} |")
    lines += ["", "| reading | n | mean error | median | worst | bias | holds | rms of error/u |"]
    lines.append("|---|---|---|---|---|---|---|---|")
    pooled: list[list[float]] = []
    for metric in OF_TRAY:
        rows = [row[1:] for s in scenes for row in s["tray"] if row[0] == metric]
        lines.append(_line(f"tray `{metric}`", rows))
        pooled += rows
    for metric in OF_TRAY:
        rows = [row[1:] for s in scenes for row in s["laid"] if row[0] == metric]
        lines.append(_line(f"all laid `{metric}`", rows))
    for metric in OF_PLANT:
        rows = [row[2:] for s in scenes for row in s["singles"] if row[1] == metric]
        lines.append(_line(f"plant `{metric}`", rows))
        pooled += rows
    for metric in ("blade_length_mm", "board_blade_width_mm"):
        rows = [row[1:] for s in scenes for row in s["blade_sizes"] if row[0] == metric]
        lines.append(_line(f"plant `{metric}`", rows))
        pooled += rows
    lines.append(_line("all readings", pooled))
    counts = [row for s in scenes for row in s["blades"]]
    told = [(got, true) for got, true in counts if np.isfinite(got)]
    same = sum(got == true for got, true in told)
    lines += [
        "",
        f"Blade count told for {len(told)} of {len(counts)} plants, right for {same}.",
        "",
    ]
    return "\n".join([*lines, *(_scene(s) for s in scenes)])


def _line(name: str, rows: list[list[float]]) -> str:
    value, u, truth = (np.array([row[k] for row in rows], float) for k in range(3))
    known = np.isfinite(value)
    if not known.any():
        return f"| {name} | 0 of {len(rows)} | | | | | | |"
    error = 100 * (value / truth - 1)[known]
    z = ((value - truth) / u)[known]
    return (
        f"| {name} | {known.sum()} of {len(rows)} | {np.abs(error).mean():.2f} % "
        f"| {np.median(np.abs(error)):.2f} % | {error[np.argmax(np.abs(error))]:+.1f} % "
        f"| {error.mean():+.2f} % | {(np.abs(z) <= 1.96).mean():.0%} of {len(z)} "
        f"| {np.sqrt(np.mean(z**2)):.2f} |"
    )


def _scene(scene: dict) -> str:
    errors = {row[0]: 100 * (row[1] / row[3] - 1) for row in scene["tray"]}
    overlap = scene.get("overlap", {})
    numbers = " ".join(f"{name.split('_mm')[0]} {error:+.1f} %" for name, error in errors.items())
    return (
        f"{scene['scene']} {scene['crop']} on {scene['board']}, {scene['light']}: "
        f"{scene['n_measured']} + {scene['n_left_out']} of {scene['n_true']}; "
        f"plant {overlap.get('plant', 0):.3f} stem {overlap.get('stem', 0):.3f}; {numbers}; "
        f"{' '.join(scene['flags'])} {' '.join(scene['failures'])}"
    )


if __name__ == "__main__":
    sys.exit(main())
