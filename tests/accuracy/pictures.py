"""Pictures of the scenes that are farthest off: photo, truth, what was measured, what differs."""

from __future__ import annotations

import json
import shutil
import textwrap
from collections import defaultdict
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageOps

from tests.accuracy.overlaps import HULL, LEAF, STEM
from tests.accuracy.tables import RELATIVE, farthest_off
from tests.scenes.camera import Camera
from traymorph.model.metrics import METRICS
from traymorph.model.photo import View
from traymorph.report.lettering import draw_text, text_length

_PANEL = (900, 680)
_MARGIN = 0.05
_WORDS, _LINE, _LETTERS_PER_LINE = 20, 28, 175
# Colours that those who see red and green alike can tell apart: Okabe & Ito 2008, Color Universal
# Design.
_TEAL, _ORANGE = (0, 158, 115), (230, 159, 0)
_BLUE, _VERMILION, _YELLOW, _PURPLE = (
    (0, 114, 178), (213, 94, 0), (240, 228, 66), (204, 121, 167),
)  # fmt: skip
_DIFFERENCES = (
    ("plant missed", _BLUE),
    ("no plant of the tray, counted", _VERMILION),
    ("stem told as leaf", _YELLOW),
    ("leaf told as stem", _PURPLE),
)

_Words = list[tuple[str, tuple[int, int, int] | None]]


def draw_worst(scenes: list[dict], rendered: Path, out: Path) -> None:
    """Draw ``out/worst/METRIC/RANK_SCENE.jpg``, worst first; former pictures go.

    Parameters
    ----------
    scenes : list of dict
        Readings, from `tests.accuracy.readings.read_scene`.
    rendered : Path
        Folder with one sub-folder per scene.
    out : Path
        Where the readings, masks and overlays are kept.
    """
    by_name = {scene["scene"]: scene for scene in scenes}
    shutil.rmtree(out / "worst", ignore_errors=True)
    wanted = defaultdict(list)
    for name, worst in farthest_off(scenes).items():
        for rank, (row, off) in enumerate(worst, start=1):
            view = row.get("view") or _view_of(name)
            wanted[row["scene"], view].append((name, rank, in_words(name, row, off)))
    for (scene, view), uses in wanted.items():
        picture = panels(rendered / scene, out, view)
        known = by_name[scene]
        flags = "flags: " + (", ".join(known["flags"]) or "none")
        tray = f"{scene}, {known['crop']} ({known['group']}), {known['light']}, {view}"
        for name, rank, reading in uses:
            file = out / "worst" / name / f"{rank}_{scene}.jpg"
            file.parent.mkdir(parents=True, exist_ok=True)
            captioned(picture, [f"{rank}. {tray}: {reading}", flags]).save(file, quality=88)


def _view_of(metric: str) -> str:
    return "side" if METRICS[metric].view is View.SIDE else "overhead"


def in_words(name: str, row: dict, off: float) -> str:
    """Value, truth and doubt of a reading, or how far an overlap reaches."""
    if "metric" not in row:
        return f"{name} overlap (Dice) {off:.3f}"
    by = (row["value"] - row["truth"]) / row["u"]
    sign = " %" if name in RELATIVE else ""
    return (
        f"{name} {row['value']:.4g}, truth {row['truth']:.4g}, off by {off:+.3g}{sign}; "
        f"u {row['u']:.2g}, so {by:+.1f} u"
    )


def panels(scene: Path, out: Path, view: str) -> Image.Image:
    """Four pictures of one photo: as taken, the truth, the program's overlay, the differences."""
    record = json.loads((scene / "truth.json").read_text("utf-8"))
    taken = Image.open(scene / record["photos"][view]["photo"])
    photo = np.array(ImageOps.exif_transpose(taken).convert("RGB"))  # masks are upright
    truth = np.array(Image.open(scene / f"{view}.mask.png"))
    mask = np.array(Image.open(out / "masks" / f"{record['id']}_{view}.png"))
    lines = true_lines(record, view)
    box = _box(truth, mask, lines)
    true = _drawn(told(photo, truth), lines)
    apart = differing(photo, truth, mask)
    pictures = [_fitted(Image.fromarray(one[box])) for one in (photo, true, apart)]
    overlay = out / "overlays" / f"{record['id']}_{view}.jpg"
    pictures.insert(2, _fitted(Image.open(overlay).convert("RGB")))
    titles: list[_Words] = [
        [("photo", None)],
        [("truth: leaf", _TEAL), ("stem", _ORANGE), (_line_title(view), (0, 0, 0))],
        [("what was measured", None)],
        list(_DIFFERENCES),
    ]
    return _in_two_rows(pictures, titles)


def _in_two_rows(pictures: list[Image.Image], titles: list[_Words]) -> Image.Image:
    heights = [max(one.height for one in pictures[k : k + 2]) + _LINE for k in (0, 2)]
    sheet = Image.new("RGB", (2 * _PANEL[0], sum(heights)), "white")
    for k, (picture, title) in enumerate(zip(pictures, titles, strict=True)):
        x, y = (k % 2) * _PANEL[0], (k // 2) * heights[0]
        _legend(sheet, (x, y), title)
        sheet.paste(picture, (x, y + _LINE))
    return sheet


def true_lines(record: dict, view: str) -> list[np.ndarray]:
    """Lines to draw into a photo, pixels (n, 2): the true opening; the front rim and mean height.

    The mean canopy height is drawn halfway between front and back wall.
    """
    tray, seen = record["tray"], record["photos"][view]
    length, width = tray["inside_length_mm"] / 2, tray["inside_width_mm"] / 2
    rim, share = tray["rim_above_bench_mm"], np.linspace(-1, 1, 40)
    ends = np.ones_like(share)
    if view == "overhead":
        x = np.concatenate([share, ends, -share, -ends])
        y = np.concatenate([-ends, share, ends, -share])
        lines = [np.column_stack([length * x, width * y, np.full_like(x, rim)])]
    else:
        top = rim - tray["rim_above_medium_mm"] + record["truth"]["canopy_height_mm"]
        lines = [
            np.column_stack([length * share, -width * ends, rim * ends]),
            np.column_stack([length * share, 0 * ends, top * ends]),
        ]
    return [_camera(seen).project(line) for line in lines]


def _camera(seen: dict) -> Camera:
    camera = seen["camera"]
    return Camera(
        seen["width"],
        seen["height"],
        camera["K"][0][0],
        *camera["distortion_k1_k2"],
        np.array(camera["R_world_to_camera"]),
        np.array(camera["position_mm"]),
    )


def _line_title(view: str) -> str:
    return "opening" if view == "overhead" else "rim, mean height in mid-tray"


def told(photo: np.ndarray, classes: np.ndarray) -> np.ndarray:
    """Tint leaf and stem on the faded photo."""
    picture = _faded(photo)
    for kind, colour in ((LEAF, _TEAL), (STEM, _ORANGE)):
        picture[classes == kind] = _mixed(picture[classes == kind], colour)
    return picture


def differing(photo: np.ndarray, truth: np.ndarray, mask: np.ndarray) -> np.ndarray:
    """Tint what was missed, wrongly counted, or told as the wrong one of leaf and stem."""
    picture = _faded(photo)
    true, found = np.isin(truth, (LEAF, STEM)), np.isin(mask, (LEAF, STEM))
    wrong = (
        true & ~found,
        found & ~true & (truth != HULL),
        (truth == STEM) & (mask == LEAF),
        (truth == LEAF) & (mask == STEM),
    )
    for where, (_, colour) in zip(wrong, _DIFFERENCES, strict=True):
        picture[where] = _mixed(picture[where], colour)
    return picture


def _faded(photo: np.ndarray) -> np.ndarray:
    grey = photo.mean(axis=2, keepdims=True)
    return np.repeat(90 + 0.6 * grey, 3, axis=2).astype(np.uint8)


def _mixed(pixels: np.ndarray, colour: tuple[int, int, int]) -> np.ndarray:
    return (0.25 * pixels + 0.75 * np.array(colour)).astype(np.uint8)


def _drawn(picture: np.ndarray, lines: list[np.ndarray]) -> np.ndarray:
    thick = max(2, picture.shape[1] // 700)
    for line in lines:
        points = [np.round(line).astype(np.int32)]
        cv2.polylines(picture, points, isClosed=False, color=(255, 255, 255), thickness=3 * thick)
        cv2.polylines(picture, points, isClosed=False, color=(0, 0, 0), thickness=thick)
    return picture


def _box(truth: np.ndarray, mask: np.ndarray, lines: list[np.ndarray]) -> tuple[slice, slice]:
    """Rows and columns that hold the true plants, the counted ones and the lines."""
    rows, columns = np.nonzero(np.isin(truth, (LEAF, STEM)) | np.isin(mask, (LEAF, STEM)))
    points = np.vstack([*lines, np.column_stack([columns, rows])[:: max(1, len(rows) // 20000)]])
    low, high = points.min(axis=0), points.max(axis=0)
    margin = _MARGIN * (high - low).max()
    left, top = np.maximum(low - margin, 0).astype(int)
    right, bottom = np.minimum(high + margin, truth.shape[::-1]).astype(int)
    return slice(top, bottom), slice(left, right)


def _fitted(picture: Image.Image) -> Image.Image:
    scale = min(_PANEL[0] / picture.width, _PANEL[1] / picture.height)
    size = (max(1, round(picture.width * scale)), max(1, round(picture.height * scale)))
    return picture.resize(size, Image.Resampling.LANCZOS)


def _legend(sheet: Image.Image, at: tuple[int, int], words: _Words) -> None:
    draw = ImageDraw.Draw(sheet)
    x, y = at[0] + 6, at[1] + 3
    for text, colour in words:
        if colour is not None:
            draw.rectangle((x, y + 3, x + 16, y + 19), fill=colour)
            x += 22
        draw_text(draw, (x, y), text, _WORDS, (0, 0, 0))
        x += round(text_length(text, _WORDS)) + 24


def captioned(picture: Image.Image, lines: list[str]) -> Image.Image:
    """Put lines of words above a picture."""
    wrapped = [part for line in lines for part in textwrap.wrap(line, _LETTERS_PER_LINE)]
    head = _LINE * len(wrapped) + 8
    sheet = Image.new("RGB", (picture.width, picture.height + head), "white")
    draw = ImageDraw.Draw(sheet)
    for k, line in enumerate(wrapped):
        draw_text(draw, (6, 4 + _LINE * k), line, _WORDS, (0, 0, 0))
    sheet.paste(picture, (0, head))
    return sheet
