"""``python -m tests.accuracy.colour RENDERED_SET --out DIR``: colour across lights and phones."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np

from tests.accuracy.colour_readings import (
    COLUMNS,
    LAB,
    UNFIT,
    WAYS,
    de00,
    errors,
    lab_of,
    read_tray,
)

WHITE_LIGHTS = ("overcast", "5000", "6500", "3000", "strips")
"""The evenly lit photos that the spread between lights is taken over."""
EXPOSURES, PHONES = ("5000_minus1", "5000_plus1"), ("5000_phone2", "5000_phone3")
UNEVEN = ("gradient", "shadow")
GROUPS = {
    "five lights": WHITE_LIGHTS,
    "exposure -1 and +1": EXPOSURES,
    "two other phones": PHONES,
    "gradient or shadow": UNEVEN,
    "all white": (*WHITE_LIGHTS, *EXPOSURES, *PHONES, *UNEVEN),
}
COMPARED = {
    "greenness_index": 4, "green_share": 4, "leaf_l": 2, "leaf_a": 2, "leaf_b": 2,
}  # fmt: skip
"""Columns whose spread between lights is shown, and the decimals they are shown with."""
EXPOSURE_PAIRS = {"-1 stop": ("5000", "5000_minus1"), "+1 stop": ("5000", "5000_plus1")}
PHONE_PAIRS = {
    "1 and 2": ("5000", "5000_phone2"),
    "1 and 3": ("5000", "5000_phone3"),
    "2 and 3": ("5000_phone2", "5000_phone3"),
}
_WORST = 8


def main() -> int:
    """Measure what has not been measured yet, then print the tables and keep them."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.colour", description=__doc__)
    parser.add_argument("rendered", type=Path, help="folder with one sub-folder per tray")
    parser.add_argument("--out", type=Path, required=True, help="where readings are kept")
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    rows = []
    for truth in sorted(arguments.rendered.glob("*/truth.json")):
        rows += read_tray(truth.parent, arguments.out)
        print(truth.parent.name, file=sys.stderr, flush=True)
    if not rows:
        parser.error(f"{arguments.rendered}: no finished trays here; render them first")
    text = report(rows)
    (arguments.out / "colour.md").write_text(text + "\n", "utf-8")
    print(text)
    return 0


def report(rows: list[dict]) -> str:
    """All tables in Markdown."""
    parts = [
        *(spread_table(rows, way) for way in WAYS),
        distance_table(rows),
        change_table("Exposure, CIEDE2000 from the photo in between", rows, EXPOSURE_PAIRS),
        change_table("Three phones, CIEDE2000 between them", rows, PHONE_PAIRS),
        refusal_lines(rows),
        doubt_table(rows),
        yellowed_table(rows),
        worst_lines(rows),
    ]
    return "\n\n".join(parts)


def spread_table(rows: list[dict], way: str) -> str:
    """Standard deviation of every tray between the white lights, the ideal camera's in brackets."""
    lines = [f"Standard deviation between white lights, {way} (ideal camera; difference of both)"]
    lines += ["", f"| tray | crop | lights | {' | '.join(COMPARED)} |", "|---" * 8 + "|"]
    spreads = []
    for tray, photos in _by_tray(rows).items():
        lit = [photos[light] for light in WHITE_LIGHTS if light in photos]
        spreads.append([light_spread(lit, way, column) for column in COMPARED])
        cells = [_spread_cell(s, d) for s, d in zip(spreads[-1], COMPARED.values(), strict=True)]
        crop = next(iter(photos.values()))["crop"]
        lines.append(f"| {tray} | {crop} | {_known(lit, way)} | {' | '.join(cells)} |")
    cells = []
    for k, decimals in enumerate(COMPARED.values()):
        known = [s[k] for s in spreads if np.isfinite(s[k][0])]
        worst = [max(s[i] for s in known) for i in range(3)] if known else [np.nan] * 3
        cells.append(_spread_cell(worst, decimals))
    lines.append(f"| largest | | | {' | '.join(cells)} |")
    return "\n".join(lines)


def light_spread(photos: list[dict], way: str, column: str) -> list[float]:
    """Standard deviation (n - 1) of a column over photos: read, ideal, and of the difference."""
    pairs = [
        (row["readings"][way][column][0], row["ideal"][column])
        for row in photos
        if not row["error"]
    ]
    known = np.array([pair for pair in pairs if np.isfinite(pair).all()]).reshape(-1, 2)
    if len(known) < 2:
        return [np.nan] * 3
    read, ideal = known.T
    return [float(np.std(v, ddof=1)) for v in (read, ideal, read - ideal)]


def _spread_cell(spread: list[float], decimals: int) -> str:
    if not np.isfinite(spread[0]):
        return ""
    read, ideal, apart = (f"{value:.{decimals}f}" for value in spread)
    return f"{read} ({ideal}; {apart})"


def _known(photos: list[dict], way: str) -> int:
    return sum(bool(np.isfinite(lab_of(row, way)).all()) for row in photos)


def distance_table(rows: list[dict]) -> str:
    """CIEDE2000 between the mean leaf colour and the ideal camera's."""
    lines = ["CIEDE2000 to the ideal camera: mean, 95th percentile, worst", ""]
    lines += [f"| photos | read | {' | '.join(WAYS)} |", "|---" * 5 + "|"]
    for name, photos in GROUPS.items():
        group = [row for row in rows if row["photo"] in photos]
        read = f"{_known(group, 'program')} of {len(group)}"
        cells = [_summary([distance(row, way) for row in group]) for way in WAYS]
        lines.append(f"| {name} | {read} | {' | '.join(cells)} |")
    return "\n".join(lines)


def distance(row: dict, way: str) -> float:
    """CIEDE2000 of one photo to the ideal camera; NaN where it was not read."""
    return de00(lab_of(row, way), lab_of(row, "ideal"))


def _summary(values: list[float]) -> str:
    known = np.array([v for v in values if np.isfinite(v)])
    if not len(known):
        return ""
    return f"{known.mean():.2f}, {np.percentile(known, 95):.2f}, {known.max():.2f}"


def change_table(title: str, rows: list[dict], pairs: dict[str, tuple[str, str]]) -> str:
    """CIEDE2000 between two developments of one picture, for every tray."""
    head = [f"{name}, {way}" for name in pairs for way in WAYS]
    lines = [title, "", f"| tray | {' | '.join(head)} |", "|---" * (1 + len(head)) + "|"]
    changes = []
    for tray, photos in _by_tray(rows).items():
        changes.append([_between(photos, pair, way) for pair in pairs.values() for way in WAYS])
        lines.append(f"| {tray} | {' | '.join(_number(v) for v in changes[-1])} |")
    largest = [_over(column, max) for column in zip(*changes, strict=True)]
    lines.append(f"| largest | {' | '.join(_number(v) for v in largest)} |")
    return "\n".join(lines)


def _between(photos: dict[str, dict], pair: tuple[str, str], way: str) -> float:
    if not set(pair) <= set(photos):
        return float("nan")
    first, second = (lab_of(photos[name], way) for name in pair)
    return de00(first, second)


def _over(values: tuple[float, ...], how: Callable[[list[float]], float]) -> float:
    known = [v for v in values if np.isfinite(v)]
    return how(known) if known else float("nan")


def _number(value: float) -> str:
    return f"{value:.2f}" if np.isfinite(value) else ""


def refusal_lines(rows: list[dict]) -> str:
    """Where colour was refused for the light, and photos that could not be measured at all."""
    failed = [row for row in rows if row["error"]]
    measured = [row for row in rows if not row["error"]]
    grow = [row for row in measured if row["light"] == "grow"]
    white = [row for row in measured if row["light"] != "grow"]
    lines = []
    for name, group in (("grow light", grow), ("white light", white)):
        refused = [row for row in group if UNFIT in row["flags"]]
        lines.append(f"Colour refused under {name}: {len(refused)} of {len(group)} photos")
        odd = [row for row in group if (UNFIT in row["flags"]) != (name == "grow light")]
        lines += [f"- wrongly {'kept' if group is grow else 'refused'}: {_name(r)}" for r in odd]
    lines.append(f"Photos that could not be measured: {len(failed)}")
    lines += [f"- {_name(row)}: {row['error']}" for row in failed]
    return "\n".join(lines)


def doubt_table(rows: list[dict]) -> str:
    """How often the truth lies within 1.96 standard uncertainties, under white light."""
    white = [row for row in rows if row["light"] != "grow"]
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in (*COLUMNS, "yellowed_pct")}
    for row in white:
        for name, error, u in errors(row):
            if np.isfinite([error, u]).all():
                found[name].append((error, u))
    lines = ["Doubt, all photos under white light", ""]
    lines += ["| column | photos | mean error | bias | worst | holds | rms of error/u |"]
    lines += ["|---" * 7 + "|"]
    pooled = [pair for name in COLUMNS for pair in found[name]]
    for name, pairs in (found | {"all colour columns": pooled}).items():
        lines.append(_doubt_line(name, np.array(pairs).reshape(-1, 2)))
    return "\n".join(lines)


def _doubt_line(name: str, pairs: np.ndarray) -> str:
    if not len(pairs):
        return f"| `{name}` | 0 | | | | | |"
    error, u = pairs.T
    z = error / u
    figures = ["", "", ""]
    if name in (*COLUMNS, "yellowed_pct"):
        decimals = 4 if np.abs(error).max() < 0.5 else 2
        worst = error[np.argmax(np.abs(error))]
        figures = [f"{v:.{decimals}f}" for v in (np.abs(error).mean(), error.mean(), worst)]
    held = f"{100 * np.mean(np.abs(z) <= 1.96):.0f} %"
    cells = [str(len(error)), *figures, held, f"{np.sqrt(np.mean(z**2)):.2f}"]
    return f"| `{name}` | {' | '.join(cells)} |"


def yellowed_table(rows: list[dict]) -> str:
    """Yellowed share of every tray under white light, in points."""
    lines = ["Yellowed share under white light, per cent of the visible leaf", ""]
    lines += ["| tray | crop | truth | mean read | mean error | worst | mean error, true leaf |"]
    lines += ["|---" * 7 + "|"]
    for tray, photos in _by_tray(rows).items():
        known = [
            row["yellowed"]
            for row in photos.values()
            if row["light"] != "grow" and not row["error"] and np.isfinite(row["yellowed"]["value"])
        ]
        if not known:
            continue
        read, alone, truth = (
            np.array([y[key] for y in known]) for key in ("value", "of_true_leaf", "truth")
        )
        error = read - truth
        worst = error[np.argmax(np.abs(error))]
        crop = next(iter(photos.values()))["crop"]
        lines.append(
            f"| {tray} | {crop} | {truth.mean():.1f} | {read.mean():.1f} "
            f"| {np.abs(error).mean():.2f} | {worst:+.2f} | {np.abs(alone - truth).mean():.2f} |"
        )
    return "\n".join(lines)


def worst_lines(rows: list[dict]) -> str:
    """Photos farthest from the ideal camera, with the error of L*, a* and b*."""
    known = [row for row in rows if np.isfinite(distance(row, "program"))]
    lines = [
        "Farthest from the ideal camera (CIEDE2000 of the program, true leaf, same pixels)",
        "",
    ]
    for row in sorted(known, key=lambda row: -distance(row, "program"))[:_WORST]:
        apart = np.subtract(lab_of(row, "program"), lab_of(row, "ideal"))
        of = ", ".join(f"{distance(row, way):.2f}" for way in WAYS)
        parts = ", ".join(
            f"{name[-1].upper() if name == 'leaf_l' else name[-1]}* {value:+.1f}"
            for name, value in zip(LAB, apart, strict=True)
        )
        lines.append(
            f"- {_name(row)}: {of}; {parts}; card's own error {row['colour_error_de00']:.1f}"
        )
    return "\n".join(lines)


def _name(row: dict) -> str:
    return f"{row['tray']} {row['photo']} ({row['crop']}, {row['light']})"


def _by_tray(rows: list[dict]) -> dict[str, dict[str, dict]]:
    trays: dict[str, dict[str, dict]] = {}
    for row in rows:
        trays.setdefault(row["tray"], {})[row["photo"]] = row
    return trays


if __name__ == "__main__":
    sys.exit(main())
