"""Trial folders whose pages hold everything that a page can hold, made without a photo."""

import io
import os
import random

import numpy as np
from PIL import Image

from tests.report.page_trials import write_csv, write_trial
from traymorph.model.plates import Plate, PlateGap, Plates

TREATMENTS = ("2 days dark", "4 days dark", "6 days dark")
NAMES = (
    "<script>alert(1)</script>",
    "=1+1",
    "../../x",
    "long " * 60,
    "شتلات",
    "שני ימים",
    "🌱🌻",
)
SETTINGS = """
[tray]
inside_length_mm = 500
inside_width_mm = 250
[compare]
control = "2 days dark"
primary = "canopy_height_mm"
"""
_METRICS = {
    "canopy_height_mm": (62.0, 5.0, 1.1), "canopy_cover_pct": (84.0, 1.5, 0.8),
    "projected_leaf_area_cm2": (980.0, 12.0, 14.0), "bare_stem_mm": (21.0, 3.0, 1.0),
    "evenness_cv_pct": (9.0, 0.4, 0.9), "leaf_hue_deg": (127.0, -1.0, 0.7),
    "largest_gap_mm2": (310.0, 30.0, 20.0), "yellowed_pct": (0.6, 0.3, 0.1),
}  # fmt: skip
"""Of the first treatment, added by each further one, doubt. Invented."""


def pea_trays(blocks=4):
    """Pea kept in the dark for two, four or six days: one tray of each in every block."""
    draw = random.Random(4)  # noqa: S311 - not for secrets
    rows = []
    for block in range(1, blocks + 1):
        for place, treatment in enumerate(TREATMENTS):
            row = {
                "tray_id": f"P{len(rows) + 1:03d}", "crop": "pea", "treatment": treatment,
                "block": str(block), "shelf": str((block + 1) // 2), "batch": "2026-05",
                "position": str(3 * ((block + 1) % 2) + place + 1),
                "photographed_on": "2026-05-12", "flags": "edge_plants",
            }  # fmt: skip
            for name, (start, more, doubt) in _METRICS.items():
                value = start + more * place + draw.gauss(0, doubt)
                row |= {name: f"{max(value, 0.01):.3f}", f"{name}_u": f"{doubt}"}
            rows.append(row)
    rows[0]["flags"] += " tray_uncertain"
    return rows


def weights(rows):
    """Weights, keeping and a laboratory's results of the trays, invented."""
    weighed = [
        {"tray_id": row["tray_id"], "what": "fresh_weight", "value": str(300 + 17 * k % 60),
         "unit": "g"}
        for k, row in enumerate(rows)
    ]  # fmt: skip
    kept = [
        {"tray_id": row["tray_id"], "what": "days_kept", "value": str(8 + k % 4), "unit": "days",
         "storage_c": "4", "event": "spoiled"}
        for k, row in enumerate(rows)
    ]  # fmt: skip
    return [*weighed, *kept]


def write_full(folder):
    """A trial with findings, plates to come, a map, outcomes, photos, flags and gaps."""
    rows = pea_trays()
    names = [row["tray_id"] for row in rows]
    write_trial(folder, rows, settings=SETTINGS, pictures=names[:-1], outcomes=weights(rows))
    return folder


def write_season(folder):
    """Batch after batch, the last one taller."""
    rows = [
        {"tray_id": f"B{batch:02d}-{k}", "crop": "pea", "treatment": "", "batch": f"b{batch:02d}",
         "photographed_on": f"2026-03-{batch + 1:02d}",
         "canopy_height_mm": str(70 + (batch * 7 + k * 5) % 4 + 12 * (batch == 23))}
        for batch in range(24) for k in range(2)
    ]  # fmt: skip
    write_trial(folder, rows)
    write_csv(folder / "events.csv", [{"on_date": "2026-03-20", "what": "lamp renewed"}])
    return folder


def write_strange(folder):
    """Trays, treatments and crop with names that are markup, formulas, paths or long."""
    rows = []
    for k, row in enumerate(pea_trays(3)):
        name = NAMES[k % len(NAMES)] if k < len(NAMES) else f"{NAMES[k % len(NAMES)]} {k}"
        treatment = NAMES[k % 3 * 2]
        rows.append(row | {"tray_id": name, "treatment": treatment, "crop": NAMES[0],
                           "batch": NAMES[1], "shelf": NAMES[2]})  # fmt: skip
    settings = '[compare]\nprimary = "canopy_height_mm"\n'
    weighed = [
        {"tray_id": row["tray_id"], "what": "fresh_weight", "value": str(300 + k), "unit": "g"}
        for k, row in enumerate(rows)
    ]
    return write_trial(folder, rows, settings=settings, outcomes=weighed)


def write_many(folder, trays, *, photo_px=(1200, 1600)):
    """Many trays, two overlays each, as large as measuring leaves them."""
    rows = pea_trays(trays // len(TREATMENTS))
    write_trial(folder, rows, settings=SETTINGS)
    overlays = folder / "results" / "overlays"
    overlays.mkdir()
    checks = []
    first = overlays.parent / "overlay.jpg"
    first.write_bytes(leafy_jpeg(photo_px, quality=88))
    for row in rows:
        for view in ("overhead", "side"):
            photo = f"{row['tray_id']}_{view}.jpg"
            checks.append({"photo": photo, "tray_id": row["tray_id"], "view": view,
                           "colour_error_de00": "0.55", "flags": "", "error": ""})  # fmt: skip
            os.link(first, overlays / photo)
    write_csv(folder / "results" / "photo_checks.csv", checks)
    return folder


def leafy_jpeg(size, quality=80):
    """A picture with as much detail as a canopy has, coarse and fine."""
    draw = np.random.default_rng(7)
    picture = np.zeros((*size, 3))
    for step in (4, 16, 64):
        cells = draw.uniform(0, 85, (-(-size[0] // step), -(-size[1] // step), 3))
        picture += np.kron(cells, np.ones((step, step, 1)))[: size[0], : size[1]]
    buffer = io.BytesIO()
    Image.fromarray(picture.astype(np.uint8)).save(buffer, "JPEG", quality=quality)
    return buffer.getvalue()


def made_plates(_folder, table, _question):
    """Plates of every treatment, in place of those cut out of photos."""
    shown = []
    for view, size in (("overhead", (330, 640)), ("side", (170, 640)), ("board", (400, 480))):
        for treatment in dict.fromkeys(table.text("treatment")):
            tray = table.text("tray_id")[table.text("treatment").index(treatment)]
            shown.append(Plate(treatment, tray, view, f"{tray}_{view}.jpg", leafy_jpeg(size),
                               size[1], size[0], 1.2, view != "side"))  # fmt: skip
    gap = PlateGap(shown.pop().treatment, "board", "No photo of cut plants was measured.")
    return Plates("The most typical tray is shown.", tuple(shown), (gap,))
