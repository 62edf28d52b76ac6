"""How often tray labels are read: labels laid into the sample photos, made worse step by step.

``python -m tests.benchmarks.label_reading``: labels as printed lie on the bench of every overhead
sample photo, anywhere and turned at random, scaled as if taken from 500 to 700 mm with 12
megapixels, lit as the card's white is; then blurred, made noisy, slanted or shrunk. The labels'
pixels go through JPEG at quality 90.
"""

import time
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import segno

from traymorph.intake.labels import read_labels
from traymorph.intake.photos import read_photo
from traymorph.model.labels import label_text
from traymorph.model.photo import CameraInfo, Photo
from traymorph.report.labels import module_mm

SAMPLES = sorted((Path(__file__).parents[2] / "sample_images" / "photos").glob("*_overhead.jpg"))
PLACES = 10
FOCAL_PX = 26.0 / np.hypot(36.0, 24.0) * 5000.0
HALF = 300
INK, PAPER = 0.06, 0.9  # of the white's code


@dataclass(frozen=True)
class Look:
    name: str
    blur: float = 0.0
    noise: float = 0.0
    slant: float = 0.0
    shrink: float = 1.0
    distance: tuple[float, float] = (500.0, 700.0)


LOOKS = (
    Look("as taken"),
    Look("blurred, sigma 1.5 px", blur=1.5),
    Look("blurred, sigma 2.5 px", blur=2.5),
    Look("blurred, sigma 4 px", blur=4.0),
    Look("noise, 15 codes", noise=15.0),
    Look("slant of 35 degrees", slant=35.0),
    Look("blur 1.2 px, noise 8, slant 20", blur=1.2, noise=8.0, slant=20.0),
    Look("8 megapixels, 700 mm", shrink=3264 / 4000, distance=(700.0, 700.0)),
    Look("3 megapixels, 700 mm", shrink=2048 / 4000, distance=(700.0, 700.0)),
    Look("messenger: 2 megapixels, 700 mm", shrink=1600 / 4000, distance=(700.0, 700.0)),
)


def label_picture(tray_id, px=12):
    made = segno.make_qr(
        label_text(tray_id), error="q", boost_error=False, mode="byte", encoding="utf-8"
    )
    cells = np.pad(np.array([list(row) for row in made.matrix], np.uint8), 4)
    return np.kron(1 - cells, np.ones((px, px), np.uint8)).astype(np.float32)


def laid(rgb, white, tray_id, look, draw):
    """Cut a piece of the photo out and lay a label into it."""
    height, width = rgb.shape[:2]
    x, y = draw.integers(HALF, width - HALF), draw.integers(HALF, height - HALF)
    piece = rgb[y - HALF : y + HALF, x - HALF : x + HALF].astype(np.float32)
    drawn = label_picture(tray_id)
    px_per_module = module_mm(tray_id) * FOCAL_PX / draw.uniform(*look.distance)
    half = drawn.shape[0] / 12 * px_per_module / 2
    turn = draw.uniform(0, 2 * np.pi)
    corners = half * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    corners = corners @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    away = np.radians(look.slant)
    depth = 600.0 * px_per_module / module_mm(tray_id)
    near = depth / (depth + corners[:, 1:] * np.sin(away))
    corners = corners * [1.0, np.cos(away)] * near + HALF
    start = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * float(drawn.shape[0]) - 0.5
    matrix = cv2.getPerspectiveTransform(start.astype(np.float32), corners.astype(np.float32))
    # Drawn four times as fine, so that edges are mixed as a sensor mixes them.
    fine = np.diag([4.0, 4.0, 1.0]) @ matrix
    size = (8 * HALF, 8 * HALF)
    ink = cv2.warpPerspective(drawn, fine, size)
    cover = cv2.warpPerspective(np.ones_like(drawn), fine, size)
    ink, cover = (
        cv2.resize(one, (2 * HALF, 2 * HALF), interpolation=cv2.INTER_AREA)[:, :, None]
        for one in (ink, cover)
    )
    piece = piece * (1 - cover) + white * (INK * (cover - ink) + PAPER * ink)
    if look.shrink < 1.0:
        piece = cv2.resize(
            piece, None, fx=look.shrink, fy=look.shrink, interpolation=cv2.INTER_AREA
        )
    if look.blur:
        piece = cv2.GaussianBlur(piece, (0, 0), look.blur)
    piece = piece + draw.normal(0.0, look.noise + 1.0, piece.shape)
    return as_stored(np.clip(piece, 0, 255).astype(np.uint8))


def as_stored(rgb):
    _, data = cv2.imencode(".jpg", rgb[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])
    return np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[:, :, ::-1])


def main():
    draw = np.random.default_rng(11)
    photos = [read_photo(path) for path in SAMPLES]
    start = time.perf_counter()
    for photo in photos:
        assert read_labels(photo) == ()
    each = (time.perf_counter() - start) / len(photos)
    megapixels = photos[0].rgb.size / 3e6
    print(f"looking through a photo of {megapixels:.0f} megapixels: {1000 * each:.0f} ms")
    for look in LOOKS:
        read = wrong = 0
        for photo in photos:
            white = np.percentile(photo.rgb, 97, axis=(0, 1)).astype(np.float32)
            for place in range(PLACES):
                tray_id = f"T{place:02d}"
                rgb = laid(photo.rgb, white, tray_id, look, draw)
                found = {one.tray_id for one in read_labels(Photo(Path(), "", rgb, CameraInfo()))}
                read += tray_id in found
                wrong += bool(found - {tray_id})
        print(f"{look.name:34s} {read:3d} of {PLACES * len(photos)} read, {wrong} wrong")


if __name__ == "__main__":
    main()
