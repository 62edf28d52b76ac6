"""Names and units that ``outcomes.csv`` may hold."""

from traymorph.model.metrics import METRICS

TRAY_WEIGHTS = ("fresh_weight", "dry_weight", "seed_weight")
MOISTURE = "moisture"
DAYS_KEPT = "days_kept"
KEEPING_SCORE = "keeping_score"
TRIANGLE = "triangle_correct"
PAIRED = "paired_preferred"
KNOWN = (*TRAY_WEIGHTS, MOISTURE, DAYS_KEPT, KEEPING_SCORE, TRIANGLE, PAIRED)
DERIVED = (
    "yield_g_per_m2",
    "yield_g_per_g_seed",
    "packs",
    "g_per_tray_day",
    "margin_per_tray",
    *(f"{name}_per_tray" for name in TRAY_WEIGHTS),
)
"""Worked out from weights, so that no row may state them."""
TAKEN = frozenset({*METRICS, *DERIVED, "flags", "n_plants", "tray_id", "treatment", "lot"})

# Exact: international pound of 1959, 453.59237 g.
GRAMS = {"g": 1.0, "mg": 0.001, "kg": 1000.0, "oz": 28.349523125, "lb": 453.59237}
PARTS = {
    "g/100 g": 1e-2,
    "%": 1e-2,
    "g/kg": 1e-3,
    "mg/g": 1e-3,
    "mg/100 g": 1e-5,
    "mg/kg": 1e-6,
    "ug/g": 1e-6,
    "ppm": 1e-6,
    "ug/100 g": 1e-8,
    "ug/kg": 1e-9,
}
"""Grams in a gram, by unit of a content."""
TRAY_UNITS = ("%", "points", "days", "mm", "cm2", "1")
"""Further units of what is found of a tray."""


_ALSO = {
    "gram": "g",
    "grams": "g",
    "gr": "g",
    "lbs": "lb",
    "ounces": "oz",
    "day": "days",
    "d": "days",
    "point": "points",
    "percent": "%",
}


def plain_unit(text: str) -> str:
    """Give a unit as it is known here: ``µg/100g`` is ``ug/100 g``, grams are ``g``."""
    unit = "".join(text.split()).casefold().replace("\u00b5", "u").replace("\u03bc", "u")
    if unit in _ALSO:
        return _ALSO[unit]
    return unit.replace("²", "2").replace("per", "/").replace("/100g", "/100 g")
