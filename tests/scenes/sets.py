"""The sets of scenes as data: every scene follows from the set's seed and its number.

Factors are spread over a set like a Latin hypercube: each is cut into as many strata as
there are scenes, and every stratum is used once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.scenes import board_sets, colour_set, crops, lights


@dataclass(frozen=True)
class SetPlan:
    """What a set is made of.

    Attributes
    ----------
    seed : of the whole set
    count : scenes
    megapixels, samples : of each photo
    crops : names that are dealt out in turn; "random" draws a new form each time
    """

    seed: int
    count: int
    megapixels: float
    samples: int
    crops: tuple[str, ...]


KNOWN = tuple(name for name in crops.NAMED if name not in {*crops.ONLY_UNSEEN, *crops.ONLY_LOCKED})
LOCKED_TRAYS = (
    "borage_like", "random", "radish_green", "chard_gold_like", "random", "coriander_like",
    "sunflower", "random", "orach_bronze_like", "pea", "random", "borage_like", "radish_purple",
    "random", "chard_gold_like", "amaranth_red", "random", "coriander_like", "basil_like", "random",
)  # fmt: skip
SETS: dict[str, SetPlan] = {
    "dev": SetPlan(1101, 24, 12.0, 24, (*KNOWN, "random", "random", "random")),
    "unseen": SetPlan(
        2202, 20, 12.0, 24,
        ("radish_green", "nasturtium_like", "random", "radish_purple", "buckwheat_like", "pea",
         "shiso_like", "sunflower", "random", "amaranth_red"),
    ),
    "sample": SetPlan(3303, 6, 9.0, 32, ("radish_green",)),
    "learn": SetPlan(4404, 900, 1.0, 16, ("random",)),
    "trays_dev": SetPlan(
        8101, 20, 5.0, 18,
        ("radish_green", "random", "sunflower", "amaranth_red", "random", "pea", "radish_purple",
         "random", "basil_like", "random", "beet_like", "random", "cress_like", "fennel_like",
         "random", "sunflower", "random", "radish_green", "random", "pea"),
    ),
    "trays_locked": SetPlan(8202, 20, 5.0, 18, LOCKED_TRAYS),
    "trays_final": SetPlan(8404, 20, 5.0, 18, LOCKED_TRAYS),
    "trays_closing": SetPlan(8606, 20, 5.0, 18, LOCKED_TRAYS),
    "five_ways": SetPlan(8303, 20, 5.0, 18, ("radish_green", "pea", "sunflower", "amaranth_red")),
    "colour_dev": SetPlan(5505, 5, 2.0, 64, ("random",)),
    "colour_unseen": SetPlan(6606, 8, 2.0, 64, ("random",)),
}  # fmt: skip

SETS.update({
    name: SetPlan(seed, len(board_sets.CROPS[name]), 12.0, 32, board_sets.CROPS[name])
    for name, seed in board_sets.SEEDS.items()
})  # fmt: skip

FACTORS = (
    "crop", "size", "medium", "bench", "backdrop", "light", "density", "fill", "wall", "tilt",
    "focal", "plane", "gap", "uneven", "lodged", "yellowed", "neighbour", "age", "exposure",
    "noise", "view", "scale", "strange", "blur", "distortion",
)  # fmt: skip


def spread(count: int, seed: int) -> list[dict[str, float]]:
    """Values 0..1 of every factor for every scene, each factor in strata."""
    rng = np.random.default_rng(seed)
    table = {name: (rng.permutation(count) + rng.random(count)) / count for name in FACTORS}
    return [{name: float(table[name][k]) for name in FACTORS} for k in range(count)]


def scenes(name: str) -> list[dict]:
    """Specifications of all scenes of a set."""
    plan = SETS[name]
    # These are made with this module's parts.
    from tests.scenes import five_ways, learn_set, tray_sets  # noqa: PLC0415

    alone = {"learn": learn_set.learn_scenes, "five_ways": five_ways.five_ways_scenes}
    if name in alone:
        return alone[name](plan)
    if name.startswith("trays_"):
        return tray_sets.tray_scenes(name, plan)
    if name in board_sets.CROPS:
        return board_sets.board_scenes(name)
    if name == "sample":
        return [_sample_scene(plan, k) for k in range(plan.count)]
    table = spread(plan.count, plan.seed)
    made = [_tray_scene(name, plan, k, row) for k, row in enumerate(table)]
    if name in colour_set.TRAYS:
        return [colour_set.photographed(spec, k) for k, spec in enumerate(made)]
    return made


def _pick(u: float, *choices: tuple[str, float]) -> str:
    """Choose by weight; `u` 0..1."""
    total = sum(weight for _, weight in choices)
    at = 0.0
    for choice, weight in choices:
        at += weight / total
        if u < at:
            return choice
    return choices[-1][0]


def tray_view(view: str, rng: np.random.Generator, u: dict[str, float], spec: dict,
              plan: SetPlan) -> dict:  # fmt: skip
    """Settings of one photo of a small tray."""
    if view == "side":
        return _side(rng, u, plan, spec)
    return _overhead(rng, u, plan, spec, full=False)


def _between(u: float, low: float, high: float) -> float:
    return low + (high - low) * u


def _tray_scene(name: str, plan: SetPlan, k: int, u: dict[str, float]) -> dict:
    """A whole tray, photographed from above and from the side."""
    rng = np.random.default_rng([plan.seed, k])
    crop = plan.crops[k % len(plan.crops)]
    age = _between(rng.random(), 0.2, 0.9) if u["age"] < 0.1 else None
    full = u["size"] < 0.55
    spec = common(f"{name}_{k:03d}", name, rng, u, crop, age)
    spec["tray"]["inside_length_mm"] = 500.0 if full else 250.0
    spec["views"] = {
        "overhead": _overhead(rng, u, plan, spec, full=full),
        "side": _side(rng, u, plan, spec),
    }
    return spec


def common(scene_id: str, name: str, rng: np.random.Generator, u: dict[str, float], crop: str,
            age: float | None) -> dict:  # fmt: skip
    """Everything but the views."""
    wall = float(_pick(u["wall"], ("36", 1), ("46", 1), ("57", 1)))
    seed = int(rng.integers(1, 2**31))
    sparse = {"pea": 0.55, "sunflower": 0.6, "nasturtium_like": 0.5}.get(crop, 1.0)
    return {
        "id": scene_id,
        "set": name,
        "seed": seed,
        "crop": crop,
        "age": age,
        "density": round(_between(u["density"], 0.9, 2.8) * sparse, 3),
        "patches": {
            "gaps": int(rng.choice([0, 0, 1, 2, 4])),
            "gap_mm": float(rng.uniform(12, 40)),
            "uneven": round(max(0.0, _between(u["uneven"], -0.2, 0.7)), 3),
            "lodged": int(u["lodged"] > 0.75) * int(rng.integers(1, 3)),
            "lodged_mm": float(rng.uniform(30, 60)),
            "edge_lean_deg": float(rng.uniform(5, 35)),
            "yellowed": round(max(0.0, _between(u["yellowed"], -0.12, 0.2)), 4),
        },
        "tray": {
            "inside_length_mm": 500.0,
            "inside_width_mm": 250.0,
            "rim_above_bench_mm": round(wall, 1),
            "rim_above_medium_mm": round(_between(u["fill"], 3, min(25.0, wall - 14)), 1),
            "lip_mm": float(rng.uniform(6, 12)),
            "wall_mm": 1.5,
        },
        "tray_tone": float(rng.uniform(0.5, 1.8)),
        "medium": _pick(u["medium"], ("coir", 0.45), ("mat", 0.25), ("paper", 0.15),
                        ("soil", 0.15)),
        "bench": _pick(u["bench"], ("wood", 3), ("white", 3), ("steel", 2), ("black", 2),
                       ("blue", 1), ("grey", 2), ("beige", 1), ("green_cloth", 1), ("checks", 1)),
        "bench_gloss": float(rng.uniform(0.0, 1.2)),
        "backdrop": _pick(u["backdrop"], ("white", 3), ("grey", 2), ("black", 2), ("beige", 1),
                          ("grass", 1.2), ("green_cloth", 1), ("wood", 1), ("checks", 0.7),
                          ("red", 0.5), ("blue", 0.5)),
        "backdrop_y_mm": float(rng.uniform(420, 900)),
        "light": _light(u["light"], rng),
        "neighbours": _neighbours(u["neighbour"], rng, crop),
    }  # fmt: skip


def _light(u: float, rng: np.random.Generator) -> dict:
    kind = _pick(u, ("overcast", 2.2), ("lamp_5000", 2.2), ("lamp_6500", 2), ("lamp_3000", 1.5),
                 ("strips", 1.6), ("sun", 1.2), ("grow", 0.9))  # fmt: skip
    return light_of(kind, rng)


def light_of(kind: str, rng: np.random.Generator) -> dict:
    """Light of a kind with its free settings drawn."""
    assert kind in lights.KINDS
    kelvin = {"overcast": rng.uniform(5800, 7500), "strips": rng.choice([4000.0, 5000.0, 6500.0]),
              "sun": 5200.0, "grow": 6500.0, "window": 6500.0}.get(kind)  # fmt: skip
    if kelvin is None:
        kelvin = float(kind.split("_")[1])
    return {
        "kind": kind,
        "kelvin": float(kelvin),
        "height_mm": float(rng.uniform(900, 1500)),
        "azimuth_deg": float(rng.uniform(0, 360)),
        "elevation_deg": float(rng.uniform(30, 65)),
        "size_mm": float(rng.uniform(700, 1200) if kind == "strips" else rng.uniform(250, 1000)),
        "fill": float(rng.uniform(0.08, 0.4)),
        "seed": int(rng.integers(1, 2**31)),
    }


def _neighbours(u: float, rng: np.random.Generator, crop: str) -> list[dict]:
    if u < 0.5:
        return []
    places = ["behind"] if u < 0.8 else ["behind", str(rng.choice(["left", "right"]))]
    return [
        {
            "where": where,
            "gap_mm": float(rng.choice([0.5, rng.uniform(1, 30)])),
            "depth_mm": 110.0,
            "shift_mm": float(rng.uniform(-60, 60)),
            "density": 1.3,
            "plants": {
                "crop": str(rng.choice([crop, *KNOWN])),
                "seed": int(rng.integers(1, 2**31)),
                "age": None,
            },
        }
        for where in places
    ]


def _card_side(rng: np.random.Generator, spec: dict, choices: list[str]) -> str:
    """A side of the tray where no neighbour stands."""
    taken = {{"behind": "+y", "left": "-x", "right": "+x"}[n["where"]] for n in spec["neighbours"]}
    return str(rng.choice([c for c in choices if c not in taken]))


def _overhead(rng: np.random.Generator, u: dict[str, float], plan: SetPlan, spec: dict, *,
              full: bool) -> dict:  # fmt: skip
    plane = "rim" if u["plane"] < 0.3 else "bench"
    side = _card_side(
        rng, spec, ["-y", "+y", "-y", "-x", "+x"] if full else ["-y", "-x", "+x", "+y"]
    )
    edge = (spec["tray"]["inside_length_mm"] if side.endswith("x") else 250.0) / 2
    # A tall edge hides what lies beside it from a lens half a metre up.
    top = spec["tray"]["rim_above_bench_mm"] + crops_height(spec)
    drop = top - (spec["tray"]["rim_above_bench_mm"] if plane == "rim" else 0.0)
    shadow = max(0.0, (edge + 18) * drop / (560.0 - drop) * 0.75)
    return {
        "megapixels": plan.megapixels,
        "samples": plan.samples,
        "focal_mm": focal_of(rng, u),
        "tilt_deg": round(12 * u["tilt"] ** 1.5, 2),
        "towards_deg": float(rng.uniform(0, 360)),
        "roll_deg": float(rng.normal(0, 4)) + float(rng.choice([0, 0, 0, 180])),
        "margin": float(rng.uniform(0.04, 0.12)),
        "nearest_mm": 420.0,
        **lens_of(rng, u),
        "card": {
            "plane": plane,
            "side": side,
            "gap_mm": round(_between(u["gap"], 6, 35) + shadow, 1),
            "along": float(rng.uniform(-0.9, 0.9)),
            "rotation_deg": float(rng.choice([0, 90, 180, 270]) + rng.normal(0, 8))
            if rng.random() < 0.7
            else float(rng.uniform(0, 360)),
        },
        "look": look_of(rng, u, spec["light"]["kind"]),
    }


def crops_height(spec: dict) -> float:
    """Rough height of the canopy above the rim, for placing things."""
    name = spec["crop"]
    return 75.0 if name == "random" else crops.NAMED[name].height


def _side(rng: np.random.Generator, u: dict[str, float], plan: SetPlan, spec: dict) -> dict:
    return {
        "megapixels": plan.megapixels,
        "samples": plan.samples,
        "focal_mm": focal_of(rng, u),
        "tilt_deg": round(_between((u["tilt"] + 0.37) % 1.0, 0.5, 12), 2),
        "towards_deg": 0.0,
        "across_deg": float(rng.normal(0, 3)),
        "roll_deg": float(rng.normal(0, 1.2)),
        "margin": float(rng.uniform(0.04, 0.12)),
        "nearest_mm": 450.0,
        "focus_behind_mm": float(rng.uniform(0, 30)),
        **lens_of(rng, u),
        "card": {
            "plane": "rim" if (u["plane"] * 7) % 1 < 0.2 else "bench",
            "side": _card_side(rng, spec, ["-x", "+x"]),
            "gap_mm": round(_between(u["gap"], 12, 40), 1),
            "along": 0.0,
            "rotation_deg": 0.0,
        },
        "look": look_of(rng, u, spec["light"]["kind"]),
    }


def focal_of(rng: np.random.Generator, u: dict[str, float]) -> float:
    """True focal length: the file gives whole millimetres, the lens differs a little."""
    return float(round(_between(u["focal"], 23.6, 28.4)) * (1 + rng.normal(0, 0.006)))


def lens_of(rng: np.random.Generator, u: dict[str, float]) -> dict:
    return {
        "k1": round(_between(u["distortion"], -0.03, 0.03), 5),
        "k2": float(rng.uniform(-0.006, 0.006)),
        "aperture_mm": round(_between(u["blur"], 0.4, 1.9), 3),
    }


def look_of(rng: np.random.Generator, u: dict[str, float], light: str) -> dict:
    """Settings of the phone's processing."""
    night = light in ("grow", "lamp_3000")
    return {
        "adapt": float(rng.uniform(0.5, 0.85) if night else rng.uniform(0.8, 1.0)),
        "wb_error": [float(np.exp(rng.normal(0, 0.05))), 1.0, float(np.exp(rng.normal(0, 0.06)))],
        "exposure": round(float(0.80 * 2 ** _between(u["exposure"], -0.6, 0.25)), 4),
        "saturation": float(rng.uniform(1.0, 1.35)),
        "contrast": float(rng.uniform(0.05, 0.45)),
        "shoulder": float(rng.uniform(0.7, 0.92)),
        "vignette": float(rng.uniform(0.0, 0.25)),
        "lens_blur_px": float(rng.uniform(0.5, 1.3)),
        "noise": round(_between(u["noise"] ** 1.5, 0.006, 0.045), 4),
        "smear_px": float(rng.uniform(0.6, 1.4)),
        "sharpen": float(rng.uniform(0.2, 1.0)),
        "sharpen_px": float(rng.uniform(1.0, 2.2)),
        "jpeg_quality": int(rng.integers(75, 96)),
        "subsampling": int(rng.choice([2, 2, 2, 0])),
        "orientation": int(rng.choice([1, 1, 1, 1, 6, 8, 3])),
        "taken": f"2026-03-{int(rng.integers(1, 29)):02d}T{int(rng.integers(8, 19)):02d}:"
        f"{int(rng.integers(0, 60)):02d}:{int(rng.integers(0, 60)):02d}",
    }


def _sample_scene(plan: SetPlan, k: int) -> dict:
    """Radish sown at two densities in three blocks, under white light on one bench."""
    block, dense = divmod(k, 2)
    shared = np.random.default_rng([plan.seed, 900 + block])
    rng = np.random.default_rng([plan.seed, k])
    u = {name: float(rng.random()) for name in FACTORS}
    u.update(exposure=0.75 + 0.2 * u["exposure"], noise=0.2, tilt=0.3 * u["tilt"], plane=0.9,
             blur=0.3, neighbour=0.0, age=1.0, lodged=0.0, yellowed=0.62)  # fmt: skip
    spec = common(f"T{k + 1:02d}", "sample", rng, u, "radish_green", None)
    grams = 30 if dense else 15
    # About 10.5 mg a seed and nine of ten up, on 1250 cm2 (common practice, no source).
    spec["density"] = 2.06 if dense else 1.03
    spec["patches"].update(gaps=int(k == 2), gap_mm=22.0, uneven=0.15, edge_lean_deg=18.0,
                           yellowed=0.006)  # fmt: skip
    spec["tray"].update(rim_above_bench_mm=52.0, lip_mm=9.0,
                        rim_above_medium_mm=round(float(rng.uniform(9, 12)), 1))  # fmt: skip
    spec.update(medium="coir", bench="white", bench_gloss=0.5, backdrop="grey", tray_tone=1.0,
                backdrop_y_mm=600.0, light=light_of("lamp_5000", shared))  # fmt: skip
    spec["light"].update(size_mm=1000.0, fill=0.35, height_mm=1300.0)
    spec["trial"] = {
        "crop": "radish", "treatment": f"{grams} g", "block": block + 1, "batch": "2026-03",
        "sown_on": "2026-03-02", "photographed_on": f"2026-03-{10 + block:02d}", "shelf": block + 1,
    }  # fmt: skip
    spec["views"] = {
        "overhead": _overhead(rng, u, plan, spec, full=True),
        "side": _side(rng, u, plan, spec),
    }
    day = spec["trial"]["photographed_on"]
    for seconds, settings in zip((5, 20), spec["views"].values(), strict=True):
        settings["look"].update(
            adapt=0.95, jpeg_quality=84, subsampling=2, sharpen=0.5, contrast=0.2, saturation=1.12,
            taken=f"{day}T10:{10 + 6 * k:02d}:{seconds:02d}",
        )  # fmt: skip
    return spec
