"""Leaf, stem or neither for every pixel by a small network that was trained on rendered scenes.

The weights lie in the package (``tissue.onnx``) with the facts of their making
(``tissue.json``); OpenCV computes the network, so the same picture always gives the same answer.
"""

import json
from functools import cache
from importlib.resources import files
from itertools import pairwise
from threading import Lock

import cv2
import numpy as np
from numpy.typing import NDArray

STRIDE = 32
LARGEST_PX = 1_400_000  # computed at once, for which the network takes about 250 MB
_OVERLAP_PX = 256  # of neighbouring tiles: about as far as the network looks around
_LARGEST_SCORE = 30.0


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

    def shares(self, rgb: NDArray[np.uint8]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Probability of leaf and of stem for every pixel.

        Parameters
        ----------
        rgb : ndarray of uint8, shape (h, w, 3)
            sRGB-encoded; card-corrected at about 0.3 mm a pixel, or a whole photo about 1312
            pixels wide where no card was seen.

        Returns
        -------
        leaf, stem : ndarray of float32, shape (h, w)
            0 to 1; their sum is at most 1.
        """
        height, width = rgb.shape[:2]
        rows, columns = tiling(height, width)
        leaf = np.empty((height, width), np.float32)
        stem = np.empty_like(leaf)
        for row in rows:
            for column in columns:
                inside = (row.seen, column.seen)
                part = self._one_tile(np.ascontiguousarray(rgb[inside]))
                cut = (row.kept_of_seen, column.kept_of_seen)
                leaf[row.kept, column.kept] = part[0][cut]
                stem[row.kept, column.kept] = part[1][cut]
        return leaf, stem

    def _one_tile(self, rgb: NDArray[np.uint8]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        height, width = rgb.shape[:2]
        padded = cv2.copyMakeBorder(
            rgb, 0, -height % STRIDE, 0, -width % STRIDE, cv2.BORDER_REFLECT_101
        )
        blocks = self.scores(np.asarray(padded, np.uint8))
        _, h, w = blocks.shape
        pixels = blocks.reshape(3, 2, 2, h, w).transpose(0, 3, 1, 4, 2).reshape(3, 2 * h, 2 * w)
        pixels = pixels[:, :height, :width]
        leaf, stem = (
            np.exp(np.clip(pixels[k] - pixels[0], -_LARGEST_SCORE, _LARGEST_SCORE)) for k in (1, 2)
        )
        total = 1 + leaf + stem
        return leaf / total, stem / total


class Span:
    """One tile along one axis: what the network sees of it and what is kept."""

    def __init__(self, seen: slice, kept: slice) -> None:
        self.seen = seen
        self.kept = kept
        self.kept_of_seen = slice(kept.start - seen.start, kept.stop - seen.start)


def tiling(height: int, width: int) -> tuple[list[Span], list[Span]]:
    """Rows and columns of overlapping tiles, each of at most ``LARGEST_PX`` pixels."""
    rows = columns = 1
    while _longest(height, rows) * _longest(width, columns) > LARGEST_PX:
        if _longest(height, rows) > _longest(width, columns):
            rows += 1
        else:
            columns += 1
    return _spans(height, rows), _spans(width, columns)


def _longest(length: int, count: int) -> int:
    """Length of each of ``count`` tiles that cover ``length`` with the overlap."""
    return -(-(length + (count - 1) * _OVERLAP_PX) // count)


def _spans(length: int, count: int) -> list[Span]:
    tile = _longest(length, count)
    starts = [round(k * (length - tile) / max(count - 1, 1)) for k in range(count)]
    # Between two tiles the border of what is kept runs through the middle of their overlap.
    borders = [0, *((b + a + tile) // 2 for a, b in pairwise(starts)), length]
    return [
        Span(slice(start, start + tile), slice(low, high))
        for start, (low, high) in zip(starts, pairwise(borders), strict=True)
    ]


@cache
def shipped_model() -> LearnedTissue:
    """Load the network of the package, once in each process."""
    return LearnedTissue((files("traymorph.segment") / "tissue.onnx").read_bytes())


@cache
def tissue_version() -> str:
    """Name the network in the package: day of training and start of its recipe's hash."""
    facts = json.loads((files("traymorph.segment") / "tissue.json").read_text("utf-8"))
    return f"tissue-net {facts['version']}"


def tissue_shares(
    rgb: NDArray[np.uint8],
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Give leaf and stem by the network of the package; see `LearnedTissue.shares`."""
    return shipped_model().shares(rgb)
