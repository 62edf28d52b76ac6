"""Scenes to learn from: close views of trays and boards, as varied as the maker can make them.

No crop that is kept for judging is in them. Views are dealt out in turn, so that any first part of
the set is as mixed as the whole. None holds the tray's truth, which learning does not ask for.
"""

from __future__ import annotations

import numpy as np

from tests.scenes import board_sets, sets
from tests.scenes.colour import decode_srgb, encode_srgb, hsv_to_rgb

VIEWS = ("board", "overhead", "side", "side", "overhead", "overhead", "side", "overhead",
         "overhead", "side", "overhead", "side", "side", "overhead", "board", "overhead", "side",
         "overhead", "side")  # fmt: skip
GROUNDS = ("clutter", "soil", "clods", "red_soil", "pale_soil", "wet_soil", "straw", "bark",
           "check_cloth", "flower_cloth", "stripe_cloth", "checks", "grass")  # fmt: skip
MEDIA = ("soil", "coir", "clods", "red_soil", "pale_soil", "wet_soil", "straw", "bark", "mat",
         "clutter")  # fmt: skip
BOARDS = ("white", "black", "white", "grey", "blue", "white", "wood", "grey", "beige", "white",
          "black", "blue", "stripes", "white", "steel", "grey", "soil", "white", "flowers", "black",
          "checks", "bark")  # fmt: skip
FACTORS = (*sets.FACTORS, *board_sets.FACTORS, "glare", "habit", "form", "bronze")


def learn_scenes(plan: sets.SetPlan) -> list[dict]:
    """Specifications of all scenes."""
    rng = np.random.default_rng([plan.seed, 77])
    count = plan.count
    table = {n: (rng.permutation(count) + rng.random(count)) / count for n in FACTORS}
    made = []
    for k in range(count):
        u = {n: float(table[n][k]) for n in FACTORS}
        view = VIEWS[k % len(VIEWS)]
        spec = _board(plan, k, u) if view == "board" else _tray(plan, k, u, view)
        made.append({**spec, "truth": False})
    return made


def _board(plan: sets.SetPlan, k: int, u: dict[str, float]) -> dict:
    """Cut plants on a board, two in three of random form."""
    rng = np.random.default_rng([plan.seed, k, 3])
    crop = "random" if u["crop"] < 0.66 else str(rng.choice([*sets.KNOWN, "wheat_like"]))
    number = k // len(VIEWS) * VIEWS.count("board") + VIEWS[: k % len(VIEWS)].count("board")
    spec = board_sets.board_scene("learn", plan.seed, number, crop, u)
    spec["id"] = f"learn_{k:03d}"
    spec["board"]["colour"] = BOARDS[number % len(BOARDS)]
    view = spec["views"]["board"]
    view.update(
        megapixels=plan.megapixels, samples=plan.samples, portrait=False,
        mm_per_px=round(0.13 + 0.17 * u["scale"], 4), distance_mm=float(rng.uniform(280, 520)),
        look_at=rng.uniform(-0.7, 0.7, 2).tolist(),
    )  # fmt: skip
    view["look"].update(orientation=1, exposure=_exposure(u, rng))
    return spec


def _exposure(u: dict[str, float], rng: np.random.Generator) -> float:
    """Value that white reaches; one scene in six is over-exposed."""
    stops = rng.uniform(0.3, 1.0) if u["glare"] > 0.84 else -0.7 + u["exposure"]
    return round(float(0.80 * 2**stops), 4)


def _bronze(rng: np.random.Generator) -> list[list[float]]:
    """Two sRGB colours of brown, bronze or olive-brown leaves."""
    hue, saturation, value = rng.uniform(12, 50), rng.uniform(0.25, 0.65), rng.uniform(0.28, 0.62)
    leaf = decode_srgb(hsv_to_rgb(hue, saturation, value))
    other = np.clip(leaf * rng.uniform(0.7, 1.6) * rng.uniform(0.85, 1.2, 3), 0.004, 0.85)
    return [np.clip(encode_srgb(colour), 0, 1).tolist() for colour in (leaf, other)]


def _tray(plan: sets.SetPlan, k: int, u: dict[str, float], view: str) -> dict:
    """A close view of a small tray or of open ground, from above or from the side."""
    rng = np.random.default_rng([plan.seed, k])
    crop = "random" if u["crop"] < 0.72 else str(rng.choice(sets.KNOWN))
    age = float(rng.uniform(0.1, 0.9)) if u["age"] < 0.15 else None
    spec = sets.common(f"learn_{k:03d}", "learn", rng, u, crop, age)
    spec["tray"]["inside_length_mm"] = 420.0 if view == "side" else 380.0
    spec["density"] = round(spec["density"] * float(rng.choice([1.0, 1.0, 0.35, 0.1])), 3)
    if view == "overhead" and u["lodged"] > 0.4:
        # Stems show from above where plants lie; elsewhere they are a fiftieth of what is seen.
        spec["patches"].update(lodged=int(rng.integers(1, 4)), lodged_mm=float(rng.uniform(40, 90)))
    spec["growth"] = {"gloss": float(rng.uniform(0.4, 3.6))}
    if crop == "random" and u["form"] < 0.14:
        spec["growth"]["form"] = "pea"
    if crop == "random" and u["bronze"] < 0.1:
        spec["growth"]["leaf_srgb"] = _bronze(rng)
    if u["habit"] < 0.4:
        spec["growth"]["spread"] = float(rng.uniform(0.15, 0.32))
    if u["strange"] < 0.45:
        spec["bench"], spec["backdrop"] = (str(g) for g in rng.choice(GROUNDS, 2))
        spec["medium"] = str(rng.choice(MEDIA))
        if rng.random() < 0.4:
            # Open ground: the same all over, and no rim above it.
            same = str(rng.choice(["clods", "red_soil", "pale_soil", "wet_soil", "straw", "bark"]))
            spec["bench"] = spec["backdrop"] = spec["medium"] = same
            spec["tray"]["rim_above_medium_mm"] = 3.0
        if rng.random() < 0.5:
            spec["light"] = sets.light_of("sun", rng)
    settings = sets.tray_view(view, rng, u, spec, plan)
    settings["kind"] = view
    settings["mm_per_px"] = round(0.16 + 0.24 * u["scale"], 4)
    settings["distance_mm"] = float(rng.uniform(420, 700))
    settings["look_at"] = [float(rng.uniform(-1.0, 1.0)), float(rng.uniform(-1.0, 1.0))]
    # From nearer the same lens blurs more with depth.
    settings["focus_behind_mm"] = float(rng.uniform(-20, 50))
    settings["aperture_mm"] = round(0.4 + 3.6 * u["blur"] ** 2, 3)
    if u["tilt"] > 0.8:
        settings["tilt_deg"] = float(rng.uniform(0, 40))
    settings["look"].update(orientation=1, exposure=_exposure(u, rng))
    spec["views"] = {"photo": settings}
    return spec
