"""How well a network does on whole photos that it was not trained on."""

from collections import defaultdict
from collections.abc import Callable

import cv2
import numpy as np
import torch

from tests.tissue_model.light import to_linear, to_srgb
from tests.tissue_model.network import STRIDE, class_scores
from tests.tissue_model.scenes import Rendered

Predict = Callable[[np.ndarray], np.ndarray]
_UNCALIBRATED_WIDTH = 800
_LARGEST_ZOOM = 1.5
_PARTS = ("plant", "leaf", "stem")


def prediction(net: torch.nn.Module, device: torch.device) -> Predict:
    """uint8 (h, w, 3) -> probabilities of other, leaf, stem (3, h, w)."""

    @torch.no_grad()
    def predict(rgb: np.ndarray) -> np.ndarray:
        height, width = rgb.shape[:2]
        below, right = -height % STRIDE, -width % STRIDE
        padded = cv2.copyMakeBorder(rgb, 0, below, 0, right, cv2.BORDER_REFLECT_101)
        x = torch.from_numpy(padded).to(device).permute(2, 0, 1).unsqueeze(0).float() / 255
        shares = class_scores(net(x)).softmax(1)[0, :, :height, :width]
        return shares.float().cpu().numpy()

    return predict


def as_measured(photo: Rendered, *, calibrated: bool) -> tuple[np.ndarray, np.ndarray]:
    """The photo as measuring hands it over, and its shares (h, w, 5) 0 to 1.

    Calibrated: at the usual scale and with the card's greys made neutral; else as it came,
    at the width that is used when nothing is known of it.
    """
    height, width = photo.rgb.shape[:2]
    zoom = photo.mm_per_px / photo.typical_mm_per_px if calibrated else _UNCALIBRATED_WIDTH / width
    zoom = min(zoom, _LARGEST_ZOOM)
    size = (round(width * zoom), round(height * zoom))
    how = cv2.INTER_AREA if zoom < 1 else cv2.INTER_LINEAR
    pixels = [
        cv2.resize(np.ascontiguousarray(photo.pixels[..., k : k + 4]), size, interpolation=how)
        for k in (0, 4)
    ]
    together = np.concatenate(pixels, axis=2)
    rgb = together[..., :3]
    if calibrated:
        values = to_linear(torch.arange(256).view(256, 1) / 255) * torch.from_numpy(photo.gain)
        table = (to_srgb(values).numpy() * 255).round().astype(np.uint8)
        rgb = np.stack([cv2.LUT(rgb[..., k], table[:, k]) for k in range(3)], axis=2)
    return np.ascontiguousarray(rgb), together[..., 3:].astype(np.float32) / 255


def judged(predict: Predict, photos: list[Rendered], *, calibrated: bool) -> list[dict]:
    """Dice of plant, leaf and stem and the bias of their areas, photo by photo."""
    rows = []
    for photo in photos:
        rgb, shares = as_measured(photo, calibrated=calibrated)
        p = predict(rgb)
        known = shares[..., 2] < 0.5
        row = {"scene": photo.scene, "view": photo.view, "crop": photo.crop}
        found = {"plant": p[1] + p[2], "leaf": p[1], "stem": p[2]}
        true = {
            "plant": shares[..., 0] + shares[..., 1],
            "leaf": shares[..., 0],
            "stem": shares[..., 1],
        }
        is_leaf = p[1] >= p[2]
        for part in _PARTS:
            there = found["plant"] > 0.5
            if part != "plant":
                there = there & (is_leaf if part == "leaf" else ~is_leaf)
            here = true[part] > 0.5
            both = (there & here & known).sum()
            total = (there & known).sum() + (here & known).sum()
            row[part] = float(2 * both / total) if total else 1.0
            area = float((true[part] * known).sum())
            row[f"{part}_area"] = (
                float((found[part] * known).sum()) / area - 1 if area > 500 else np.nan
            )
        rows.append(row)
    return rows


def summary(rows: list[dict]) -> dict[str, dict[str, list[float]]]:
    """By view, for each figure: [mean, worst] of Dice, [mean, largest size] of area bias."""
    views = defaultdict(list)
    for row in rows:
        views[row["view"]].append(row)
    table: dict[str, dict[str, list[float]]] = {}
    for view, some in sorted(views.items()):
        table[view] = {"photos": [len(some)]}
        for part in _PARTS:
            dice = [r[part] for r in some]
            table[view][part] = [round(float(np.mean(dice)), 4), round(min(dice), 4)]
            bias = np.array([r[f"{part}_area"] for r in some])
            bias = bias[np.isfinite(bias)]
            if len(bias):
                table[view][f"{part}_area"] = [
                    round(float(bias.mean()), 4), round(float(np.abs(bias).max()), 4)
                ]  # fmt: skip
    return table


def contact_sheet(predict: Predict, photos: list[Rendered], *, calibrated: bool) -> np.ndarray:
    """Photo, truth and prediction side by side, leaf tinted teal and stem orange; RGB."""
    rows = []
    for photo in photos:
        rgb, shares = as_measured(photo, calibrated=calibrated)
        p = predict(rgb)
        tiles = [rgb, _tinted(rgb, shares[..., 0], shares[..., 1]), _tinted(rgb, p[1], p[2])]
        rows.append(
            np.hstack([cv2.resize(t, (480, 360), interpolation=cv2.INTER_AREA) for t in tiles])
        )
    if len(rows) % 2:
        rows.append(np.zeros_like(rows[0]))
    half = len(rows) // 2
    return np.hstack([np.vstack(rows[:half]), np.vstack(rows[half:])])


def _tinted(rgb: np.ndarray, leaf: np.ndarray, stem: np.ndarray) -> np.ndarray:
    grey = np.repeat(rgb.mean(2, keepdims=True), 3, 2) * 0.6
    leaf, stem = leaf[..., None], stem[..., None]
    mixed = grey * (1 - 0.75 * (leaf + stem)) + 0.75 * (
        leaf * np.array([0, 190, 170]) + stem * np.array([255, 140, 0])
    )
    return mixed.clip(0, 255).astype(np.uint8)
