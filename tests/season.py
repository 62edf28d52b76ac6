"""The invented season in ``sample_images/season``: ``python -m tests.season sample_images/season``.

Forty batches of radish, sown every fifth day, two to four trays each. No tray was grown and none
photographed: levels and spreads are made up to be of the size that a careful grower sees. From
batch R29 on, the first of a new seed lot, the stand gets thinner; nothing else moves.
The seed was picked among others so that the steady part gives no alarm: one steady season in four
gives some (docs/charts.md).
"""

import csv
import math
import random
import sys
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

SEED = 4
BATCHES, DAYS_APART, AGE_DAYS = 40, 5, 8
FIRST_SOWN = date(2026, 1, 5)
FIRST_OF_NEW_LOT = 29
UNDER_A_LAMP = 13
"""Photographed under the grow lamp, so that its colours are empty."""
LISTED = ("crop", "treatment", "block", "batch", "sown_on", "seed_lot", "shelf")


@dataclass(frozen=True)
class Level:
    """How one metric behaves while nothing moves."""

    mean: float
    between: float
    within: float
    swing: float
    """Half of what it differs between winter and summer."""
    carried: float
    """Share of a batch's distance from the mean that the next one keeps."""
    doubt: float
    digits: int


LEVELS = {
    "canopy_cover_pct": Level(90.0, 1.3, 1.1, 0.2, 0.1, 0.9, 1),
    "canopy_height_mm": Level(61.0, 1.9, 1.2, 0.5, 0.1, 1.4, 1),
    "leaf_hue_deg": Level(112.0, 0.9, 0.5, 0.2, 0.1, 0.8, 1),
}


def slide(batch):
    """Points of cover lost by a batch, counted from 1."""
    return 0.0 if batch < FIRST_OF_NEW_LOT else 2.4 + 0.2 * (batch - FIRST_OF_NEW_LOT)


def trays(seed=SEED):
    """Rows of ``results/tray_metrics.csv``."""
    draw = random.Random(seed)  # noqa: S311 - not for secrets
    away = dict.fromkeys(LEVELS, 0.0)
    for batch in range(1, BATCHES + 1):
        sown = FIRST_SOWN + timedelta(DAYS_APART * (batch - 1))
        summer = -math.cos(2.0 * math.pi * sown.timetuple().tm_yday / 365.0)
        centre = {}
        for name, level in LEVELS.items():
            fresh = level.between * math.sqrt(1.0 - level.carried**2)
            away[name] = level.carried * away[name] + draw.gauss(0.0, fresh)
            centre[name] = level.mean + level.swing * summer + away[name]
        centre["canopy_cover_pct"] -= slide(batch)
        for tray in range(1, draw.choice((2, 3, 3, 4)) + 1):
            row = {
                "tray_id": f"R{batch:02d}-{tray}",
                "photographed_on": (sown + timedelta(AGE_DAYS)).isoformat(),
                "crop": "radish", "treatment": "30 g", "block": str(tray), "batch": f"R{batch:02d}",
                "sown_on": sown.isoformat(),
                "seed_lot": "S11" if batch < FIRST_OF_NEW_LOT else "S12", "shelf": str(tray),
            }  # fmt: skip
            for name, level in LEVELS.items():
                value = centre[name] + draw.gauss(0.0, level.within)
                row[name] = f"{value:.{level.digits}f}"
                row[f"{name}_u"] = f"{level.doubt * draw.uniform(0.9, 1.1):.2f}"
            row["flags"] = "card_nominal edge_plants"
            if batch == UNDER_A_LAMP:
                row.update(leaf_hue_deg="", leaf_hue_deg_u="")
                row["flags"] = "edge_plants light_unfit_for_colour"
            yield row


def write(folder, seed=SEED):
    """Write both tables of the season."""
    rows = list(trays(seed))
    _write(folder / "results" / "tray_metrics.csv", list(rows[0]), rows)
    _write(folder / "trays.csv", ["tray_id", *LISTED], rows)


def _write(path, columns, rows):
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    write(Path(sys.argv[1]))
