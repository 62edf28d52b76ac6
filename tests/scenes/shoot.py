"""One photo from start to end: how the camera is held, the picture, the truth, the files."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.scenes import meshes, phone, truth
from tests.scenes.camera import Camera, frame_points, looking
from tests.scenes.leaf_pixels import leaf_pixels, shades
from tests.scenes.render import Scene, denoise
from tests.scenes.tray import Stage, build

GREY_STEPS = (0.03, 0.06, 0.12, 0.2, 0.35, 0.6, 0.9)


def picture_size(megapixels: float) -> tuple[int, int]:
    """Width and height (3:2 of phones is rare; 4:3) in multiples of 8 px."""
    height = np.sqrt(megapixels * 1e6 * 3 / 4)
    return int(round(height * 4 / 3 / 8) * 8), int(round(height / 8) * 8)


def aim(stage: Stage, spec: dict, view: str, size: tuple[int, int]) -> Camera:
    """Camera of a view."""
    settings = spec["views"][view]
    rotation = _rotation(settings, view)
    if settings.get("mm_per_px"):
        return _close_up(stage, settings, rotation, size)
    camera = frame_points(_must_show(stage, view), rotation, settings, size)
    focus = _focus(stage, settings, view, camera)
    return replace(camera, focus_mm=focus, aperture_mm=settings["aperture_mm"])


def _rotation(settings: dict, view: str) -> NDArray:
    tilt, towards = np.radians(settings["tilt_deg"]), np.radians(settings["towards_deg"])
    if view == "overhead":
        lean = np.tan(tilt) * np.array([np.cos(towards), np.sin(towards), 0])
        return looking(np.array([0, 0, -1.0]) + lean, np.array([0, 1.0, 0]), settings["roll_deg"])
    across = np.tan(np.radians(settings["across_deg"]))
    forward = np.array([across, 1.0, -np.tan(tilt)])
    return looking(forward, np.array([0, 0, 1.0]), settings["roll_deg"])


def _must_show(stage: Stage, view: str) -> NDArray:
    """Points that have to be in the picture: the tray, the canopy with its overhang, the card."""
    o = stage.opening
    hx = o["inside_length_mm"] / 2 + o["lip_mm"]
    hy = o["inside_width_mm"] / 2 + o["lip_mm"]
    low = o["rim_above_bench_mm"] if view == "overhead" else 0.0
    corners = np.array([(x, y, low) for x in (-hx, hx) for y in (-hy, hy)])
    canopy = stage.stand.leaves.vertices.astype(float)
    # The outermost points in many directions stand for the whole canopy.
    directions = np.random.default_rng(0).normal(size=(80, 3))
    outermost = canopy[np.unique(np.argmax(canopy @ directions.T, axis=0))]
    return np.concatenate([corners, outermost, stage.card.corners])


def _focus(stage: Stage, settings: dict, view: str, camera: Camera) -> float:
    """Distance along the view axis to what the phone focused on."""
    o = stage.opening
    if view == "overhead":
        z = o["medium_z"] + 0.8 * float(np.median(stage.stand.height))
        point = np.array([0.0, 0.0, z])
    else:
        point = np.array([0.0, o["front_y"] + settings["focus_behind_mm"], o["rim_above_bench_mm"]])
    return float((camera.rotation @ (point - camera.position))[2])


def _close_up(stage: Stage, settings: dict, rotation: NDArray, size: tuple[int, int]) -> Camera:
    """Camera that sees a part of the tray at a given scale, wherever the card is.

    It stands as far away as for a whole tray: the picture is a part cut from a larger one.
    """
    o = stage.opening
    distance = settings["distance_mm"]
    focal = distance / settings["mm_per_px"]
    height = float(np.median(stage.stand.height))
    at = settings["look_at"]
    x, y = at[0] * o["inside_length_mm"] / 2, at[1] * o["inside_width_mm"] / 2
    z = o["medium_z"] + 0.7 * height
    if settings["kind"] == "side":
        y, z = o["front_y"] + 10.0, o["rim_above_bench_mm"] + (0.2 + 0.3 * at[1]) * height
    position = np.array([x, y, z]) - distance * rotation[2]
    return Camera(*size, focal, settings["k1"], settings["k2"], rotation, position,
                  distance + settings["focus_behind_mm"], settings["aperture_mm"])  # fmt: skip


def shoot(spec: dict, view: str, folder: Path, cards: Path, options: dict) -> dict:
    """Render one photo of a tray and write photo, masks and truth.

    Parameters
    ----------
    options : `megapixels` and `samples` (None = as the set says), `denoise` (bool)

    Returns
    -------
    truth : what the JSON file holds
    """
    started = time.perf_counter()
    settings = spec["views"][view]
    role = settings.get("kind", view)
    size = picture_size(options["megapixels"] or settings["megapixels"])
    stage, scene, camera = _set_up({**spec, "views": {role: settings}}, role, cards, size)
    built = time.perf_counter()
    linear, surface = scene.picture(camera, options["samples"] or settings["samples"], spec["seed"])
    if options["denoise"]:
        linear = np.maximum(denoise(linear, surface), 0)
    white = scene.white(stage.card)
    traced = time.perf_counter()
    classes, seen = scene.masks(camera)
    mask, leaf, stem = truth.shares(classes)
    look = _scaled(settings["look"], size)
    developed = _develop(folder / f"{view}.jpg", linear, white, (settings, look), spec["seed"] + 17)
    for name, image in (("mask", mask), ("leaf", leaf), ("stem", stem)):
        Image.fromarray(image).save(folder / f"{view}.{name}.png", optimize=False)
    facts = {
        **developed,
        "view": role,
        "width": size[0],
        "height": size[1],
        "class_share": {str(k): round(float((mask == k).mean()), 5) for k in range(8)},
        "camera": {**camera.record(), "focal_35mm": settings["focal_mm"],
                   "tilt_deg": settings["tilt_deg"]},
        "card": _card_facts(scene, stage, camera),
        "leaf_colour": truth.leaf_colour(linear, surface, white, leaf),
        "dark_plant_pct": _dark_share(linear, white, mask),
        "visible_blades": {
            "count": len(seen),
            "width_median_mm": truth.median(stage.stand.blades.width[seen]),
        },
        "white_radiance": white.tolist(),
        "seconds": {"build": built - started, "trace": traced - built},
    }  # fmt: skip
    if settings.get("leaf_pixels"):
        drawn = leaf_pixels(linear / white, leaf, scene, stage, camera, settings["leaf_pixels"])
        np.savez_compressed(folder / f"{view}.leaf_pixels.npz", **drawn)
    for k, (name, other) in enumerate(settings.get("developments", {}).items()):
        path, seed = folder / f"{view}_{name}.jpg", spec["seed"] + 18 + k
        again = _develop(path, linear, white, (settings, _scaled(other, size)), seed)
        facts.setdefault("developments", {})[path.stem] = again
    wanted = spec.get("truth", True)
    if wanted and role == "side":
        facts["front_plane"] = truth.front_plane_areas(scene, stage, camera)
    if wanted and options.get("tray_truth", True):
        # A hand hides leaves from the lens and not from the truth.
        bare = Scene(stage.items) if stage.in_the_way else scene
        facts["tray_truth"] = truth.tray_truth(bare, stage)
    facts["seconds"]["all"] = time.perf_counter() - started
    return facts


def _set_up(spec: dict, role: str, cards: Path, size: tuple[int, int]
            ) -> tuple[Stage, Scene, Camera]:  # fmt: skip
    """Build the scene and aim; the card is moved away until no leaf hides it from the lens."""
    settings = spec["views"][role]
    place = dict(settings["card"])
    for _ in range(8):
        there = {**spec, "views": {role: {**settings, "card": place}}}
        stage = build(there, role, cards)
        camera = aim(stage, there, role, size)
        light = settings.get("light", spec["light"])
        scene = Scene([*stage.items, *stage.in_the_way, *shades(settings)], light)
        if settings.get("mm_per_px") or _card_in_sight(scene, stage, camera) > 0.999:
            break
        place["gap_mm"] += 14.0
    return stage, scene, camera


def _card_in_sight(scene: Scene, stage: Stage, camera: Camera) -> float:
    """Share of the card that rays from the lens reach."""
    corners = stage.card.corners
    share = np.linspace(0.01, 0.99, 60)
    a, b = (g.ravel()[:, None] for g in np.meshgrid(share, share))
    points = corners[0] + a * (corners[1] - corners[0]) + b * (corners[3] - corners[0])
    hits = scene.cast(camera.position, meshes.unit(points - camera.position))
    return float((hits.part == meshes.CARD).mean())


def _scaled(look: dict, size: tuple[int, int]) -> dict:
    """Blur and halo widths are set for 12 MP; a smaller picture has them in proportion."""
    scale = max(size[0] / 4032, 0.45)
    widths = ("lens_blur_px", "smear_px", "sharpen_px")
    return {**look, **{name: look[name] * scale for name in widths}}


def _card_facts(scene: Scene, stage: Stage, camera: Camera) -> dict:
    card = stage.card
    right, down = card.corners[1] - card.corners[0], card.corners[3] - card.corners[0]
    pixels = camera.project(card.corners)
    inside = np.all((pixels >= 0) & (pixels <= [camera.width - 1, camera.height - 1]))
    return {
        "role": card.role,
        "file": card.file,
        "width_mm": float(np.linalg.norm(right)),
        "height_mm": float(np.linalg.norm(down)),
        "corner_order": "top left, top right, bottom right, bottom left of the card picture",
        "corners_mm": card.corners.tolist(),
        "corners_px": pixels.tolist(),
        "normal": card.normal.tolist(),
        "whole_in_frame": bool(inside),
        "visible_share": _card_in_sight(scene, stage, camera),
        "print": "reflectance = linear value of the picture, at least 0.01",
    }


def _dark_share(linear: NDArray, white: NDArray, mask: NDArray) -> float:
    """Share of plant pixels with under 1 % of white's light, where nobody can tell."""
    plant = (mask == meshes.LEAF) | (mask == meshes.STEM)
    if not plant.any():
        return 0.0
    return 100 * float(((linear[plant] / white).mean(-1) < 0.01).mean())


def _develop(path: Path, linear: NDArray, white: NDArray, ways: tuple[dict, dict],
             seed: int) -> dict:  # fmt: skip
    """Develop a linear picture by the photo's settings and the phone's look, and write it."""
    settings, look = ways
    pixels = phone.develop(linear, white, look, seed)
    exif = phone.write_jpeg(path, pixels, settings["focal_mm"], look)
    return {"photo": path.name, "exif": exif, "grey_steps_rgb": _grey_steps(white, look)}


def _grey_steps(white: NDArray, look: dict) -> dict:
    """What neutral patches beside the tray read in the photo, before noise (8-bit RGB)."""
    gains = phone.white_gains(white, look)
    return {
        f"{step:.2f}": (255 * phone.tone((step * white * gains)[None], look)[0]).round(1).tolist()
        for step in GREY_STEPS
    }


def shoot_tray(spec: dict, folder: Path, cards: Path, options: dict) -> Path:
    """Render all photos of a tray; the truth file is written last and marks it done."""
    folder.mkdir(parents=True, exist_ok=True)
    photos, tray = {}, {}
    for k, view in enumerate(spec["views"]):
        facts = shoot(spec, view, folder, cards, {**options, "tray_truth": k == 0})
        tray = facts.pop("tray_truth", tray)
        others = facts.pop("developments", {})
        photos[view] = facts
        photos |= {name: {**facts, **other, "same_as": view} for name, other in others.items()}
    record = {
        "format": 1,
        "id": spec["id"],
        "set": spec["set"],
        "classes": {"0": "other", "1": "leaf", "2": "stem and leaf stalks", "3": "card",
                    "4": "medium and roots", "5": "tray", "6": "other greenery", "7": "hull"},
        "spec": spec,
        "tray": {**spec["tray"], "crop": spec["crop"], "light": spec["light"]["kind"]},
        "truth": tray,
        "photos": photos,
    }  # fmt: skip
    target = folder / "truth.json"
    partial = folder / "truth.json.part"
    partial.write_text(json.dumps(record), encoding="utf-8")
    partial.replace(target)
    return target
