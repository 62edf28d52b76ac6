"""Length and width of drawn curves against their closed forms."""

import numpy as np
import pytest
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree
from scipy.special import ellipe
from skimage.morphology import skeletonize

from tests.cut_plants.conftest import band, soft_polygons, turned
from traymorph.cut_plants.centre_line import extend_to_edge, middle_line, resample

ANGLES = (0.0, 7.0, 22.5, 38.0, 45.0, 71.0, 90.0)
WIDTHS = (5.0, 8.0, 13.0)


def measured(line, width):
    """Length and width that the package reads off a drawn band round a line."""
    away = line - line.min(axis=0) + 3.0 * width
    shape = tuple(np.ceil(away.max(axis=0) + 3.0 * width).astype(int)[::-1])
    share = soft_polygons([band(away, width)], shape)
    path = ordered_skeleton(share >= 0.5)
    found = middle_line(share, path, width / 2.0)
    points = extend_to_edge(share, found.points, width / 2.0, at_start=True)
    points = extend_to_edge(share, points, width / 2.0, at_start=False)
    points = resample(points, 2.5)
    return float(np.hypot(*np.diff(points, axis=0).T).sum()), found.mean_width


def ordered_skeleton(mask):
    """Cells of the longest way through a skeleton, from one end to the other."""
    cells = np.argwhere(skeletonize(mask))
    pairs = cKDTree(cells).query_pairs(1.5, output_type="ndarray")
    steps = np.hypot(*(cells[pairs[:, 0]] - cells[pairs[:, 1]]).T)
    links = coo_matrix((steps, pairs.T), (len(cells), len(cells))).tocsr()
    first = int(np.argmax(dijkstra(links, directed=False, indices=0)))
    far, before = dijkstra(links, directed=False, indices=first, return_predecessors=True)
    way = [int(np.argmax(far))]
    while way[-1] != first:
        way.append(int(before[way[-1]]))
    return cells[way][:, ::-1].astype(float)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("angle", ANGLES)
def test_straight_lines_read_their_length_at_every_angle(angle, width):
    line = turned(np.column_stack([np.linspace(0, 300, 400), np.zeros(400)]), angle)
    length, found_width = measured(line, width)
    assert length == pytest.approx(300.0, rel=0.005)
    assert found_width == pytest.approx(width, rel=0.01)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("radius", [60.0, 100.0, 250.0])
def test_arcs_of_circles_read_radius_times_angle(radius, width):
    at = np.radians(np.linspace(13.0, 13.0 + 270.0, 2000))
    length, found_width = measured(radius * np.column_stack([np.cos(at), np.sin(at)]), width)
    assert length == pytest.approx(radius * np.radians(270.0), rel=0.005)
    assert found_width == pytest.approx(width, rel=0.01)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("angle", ANGLES)
def test_archimedean_spirals_read_their_arc_length(angle, width):
    # r = b t: length = b/2 (t sqrt(1 + t^2) + asinh t), e.g. Bronshtein & Semendyayev,
    # Handbook of Mathematics, section on plane curves (from memory).
    b = 9.0
    t = np.linspace(np.pi, 5.0 * np.pi, 6000)
    line = turned(b * t[:, None] * np.column_stack([np.cos(t), np.sin(t)]), angle)

    def arc(at):
        return b / 2.0 * (at * np.sqrt(1.0 + at**2) + np.arcsinh(at))

    length, _ = measured(line, width)
    assert length == pytest.approx(arc(5.0 * np.pi) - arc(np.pi), rel=0.005)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("angle", ANGLES)
def test_sine_curves_read_their_elliptic_integral(angle, width):
    # One period of y = a sin(x/p) has length 4 p sqrt(1 + (a/p)^2) E(m), m = k^2/(1 + k^2),
    # k = a/p: complete elliptic integral of the second kind (NIST DLMF 19.30, ellipse by sine).
    amplitude, p = 60.0, 60.0
    x = np.linspace(0.0, 2.0 * np.pi * p, 4000)
    line = turned(np.column_stack([x, amplitude * np.sin(x / p)]), angle)
    k2 = (amplitude / p) ** 2
    true = 4.0 * p * np.sqrt(1.0 + k2) * ellipe(k2 / (1.0 + k2))
    length, _ = measured(line, width)
    assert length == pytest.approx(true, rel=0.005)
