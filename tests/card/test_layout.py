"""The layout itself: ids, sizes, and that nothing lies on anything else."""

import cv2
import numpy as np
import pytest

from traymorph.card.layout import (
    DICTIONARY,
    VERSION,
    card_layout,
    marker_boxes,
    marker_cells,
    role_and_version,
)
from traymorph.model.card import CardRole


def _boxes(layout):
    markers = [(*corners[0], *(corners[2] - corners[0])) for corners in layout.markers.values()]
    patches = [(p.x, p.y, p.width, p.height) for p in layout.patches]
    return markers + patches


def _gap(a, b):
    across = max(a[0] - b[0] - b[2], b[0] - a[0] - a[2])
    down = max(a[1] - b[1] - b[3], b[1] - a[1] - a[3])
    return max(across, down)


def test_ids_of_all_cards_differ_and_tell_role_and_version():
    ids = [marker_id for role in CardRole for marker_id in card_layout(role).markers]
    assert len(ids) == len(set(ids)) == 24
    for role in CardRole:
        assert {role_and_version(i) for i in card_layout(role).markers} == {(role, VERSION)}


@pytest.mark.parametrize("marker_id", [8, 9, 28, 30, 99])
def test_ids_that_no_version_has_printed_are_unknown(marker_id):
    assert role_and_version(marker_id) is None


@pytest.mark.parametrize("role", list(CardRole))
def test_nothing_lies_on_anything_else_and_markers_have_their_quiet_zone(role):
    layout = card_layout(role)
    boxes = _boxes(layout)
    count = len(layout.markers)
    for i, a in enumerate(boxes):
        assert min(a[0], a[1]) >= 0
        assert a[0] + a[2] <= layout.size[0]
        assert a[1] + a[3] <= layout.size[1]
        for b in boxes[i + 1 :]:
            # One cell (15/7 mm) of white round a marker is what its detector needs; paper is white.
            assert _gap(a, b) >= (0.5 if i >= count else 0.2)
    printed = [(p.x, p.y, p.width, p.height) for p in layout.patches if p.drawn]
    for marker in boxes[:count]:
        for patch in printed:
            assert _gap(marker, patch) >= 15.0 / 7.0


def test_patches_can_be_printed_and_read():
    drawn = [patch for patch in card_layout(CardRole.OVERHEAD).patches if patch.drawn]
    assert all(20 <= code <= 240 for patch in drawn for code in patch.rgb)
    assert all(min(patch.width, patch.height) >= 7.0 for patch in drawn)
    assert sum(not patch.neutral for patch in drawn) >= 10
    assert len({patch.rgb for patch in drawn if patch.neutral}) >= 6


def test_the_bar_is_100_mm_long():
    bar = card_layout(CardRole.BOARD).bar
    ink = np.concatenate([np.array(s.corners) for s in card_layout(CardRole.BOARD).shapes])
    on_bar = ink[(ink[:, 1] >= bar.y - 4) & (ink[:, 1] <= bar.y + 1)]
    assert bar.length == 100.0
    assert np.ptp(on_bar[:, 0]) == pytest.approx(100.0, abs=1e-9)


@pytest.mark.parametrize("role", list(CardRole))
def test_marker_cells_and_boxes_are_those_of_opencv(role):
    """Outside check: OpenCV's own drawing of each id (cv2.aruco.generateImageMarker)."""
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    layout = card_layout(role)
    for marker_id in layout.markers:
        drawn = cv2.aruco.generateImageMarker(dictionary, marker_id, 70)
        assert np.array_equal(drawn[5::10, 5::10] < 128, marker_cells(marker_id))
    canvas = np.full((900, 1200), 255, np.uint8)
    for x, y, width, height in np.array(marker_boxes(layout)) * 10:
        canvas[round(y) : round(y + height), round(x) : round(x + width)] = 0
    for marker_id, corners in layout.markers.items():
        x, y = np.round(corners[0] * 10).astype(int)
        cell = 150 / 7
        middle = np.round((np.arange(7) + 0.5) * cell).astype(int)
        cells = canvas[y + middle[:, None], x + middle[None, :]] < 128
        assert np.array_equal(cells, marker_cells(marker_id))
