"""``python -m tests.segment.board_rim_fit RENDERED_SET ...``: fit the outline step of boards.

Segments every rendered board, and drawn ones of other light and sharpness, without that step,
reads the picture across the outlines found and fits the small network that tells how far off they
are. Every rendered board counts the same, as do four drawn ones. Errors are
told for boards left out of the fit, a quarter of them at a time. Writes
``traymorph/segment/board_rim_weights.py``.
"""

import argparse
import sys
import textwrap
from itertools import pairwise, product
from pathlib import Path
from unittest import mock

import cv2
import numpy as np
from PIL import Image

from tests.segment.board_pictures import BOARDS, CROPS, MM_PER_PX, Picture
from traymorph.card.colour import correct
from traymorph.model.photo import View
from traymorph.model.trial import PhotoEntry
from traymorph.pipeline.board import BOARD_MM_PER_PX
from traymorph.pipeline.seen import card_area, reduce, see
from traymorph.segment import board, board_rim
from traymorph.segment.board_rim import settle_rims

_HULL, _ROOT = 7, 4
_PARTS = ("leaf", "stem")
_HIDDEN, _STEPS, _BATCH, _RATE = 16, 2500, 1024, 3e-3
_FARTHEST_PX, _BEND_PX = 3.0, 1.5
_READ = len(board_rim.AWAY_PX)
_UNSEEN = {("white", "pale"), ("black", "dark")}


def main() -> int:
    """Fit on all boards named and write the weights."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rendered", type=Path, nargs="+", help="folders with boards and truth")
    folders = sorted(
        p.parent for one in parser.parse_args().rendered for p in one.glob("*/truth.json")
    )
    boards = [_outlines(folder) for folder in folders]
    for quarter in range(4):
        layers = fit([b for k, b in enumerate(boards) if k % 4 != quarter])
        for folder, (features, off) in list(zip(folders, boards, strict=True))[quarter::4]:
            left = off - predict(layers, features)
            told = f"{folder.name}: {off.mean():+.2f} px, left {left.mean():+.2f} px\n"
            sys.stdout.write(told)
    boards += _drawn()
    target = Path(board_rim.__file__).with_name("board_rim_weights.py")
    target.write_text(_module(fit(boards)), "utf-8")
    return 0


def _outlines(folder: Path) -> tuple[np.ndarray, np.ndarray]:
    """Features of the outlines found on a board, and how far out the true ones lie, pixels."""
    seen = see(PhotoEntry(folder / "board.jpg", "", View.BOARD, None), 100.0)
    reduced = reduce(seen.photo.rgb, max(1.0, BOARD_MM_PER_PX / seen.mm_per_px))
    scale = seen.photo.size_px[0] / reduced.shape[1]
    rgb = correct(reduced, seen.sighting.colour)
    card = card_area(seen.sighting, scale, rgb.shape[:2])
    truth = np.array(Image.open(folder / "board.mask.png"))
    plant = _shrunk(true_share(folder), rgb.shape)
    other = (_shrunk(np.isin(truth, (_HULL, _ROOT)), rgb.shape) > 0) | card
    other = cv2.dilate(other.astype(np.uint8), np.ones((21, 21), np.uint8)) > 0
    share = _unsettled(rgb, seen.mm_per_px * scale, card)
    features, off = _compared(share, rgb, plant, other)
    return features[::3], off[::3]


def true_share(folder: Path) -> np.ndarray:
    """Share of plant per pixel of a rendered photo, 0..1.

    Not the class mask: there a pixel half of plant is plant, so that it reaches too far all round.
    Shares are stored rounded down, a half as 127 of 255; here they are in the middle of the step.
    """
    leaf, stem = (
        np.asarray(Image.open(folder / f"board.{part}.png"), np.float32) for part in _PARTS
    )
    return np.minimum((leaf + stem + np.float32(0.5)) / np.float32(255), np.float32(1))


def _drawn() -> list[tuple[np.ndarray, np.ndarray]]:
    """Drawn boards, four together: other edges than the renderer's."""
    random = np.random.default_rng(77)
    found = []
    for board_name, crop in 2 * list(product(BOARDS, CROPS)):
        if (board_name, crop) in _UNSEEN:
            continue
        tone = tuple(np.clip(np.array(BOARDS[board_name]) * random.uniform(0.85, 1.08), 0, 250))
        picture = Picture(
            84.0, 64.0, board=tone, seed=int(random.integers(1000, 9999)),
            shadow=random.uniform(0, 0.5), shadow_mm=tuple(random.uniform(-0.8, 0.8, 2)),
            shadow_soft_mm=random.uniform(0.3, 1.5),
        )  # fmt: skip
        for y in (16, 48):
            length, angle = random.uniform(18, 26), random.uniform(-8, 8)
            picture.seedling(14, y, crop, length=length, angle=angle)
        rgb, plant, _ = picture.shoot(
            quality=int(random.integers(80, 96)), blur_px=random.uniform(0.5, 1.1),
            noise=random.uniform(0.6, 2), sharpen=random.uniform(0, 0.8),
        )  # fmt: skip
        share = _unsettled(rgb, MM_PER_PX, None)
        found.append(_compared(share, rgb, plant, np.zeros(plant.shape, bool)))
    fours = [found[k : k + 4] for k in range(0, len(found), 4)]
    return [tuple(np.concatenate(one) for one in zip(*four, strict=True)) for four in fours]


def _compared(share: np.ndarray, rgb: np.ndarray, plant: np.ndarray, other: np.ndarray) -> tuple:
    """Features of outlines, and how far out the true ones lie, pixels."""
    rims = board_rim.read_rims(board_rim.signed_depth(share), rgb)
    column, row = np.round(rims.at).astype(int).T.clip(0)
    row, column = np.minimum(row, rgb.shape[0] - 1), np.minimum(column, rgb.shape[1] - 1)
    off = _true_depth(plant)[row, column]
    # The depth is read at the pixel's centre; the point lies a little beside it.
    off = off - ((rims.at - np.stack([column, row], axis=-1)) * rims.normal).sum(axis=1)
    kept = (np.abs(off) < _FARTHEST_PX) & ~other[row, column]
    return rims.features[kept], off[kept].astype(np.float32)


def _unsettled(rgb: np.ndarray, mm_per_px: float, card: np.ndarray | None) -> np.ndarray:
    """Shares of plant as they are before the step that is to be fitted."""
    kept: list[np.ndarray] = []

    def keep(share: np.ndarray, picture: np.ndarray) -> tuple:
        kept.append(share)
        return settle_rims(share, picture)

    with mock.patch.object(board, "settle_rims", keep):
        board.segment_board(rgb, mm_per_px=mm_per_px, ignore=card)
    return kept[0]


def _shrunk(mask: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    return cv2.resize(mask.astype(np.float32), shape[1::-1], interpolation=cv2.INTER_AREA)


def _true_depth(plant: np.ndarray) -> np.ndarray:
    """Distance to the true outline, pixels, positive inside."""
    finer = cv2.resize(plant, None, fx=3, fy=3, interpolation=cv2.INTER_LINEAR) > 0.5
    within, beyond = (
        cv2.distanceTransform(side.astype(np.uint8), cv2.DIST_L2, 5) for side in (finer, ~finer)
    )
    return cv2.resize((within - beyond) / 3, plant.shape[::-1], interpolation=cv2.INTER_AREA)


def fit(boards: list) -> list[np.ndarray]:
    """Weights and shifts by Adam (Kingma & Ba 2015, ICLR) on the Huber loss."""
    random = np.random.default_rng(0)
    everything = np.concatenate([features for features, _ in boards])
    middle, spread = everything.mean(axis=0), everything.std(axis=0) + 1e-3
    sizes = (everything.shape[1], _HIDDEN, _HIDDEN, 1)
    layers: list[np.ndarray] = []
    for inputs, outputs in pairwise(sizes):
        layers += [random.normal(0, np.sqrt(2 / inputs), (inputs, outputs)), np.zeros(outputs)]
    layers[4] *= 0.1
    first, second = ([np.zeros_like(p) for p in layers] for _ in range(2))
    for number in range(1, _STEPS + 1):
        features, off = _batch(boards, random)
        rate = _RATE * 0.5 * (1 + np.cos(np.pi * number / _STEPS))
        slopes = _slopes(layers, (features - middle) / spread, off)
        for k, slope in enumerate(slopes):
            first[k] = 0.9 * first[k] + 0.1 * slope
            second[k] = 0.999 * second[k] + 0.001 * slope**2
            step = first[k] / (1 - 0.9**number)
            layers[k] -= rate * step / (np.sqrt(second[k] / (1 - 0.999**number)) + 1e-8)
    layers[1] = layers[1] - (middle / spread) @ layers[0]
    layers[0] = layers[0] / spread[:, None]
    return layers


def _batch(boards: list, random: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Rows of all boards alike, as other phones would show them: contrast, noise, smear."""
    chosen = random.integers(len(boards), size=_BATCH)
    rows = [
        (boards[b], int(u * len(boards[b][1])))
        for b, u in zip(chosen, random.random(_BATCH), strict=True)
    ]
    features = np.array([one[0][row] for one, row in rows], np.float64)
    off = np.array([one[1][row] for one, row in rows])
    smear = random.uniform(0, 0.3, (_BATCH, 1))
    for part, gain, noise in (
        (slice(0, _READ), 0.15, 0.012),
        (slice(_READ, 2 * _READ), 0.25, 0.03),
    ):
        read = features[:, part] * (1 + gain * random.normal(size=(_BATCH, 1)))
        read += noise * random.normal(size=read.shape)
        features[:, part] = read
        features[:, part][:, 1:-1] = (1 - 2 * smear) * read[:, 1:-1] + smear * (
            read[:, 2:] + read[:, :-2]
        )
    return features, off


def _slopes(layers: list[np.ndarray], inputs: np.ndarray, off: np.ndarray) -> list[np.ndarray]:
    """Gradient of the Huber loss in every layer."""
    one = np.maximum(inputs @ layers[0] + layers[1], 0)
    two = np.maximum(one @ layers[2] + layers[3], 0)
    wrong = (two @ layers[4] + layers[5])[:, 0] - np.clip(off, -2, 2)
    out = (np.clip(wrong / _BEND_PX, -1, 1) / len(off))[:, None]
    back = (out @ layers[4].T) * (two > 0)
    far = (back @ layers[2].T) * (one > 0)
    return [inputs.T @ far, far.sum(0), one.T @ back, back.sum(0), two.T @ out, out.sum(0)]


def predict(layers: list[np.ndarray], features: np.ndarray) -> np.ndarray:
    """Steps of the network, pixels."""
    value = np.maximum(features @ layers[0] + layers[1], 0)
    return (np.maximum(value @ layers[2] + layers[3], 0) @ layers[4] + layers[5])[:, 0]


def _module(layers: list[np.ndarray]) -> str:
    numbers = " ".join(f"{x:.4g}" for layer in layers for x in layer.ravel())
    sizes = (layers[0].shape[0], *(len(layers[k]) for k in (1, 3, 5)))
    lines = "\n".join(textwrap.wrap(numbers, 96))
    told = "Weights of the network of `board_rim`; see ``tests/segment/board_rim_fit.py``."
    return f'"""{told}"""\n\nSIZES = {sizes}\nWEIGHTS = """\n{lines}\n"""\n'


if __name__ == "__main__":
    sys.exit(main())
