"""Draws trays whose every size is known: polygons projected through a camera, far to near."""

from dataclasses import dataclass, field

import cv2
import numpy as np
import pytest

from traymorph.model.card import CardRole, CardSighting, ColourFit
from traymorph.model.masks import PlantMasks
from traymorph.model.viewpoint import Viewpoint

BLACK, BENCH, MEDIUM, LEAF, STEM, CARD = (
    (30, 30, 32),
    (168, 160, 150),
    (80, 58, 42),
    (78, 130, 52),
    (190, 200, 150),
    (225, 225, 222),
)


def camera(eye, aim, focal=1500.0, size=(2000, 1500), up=(0.0, -1.0, 0.0), radial=(0.0, 0.0)):
    """A camera at `eye` looking at `aim`, both (x, y, height) of the card's frame."""
    flip = np.array([1.0, 1.0, -1.0])
    forward = (np.asarray(aim, float) - np.asarray(eye, float)) * flip
    forward /= np.linalg.norm(forward)
    down = -np.asarray(up, float) * flip
    down -= forward * (down @ forward)
    down /= np.linalg.norm(down)
    rotation = np.stack([np.cross(down, forward), down, forward])
    matrix = np.array([[focal, 0, (size[0] - 1) / 2], [0, focal, (size[1] - 1) / 2], [0, 0, 1.0]])
    return Viewpoint(
        camera_matrix=matrix,
        radial=np.array(radial),
        rotation=rotation,
        translation=-rotation @ (np.asarray(eye, float) * flip),
        size_px=size,
        distance_u_rel=0.01,
        tilt_u_deg=0.3,
        focal_from_exif=True,
    )


@dataclass
class Drawing:
    """A picture at the scale of its masks, with the share of leaf and stem in every pixel."""

    viewpoint: Viewpoint
    scale: float = 1.0
    background: tuple = BENCH
    rgb: np.ndarray = field(init=False)
    leaf: np.ndarray = field(init=False)
    stem: np.ndarray = field(init=False)

    def __post_init__(self):
        width, height = (round(n / self.scale) for n in self.viewpoint.size_px)
        self.rgb = np.full((height, width, 3), self.background, np.uint8)
        self.leaf = np.zeros((height, width), np.uint8)
        self.stem = np.zeros((height, width), np.uint8)

    def polygon(self, points, colour, *, leaf=0, stem=0):
        """Fill a polygon of (x, y, height) points; plants pass ``leaf=255`` or ``stem=255``."""
        px = self.viewpoint.project(np.asarray(points, float))
        px = np.round(((px + 0.5) / self.scale - 0.5) * 16).astype(np.int32)
        for image, value in ((self.rgb, colour), (self.leaf, leaf), (self.stem, stem)):
            cv2.fillPoly(image, [px], value, cv2.LINE_AA, 4)

    def disc(self, centre, radius, colour=LEAF, **kinds):
        """A level disc."""
        turn = np.linspace(0, 2 * np.pi, 33)[:-1]
        points = np.asarray(centre, float) + radius * np.stack(
            [np.cos(turn), np.sin(turn), np.zeros(32)], 1
        )
        self.polygon(points, colour, **kinds)

    @property
    def masks(self):
        leaf = self.leaf.astype(np.float32) / 255
        stem = np.minimum(self.stem.astype(np.float32) / 255, 1 - leaf)
        return PlantMasks(leaf, stem, self.scale, "drawn", np.zeros_like(leaf))

    def sighting(self, card):
        """The photo's card with its corners at the given (x, y, height)."""
        corners = self.viewpoint.project(np.asarray(card, float))
        colour = ColourFit(np.eye(3), 0.0, shows_colour=True)
        return CardSighting(
            CardRole.OVERHEAD, 1, self.viewpoint, corners, 0.1, 12, 12, colour, shaded=False
        )


def frame_of(corners, reach):
    """Corners of a rectangle grown by `reach` on all sides."""
    middle = corners.mean(axis=0)
    along = (corners[1] - corners[0]) / np.linalg.norm(corners[1] - corners[0])
    across = np.array([-along[1], along[0]])
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    return corners + reach * (signs[:, :1] * along + signs[:, 1:] * across) + 0 * middle


def rectangle(centre, turn_deg, length, width):
    turn = np.radians(turn_deg)
    along = np.array([np.cos(turn), np.sin(turn)])
    across = np.array([-along[1], along[0]])
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2
    return np.asarray(centre) + signs[:, :1] * length * along + signs[:, 1:] * width * across


def raised(points, height):
    return np.hstack([points, np.full((len(points), 1), float(height))])


@dataclass
class Tray:
    """A tray with leaves as level discs at known heights."""

    corners: np.ndarray
    rim: float = 60.0
    fill: float = 20.0
    lip: float = 9.0
    canopy: float = 45.0
    density: float = 0.012
    overhang: float = 8.0
    seed: int = 1
    colour: tuple = LEAF

    def draw(self, drawing):
        outer = frame_of(self.corners, self.lip)
        for i in range(4):
            a, b = outer[i], outer[(i + 1) % 4]
            drawing.polygon([[*a, 0], [*b, 0], [*b, self.rim], [*a, self.rim]], (22, 22, 24))
        drawing.polygon(raised(outer, self.rim), BLACK)
        eye = drawing.viewpoint.position_mm
        # what is seen of the inside through the opening: walls first, then the medium
        drawing.polygon(raised(self.corners, self.rim), (14, 14, 15))
        share = (eye[2] - self.rim) / (eye[2] - (self.rim - self.fill))
        lifted = eye[:2] + (self.corners - eye[:2]) * share  # the floor, seen in the rim's plane
        both = cv2.intersectConvexConvex(
            lifted.astype(np.float32), self.corners.astype(np.float32)
        )[1]
        drawing.polygon(raised(both.reshape(-1, 2), self.rim), MEDIUM)

    def leaves(self):
        rng = np.random.default_rng(self.seed)
        length = np.linalg.norm(self.corners[1] - self.corners[0])
        width = np.linalg.norm(self.corners[3] - self.corners[0])
        n = int(self.density * length * width)
        share = rng.uniform(0, 1, (n, 2)) * (1 + 2 * self.overhang / np.array([length, width]))
        share -= self.overhang / np.array([length, width])
        along, across = self.corners[1] - self.corners[0], self.corners[3] - self.corners[0]
        xy = self.corners[0] + share[:, :1] * along + share[:, 1:] * across
        z = self.rim - self.fill + self.canopy * rng.uniform(0.55, 1.0, n)
        return np.column_stack([xy, z])[np.argsort(z)]

    def draw_leaves(self, drawing, radius=5.0):
        rng = np.random.default_rng(self.seed + 1)
        for spot in self.leaves():
            shade = rng.uniform(0.75, 1.2)
            colour = tuple(float(min(255, c * shade)) for c in self.colour)
            drawing.disc(spot, radius, colour, leaf=255)


@dataclass
class SideTray:
    """A tray seen from its front: upright leaves on straight stems at known places and heights.

    Coordinates are the side card's: y down, height towards the camera, the front wall at height 0.
    """

    left: float = 140.0
    rim_y: float = 40.0
    length: float = 500.0
    depth: float = 250.0
    rim_above_bench: float = 60.0
    fill: float = 20.0
    mean_height: float = 60.0
    spread: float = 6.0
    density: float = 0.015
    radius: float = 4.0
    seed: int = 1

    def plants(self):
        """(x, depth behind the wall, height of the leaf's centre above the medium), far first."""
        rng = np.random.default_rng(self.seed)
        n = int(self.density * self.length * self.depth)
        x = self.left + rng.uniform(0, self.length, n)
        behind = rng.uniform(0, self.depth, n)
        tall = rng.normal(self.mean_height, self.spread, n) - self.radius
        return np.column_stack([x, behind, tall])[np.argsort(-behind)]

    def column_heights(self):
        """Highest leaf edge of each 5 mm column in a level view, above the medium."""
        count = round(self.length / 5)
        fine = self.left + (np.arange(count * 20) + 0.5) / 20 * 5
        top = np.zeros(len(fine))
        for x, _, tall in self.plants():
            reach = self.radius**2 - (fine - x) ** 2
            at = reach > 0
            top[at] = np.maximum(top[at], tall + np.sqrt(reach[at]))
        return top.reshape(count, 20).max(axis=1)

    def draw(self, drawing):
        medium_y = self.rim_y + self.fill
        turn = np.linspace(0, 2 * np.pi, 33)[:-1]
        ring = self.radius * np.stack([np.cos(turn), np.sin(turn)], 1)
        for x, behind, tall in self.plants():
            top = medium_y - tall
            stem = [[x - 0.8, medium_y], [x + 0.8, medium_y], [x + 0.8, top], [x - 0.8, top]]
            drawing.polygon(raised(np.array(stem), -behind), STEM, stem=255)
            drawing.polygon(raised(ring + np.array([x, top]), -behind), LEAF, leaf=255)
        right, foot = self.left + self.length, self.rim_y + self.rim_above_bench
        wall = np.array(
            [[self.left - 2, self.rim_y], [right + 2, self.rim_y], [right + 2, foot],
             [self.left - 2, foot]]
        )  # fmt: skip
        drawing.polygon(raised(wall, 0), (24, 24, 26))
        lip = wall + np.array([[-7, 0], [7, 0], [7, -self.rim_above_bench + 2.2],
                               [-7, -self.rim_above_bench + 2.2]])  # fmt: skip
        drawing.polygon(raised(lip, 7.0), BLACK)


class Tools:
    """What tests draw with."""

    camera = staticmethod(camera)
    rectangle = staticmethod(rectangle)
    raised = staticmethod(raised)
    Drawing = Drawing
    Tray = Tray
    SideTray = SideTray
    card_colour = CARD


@pytest.fixture(scope="session")
def draw():
    """Camera, drawing, trays and rectangles, for tests that draw."""
    return Tools()
