"""Trays for comparing colour: the same plants under several lights, exposures and phones.

Every photo of a tray has a light, a place of the card and a camera position of its own. Under
the five white lights and the grow lamp light falls evenly; where a tray has a photo with a
gradient or a shadow, it comes on top. The linear picture under the 5000 K lamp is developed
several times more: one stop darker, one stop brighter, and as two other phones would.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.scenes import crops
from tests.scenes.colour import linear_to_lab

LIGHTS = {
    "overcast": "overcast",
    "5000": "lamp_5000",
    "6500": "lamp_6500",
    "3000": "lamp_3000",
    "strips": "strips",
    "grow": "grow",
}
"""Evenly lit photo -> kind of light; all but the last are white."""
CARD_EDGE_MM = 18.0
BACKDROP_Y_MM = 1600.0
"""So far back that it takes no lamp's light away."""


@dataclass(frozen=True)
class Tray:
    """What makes a tray of these sets.

    Attributes
    ----------
    crop : named crop, or a colour of `COLOURS` for a crop of random form
    leaf_layers : leaf area over ground area, about 0.9 for medium and 2.6 for high cover
    yellowed : share of plants that are yellowed
    uneven : "gradient" (the lamp stands beyond the card) and "shadow" (something is between the
        light and a part of the tray), each with a kind of light
    """

    crop: str
    leaf_layers: float
    yellowed: float
    uneven: dict[str, str]


TRAYS: dict[str, tuple[Tray, ...]] = {
    "colour_dev": (
        Tray("radish_green", 2.6, 0.06, {"gradient": "lamp_6500"}),
        Tray("yellow_green", 0.9, 0.0, {"shadow": "strips"}),
        Tray("dark_green", 2.4, 0.10, {"shadow": "lamp_3000"}),
        Tray("radish_purple", 1.0, 0.04, {"shadow": "lamp_6500", "gradient": "lamp_3000"}),
        Tray("amaranth_red", 2.6, 0.0, {"shadow": "overcast"}),
    ),
    "colour_unseen": (
        Tray("buckwheat_like", 1.0, 0.05, {"gradient": "lamp_3000"}),
        Tray("yellow_green", 2.6, 0.0, {"shadow": "lamp_6500"}),
        Tray("dark_green", 0.9, 0.0, {"gradient": "strips"}),
        Tray("shiso_like", 2.4, 0.0, {"shadow": "strips"}),
        Tray("red", 1.0, 0.03, {"gradient": "lamp_6500"}),
        Tray("mottled", 2.4, 0.08, {"shadow": "overcast"}),
        Tray("purple", 0.9, 0.0, {"shadow": "lamp_3000"}),
        Tray("pea", 2.6, 0.10, {"shadow": "lamp_6500", "gradient": "strips"}),
    ),
}
COLOURS = {
    "yellow_green": ((102, 114), (55, 75), (30, 90)),
    "dark_green": ((115, 155), (24, 40), (12, 60)),
    "purple": ((315, 358), (22, 40), (12, 60)),
    "red": ((5, 38), (25, 46), (25, 90)),
    "mottled": ((105, 150), (40, 65), (20, 80)),
}
"""CIELAB hue (degrees), lightness and chroma of the mean leaf of a random crop."""


def photographed(spec: dict, number: int) -> dict:
    """Replace a tray's photos, light and crop by those of a set for comparing colour.

    Parameters
    ----------
    spec : a tray with the photo "overhead", whose camera is taken over
    number : of the tray in its set
    """
    tray = TRAYS[spec["set"]][number]
    rng = np.random.default_rng([spec["seed"], 31])
    named = tray.crop in crops.NAMED
    seed = spec["seed"] if named else _seed_of(tray.crop, rng)
    made = {**spec, "crop": tray.crop if named else "random", "seed": seed, "age": None,
            "neighbours": []}  # fmt: skip
    crop = (
        crops.NAMED[tray.crop]
        if named
        else crops.random_crop(np.random.default_rng(seed + 7), tray.crop)
    )
    made["density"] = _density(crop, tray.leaf_layers)
    made["patches"] = {**spec["patches"], "yellowed": tray.yellowed}
    made["tray"] = {**spec["tray"], "inside_length_mm": 250.0}
    made["backdrop_y_mm"] = BACKDROP_Y_MM
    template = spec["views"]["overhead"]
    phone = _phone(rng)
    made["views"] = {
        f"overhead_{name}": _photo(name, kind, made, crop, {**template, "look": phone}, rng)
        for name, kind in (LIGHTS | tray.uneven).items()
    }
    made["light"] = made["views"]["overhead_5000"]["light"]
    made["views"]["overhead_5000"]["developments"] = _developments(
        made["views"]["overhead_5000"]["look"], rng
    )
    return made


def _seed_of(colour: str, rng: np.random.Generator) -> int:
    """Seed of a tray whose random crop has the wanted colour and blades of ordinary form."""
    (h0, h1), (l0, l1), (c0, c1) = COLOURS[colour]
    while True:
        seed = int(rng.integers(1, 2**31))
        crop = crops.random_crop(np.random.default_rng(seed + 7))
        lightness, a, b = linear_to_lab((crop.leaf + crop.leaf_other) / 2)
        hue, chroma = np.degrees(np.arctan2(b, a)) % 360, np.hypot(a, b)
        fits = h0 <= hue <= h1 and l0 <= lightness <= l1 and c0 <= chroma <= c1
        plain = crop.blade[0] > 9 and crop.blade[1] > 5 and crop.form == "pair" and crop.hull < 0.1
        mottled = crop.mottle > 0.35
        if fits and plain and mottled == (colour == "mottled"):
            return seed


def _density(crop: crops.Crop, layers: float) -> float:
    """Plants per cm2 that give about so many layers of leaf."""
    blades = 6 if crop.form == "pea" else 2
    blade_cm2 = 0.75 * crop.blade[0] * crop.blade[1] / 100
    return round(float(np.clip(layers / (blades * blade_cm2), 0.3, 2.8)), 3)


def _photo(name: str, kind: str, spec: dict, crop: crops.Crop, template: dict,
           rng: np.random.Generator) -> dict:  # fmt: skip
    """Camera, card, light and phone of one photo."""
    side = str(rng.choice(["-x", "+x", "-y", "+y"]))
    half = spec["tray"]["inside_length_mm"] / 2
    drop = spec["tray"]["rim_above_bench_mm"] + crop.height
    hidden = max(0.0, (half + CARD_EDGE_MM) * drop / (560.0 - drop) * 0.75)
    light = _light(kind, side, name, rng)
    # The phone is turned so that tray and card lie along the longer side of the picture.
    turn = rng.choice([0, 180]) if side.endswith("x") else rng.choice([90, 270])
    made = {
        **template,
        "kind": "overhead",
        "leaf_pixels": 30_000,
        "light": light,
        "tilt_deg": round(float(rng.uniform(0, 8)), 2),
        "towards_deg": float(rng.uniform(0, 360)),
        "roll_deg": float(turn + rng.normal(0, 3)),
        "card": {
            "plane": "bench",
            "side": side,
            "gap_mm": round(float(rng.uniform(6, 30)) + hidden, 1),
            "along": float(rng.uniform(-0.9, 0.9)),
            "rotation_deg": float(rng.choice([0, 90, 180, 270]) + rng.normal(0, 8)),
        },
        "look": _balanced(template["look"], kind, rng),
    }
    if name == "shadow":
        made["shade"] = _shade(light, side, half, rng)
    return made


def _light(kind: str, side: str, name: str, rng: np.random.Generator) -> dict:
    """Light of a kind: high up and across the line from tray to card, or, for a gradient, low
    and beyond the card.

    From high up leaves get hardly more light than the card below them. Strips keep one strength,
    so from higher up than a room's ceiling they would drown in the light from all around.
    """
    kelvin = {"overcast": rng.uniform(5800, 7500), "strips": rng.choice([4000.0, 5000.0, 6500.0]),
              "grow": 6500.0}.get(kind)  # fmt: skip
    towards_card = {"+x": 0.0, "+y": 90.0, "-x": 180.0, "-y": 270.0}[side]
    across = float(rng.choice([90.0, 270.0]) + rng.normal(0, 12))
    gradient = name == "gradient"
    strips = kind == "strips"
    high = rng.uniform(1600, 2000) if strips else rng.uniform(4000, 5000)
    height = rng.uniform(900, 1200) if gradient else high
    low_fill = gradient or strips
    turned = towards_card + (float(rng.normal(0, 25)) if gradient else across)
    return {
        "kind": kind,
        "kelvin": float(kelvin) if kelvin is not None else float(kind.split("_")[1]),
        "height_mm": float(height),
        "azimuth_deg": turned % 360,
        "elevation_deg": 60.0,
        "size_mm": _lamp_size(kind, name, rng),
        "fill": float(rng.uniform(0.1, 0.2) if low_fill else rng.uniform(0.2, 0.4)),
        "seed": int(rng.integers(1, 2**31)),
    }


def _lamp_size(kind: str, name: str, rng: np.random.Generator) -> float:
    """Length of strips, edge of a lamp: small where it is to throw a shadow that one sees."""
    if kind == "strips":
        return float(rng.uniform(900, 1200))
    return float(rng.uniform(150, 250) if name == "shadow" else rng.uniform(500, 1000))


def _shade(light: dict, side: str, half: float, rng: np.random.Generator) -> dict:
    """A board above the lens whose shadow falls on the part of the tray away from the card."""
    sign = -1.0 if side.startswith("+") else 1.0
    share = float(rng.uniform(0.5, 0.9))
    along = float(rng.uniform(-0.5, 0.5))
    spot = np.array([sign * share, along] if side.endswith("x") else [along, sign * share]) * half
    height = 900.0
    if light["kind"] == "overcast":
        return {"centre_mm": [*spot.tolist(), height], "size_mm": [700.0, 500.0]}
    azimuth, top = np.radians(light["azimuth_deg"]), light["height_mm"]
    lamp = 0.35 * top * np.array([np.cos(azimuth), np.sin(azimuth)])
    size = [190.0, 140.0]
    if light["kind"] == "strips":
        lamp, size = np.array([0.0, 40.0]), [400.0, 250.0]
    at = spot + (lamp - spot) * height / top
    return {"centre_mm": [*at.tolist(), height], "size_mm": size}


def _phone(rng: np.random.Generator) -> dict:
    """Settings of one phone's processing, but for white balance and exposure."""
    return {
        "saturation": float(rng.uniform(1.0, 1.35)),
        "contrast": float(rng.uniform(0.05, 0.45)),
        "shoulder": float(rng.uniform(0.75, 0.92)),
        "vignette": float(rng.uniform(0.0, 0.2)),
        "lens_blur_px": float(rng.uniform(0.5, 1.2)),
        "noise": round(float(rng.uniform(0.006, 0.02)), 4),
        "smear_px": float(rng.uniform(0.8, 1.4)),
        "sharpen": float(rng.uniform(0.2, 0.9)),
        "sharpen_px": float(rng.uniform(1.0, 2.2)),
        "jpeg_quality": int(rng.integers(76, 89)),
        "subsampling": int(rng.choice([2, 2, 0])),
        "orientation": 1,
        "taken": f"2026-03-{int(rng.integers(1, 29)):02d}T{int(rng.integers(8, 19)):02d}:"
        f"{int(rng.integers(0, 60)):02d}:00",
    }


def _balanced(phone: dict, kind: str, rng: np.random.Generator) -> dict:
    """White balance and exposure that a phone picks for one photo.

    Under the 5000 K lamp white stays at half the range, so that one stop more does not clip it.
    """
    adapt = rng.uniform(0.5, 0.85) if kind in ("lamp_3000", "grow") else rng.uniform(0.8, 1.0)
    exposure = rng.uniform(0.40, 0.45) if kind == "lamp_5000" else rng.uniform(0.5, 0.85)
    error = [float(np.exp(rng.normal(0, 0.05))), 1.0, float(np.exp(rng.normal(0, 0.06)))]
    return {**phone, "adapt": float(adapt), "wb_error": error, "exposure": float(exposure)}


def _developments(look: dict, rng: np.random.Generator) -> dict[str, dict]:
    """Further ways to develop the picture under the 5000 K lamp."""
    made = {
        "minus1": {**look, "exposure": look["exposure"] / 2},
        "plus1": {**look, "exposure": look["exposure"] * 2},
    }
    plain = {"saturation": 1.02, "contrast": 0.08, "sharpen": 0.2, "jpeg_quality": 90}
    vivid = {"saturation": 1.38, "contrast": 0.45, "sharpen": 1.0, "jpeg_quality": 75}
    for name, style in (("phone2", plain), ("phone3", vivid)):
        other = {**_phone(rng), **style, "vignette": look["vignette"], "taken": look["taken"]}
        made[name] = _balanced(other, "lamp_5000", rng)
        made[name]["exposure"] = float(rng.uniform(0.55, 0.8))
    return made
