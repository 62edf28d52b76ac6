"""One photo of a board from start to end: camera, picture, truth, files."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.scenes import meshes, phone, truth
from tests.scenes.board import Laid, build
from tests.scenes.board_truth import board_truth
from tests.scenes.camera import Camera, frame_points
from tests.scenes.render import Scene, denoise
from tests.scenes.shoot import (
    _card_facts,
    _dark_share,
    _grey_steps,
    _rotation,
    _scaled,
    picture_size,
)
from tests.scenes.tray import Item


def board_camera(laid: Laid, settings: dict, size: tuple[int, int]) -> Camera:
    """Camera above the board that shows the card and the plants, sharp on the board."""
    turned = _rotation(settings, "overhead")
    things = laid.things
    if settings.get("mm_per_px"):
        return _close_up(laid, settings, turned, size)
    directions = np.random.default_rng(0).normal(size=(400, 3))
    outermost = things[np.unique(np.argmax(things @ directions.T, axis=0))]
    camera = frame_points(outermost, turned, settings, size)
    ahead = camera.rotation[2]
    focus = (1.0 - camera.position[2]) / ahead[2]
    return replace(camera, focus_mm=float(focus), aperture_mm=settings["aperture_mm"])


def _close_up(laid: Laid, settings: dict, rotation: NDArray, size: tuple[int, int]) -> Camera:
    """Camera that sees a part of what is laid at a given scale, wherever the card is."""
    low, high = (np.percentile(laid.things[:, :2], q, axis=0) for q in (5, 95))
    at = low + (high - low) * (np.array(settings["look_at"]) + 1) / 2
    distance = settings["distance_mm"]
    position = np.array([*at, 1.0]) - distance * rotation[2]
    return Camera(*size, distance / settings["mm_per_px"], settings["k1"], settings["k2"],
                  rotation, position, distance, settings["aperture_mm"])  # fmt: skip


def _phone_itself(camera: Camera) -> Item:
    """The phone behind its lens, which keeps light away."""
    frame = camera.rotation[None]
    middle = camera.position - 8 * camera.rotation[2] + 45 * camera.rotation[1]
    half, dark = np.array([[40.0, 78.0, 5.0]]), np.full((1, 1, 3), 0.03)
    body = meshes.ellipsoids(middle[None], frame, half, dark, part=meshes.OTHER, detail=(12, 16))
    return Item("phone", body, "coloured", None, 0.5, 0.3)


def shoot_board(spec: dict, folder: Path, cards: Path, options: dict) -> Path:
    """Render the photo of a board; the truth file is written last and marks it done.

    Parameters
    ----------
    options : `megapixels` and `samples` (None = as the set says), `denoise` (bool)
    """
    folder.mkdir(parents=True, exist_ok=True)
    started = time.perf_counter()
    settings = spec["views"]["board"]
    size = picture_size(options["megapixels"] or settings["megapixels"])
    if settings["portrait"]:
        size = size[::-1]
    laid = build(spec, cards)
    camera = board_camera(laid, settings, size)
    items = [*laid.items, _phone_itself(camera)] if settings["shade"] else laid.items
    scene = Scene(items, spec["light"])
    linear, surface = scene.picture(camera, options["samples"] or settings["samples"], spec["seed"])
    if options["denoise"]:
        linear = np.maximum(denoise(linear, surface), 0)
    white = scene.white(laid.card)
    traced = time.perf_counter()
    classes, _ = scene.masks(camera)
    mask, leaf, stem = truth.shares(classes)
    numbers = plant_map(classes, scene.plants(camera), mask)
    look = _scaled(settings["look"], size)
    pixels = phone.develop(linear, white, look, spec["seed"] + 17)
    exif = phone.write_jpeg(folder / "board.jpg", pixels, settings["focal_mm"], look)
    for name, image in (("mask", mask), ("leaf", leaf), ("stem", stem), ("plants", numbers)):
        Image.fromarray(image).save(folder / f"board.{name}.png", optimize=False)
    facts = {
        "photo": "board.jpg",
        "view": "board",
        "width": size[0],
        "height": size[1],
        "class_share": {str(k): round(float((mask == k).mean()), 5) for k in range(8)},
        "camera": {**camera.record(), "focal_35mm": settings["focal_mm"],
                   "tilt_deg": settings["tilt_deg"],
                   "height_above_board_mm": float(camera.position[2])},
        "card": _card_facts(scene, laid, camera),
        "exif": exif,
        "leaf_colour": truth.leaf_colour(linear, surface, white, leaf),
        "dark_plant_pct": _dark_share(linear, white, mask),
        "white_radiance": white.tolist(),
        "grey_steps_rgb": _grey_steps(white, look),
    }  # fmt: skip
    known = (
        board_truth(laid, camera)
        if spec.get("truth", True)
        else {"pooled": {}, "plants": [], "frame": None}
    )
    facts["seconds"] = {"trace": traced - started, "all": time.perf_counter() - started}
    record = {
        "format": 1,
        "id": spec["id"],
        "set": spec["set"],
        "classes": {"0": "other", "1": "leaf", "2": "stem and leaf stalks", "3": "card",
                    "4": "medium and roots", "7": "hull"},
        "spec": spec,
        "tray": {"crop": spec["crop"], "light": spec["light"]["kind"],
                 "board": spec["board"]["colour"]},
        "truth": {**known["pooled"], "plants": known["plants"], "frame": known["frame"]},
        "photos": {"board": facts},
    }  # fmt: skip
    target = folder / "truth.json"
    partial = folder / "truth.json.part"
    partial.write_text(json.dumps(record), encoding="utf-8")
    partial.replace(target)
    return target


def plant_map(classes: NDArray, plants: NDArray, mask: NDArray) -> NDArray[np.uint8]:
    """Plant number (from 1) of each leaf or stem pixel: of its first ray of the pixel's class."""
    first = np.argmax(classes == mask[..., None], axis=-1)
    number = np.take_along_axis(plants, first[..., None], axis=-1)[..., 0] + 1
    is_plant = (mask == meshes.LEAF) | (mask == meshes.STEM)
    return np.where(is_plant, number, 0).astype(np.uint8)
