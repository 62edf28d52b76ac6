"""Measures the photos of a set for comparing colour, and what an ideal camera reads of each."""

from __future__ import annotations

import colorsys
import json
import math
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from skimage.color import deltaE_ciede2000, rgb2lab

from traymorph.config.settings import Settings
from traymorph.errors import TraymorphError
from traymorph.measure.colour import colour_metrics
from traymorph.model.photo import View
from traymorph.model.results import Measured
from traymorph.model.trial import PhotoEntry, TraySize
from traymorph.pipeline.overhead import measure_overhead_photo
from traymorph.pipeline.seen import SeenPhoto, SegmentedPhoto, see, segment

COLUMNS = (
    "leaf_l", "leaf_a", "leaf_b", "leaf_chroma", "leaf_hue_deg",
    "green_share", "excess_green", "greenness_index",
)  # fmt: skip
"""Columns of colour that an ideal camera reads too; the yellowed share has a truth of its own."""
LAB = COLUMNS[:3]
WAYS = ("program", "true leaf", "same pixels")
"""The program's own leaf; the scene's leaf in its place; and, with no rule of the program on
which leaf pixels to take, the corrected picture at the very pixels that the ideal camera read."""
UNFIT = "light_unfit_for_colour"
_DAY = datetime(2026, 3, 10)  # noqa: DTZ001 (a phone's local time has no zone)


def read_tray(folder: Path, out: Path) -> list[dict]:
    """Read every photo of a rendered tray; readings are kept in ``out`` and found there again."""
    record = json.loads((folder / "truth.json").read_text("utf-8"))
    return [_kept(folder, record, photo, out) for photo in record["photos"]]


def _kept(folder: Path, record: dict, photo: str, out: Path) -> dict:
    kept = out / f"{record['id']}_{photo}.json"
    if not kept.exists():
        found = read_photo(folder, record, photo)
        partial = kept.with_suffix(".part")
        partial.write_text(json.dumps(found), "utf-8")
        partial.replace(kept)
    return json.loads(kept.read_text("utf-8"))


def read_photo(folder: Path, record: dict, photo: str) -> dict:
    """Measure one photo; a photo that cannot be measured carries the program's sentence."""
    facts = record["photos"][photo]
    rendered = facts.get("same_as", photo)
    settings = record["spec"]["views"][rendered]
    pixels = dict(np.load(folder / f"{rendered}.leaf_pixels.npz"))
    lab = facts["leaf_colour"]["ideal_camera_lab_mean_of_pixels"]
    found = {
        "tray": record["id"],
        "crop": record["spec"]["crop"],
        "photo": photo.removeprefix("overhead_"),
        "light": settings["light"]["kind"],
        "error": "",
        "ideal": ideal_columns(lab, pixels["light"]),
        "yellowed": {"truth": 100.0 * float(pixels["yellowed"].mean())},
    }
    try:
        return found | _measured(folder, record, rendered, facts["photo"], pixels)
    except TraymorphError as err:
        return found | {"error": str(err)}


def _measured(
    folder: Path, record: dict, rendered: str, file: str, pixels: dict[str, NDArray]
) -> dict:
    """Everything that the program reads of one photo, its leaf and the scene's leaf given."""
    tray = record["tray"]
    size = TraySize(
        tray["inside_length_mm"],
        tray["inside_width_mm"],
        tray["rim_above_medium_mm"],
        tray["rim_above_bench_mm"],
    )
    plane = record["spec"]["views"][rendered]["card"]["plane"]
    settings = Settings.model_validate({"card": {"plane": plane}})
    seen = see(PhotoEntry(folder / file, record["id"], View.OVERHEAD, _DAY), 100.0)
    segmented = segment(seen)
    outcome = measure_overhead_photo(seen, segmented, size, settings)
    share = np.asarray(Image.open(folder / f"{rendered}.leaf.png"), np.float32) / 255.0
    height, width = segmented.rgb.shape[:2]
    leaf = cv2.resize(share, (width, height), interpolation=cv2.INTER_AREA)
    of_true_leaf, _ = colour_metrics(segmented.rgb, leaf, seen.sighting.colour)
    readings = {
        "program": _columns(outcome.metrics),
        "true leaf": _columns(of_true_leaf),
        "same pixels": _at_pixels(seen, segmented, pixels),
    }
    yellowed = outcome.metrics["yellowed_pct"]
    return {
        "flags": sorted({*outcome.flags, *outcome.quality.flags}),
        "colour_error_de00": seen.sighting.colour.error_de00,
        "readings": readings,
        "yellowed": {
            "value": yellowed.value,
            "u": yellowed.u,
            "of_true_leaf": of_true_leaf["yellowed_pct"].value,
            "truth": 100.0 * float(pixels["yellowed"].mean()),
        },
    }


def _columns(metrics: dict[str, Measured]) -> dict[str, list[float]]:
    return {name: [metrics[name].value, metrics[name].u] for name in COLUMNS}


def _at_pixels(
    seen: SeenPhoto, segmented: SegmentedPhoto, pixels: dict[str, NDArray]
) -> dict[str, list[float]]:
    """Colour columns of the corrected picture at given pixels of the photo, without a doubt."""
    if not seen.sighting.colour.shows_colour:
        return {name: [math.nan, math.nan] for name in COLUMNS}
    height, width = segmented.rgb.shape[:2]
    full_width, full_height = seen.photo.size_px
    row = ((pixels["row"] + 0.5) * height / full_height).astype(int)
    column = ((pixels["column"] + 0.5) * width / full_width).astype(int)
    encoded = segmented.rgb[row, column] / 255.0
    lab = rgb2lab(encoded[None])[0].mean(axis=0)
    return {name: [v, math.nan] for name, v in columns_of(lab, encoded.mean(axis=0)).items()}


def ideal_columns(lab: list[float], light: NDArray) -> dict[str, float]:
    """Colour columns as an ideal camera reads them.

    Parameters
    ----------
    lab : mean CIELAB of all whole leaf pixels, from the scene's truth
    light : (n, 3) linear light of single leaf pixels over that of white, for the indices
    """
    v = np.clip(light.astype(np.float64), 0.0, 1.0)
    # IEC 61966-2-1
    encoded = np.where(v <= 0.0031308, 12.92 * v, 1.055 * np.maximum(v, 1e-9) ** (1 / 2.4) - 0.055)
    return columns_of(lab, encoded.mean(axis=0))


def columns_of(lab: list[float] | NDArray, encoded: NDArray) -> dict[str, float]:
    """Colour columns of a mean CIELAB colour and a mean sRGB-encoded colour.

    The dark green colour index is that of Karcher & Richardson (2003), Crop Science 43:943-951.
    """
    lightness, a, b = (float(v) for v in lab)
    red, green, blue = (float(v) for v in encoded)
    hue, saturation, brightness = colorsys.rgb_to_hsv(red, green, blue)
    share = green / (red + green + blue)
    index = ((360 * hue - 60) / 60 + (1 - saturation) + (1 - brightness)) / 3
    return {
        "leaf_l": lightness,
        "leaf_a": a,
        "leaf_b": b,
        "leaf_chroma": math.hypot(a, b),
        "leaf_hue_deg": math.degrees(math.atan2(b, a)) % 360,
        "green_share": share,
        "excess_green": 3 * share - 1,
        "greenness_index": index if 60 <= 360 * hue <= 120 else math.nan,
    }


def lab_of(row: dict, way: str) -> list[float]:
    """Mean leaf colour of a photo, L*, a*, b*; NaN where it was refused or not measured."""
    if way == "ideal":
        return [row["ideal"][name] for name in LAB]
    if row["error"]:
        return [math.nan] * 3
    return [row["readings"][way][name][0] for name in LAB]


def de00(first: list[float], second: list[float]) -> float:
    """CIEDE2000 between two colours; NaN where one is missing."""
    if not np.isfinite([*first, *second]).all():
        return math.nan
    return float(deltaE_ciede2000(np.array(first), np.array(second)))


def errors(row: dict) -> Iterator[tuple[str, float, float]]:
    """Column, error and standard uncertainty of everything the program read of a photo."""
    if row["error"]:
        return
    for name in COLUMNS:
        value, u = row["readings"]["program"][name]
        error = value - row["ideal"][name]
        if name == "leaf_hue_deg":
            error = (error + 180) % 360 - 180
        yield name, error, u
    yellowed = row["yellowed"]
    yield "yellowed_pct", yellowed["value"] - yellowed["truth"], yellowed["u"]
