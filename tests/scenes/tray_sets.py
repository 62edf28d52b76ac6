"""Trays for developing and, never looked at, for final figures: factors crossed by design."""

from __future__ import annotations

import numpy as np

from tests.scenes import crops, sets

SIZES_MM = ((500.0, 250.0), (250.0, 250.0), (340.0, 240.0), (250.0, 125.0), (430.0, 300.0))
LIGHTS = ("lamp_5000", "overcast", "window", "lamp_6500", "sun", "strips", "lamp_3000", "overcast",
          "lamp_5000", "grow")  # fmt: skip
MEDIA = ("coir", "mat", "paper", "soil", "pale_soil", "coir", "wet_soil", "mat", "coir", "straw")
BENCHES = ("wood", "white", "steel", "black", "grey", "beige", "blue", "flower_cloth", "checks",
           "green_cloth")  # fmt: skip
BACKDROPS = ("white", "grass", "grey", "black", "wood", "beige", "green_cloth", "stripe_cloth",
             "red", "bark")  # fmt: skip
SPARSE = {"pea": 0.55, "sunflower": 0.6, "borage_like": 0.5, "chard_gold_like": 0.75}
CARD_ROOM_MM = 120.0
HELD_BACK = ("trays_locked", "trays_final", "trays_closing")
"""Sets with other media, benches and backdrops than the trays to tune on, locked until read."""
FACTORS = (
    "size", "wall", "fill", "height", "density", "spread", "true_leaf", "gloss", "uneven", "gaps",
    "lodged", "yellowed", "edge", "age", "camera", "tilt", "focal", "distortion", "blur",
    "exposure", "noise", "jpeg", "place", "gap", "neighbour", "intruder",
)  # fmt: skip


def tray_scenes(name: str, plan: sets.SetPlan) -> list[dict]:
    """Specifications of all trays of a set."""
    count = plan.count
    rng = np.random.default_rng([plan.seed, 77])
    table = {n: (rng.permutation(count) + rng.random(count)) / count for n in FACTORS}
    return [
        tray_scene(name, plan, k, {n: float(table[n][k]) for n in FACTORS}) for k in range(count)
    ]


def tray_scene(name: str, plan: sets.SetPlan, k: int, u: dict[str, float]) -> dict:
    """Specification of one tray with its photos, from a value 0..1 of every factor."""
    rng = np.random.default_rng([plan.seed, k])
    crop, half = plan.crops[k], int(name in HELD_BACK)
    light = sets.light_of(LIGHTS[(k + 3 * (k // 10)) % 10], rng)
    if light["kind"] in ("sun", "window"):
        # From the camera's side or across: a backdrop would keep it away.
        light["azimuth_deg"] = float(rng.uniform(170, 370))
    if light["kind"] == "window":
        light["elevation_deg"] = float(rng.uniform(22, 45))
    spec = {
        "id": f"{name}_{k:03d}", "set": name, "seed": int(rng.integers(1, 2**31)),
        "crop": crop,
        "age": round(10 * u["age"], 3) if u["age"] < 0.1 else None,
        "growth": _growth(u, crop),
        "density": round(_between(u["density"], 0.7, 3.0) * SPARSE.get(crop, 1.0), 3),
        "patches": {
            "gaps": int(5 * u["gaps"] ** 2), "gap_mm": float(rng.uniform(12, 40)),
            "uneven": round(max(0.0, _between(u["uneven"], -0.2, 0.7)), 3),
            "lodged": int(u["lodged"] > 0.65) + int(u["lodged"] > 0.9),
            "lodged_mm": float(rng.uniform(30, 60)),
            "edge_lean_deg": round(_between(u["edge"], 5, 35), 1),
            "yellowed": round(max(0.0, _between(u["yellowed"], -0.12, 0.2)), 4),
        },
        "tray": _tray(u, rng),
        "tray_tone": float(rng.uniform(0.5, 3.0)),
        "medium": MEDIA[(k + k // 10 + 4 * half) % 10],
        "bench": BENCHES[(3 * k + k // 10 + 2 * half) % 10],
        "bench_gloss": float(rng.uniform(0.0, 1.4)),
        "backdrop": BACKDROPS[(7 * k + k // 10 + 5 * half) % 10],
        "backdrop_y_mm": float(rng.uniform(420, 900)),
        "light": light,
        "neighbours": _neighbours(u["neighbour"], rng, crop),
    }  # fmt: skip
    overhead, side = photos(plan, u, rng, spec)
    spec["views"] = {"overhead": overhead, "side": side}
    return spec


def photos(
    plan: sets.SetPlan, u: dict[str, float], rng: np.random.Generator, spec: dict
) -> tuple[dict, dict]:
    """Settings of the overhead and of the side photo of a tray."""
    intruder = _intruder(u["intruder"], rng, spec)
    size = {"megapixels": plan.megapixels, "samples": plan.samples}
    overhead = {**size, **_overhead(u, rng, spec, intruder)}
    return overhead, {**size, **_side(u, rng, spec, intruder)}


def _between(u: float, low: float, high: float) -> float:
    return low + (high - low) * u


def _growth(u: dict[str, float], crop: str) -> dict:
    """Habit that gives a canopy of about 30 to 120 mm, as far as the crop's form allows."""
    height = (_between(u["height"], 30, 120) - 8) / 1.12
    if crop != "random":
        usual = crops.NAMED[crop].height
        height = float(np.clip(height, 0.55 * usual, 1.6 * usual))
    growth = {"height_mm": round(height, 1), "spread": round(0.05 + 0.25 * u["spread"] ** 1.5, 3)}
    if u["true_leaf"] < 0.45:
        share = u["true_leaf"] / 0.45
        growth["true_leaf"] = [round(0.2 + 0.8 * share, 2), round(0.4 + 0.6 * u["gloss"], 2)]
    growth["gloss"] = round(_between(u["gloss"], 0.5, 2.4), 2)
    return growth


def _tray(u: dict[str, float], rng: np.random.Generator) -> dict:
    length, width = SIZES_MM[int(5 * u["size"])]
    wall = round(_between(u["wall"], 32, 64), 1)
    return {
        "inside_length_mm": length, "inside_width_mm": width, "rim_above_bench_mm": wall,
        "rim_above_medium_mm": round(_between(u["fill"], 3, min(30.0, wall - 14)), 1),
        "lip_mm": float(rng.uniform(5, 12)), "wall_mm": 1.5,
    }  # fmt: skip


def _neighbours(u: float, rng: np.random.Generator, crop: str) -> list[dict]:
    """Second trays: close behind, farther behind, and beside in some."""
    if u < 0.4:
        return []
    places = ["behind"] if u < 0.8 else ["behind", str(rng.choice(["left", "right"]))]
    gaps = (0.5, float(rng.uniform(1, 30)), float(rng.uniform(40, 140)))
    return [
        {
            "where": where, "gap_mm": gaps[int(rng.integers(3))],
            "depth_mm": float(rng.uniform(70, 160)), "shift_mm": float(rng.uniform(-90, 90)),
            "density": 1.3,
            "plants": {"crop": str(rng.choice([crop, "random", *sets.KNOWN])), "growth": None,
                       "seed": int(rng.integers(1, 2**31)), "age": None},
        }
        for where in places
    ]  # fmt: skip


def _free_sides(spec: dict, *candidates: str) -> list[str]:
    taken = {{"behind": "+y", "left": "-x", "right": "+x"}[n["where"]] for n in spec["neighbours"]}
    return [c for c in candidates if c not in taken]


def _intruder(u: float, rng: np.random.Generator, spec: dict) -> dict | None:
    """A hand or a hose at one end of the tray, where the other end is free for the card."""
    free = _free_sides(spec, "-x", "+x")
    if u > 0.4 or len(free) < 2:
        return None
    kind = "hand" if u < 0.2 else "hose"
    return {
        "kind": kind, "side": str(rng.choice(free)), "along": float(rng.uniform(-0.9, 0.9)),
        "turn_deg": float(rng.uniform(-35, 35)), "over_mm": float(rng.uniform(2, 28)),
        "look": int(rng.integers(3)) if kind == "hand" else str(rng.choice(["green", "black",
                                                                            "yellow"])),
    }  # fmt: skip


def _focal(u: dict[str, float], rng: np.random.Generator, spec: dict, far: float) -> float:
    """Focal length of the wide lens, or twice that where the tray would be small in the picture."""
    tray = spec["tray"]
    across = max(tray["inside_length_mm"], 4 / 3 * tray["inside_width_mm"]) + CARD_ROOM_MM
    # A 26 mm lens sees about 1.35 mm across per mm of distance.
    return sets.focal_of(rng, u) * (2.0 if far > 1.9 * across / 1.35 else 1.0)


def _look(u: dict[str, float], rng: np.random.Generator, spec: dict, turn: float) -> dict:
    look = sets.look_of(rng, u, spec["light"]["kind"])
    quality = (u["jpeg"] + turn) % 1.0
    look["jpeg_quality"] = round(_between(quality, 60, 96))
    look["exposure"] = round(float(0.80 * 2 ** _between(u["exposure"], -0.8, 0.35)), 4)
    return look


def _overhead(u: dict[str, float], rng: np.random.Generator, spec: dict,
              intruder: dict | None) -> dict:  # fmt: skip
    """Card on the rim's or the bench's plane, in front of the tray or beside it."""
    tray = spec["tray"]
    plane = "rim" if u["place"] < 0.4 else "bench"
    front = (u["place"] * 5) % 1 < 0.5
    sides = ["-y"] if front else _free_sides(spec, "-x", "+x", "+y")
    side = str(rng.choice([s for s in sides if not intruder or s != intruder["side"]] or ["-y"]))
    edge = tray["inside_length_mm" if side.endswith("x") else "inside_width_mm"] / 2
    # A tall edge hides what lies beside it from a lens not far up.
    # From the middle of what is shown; the lens is then about 400 to 800 mm above the bench.
    far = _between(u["camera"], 330, 720)
    top = spec["growth"]["height_mm"] * 1.15 - tray["rim_above_medium_mm"]
    drop = top + (0.0 if plane == "rim" else tray["rim_above_bench_mm"])
    shadow = max(0.0, (edge + 18) * drop / (max(far, 1.1 * edge + 250) + 60 - drop) * 0.75)
    return {
        "focal_mm": _focal(u, rng, spec, far), "tilt_deg": round(12 * u["tilt"] ** 1.5, 2),
        "towards_deg": float(rng.uniform(0, 360)),
        "roll_deg": float(rng.normal(0, 4)) + float(rng.choice([0, 0, 0, 180])),
        "margin": float(rng.uniform(0.04, 0.12)), "nearest_mm": round(far, 1),
        **sets.lens_of(rng, u), "intruder": intruder,
        "card": {
            "plane": plane, "side": side, "gap_mm": round(_between(u["gap"], 6, 35) + shadow, 1),
            "along": float(rng.uniform(-0.9, 0.9)),
            "rotation_deg": float(rng.choice([0, 90, 180, 270]) + rng.normal(0, 8))
            if rng.random() < 0.7 else float(rng.uniform(0, 360)),
        },
        "look": _look(u, rng, spec, 0.0),
    }  # fmt: skip


def _side(u: dict[str, float], rng: np.random.Generator, spec: dict,
          intruder: dict | None) -> dict:  # fmt: skip
    sides = [s for s in _free_sides(spec, "-x", "+x") if not intruder or s != intruder["side"]]
    far = _between((u["camera"] + 0.5) % 1.0, 400, 800)
    return {
        "focal_mm": _focal(u, rng, spec, far),
        "tilt_deg": round(_between((u["tilt"] + 0.37) % 1.0, 0.5, 12), 2), "towards_deg": 0.0,
        "across_deg": float(rng.normal(0, 3)), "roll_deg": float(rng.normal(0, 1.2)),
        "margin": float(rng.uniform(0.04, 0.12)),
        "nearest_mm": round(far, 1),
        "focus_behind_mm": float(rng.uniform(0, 30)),
        **sets.lens_of(rng, u), "intruder": intruder,
        "card": {
            "plane": "rim" if (u["place"] * 7) % 1 < 0.25 else "bench",
            "side": str(rng.choice(sides)), "gap_mm": round(_between(u["gap"], 12, 40), 1),
            "along": 0.0, "rotation_deg": 0.0,
        },
        "look": _look(u, rng, spec, 0.5),
    }  # fmt: skip
