"""The sets of boards as data: crops, boards and lights are crossed by design, not by luck."""

from __future__ import annotations

import numpy as np

from tests.scenes import crops, lights

CROPS = {
    "board_dev": (
        "radish_green", "amaranth_red", "pea", "sunflower", "radish_purple", "wheat_like",
        "beet_like", "basil_like", "cress_like", "fennel_like", "random", "radish_green", "random",
        "sunflower", "pea", "random",
    ),
    "board_unseen": (
        "nasturtium_like", "radish_green", "buckwheat_like", "random", "shiso_like", "sunflower",
        "onion_like", "pea", "random", "amaranth_red", "buckwheat_like", "radish_purple",
        "nasturtium_like", "random", "shiso_like", "cress_like", "random", "beet_like",
        "basil_like", "radish_green",
    ),
    "board_locked": (
        "borage_like", "random", "chard_gold_like", "radish_green", "random", "coriander_like",
        "pea", "orach_bronze_like", "random", "sunflower", "radish_purple", "random",
        "chard_gold_like", "amaranth_red", "random", "borage_like", "cress_like", "random",
        "basil_like", "coriander_like", "random", "beet_like", "wheat_like", "orach_bronze_like",
    ),
    "board_final": (
        "orach_bronze_like", "radish_purple", "random", "borage_like", "sunflower", "random",
        "chard_gold_like", "amaranth_red", "coriander_like", "random", "radish_green",
        "orach_bronze_like", "random", "basil_like", "pea", "random", "coriander_like",
        "beet_like", "random", "cress_like", "borage_like", "fennel_like", "random",
        "chard_gold_like",
    ),
    "board_bad": (
        "radish_green", "radish_green", "sunflower", "amaranth_red", "radish_green", "pea",
        "cress_like", "radish_green",
    ),
    "board_sample": ("radish_green",) * 4,
}  # fmt: skip
SEEDS = {"board_dev": 7101, "board_unseen": 7202, "board_locked": 7505, "board_final": 7606,
         "board_bad": 7303, "board_sample": 7404}  # fmt: skip
BAD = ("empty", "heap", "hand", "cut_off", "checks", "flowers", "card_down", "low_contrast")
COLOURS = ("white", "blue", "black", "grey")
KINDS = ("lamp_5000", "overcast", "window", "sun", "lamp_6500", "strips", "lamp_3000")
# Colours of stems laid over a crop's own; some are kept for judging only.
_LOCKED_TINTS = (None, "violet", None, "white", "gold", None, "pale", "orange", None, "pink", None)
TINTS = {
    "board_dev": (None, None, "white", "pale", None, "pink", None),
    "board_unseen": (None, "crimson", None, "tan", None, "white", "pink", None, "purple"),
    "learn": (None, "white", None, "pale", "pink", None, "crimson", None, "pale"),
    "board_locked": _LOCKED_TINTS,
    "board_final": _LOCKED_TINTS,
}
# Pairs that touch and pairs that cross, dealt out in turn.
PAIRS = ((0, 0), (0, 0), (1, 0), (0, 0), (2, 1), (0, 0), (0, 2), (3, 0))
LOCKED = ("board_locked", "board_final")
PAIRS_LOCKED = ((0, 0), (1, 1), (0, 0), (2, 0), (0, 1), (0, 0), (1, 0))
COUNTS = {"pea": (7, 12), "sunflower": (8, 14), "wheat_like": (8, 14), "onion_like": (9, 15),
          "borage_like": (8, 14), "amaranth_red": (16, 25), "basil_like": (16, 25),
          "cress_like": (14, 25), "shiso_like": (14, 25)}  # fmt: skip
LAYOUTS = ("parallel", "loose", "rows", "any")
MEGAPIXELS = (12.0, 8.0, 12.0, 5.0)


def board_scenes(name: str) -> list[dict]:
    """Specifications of all scenes of a set of boards."""
    seed = SEEDS[name]
    if name == "board_sample":
        return [_sample(name, seed, k) for k in range(len(CROPS[name]))]
    made = [_scene(name, seed, k) for k in range(len(CROPS[name]))]
    return [_bad(spec, k) for k, spec in enumerate(made)] if name == "board_bad" else made


def _strata(seed: int, count: int, names: tuple[str, ...]) -> list[dict[str, float]]:
    rng = np.random.default_rng([seed, 77])
    table = {n: (rng.permutation(count) + rng.random(count)) / count for n in names}
    return [{n: float(table[n][k]) for n in names} for k in range(count)]


FACTORS = ("count", "tilt", "focal", "exposure", "noise", "blur", "distortion", "turn", "gloss",
           "cut", "odd", "roll")  # fmt: skip


def _scene(name: str, seed: int, k: int) -> dict:
    u = _strata(seed, len(CROPS[name]), FACTORS)[k]
    return board_scene(name, seed, k, CROPS[name][k], u)


def board_scene(name: str, seed: int, k: int, crop: str, u: dict[str, float]) -> dict:
    """One board; boards change every scene, lights every scene at another pace.

    Parameters
    ----------
    name, seed, k : the set, its seed and the number in the set
    crop : named or "random"
    u : a value 0..1 for each of `FACTORS`
    """
    # Only making scenes needs the trays' sets, which list these.
    from tests.scenes import sets  # noqa: PLC0415

    rng = np.random.default_rng([seed, k])
    tints = TINTS.get(name, (None,))
    edges = k % 3 == 0
    low, high = COUNTS.get(crop, (8, 25))
    pairs = PAIRS_LOCKED if name in LOCKED else PAIRS
    touching, crossing = pairs[k % len(pairs)]
    kind = KINDS[(k + k // len(KINDS)) % len(KINDS)]
    light = sets.light_of(kind, rng)
    light["height_mm"] = float(rng.uniform(650, 1300))
    if kind == "window":
        light.update(kelvin=6500.0, elevation_deg=float(rng.uniform(22, 45)))
    tint = tints[(k + k // len(tints)) % len(tints)]
    if crop in crops.NODELESS or (crop == "pea" and tint not in {None, "pale"}):
        tint = None
    spec = {
        "id": f"{name}_{k:03d}", "set": name, "seed": int(rng.integers(1, 2**31)),
        "form_seed": int(rng.integers(1, 2**31)), "crop": crop,
        "stem_tint": tint,
        "medium": "none", "bad": None,
        "bench": str(rng.choice(["wood", "steel", "beige", "white", "grey", "black"])),
        "light": light,
        "board": {
            "colour": COLOURS[(k + k // 4) % 4],
            "worn": float(rng.uniform(0.4, 1.6)),
            "gloss": round(1.6 * u["gloss"], 3),
            "roughness": float(rng.uniform(0.12, 0.4)),
            "thick_mm": float(rng.uniform(3, 16)),
            "beyond_mm": rng.uniform(6, 26, 4).tolist() if edges else [190.0] * 4,
        },
        "plants": {
            "count": round(low + (high - low) * u["count"]),
            "layout": LAYOUTS[(k + k // 8) % 4],
            "touching": touching, "crossing": crossing,
            "laying": {
                "shapes": rng.dirichlet([0.8, 3.0, 2.4, 1.6]).tolist(),
                "odd": round(0.4 * u["odd"] ** 1.5, 3),
                "cut_mm": round(5 + 15 * u["cut"], 1), "longer": 1.0, "leafier": 1.0,
            },
        },
        "distractors": {
            "hulls": int(rng.choice([0, 0, 2, 5])), "roots": int(rng.choice([0, 0, 2, 4])),
            "drops": int(rng.choice([0, 0, 4, 8])), "crumbs": int(rng.choice([0, 0, 6, 20])),
        },
        "views": {},
    }  # fmt: skip
    spec["views"]["board"] = {
        "megapixels": MEGAPIXELS[(3 * k + k // 5) % 4],
        "samples": 32,
        "portrait": bool((k // 2 + k // 7) % 2),
        "focal_mm": sets.focal_of(rng, u),
        "tilt_deg": round(12 * u["tilt"] ** 1.3, 2),
        "towards_deg": float(rng.uniform(0, 360)),
        "roll_deg": _roll(u["roll"], rng, portrait=bool((k // 2 + k // 7) % 2)),
        "margin": float(rng.uniform(0.02, 0.09)),
        "nearest_mm": 240.0,
        **sets.lens_of(rng, u),
        "shade": kind in ("overcast", "strips"),
        "card": {"rotation_deg": round(360 * u["turn"], 1)},
        "look": sets.look_of(rng, u, kind),
    }
    return spec


def _roll(u: float, rng: np.random.Generator, *, portrait: bool) -> float:
    """Turn of the phone: mostly along the layout, at times anyhow."""
    if u > 0.85:
        return float(rng.uniform(0, 360))
    return float(rng.choice([0, 180]) + 90 * portrait + rng.normal(0, 5))


def _bad(spec: dict, k: int) -> dict:
    """A board that cannot be measured, or only in part."""
    kind = BAD[k]
    spec["bad"] = kind
    spec["plants"].update(count=12, touching=0, crossing=0)
    spec["stem_tint"] = None
    spec["views"]["board"]["megapixels"] = 8.0
    if kind == "empty":
        spec["plants"]["count"] = 0
        spec["distractors"].update(hulls=3, roots=2, crumbs=12)
    elif kind == "heap":
        spec["plants"]["count"] = 26
    elif kind == "hand":
        spec["plants"]["count"] = 8
    elif kind in ("checks", "flowers"):
        spec["board"].update(colour=kind, gloss=0.0, thick_mm=1.0)
        spec["board"]["beyond_mm"] = [190.0] * 4
    elif kind == "low_contrast":
        spec["stem_tint"] = "white"
        spec["board"].update(colour="white", gloss=0.3)
        spec["light"].update(kind="overcast", kelvin=6500.0)
        spec["views"]["board"]["look"].update(exposure=0.97, noise=0.02)
    if kind not in ("checks", "flowers", "low_contrast"):
        spec["board"]["colour"] = COLOURS[(k + 1) % 4]
    return spec


def _sample(name: str, seed: int, k: int) -> dict:
    """Boards of the sample trial: two of tray T01, one of T02, one of a bought pack."""
    from tests.scenes import sets  # noqa: PLC0415

    tray, part = (("T01", "a"), ("T01", "b"), ("T02", "a"), ("P01", "a"))[k]
    spec = _scene("board_dev", seed, k)
    rng = np.random.default_rng([seed, 500 + k])
    pack = tray == "P01"
    spec.update(id=f"{tray}{part}", set=name, crop="radish_green", stem_tint=None, bench="white",
                light=sets.light_of("lamp_5000", np.random.default_rng([seed, 900])))  # fmt: skip
    spec["light"].update(size_mm=1000.0, fill=0.35, height_mm=1300.0)
    spec["board"].update(colour=("blue", "blue", "blue", "white")[k], gloss=0.4, worn=0.8,
                         beyond_mm=[190.0] * 4)  # fmt: skip
    spec["plants"].update(count=(12, 13, 14, 13)[k], touching=0, crossing=int(k == 2),
                          layout="parallel")  # fmt: skip
    spec["plants"]["laying"].update(
        odd=0.05, cut_mm=10.0 if pack else 15.0, longer=1.14 if pack else 1.0,
        leafier=0.86 if pack else 1.0, shapes=[0.2, 0.5, 0.2, 0.1],
    )  # fmt: skip
    spec["distractors"] = {"hulls": int(k == 1), "roots": 0, "drops": 3 * int(k == 3), "crumbs": 4}
    view = spec["views"]["board"]
    view.update(megapixels=9.0, portrait=False, tilt_deg=round(float(rng.uniform(1, 5)), 2),
                roll_deg=float(rng.normal(0, 4)), margin=0.05, shade=False)  # fmt: skip
    view["look"].update(
        adapt=0.95, jpeg_quality=84, subsampling=2, sharpen=0.5, contrast=0.2, saturation=1.12,
        exposure=0.8, noise=0.012, taken=f"2026-03-10T10:{40 + 3 * k:02d}:12",
    )  # fmt: skip
    spec["trial"] = {
        "tray_id": tray, "kind": "pack" if pack else "tray", "crop": "radish",
        "cut_above_medium_mm": None if pack else 15.0,
    }  # fmt: skip
    assert spec["light"]["kind"] in lights.KINDS
    return spec
