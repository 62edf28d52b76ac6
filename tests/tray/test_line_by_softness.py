"""The line above which leaf is drawn softer, read from pictures blurred by known amounts."""

import cv2
import numpy as np
import pytest

from traymorph.tray.line_by_softness import edges_on, line_by_softness

PX_PER_MM = 3
ROWS, COLUMNS = 160, 320
ABOVE = np.repeat((150.0 - np.arange(float(ROWS)))[:, None], COLUMNS, axis=1).astype(np.float32)
TOP_MM = 120.0


def leaves(seed=1):
    """A picture of leaves at random over and under each other, 3 pixels to the mm."""
    rng = np.random.default_rng(seed)
    picture = np.zeros((ROWS * PX_PER_MM, COLUMNS * PX_PER_MM, 3), np.uint8)
    for _ in range(6000):
        at = tuple(int(v) for v in rng.uniform(0, (picture.shape[1], picture.shape[0])))
        axes = tuple(int(v) for v in rng.uniform(8, 26, 2))
        colour = (np.array((78, 130, 52)) * rng.uniform(0.5, 1.4)).clip(0, 255).tolist()
        cv2.ellipse(picture, at, axes, rng.uniform(0, 180), 0, 360, colour, -1, cv2.LINE_AA)
    return picture


def blurred(picture, sigma_mm_at):
    """The picture with each row blurred by what its height asks for, and a phone's noise."""
    sigmas = np.round([sigma_mm_at(h) for h in ABOVE[:, 0]], 2)
    out = picture.copy()
    for sigma in np.unique(sigmas[sigmas > 0]):
        soft = cv2.GaussianBlur(picture, (0, 0), float(sigma) * PX_PER_MM)
        rows = np.repeat(sigmas == sigma, PX_PER_MM)
        out[rows] = soft[rows]
    noise = np.random.default_rng(2).normal(0, 2.0, out.shape)
    return (out + noise).clip(0, 255).astype(np.uint8)


def line_in(picture):
    y, x = np.mgrid[0:ROWS, 0:COLUMNS].astype(np.float32) * PX_PER_MM + 1
    leaf = ABOVE < TOP_MM
    return line_by_softness(leaf & (ABOVE > 0), edges_on(picture, x, y, leaf), ABOVE)


def test_leaf_that_is_softer_above_a_height_stands_behind_from_there_on():
    found = line_in(blurred(leaves(), lambda h: 0.3 if h > 70 else 0.0))
    assert found.sure
    assert np.median(np.abs(found.height_mm - 70.0)) < 6.0


@pytest.mark.parametrize(
    "sigma_mm",
    [lambda _: 0.0, lambda _: 0.3, lambda h: 0.3 if h < 70 else 0.0, lambda h: max(h, 0) / 1200],
    ids=["all sharp", "all soft", "softer below", "softer little by little"],
)
def test_leaf_that_is_as_soft_softer_below_or_softer_little_by_little_is_one_stand(sigma_mm):
    found = line_in(blurred(leaves(), sigma_mm))
    assert found is None


def test_softness_does_not_go_with_contrast():
    picture = leaves()
    dull = picture.copy()
    rows = np.repeat(ABOVE[:, 0] > 70, PX_PER_MM)
    dull[rows] = (dull[rows] * 0.5 + 40).astype(np.uint8)
    assert line_in(blurred(dull, lambda _: 0.0)) is None


def test_outlines_before_the_background_do_not_count():
    y, x = np.mgrid[0:ROWS, 0:COLUMNS].astype(np.float32) * PX_PER_MM + 1
    picture = np.zeros((ROWS * PX_PER_MM, COLUMNS * PX_PER_MM, 3), np.uint8)
    leaf = np.abs(x / PX_PER_MM - 100) < 40
    picture[np.repeat(np.repeat(leaf, PX_PER_MM, 0), PX_PER_MM, 1)] = (78, 130, 52)
    assert not edges_on(picture, x, y, leaf).share.any()


def test_cells_beyond_the_photo_have_no_edges():
    y, x = np.mgrid[0:50, 0:50].astype(np.float32) - 500
    edges = edges_on(leaves(), x, y, np.ones(x.shape, bool))
    assert not edges.share.any()
    assert not edges.sharpness.any()
