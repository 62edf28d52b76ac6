"""Leaf, stem or neither for every pixel by a small network that was trained on rendered scenes.

The weights lie in the package (``tissue.onnx``) with the facts of their making
(``tissue.json``); OpenCV computes the network, so the same picture always gives the same answer.
"""

import json
import math
from functools import cache
from importlib.resources import files
from itertools import pairwise, product
from threading import Lock

import cv2
import numpy as np
from numpy.typing import NDArray

STRIDE = 32
BLOCK_PX = 16
LARGEST_PX = 800_000  # computed at once, for which the network takes about 170 MB
_AROUND_PX = 32  # seen beyond what is kept of a tile: more changes no more than its place does
_LARGEST_SCORE = 30.0

Share = NDArray[np.float32]


class LearnedTissue:
    """A network in memory; may be called from several threads, which then wait for each other.

    Parameters
    ----------
    onnx : bytes
        The network: input (1, 3, h, w), sRGB 0 to 1 with h and w multiples of 32; output
        (1, 12, h/2, w/2), for each class (other, leaf, stem) the scores of the four pixels
        of a 2 x 2 block, row by row.
    """

    def __init__(self, onnx: bytes) -> None:
        self._net = cv2.dnn.readNetFromONNX(np.frombuffer(onnx, np.uint8))
        self._lock = Lock()

    def scores(self, rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
        """Raw output of the network for a picture whose sides are multiples of 32.

        Parameters
        ----------
        rgb : ndarray of uint8, shape (h, w, 3)
            sRGB-encoded.

        Returns
        -------
        ndarray of float32, shape (12, h/2, w/2)
        """
        blob = cv2.dnn.blobFromImage(rgb, 1 / 255)
        with self._lock:
            self._net.setInput(blob)
            return np.asarray(self._net.forward()[0], np.float32)

    def shares(
        self, rgb: NDArray[np.uint8], wanted: NDArray[np.bool_] | None = None
    ) -> tuple[Share, Share]:
        """Probability of leaf and of stem for every pixel.

        Parameters
        ----------
        rgb : ndarray of uint8, shape (h, w, 3)
            sRGB-encoded; card-corrected at about 0.3 mm a pixel, or a whole photo of
            unknown scale.
        wanted : ndarray of bool, shape (rows, columns), or None
            In which blocks of 16 x 16 pixels the shares are wanted; elsewhere both may be 0
            unseen. None wants all.

        Returns
        -------
        leaf, stem : ndarray of float32, shape (h, w)
            0 to 1; their sum is at most 1.
        """
        size = rgb.shape[:2]
        leaf, stem = np.zeros(size, np.float32), np.zeros(size, np.float32)
        # the largest first: its memory then serves the others
        for tile in sorted(tiles(size, wanted), key=lambda one: -_seen_px(one, size)):
            seen = seen_around(tile, size)
            part = self._one_tile(np.ascontiguousarray(rgb[seen]))
            cut = tuple(
                slice(k.start - s.start, k.stop - s.start) for k, s in zip(tile, seen, strict=True)
            )
            leaf[tile], stem[tile] = part[0][cut], part[1][cut]
        return leaf, stem

    def _one_tile(self, rgb: NDArray[np.uint8]) -> tuple[Share, Share]:
        height, width = rgb.shape[:2]
        padded = cv2.copyMakeBorder(
            rgb, 0, -height % STRIDE, 0, -width % STRIDE, cv2.BORDER_REFLECT_101
        )
        blocks = self.scores(np.asarray(padded, np.uint8))
        other, leaf, stem = blocks.reshape(3, 4, *blocks.shape[1:])
        odds = [np.clip(k - other, -_LARGEST_SCORE, _LARGEST_SCORE) for k in (leaf, stem)]
        for one in odds:
            np.exp(one, out=one)
        total = odds[0] + odds[1]
        total += 1
        leaf, stem = (_unfolded(one / total)[:height, :width] for one in odds)
        return leaf, stem


def _unfolded(blocks: Share) -> Share:
    """Lay the four pixels of each block, shape (4, h, w), beside one another, (2 h, 2 w)."""
    _, h, w = blocks.shape
    pixels = np.empty((h, 2, w, 2), np.float32)
    for place, one in enumerate(blocks):
        pixels[:, place // 2, :, place % 2] = one
    return pixels.reshape(2 * h, 2 * w)


Tile = tuple[slice, slice]
"""Rows and columns of a picture."""


def tiles(size: tuple[int, int], wanted: NDArray[np.bool_] | None = None) -> list[Tile]:
    """Tiles that hold all that is wanted and, with what is seen around them, are small enough.

    Parameters
    ----------
    size : tuple of int
        (height, width) of the picture.
    wanted : ndarray of bool or None
        As of `LearnedTissue.shares`.

    Returns
    -------
    list of tuple of slice
        Rows and columns; no two overlap.
    """
    height, width = size
    if wanted is None:
        wanted = np.ones((-(-height // BLOCK_PX), -(-width // BLOCK_PX)), np.bool_)
    whole = window_of(wanted, size)
    if whole is None:
        return []
    best: list[Tile] = []
    fewest = math.inf
    count = 1
    # Tiles overlap in what is seen of them: from some count on more of them only cost more.
    while not best or count <= _MOST_TILES:
        for rows in (n for n in range(1, count + 1) if count % n == 0):
            grid = product(_split(whole[0], rows), _split(whole[1], count // rows))
            held = [tile for part in grid if (tile := _cut_down(part, size, wanted)) is not None]
            seen = [_seen_px(tile, size) for tile in held]
            if sum(seen) < fewest and max(seen) <= LARGEST_PX:
                best, fewest = held, sum(seen)
        count += 1
    return best


_MOST_TILES = 12


def window_of(wanted: NDArray[np.bool_], size: tuple[int, int]) -> Tile | None:
    """Rows and columns that hold all wanted blocks of a picture; None where there are none."""
    return _cut_down((slice(0, size[0]), slice(0, size[1])), size, wanted)


def _split(span: slice, count: int) -> list[slice]:
    """Split rows or columns at borders of blocks; both ends are such borders, or the picture's."""
    step = (span.stop - span.start) / count / BLOCK_PX
    inner = [span.start + BLOCK_PX * round(k * step) for k in range(1, count)]
    borders = sorted({span.start, *inner, span.stop})
    return [slice(low, high) for low, high in pairwise(borders)]


def _cut_down(tile: Tile, size: tuple[int, int], wanted: NDArray[np.bool_]) -> Tile | None:
    """Cut a tile, which begins and ends with blocks, down to the wanted blocks in it."""
    blocks = tuple(slice(s.start // BLOCK_PX, -(-s.stop // BLOCK_PX)) for s in tile)
    left, top, width, height = cv2.boundingRect(wanted[blocks].astype(np.uint8))
    if width == 0:
        return None
    first = (blocks[0].start + top, blocks[1].start + left)
    row, column = (
        slice(start * BLOCK_PX, min((start + count) * BLOCK_PX, length))
        for start, count, length in zip(first, (height, width), size, strict=True)
    )
    return row, column


def seen_around(tile: Tile, size: tuple[int, int]) -> Tile:
    """Widen a tile to what the network looks at to tell it, within the picture."""
    row, column = (
        slice(max(s.start - _AROUND_PX, 0), min(s.stop + _AROUND_PX, length))
        for s, length in zip(tile, size, strict=True)
    )
    return row, column


def _seen_px(tile: Tile, size: tuple[int, int]) -> int:
    row, column = seen_around(tile, size)
    return int((row.stop - row.start) * (column.stop - column.start))


@cache
def shipped_model() -> LearnedTissue:
    """Load the network of the package, or give the one in memory."""
    return LearnedTissue((files("traymorph.segment") / "tissue.onnx").read_bytes())


def release_model() -> None:
    """Give the memory of the network back; to read it again takes a hundredth of a second.

    Threads that compute with it go on with theirs.
    """
    shipped_model.cache_clear()


@cache
def tissue_version() -> str:
    """Name the network in the package: day of training and start of its recipe's hash."""
    facts = json.loads((files("traymorph.segment") / "tissue.json").read_text("utf-8"))
    return f"tissue-net {facts['version']}"


def tissue_shares(
    rgb: NDArray[np.uint8], wanted: NDArray[np.bool_] | None = None
) -> tuple[Share, Share]:
    """Give leaf and stem by the network of the package; see `LearnedTissue.shares`."""
    return shipped_model().shares(rgb, wanted)


_FIRST_LOOK_MM = 1.2
"""Millimetres a pixel of a first look over the whole photo: thin stems are lost there, stands of
plants are not."""
_MAY_BE_PLANT = 0.05
"""Probability of plant from which on that look is followed by a closer one."""
_CLOSE_BY_MM = 8.0
"""How far from such a place plants may stand that the first look missed."""


def may_hold_plants(rgb: NDArray[np.uint8], mm_per_px: float) -> NDArray[np.bool_]:
    """Where it is worth telling plants at full scale, by a first look at a coarse one.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        As of `LearnedTissue.shares`.
    mm_per_px : float
        Size of its pixels.

    Returns
    -------
    ndarray of bool, shape (rows, columns)
        True for the blocks of 16 x 16 pixels within 8 mm of anything that may be plant.
    """
    height, width = rgb.shape[:2]
    factor = max(_FIRST_LOOK_MM / mm_per_px, 1.0)
    size = (max(round(width / factor), 1), max(round(height / factor), 1))
    leaf, stem = tissue_shares(
        np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    )
    reach = 2 * round(_CLOSE_BY_MM / (mm_per_px * factor)) + 1
    near = cv2.dilate((leaf + stem > _MAY_BE_PLANT).astype(np.uint8), np.ones((reach, reach)))
    blocks = (-(-width // BLOCK_PX), -(-height // BLOCK_PX))
    return np.asarray(cv2.resize(near.astype(np.float32), blocks, interpolation=cv2.INTER_AREA) > 0)
