"""Trays photographed five ways: what differs between two photos of one tray is not the tray.

Four trays without company, each as it stands, from another distance, tilted, turned, and in another
light. Plants, tray and card's plane stay.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from tests.scenes import sets, tray_sets

SIZES_MM = ((500.0, 250.0), (340.0, 240.0), (250.0, 250.0), (430.0, 300.0))
WAYS = ("as it stands", "from another distance", "tilted", "turned", "in another light")
LIGHTS = ("lamp_5000", "overcast")


def five_ways_scenes(plan: sets.SetPlan) -> list[dict]:
    """Specifications, five to a tray; `way` says which of `WAYS` a scene is."""
    return [_scene(plan, tray, way) for tray in range(len(plan.crops)) for way in range(len(WAYS))]


def _scene(plan: sets.SetPlan, tray: int, way: int) -> dict[str, Any]:
    rng = np.random.default_rng([plan.seed, tray])
    u = {factor: float(rng.random()) for factor in tray_sets.FACTORS}
    # In the middle of what is usual, so that a way can leave it.
    u.update(age=1.0, neighbour=0.0, intruder=1.0, camera=0.45, tilt=0.05, focal=0.5, jpeg=0.4,
             exposure=0.6, noise=0.2, true_leaf=1.0, lodged=0.0)  # fmt: skip
    spec = tray_sets.tray_scene("five_ways", plan, tray, u)
    length, width = SIZES_MM[tray]
    spec["tray"].update(inside_length_mm=length, inside_width_mm=width)
    spec |= {"id": f"five_ways_{tray}{way}", "way": WAYS[way]}
    spec["light"] = sets.light_of(LIGHTS[way == 4], rng)
    if way == 1:
        u["camera"] = 0.9
    if way == 2:
        u["tilt"] = 0.9
    overhead, side = tray_sets.photos(plan, u, np.random.default_rng([plan.seed, tray, 5]), spec)
    if way == 2:
        side["tilt_deg"] = 11.0
    if way == 3:
        overhead["roll_deg"] += 90.0 if length == width else 180.0
        side["across_deg"] = 7.0
    spec["views"] = {"overhead": overhead, "side": side}
    return spec
