"""Light over the bench, as entries for the renderer's scene description."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.scenes.colour import kelvin_to_linear

KINDS = ("overcast", "lamp_3000", "lamp_5000", "lamp_6500", "strips", "sun", "grow", "window")
GROW_COLOUR = np.array([1.0, 0.10, 1.25])


def colour_of(light: dict) -> NDArray:
    """Colour of the main light, mean 1."""
    if light["kind"] == "grow":
        return GROW_COLOUR / GROW_COLOUR.mean()
    return kelvin_to_linear(light["kelvin"])


def dome(strength: float, tint: NDArray, uneven: float, seed: int) -> NDArray:
    """Sky (32, 64, 3): CIE overcast gradation, with `uneven` (0..1) patches around."""
    rng = np.random.default_rng(seed)
    rows, columns = 32, 64
    height = np.cos((np.arange(rows) + 0.5) / rows * np.pi)
    sky = np.where(height > 0, (1 + 2 * height) / 3, 0.25)[:, None] * np.ones((1, columns))
    phase = rng.uniform(0, 2 * np.pi, 3)
    azimuth = (np.arange(columns) + 0.5) / columns * 2 * np.pi
    ripple = sum(np.cos((k + 1) * azimuth + phase[k]) / (k + 1) for k in range(3))
    sky = sky * np.clip(1 + uneven * 0.6 * ripple[None], 0.05, None)
    return (strength * sky[..., None] * tint).astype(np.float32)


def emitters(light: dict) -> dict:
    """Emitters of a light; the fill dome carries the name "sky" and an array to load.

    Parameters
    ----------
    light : `kind` (one of KINDS), `kelvin`, `height_mm`, `azimuth_deg`, `elevation_deg`,
        `size_mm`, `fill` (share of light that comes from all around), `seed`
    """
    tint, kind, fill = colour_of(light), light["kind"], light["fill"]
    warm = kelvin_to_linear(5500)
    if kind == "overcast":
        return {"sky": dome(1.0, tint, 0.5, light["seed"])}
    if kind == "sun":
        azimuth, rise = np.radians(light["azimuth_deg"]), np.radians(light["elevation_deg"])
        towards = [np.cos(rise) * np.cos(azimuth), np.cos(rise) * np.sin(azimuth), np.sin(rise)]
        strength = (2.6 * kelvin_to_linear(light["kelvin"])).tolist()
        sun = {
            "type": "directional",
            "direction": [-float(c) for c in towards],
            "irradiance": {"type": "rgb", "value": strength},
        }
        return {"sun": sun, "sky": dome(0.35, kelvin_to_linear(9500), 0.3, light["seed"])}
    entries: dict = {"sky": dome(fill, 0.7 * tint + 0.3 * warm, 0.8, light["seed"])}
    azimuth = np.radians(light["azimuth_deg"])
    if kind == "strips":
        for k, across in enumerate((-220.0, 140.0)):
            entries[f"strip{k}"] = _panel(
                (across * np.cos(azimuth), across * np.sin(azimuth) + 40, light["height_mm"]),
                (light["size_mm"], 28.0), azimuth, 55.0 * tint,
            )  # fmt: skip
        return entries
    if kind == "window":
        away, rise = 1.1 * light["height_mm"], np.radians(light["elevation_deg"])
        at = away * np.array([np.cos(azimuth) * np.cos(rise), np.sin(azimuth) * np.cos(rise),
                              np.sin(rise)])  # fmt: skip
        size = (light["size_mm"], 1.3 * light["size_mm"])
        entries["window"] = _facing(at, size, 3.2 * away**2 / (size[0] * size[1]) * tint)
        return entries
    size = light["size_mm"]
    shift = 0.35 * light["height_mm"]
    power = 1.4 * (light["height_mm"] / size) ** 2
    entries["lamp"] = _panel(
        (shift * np.cos(azimuth), shift * np.sin(azimuth), light["height_mm"]),
        (size, size), azimuth, power * tint,
    )  # fmt: skip
    return entries


def _panel(at: tuple, size: tuple, azimuth: float, radiance: NDArray) -> dict:
    """A rectangle that shines down; `at` and `size` in mm."""
    c, s = np.cos(azimuth), np.sin(azimuth)
    x, y = size[0] / 2, size[1] / 2
    # Turned about x by half a turn, so that its face looks down.
    matrix = np.array(
        [[c * x, s * y, 0, at[0]], [s * x, -c * y, 0, at[1]], [0, 0, -1, at[2]], [0, 0, 0, 1]]
    )
    return {
        "type": "rectangle",
        "to_world": matrix,
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": radiance.tolist()}},
    }


def _facing(at: NDArray, size: tuple, radiance: NDArray) -> dict:
    """A rectangle at `at` (mm) whose lit face looks at the origin, one side level."""
    normal = -at / np.linalg.norm(at)
    level = np.cross([0.0, 0.0, 1.0], normal)
    level = level / np.linalg.norm(level)
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1] = level * size[0] / 2, np.cross(normal, level) * size[1] / 2
    matrix[:3, 2], matrix[:3, 3] = normal, at
    return {
        "type": "rectangle",
        "to_world": matrix,
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": radiance.tolist()}},
    }
