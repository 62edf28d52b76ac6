"""Every table that the commands write, held against the dictionary that they write beside it."""

import csv
import random
from datetime import date, timedelta

import pytest

from tests.cli.running import traymorph
from tests.store.described import check_tables

SETTINGS = """
[compare]
control = "15 g"
primary = "canopy_height_mm"
"""
BATCHES = 24


@pytest.mark.slow
def test_the_sample_trial_s_tables_are_described(first_run):
    names = check_tables(first_run[0] / "results")
    assert {"tray_metrics.csv", "photo_checks.csv", "plants.csv"} < names


def _season():
    """Radish sown thin and dense, 24 sowings of four trays; some are measured twice."""
    draw = random.Random(8)  # noqa: S311 - not for secrets
    for b in range(BATCHES):
        sown = date(2026, 1, 5) + timedelta(days=4 * b)
        level = 60 + draw.gauss(0, 2)
        for t in range(4):
            height = level + 6 * (t % 2) + draw.gauss(0, 1)
            row = {
                "tray_id": f"{b + 1}-{t}", "crop": "radish", "treatment": ("15 g", "30 g")[t % 2],
                "block": str(t // 2 + 1), "batch": f"B{b + 1}", "lamp": "old", "lot": f"L{b}{t}",
                "sown_on": sown.isoformat(), "repeat_of": "", "operator": "",
                "photographed_on": (sown + timedelta(days=8)).isoformat(),
                "canopy_height_mm": f"{height:.2f}", "canopy_height_mm_u": "1.2",
                "projected_leaf_area_cm2": f"{10 * height + draw.gauss(0, 20):.1f}",
            }  # fmt: skip
            yield row
            if b % 3 == 0:
                again = {
                    "tray_id": f"{row['tray_id']} again", "repeat_of": row["tray_id"],
                    "canopy_height_mm": f"{height + draw.gauss(0, 1):.2f}",
                }  # fmt: skip
                yield row | again


def _outcomes(trays):
    treatments = ("15 g", "30 g")
    for k, row in enumerate(trays):
        if k % 5:  # some are left to be foretold
            weight = f"{float(row['canopy_height_mm']) * 6 + k % 3:.1f}"
            yield {"tray_id": row["tray_id"], "what": "fresh_weight", "value": weight, "unit": "g"}
    for k, row in enumerate(trays[:8]):
        yield {"lot": row["lot"], "what": "vitamin_c", "value": str(50 + 3 * k % 7),
               "unit": "mg/100 g", "basis": "fresh"}  # fmt: skip
        yield {"lot": row["lot"], "what": "moisture", "value": f"{92 + k % 3}", "unit": "%"}
        yield {"lot": row["lot"], "what": "days_kept", "value": str(8 + k), "unit": "days",
               "storage_c": "4", "event": "spoiled" if k % 3 else "still_good"}  # fmt: skip
    for name in treatments:
        yield {"treatment": name, "what": "nitrate", "value": "50", "unit": "mg/kg",
               "basis": "fresh"}  # fmt: skip


def _write(path, rows):
    rows = list(rows)
    columns = list(dict.fromkeys(name for row in rows for name in row))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="")
        writer.writeheader()
        writer.writerows(rows)


def test_tables_of_compare_drift_and_repeatability_are_described(tmp_path):
    results = tmp_path / "results"
    results.mkdir()
    trays = list(_season())
    _write(results / "tray_metrics.csv", trays)
    _write(tmp_path / "outcomes.csv", _outcomes([row for row in trays if not row["repeat_of"]]))
    (tmp_path / "trial.toml").write_text(SETTINGS, encoding="utf-8")
    for command in ("compare", "drift", "repeatability"):
        outcome = traymorph(command, tmp_path)
        assert outcome.code == 0, outcome.stderr
        check_tables(results)
    assert check_tables(results) == {
        "tray_metrics.csv", "data_dictionary.csv", "comparison.csv", "drift.csv",
        "repeatability.csv", "repeatability_parts.csv", "outcomes_laboratory.csv",
        "outcomes_keeping.csv", "outcomes_with_metrics.csv", "outcomes_foretold.csv",
    }  # fmt: skip
