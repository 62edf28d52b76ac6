"""Draws cut plants whose truth is known: bands, blades and boards, with soft edges.

Shapes are drawn as polygons in a picture several times finer, then averaged: the share of plant
that a perfect segmentation would give. It shares no code with the package.
"""

from dataclasses import dataclass, field
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.cut_plants.find import find_cut_plants

FINE = 8


def soft_polygons(
    outlines: list[NDArray[np.float64]],
    shape: tuple[int, int],
    holes: list[NDArray[np.float64]] | None = None,
) -> NDArray[np.float32]:
    """Share of each cell that outlines (x, y in cells, centres on whole numbers) cover."""
    size = (shape[0] * FINE, shape[1] * FINE)
    fine = np.zeros(size, np.uint8)
    for polygon in outlines:
        fine = np.maximum(fine, _filled(polygon, size))
    for polygon in holes or []:
        fine = np.minimum(fine, 255 - _filled(polygon, size))
    small = cv2.resize(fine, (shape[1], shape[0]), interpolation=cv2.INTER_AREA)
    return small.astype(np.float32) / 255.0


def _filled(polygon: NDArray[np.float64], size: tuple[int, int]) -> NDArray[np.uint8]:
    points = [np.round(((polygon + 0.5) * FINE - 0.5) * 16).astype(np.int32)]
    fine = np.zeros(size, np.uint8)
    cv2.fillPoly(fine, points, 255, shift=4)
    cv2.polylines(fine, points, isClosed=True, color=128, shift=4)  # half of each lies outside
    return fine


def band(line: NDArray[np.float64], widths: float | NDArray[np.float64]) -> NDArray[np.float64]:
    """Outline of a band round a middle line, cut square at its ends."""
    along = np.gradient(line, axis=0)
    along /= np.hypot(along[:, 0], along[:, 1])[:, None]
    across = np.column_stack([-along[:, 1], along[:, 0]]) * (np.asarray(widths) / 2.0).reshape(
        -1, 1
    )
    return np.vstack([line + across, (line - across)[::-1]])


def turned(points: NDArray[np.float64], degrees: float) -> NDArray[np.float64]:
    angle = np.radians(degrees)
    matrix = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return points @ matrix.T


LEAF, STEM, BOARD = (70, 130, 50), (225, 190, 170), (235, 236, 232)
STEP_MM = 0.12


@dataclass(frozen=True)
class Drawn:
    """One drawn plant, in cells."""

    stem: NDArray[np.float64]
    outlines: dict[str, list[NDArray[np.float64]]]

    @property
    def stem_length(self) -> float:
        return float(np.hypot(*np.diff(self.stem, axis=0).T).sum())

    @property
    def leaf_area(self) -> float:
        return sum(shoelace(outline) for outline in self.outlines["leaf"])


@dataclass
class Board:
    """Plants drawn on a plain board."""

    plants: list[Drawn]
    shape: tuple[int, int] = (1100, 1300)
    specks: list[NDArray[np.float64]] = field(default_factory=list)

    @cached_property
    def share(self) -> NDArray[np.float32]:
        every = [o for p in self.plants for kind in ("stem", "leaf") for o in p.outlines[kind]]
        return soft_polygons(every + self.specks, self.shape)

    @cached_property
    def rgb(self) -> NDArray[np.uint8]:
        picture = np.empty((*self.shape, 3))
        picture[:] = BOARD
        for kind, colour in (("stem", STEM), ("leaf", LEAF)):
            outlines = [o for p in self.plants for o in p.outlines[kind]]
            share = soft_polygons(outlines, self.shape)[..., None]
            picture = picture * (1.0 - share) + share * np.array(colour)
        noise = np.random.default_rng(5).normal(0.0, 3.0, picture.shape)
        return np.clip(picture + noise, 0, 255).astype(np.uint8)


def shoelace(outline: NDArray[np.float64]) -> float:
    x, y = outline.T
    return abs(float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))) / 2.0


def blade(length: float, width: float, *, lobes: float = 0.0, notch: float = 0.0):
    """Outline of a blade from its base at (0, 0) along +x."""
    t = np.linspace(0.0, 2.0 * np.pi, 240, endpoint=False)
    reach = 1.0 + lobes * np.cos(7.0 * t)
    x = length / 2.0 * (1.0 + reach * np.cos(t))
    y = width / 2.0 * reach * np.sin(t)
    x = x - notch * length * np.exp(-((y / (0.12 * width)) ** 2)) * (np.cos(t) > 0)
    return np.column_stack([x - x[len(t) // 2], y])


def drawn_plant(  # noqa: PLR0913 - each number of a plant's form has a name
    foot,
    heading: float,
    *,
    length: float = 300.0,
    bend: float = 0.6,
    stem_width: float = 10.0,
    stalks=((38.0, 40.0), (-38.0, 40.0)),
    blades=((90.0, 50.0), (90.0, 50.0)),
    **form: float,
) -> Drawn:
    """A plant from its cut (x, y) in a heading (degrees), its stem turning by ``bend`` radians.

    ``stalks`` gives the angle from the stem and the length of each stalk, ``blades`` length and
    width of each blade. Stalks leave the stem in straight lines, 0.7 of its width.
    """
    along = np.linspace(0.0, 1.0, 300)
    turn = np.radians(heading) + bend * along
    steps = np.column_stack([np.cos(turn), np.sin(turn)]) * (length / (len(along) - 1))
    stem = np.asarray(foot, float) + np.vstack([[0.0, 0.0], np.cumsum(steps[1:], axis=0)])
    outlines: dict[str, list[NDArray[np.float64]]] = {"stem": [band(stem, stem_width)], "leaf": []}
    for (angle, stalk_length), (blade_length, blade_width) in zip(stalks, blades, strict=True):
        toward = np.degrees(turn[-1]) + angle
        stalk = np.column_stack([np.linspace(0.0, stalk_length + 2.0, 40), np.zeros(40)])
        outlines["stem"].append(band(turned(stalk, toward) + stem[-1], 0.7 * stem_width))
        flat = blade(blade_length, blade_width, **form) + np.array([stalk_length, 0.0])
        outlines["leaf"].append(turned(flat, toward) + stem[-1])
    return Drawn(stem, outlines)


def found_on(board: Board, **options):
    return find_cut_plants(board.share, board.rgb, STEP_MM, **options)
