"""Blade width on drawn blades: wider ones read wider, whatever the light."""

import cv2
import numpy as np

from traymorph.measure.blades import blade_width_mm
from traymorph.model.masks import PlantMasks
from traymorph.model.tray import LeafPlane, TrayOverhead
from traymorph.model.trial import TraySize


def closed_canopy(make, diameter_mm, *, light=1.0, contrast=1.0):
    """Discs of many shades over a whole tray, all leaf."""
    camera = make.above(600.0, focal=1500.0, size=(900, 700))
    px = camera.camera_matrix[0, 0] / 600.0
    rng = np.random.default_rng(3)
    rgb = np.full((700, 900, 3), (50, 90, 40), np.uint8)
    for _ in range(int(6 * 900 * 700 / (diameter_mm * px) ** 2)):
        centre = (int(rng.uniform(0, 900)), int(rng.uniform(0, 700)))
        shade = (1.0 + contrast * rng.uniform(-0.4, 0.4)) * light
        colour = tuple(float(c * shade) for c in (80, 140, 60))
        cv2.circle(rgb, centre, round(0.5 * diameter_mm * px), colour, -1, cv2.LINE_AA)
    leaf = np.ones(rgb.shape[:2], np.float32)
    masks = PlantMasks(leaf, np.zeros_like(leaf), 1.0, "all", np.zeros_like(leaf))
    size = TraySize(300.0, 200.0, 20.0, 60.0)
    return TrayOverhead(rgb, masks, camera, size, make.opening(300.0, 200.0), make.colour())


def test_rank_follows_the_blades(make):
    plane = LeafPlane(0.0, 1.0)
    widths = [blade_width_mm(closed_canopy(make, d), plane).value for d in (4.0, 7.0, 11.0)]
    assert widths == sorted(widths)
    assert widths[-1] > 2.0 * widths[0]


def test_a_little_more_light_changes_little(make):
    plane = LeafPlane(0.0, 1.0)
    dim, bright = (blade_width_mm(closed_canopy(make, 12.0, light=k), plane) for k in (0.9, 1.1))
    assert abs(dim.value - bright.value) < dim.u


def test_soft_light_shows_the_same_blades(make):
    """With two thirds of the contrast the value stays; fixed limits lost a third of the edges."""
    plane = LeafPlane(0.0, 1.0)
    hard, soft = (
        blade_width_mm(closed_canopy(make, 12.0, contrast=k), plane).value for k in (1.0, 0.65)
    )
    assert abs(soft / hard - 1.0) < 0.1
