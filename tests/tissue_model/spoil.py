"""What phones and hurry do to a photo, one at a time: does the model still know leaf from stem?"""

from collections.abc import Callable

import cv2
import numpy as np
import torch

from tests.tissue_model.light import to_linear, to_srgb

Spoil = Callable[[np.ndarray], np.ndarray]


def _compressed(rgb: np.ndarray) -> np.ndarray:
    file = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 25])[1]
    return np.ascontiguousarray(cv2.imdecode(file, cv2.IMREAD_COLOR)[..., ::-1])


def _blurred(rgb: np.ndarray) -> np.ndarray:
    return cv2.GaussianBlur(rgb, (0, 0), 1.5)


def _sharpened(rgb: np.ndarray) -> np.ndarray:
    sharp = rgb + 1.5 * (rgb.astype(np.float32) - cv2.GaussianBlur(rgb, (0, 0), 1.2))
    return sharp.clip(0, 255).astype(np.uint8)


def _in_light(change: Callable[[torch.Tensor], torch.Tensor]) -> Spoil:
    """What a change of linear light (h, w, 3) makes of a picture."""

    def spoil(rgb: np.ndarray) -> np.ndarray:
        linear = change(to_linear(torch.from_numpy(rgb) / 255))
        return (to_srgb(linear).numpy() * 255).round().astype(np.uint8)

    return spoil


def _dark(rgb: np.ndarray) -> np.ndarray:
    darker = _in_light(lambda light: 0.35 * light)(rgb)
    noise = np.random.default_rng(1).normal(0, 9, rgb.shape)
    return (darker + noise).clip(0, 255).astype(np.uint8)


SPOILS: dict[str, Spoil] = {
    "as it is": lambda rgb: rgb,
    "JPEG of quality 25": _compressed,
    "blur of 1.5 px": _blurred,
    "sharpened by 1.5": _sharpened,
    "1.9 times the light": _in_light(lambda light: 1.9 * light),
    "a third of the light, noise of 9": _dark,
    "two fifths of the colour gone": _in_light(
        lambda light: 0.6 * light + 0.4 * light.mean(2, keepdim=True)
    ),
    "too warm by 1.35 and 0.6": _in_light(lambda light: light * torch.tensor([1.35, 1.0, 0.6])),
}
"""Names, and what they do to a picture, uint8 (h, w, 3), at the scale that the model sees it."""
