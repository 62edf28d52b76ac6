"""Tables in Markdown of what was read of rendered trays beside their truth."""

from __future__ import annotations

import numpy as np
from scipy.stats import rankdata

from tests.accuracy.groups import GROUPS

# Metrics whose error is judged relative to the truth, in per cent.
RELATIVE = {
    "projected_leaf_area_cm2", "overhang_area_cm2",
    "blade_width_mm", "stem_to_leaf_ratio", "canopy_height_cv_pct",
}  # fmt: skip
COLOURS = ("leaf_l", "leaf_a", "leaf_b")
WITHIN_PCT, RANKS_FROM = 10.0, 0.9
"""A column serves when it is within this of the truth, or ranks trays this well."""
_FEWEST_TO_RANK = 5
WORST = 5
_GOALS = {
    "canopy_cover_pct": "cover, points",
    "projected_leaf_area_cm2": "leaf area, %",
    "canopy_height_mm": "height, mm",
}
OVERLAPS = {
    ("overhead", "plant"): "plant from above",
    ("side", "plant"): "plant from the side",
    ("side", "leaf"): "leaf from the side",
    ("side", "stem"): "stem from the side",
    ("side", "leaf_clear"): "leaf off the outline",
    ("side", "stem_clear"): "stem off the outline",
}


def report(scenes: list[dict]) -> str:
    """All tables and the scenes farthest off, metric by metric."""
    readings = by_metric(scenes)
    overlaps = [row for scene in scenes for row in scene["overlaps"]]
    failed = [message for scene in scenes for message in scene["failures"]]
    lines = [
        *error_table(readings),
        "",
        *serving_table(readings),
        "",
        *overlap_table(overlaps),
        "",
        *group_table(scenes),
        "",
        f"{len(scenes)} trays; photos refused: {len(failed)}",
        *failed,
        "",
        *(f"{name}: {_named(worst)}" for name, worst in farthest_off(scenes).items()),
    ]
    return "\n".join(lines)


def by_metric(scenes: list[dict]) -> dict[str, list[dict]]:
    """Readings of every scene under the metric's name."""
    rows = [row for scene in scenes for row in scene["readings"]]
    return {
        metric: [row for row in rows if row["metric"] == metric]
        for metric in dict.fromkeys(row["metric"] for row in rows)
    }


def errors(metric: str, rows: list[dict]) -> np.ndarray:
    """Value less truth in the metric's unit, or in per cent of the truth; NaN where unknown."""
    value, truth = (np.array([row[key] for row in rows], float) for key in ("value", "truth"))
    error = value - truth
    return 100 * error / np.maximum(np.abs(truth), 1e-9) if metric in RELATIVE else error


def _named(worst: list[tuple[dict, float]]) -> str:
    return ", ".join(f"{row['scene']} {row['crop']} {off:+.3g}" for row, off in worst)


def farthest_off(scenes: list[dict], count: int = WORST) -> dict[str, list[tuple[dict, float]]]:
    """The rows with the largest errors, or the least overlap, and by how much they are off.

    Returns
    -------
    dict of str to list of tuple of (dict, float)
        For each metric, and each overlap as ``view_part``, at most ``count`` rows, worst first.
    """
    found = {}
    for metric, rows in by_metric(scenes).items():
        error = errors(metric, rows)
        order = np.argsort(-np.where(np.isfinite(error), np.abs(error), -1))[:count]
        found[metric] = [(rows[k], float(error[k])) for k in order if np.isfinite(error[k])]
    overlaps = [row for scene in scenes for row in scene["overlaps"]]
    for view, part in OVERLAPS:
        if not part.endswith("_clear"):
            rows = sorted((r for r in overlaps if r["view"] == view), key=lambda r: r[part])
            found[f"{view}_{part}"] = [(row, row[part]) for row in rows[:count]]
    return found


def error_table(readings: dict[str, list[dict]]) -> list[str]:
    """Error, bias and how well the doubt fits, metric by metric."""
    lines = ["| metric | trays | mean error | worst | bias | holds | rms of error/u |"]
    lines += ["|---|---|---|---|---|---|---|"]
    held = judged = 0
    for metric, rows in readings.items():
        error = errors(metric, rows)
        value, u, truth = (
            np.array([row[k] for row in rows], float) for k in ("value", "u", "truth")
        )
        known = np.isfinite(error)
        if not known.any():
            lines.append(f"| `{metric}` | 0 of {len(rows)} | | | | | |")
            continue
        error, z = error[known], ((value - truth) / u)[known]
        sign = " %" if metric in RELATIVE else ""
        holds = int((np.abs(z) <= 1.96).sum())
        held, judged = held + holds, judged + len(z)
        lines.append(
            f"| `{metric}` | {known.sum()} of {len(rows)} | {np.abs(error).mean():.2f}{sign} "
            f"| {error[np.argmax(np.abs(error))]:+.2f}{sign} | {error.mean():+.2f}{sign} "
            f"| {holds} of {len(z)} | {np.sqrt(np.mean(z**2)):.2f} |"
        )
    return [
        *lines,
        "",
        f"95 % intervals that hold: {100 * held / max(judged, 1):.1f} % of {judged}",
    ]


def serving_table(readings: dict[str, list[dict]]) -> list[str]:
    """Whether a column is near the truth or at least ranks trays; colours have no zero."""
    lines = ["| metric | trays | off by, median | mean | bias | rank correlation | serves |"]
    lines += ["|---|---|---|---|---|---|---|"]
    for metric, rows in readings.items():
        value, truth = (np.array([row[k] for row in rows], float) for k in ("value", "truth"))
        known = np.isfinite(value) & np.isfinite(truth)
        if metric in COLOURS or known.sum() < _FEWEST_TO_RANK:
            continue
        value, truth = value[known], truth[known]
        off = 100 * (value - truth)[truth > 0] / truth[truth > 0]
        mean, rank = float(np.abs(off).mean()), rank_correlation(value, truth)
        ways = [("near", mean <= WITHIN_PCT), ("ranks", rank >= RANKS_FROM)]
        lines.append(
            f"| `{metric}` | {known.sum()} | {np.median(np.abs(off)):.1f} % | {mean:.1f} % "
            f"| {(value - truth).mean():+.2f} ({100 * (value.mean() / truth.mean() - 1):+.1f} %) "
            f"| {rank:.3f} | {' and '.join(way for way, met in ways if met) or 'no'} |"
        )
    return lines


def rank_correlation(a: np.ndarray, b: np.ndarray) -> float:
    """Spearman's rank correlation."""
    return float(np.corrcoef(rankdata(a), rankdata(b))[0, 1])


def overlap_table(overlaps: list[dict]) -> list[str]:
    """Dice of plant, leaf and stem, also of what lies off the truth's outline."""
    parts = ("plant", "leaf", "stem", "leaf_clear", "stem_clear")
    heads = ("photos", "plant", "leaf", "stem", "leaf off the outline", "stem off the outline")
    lines = [f"| overlap (Dice) | {' | '.join(heads)} | plant area |"]
    lines += ["|---" * (len(heads) + 2) + "|"]
    for view in ("overhead", "side"):
        rows = [row for row in overlaps if row["view"] == view]
        if not rows:
            continue
        cells = [_mean_and_worst([row[part] for row in rows]) for part in parts]
        area = np.mean([row["plant_area_pct"] for row in rows])
        lines.append(f"| {view} | {len(rows)} | {' | '.join(cells)} | {area:+.1f} % |")
    return lines


def group_table(scenes: list[dict]) -> list[str]:
    """The figures that goals are set for, by group of crops: mean and worst."""
    lines = [f"| group | trays | {' | '.join([*_GOALS.values(), *OVERLAPS.values()])} |"]
    lines += ["|---" * (2 + len(_GOALS) + len(OVERLAPS)) + "|"]
    for group in GROUPS:
        some = [scene for scene in scenes if scene["group"] == group]
        if not any(scene["readings"] for scene in some):
            continue
        readings = by_metric(some)
        cells = []
        for metric in _GOALS:
            error = errors(metric, readings.get(metric, []))
            error = error[np.isfinite(error)]
            cells.append(
                f"{np.abs(error).mean():.1f} ({error[np.argmax(np.abs(error))]:+.1f})"
                if len(error)
                else ""
            )
        overlaps = [row for scene in some for row in scene["overlaps"]]
        for view, part in OVERLAPS:
            values = [row[part] for row in overlaps if row["view"] == view]
            cells.append(_mean_and_worst(values) if values else "")
        lines.append(f"| {group} | {len(some)} | {' | '.join(cells)} |")
    return lines


def _mean_and_worst(dice: list[float]) -> str:
    return f"{np.mean(dice):.3f} (worst {np.min(dice):.3f})"
