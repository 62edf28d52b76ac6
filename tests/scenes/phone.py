"""What a phone does to light: exposure, white balance, tone, noise, sharpening, JPEG, EXIF."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.scenes.colour import encode_srgb

F32 = NDArray[np.float32]
# EXIF orientation -> turns by 90 degrees that store an upright picture so.
_TURNS = {1: 0, 6: 1, 3: 2, 8: 3}
LUMA = np.array([0.2126, 0.7152, 0.0722], np.float32)


def blur(image: F32, sigma: float) -> F32:
    """Gaussian blur of (h, w) or (h, w, c), edges repeated."""
    if sigma <= 0:
        return image
    reach = max(1, int(np.ceil(3 * sigma)))
    taps = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2).astype(np.float32)
    taps /= taps.sum()
    for axis in (0, 1):
        widths = [(0, 0)] * image.ndim
        widths[axis] = (reach, reach)
        padded = np.pad(image, widths, mode="edge")
        total = np.zeros_like(image)
        for k, tap in enumerate(taps):
            window = [slice(None)] * image.ndim
            window[axis] = slice(k, k + image.shape[axis])
            total += tap * padded[tuple(window)]
        image = total
    return image


def white_gains(white: NDArray, look: dict) -> NDArray:
    """Gains (3,) of the phone's white balance and exposure.

    Parameters
    ----------
    white : (3,) radiance of a white diffuser beside the tray
    look : `adapt` (0 = no white balance, 1 = full), `wb_error` (3 factors), `exposure` (linear
        value that white reaches)
    """
    level = float(white @ LUMA)
    gains = (level / np.maximum(white, 0.02 * level)) ** look["adapt"] * np.array(look["wb_error"])
    seen = float((white * gains) @ LUMA)
    return gains * look["exposure"] / seen


def tone(linear: NDArray, look: dict) -> NDArray:
    """Saturation, sRGB coding and contrast of linear values; result is encoded, unclipped."""
    grey = linear @ LUMA.astype(linear.dtype)
    rich = grey[..., None] + look["saturation"] * (linear - grey[..., None])
    rich = np.maximum(rich, 0)
    # A soft shoulder keeps highlights from clipping hard, as phones do.
    knee = look["shoulder"]
    over = np.maximum(rich - knee, 0)
    rich = np.where(rich > knee, knee + (1 - knee) * (1 - np.exp(-over / (1 - knee))), rich)
    v = np.clip(encode_srgb(rich), 0, 1)
    s_curve = v * v * (3 - 2 * v)
    return (1 - look["contrast"]) * v + look["contrast"] * s_curve


def develop(linear: F32, white: NDArray, look: dict, seed: int) -> NDArray[np.uint8]:
    """Turn a linear picture (h, w, 3) into the 8-bit sRGB picture the phone would store.

    Parameters
    ----------
    look : as for `white_gains` and `tone`, and `lens_blur_px`, `vignette`, `noise`,
        `smear_px`, `sharpen`, `sharpen_px`
    """
    rng = np.random.default_rng(seed)
    height, width, _ = linear.shape
    y, x = np.ogrid[:height, :width]
    r2 = ((x - width / 2) ** 2 + (y - height / 2) ** 2) / (width**2 / 4 + height**2 / 4)
    fall = (1 - look["vignette"] * r2).astype(np.float32)[..., None]
    light = blur(linear.astype(np.float32), look["lens_blur_px"])
    light = light * white_gains(white, look).astype(np.float32) * fall
    grain = rng.standard_normal(light.shape, dtype=np.float32)
    grain = blur(grain, look["smear_px"])
    grain *= 1 / max(float(grain[: min(height, 200)].std()), 1e-6)
    light = light + grain * np.sqrt(look["noise"] ** 2 * (np.clip(light, 0, 1) + 0.004))
    coded = tone(np.maximum(light, 0), look).astype(np.float32)
    luma = coded @ LUMA
    halo = luma - blur(luma, look["sharpen_px"])
    coded = coded + look["sharpen"] * halo[..., None]
    return (np.clip(coded, 0, 1) * 255 + 0.5).astype(np.uint8)


def write_jpeg(path: Path, upright: NDArray[np.uint8], focal_35mm: float, look: dict) -> dict:
    """Write the photo with EXIF; returns the EXIF values written."""
    turned = np.ascontiguousarray(np.rot90(upright, _TURNS[look["orientation"]]))
    taken = datetime.fromisoformat(look["taken"])
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Lumenleaf", "Fieldphone 3"
    exif[0x0112] = look["orientation"]
    exif[0x0132] = taken.strftime("%Y:%m:%d %H:%M:%S")
    detail = exif.get_ifd(0x8769)
    detail[0x9003] = exif[0x0132]
    detail[0xA405] = round(focal_35mm)
    detail[0x920A] = round(focal_35mm / 4.3, 2)
    partial = path.with_name(path.name + ".part")
    Image.fromarray(turned).save(
        partial, "JPEG", quality=look["jpeg_quality"], subsampling=look["subsampling"], exif=exif
    )
    partial.replace(path)
    return {
        "make": "Lumenleaf",
        "model": "Fieldphone 3",
        "orientation": look["orientation"],
        "focal_length_in_35mm_film": round(focal_35mm),
        "date_time_original": taken.isoformat(),
    }
