"""Width of a rod whose far flank falls to the board's lightness, against what was drawn."""

import cv2
import numpy as np
import pytest

from tests.segment.board_pictures import MM_PER_PX
from traymorph.segment.board_outline import refine

_PER_PX = 8
_SIDE = 160
_RADIUS_MM = 0.75
_MIDDLE = np.s_[50:110, 50:110]


def lit_rod(angle_deg, board, flank):
    """Rod that darkens steadily from its lit flank to the other, and the dark line beside it."""
    y, x = np.mgrid[: _SIDE * _PER_PX, : _SIDE * _PER_PX].astype(np.float32)
    angle = np.deg2rad(angle_deg)
    middle = (_SIDE * _PER_PX - 1) / 2
    across = (x - middle) * np.cos(angle) + (y - middle) * np.sin(angle)
    across *= MM_PER_PX / _PER_PX
    inside = np.abs(across) < _RADIUS_MM
    ramp = np.clip((across / _RADIUS_MM + 0.6) / 1.2, 0, 1)
    beside = np.where(across > 0, np.exp(-np.maximum(across - _RADIUS_MM, 0) / 0.6), 0.0)
    codes = np.where(inside, 235 + (flank - 235) * ramp, board * (1 - 0.6 * beside))
    codes = cv2.resize(codes.astype(np.float32), (_SIDE, _SIDE), interpolation=cv2.INTER_AREA)
    codes = cv2.GaussianBlur(codes, (0, 0), 0.7)[..., None] + np.zeros(3)
    noisy = codes + np.random.default_rng(3).normal(0, 2, codes.shape)
    return np.clip(np.round(noisy), 0, 255).astype(np.uint8), inside, across


@pytest.mark.parametrize("angle_deg", [0, 25, 90, 160])
@pytest.mark.parametrize(("board", "flank"), [(122, 118), (80, 96), (60, 80)])
def test_shaded_flank_belongs_to_the_stem(angle_deg, board, flank):
    rgb, inside, across = lit_rod(angle_deg, board, flank)
    lit_part = (inside & (across < 0.2 * _RADIUS_MM)).astype(np.uint8) * 255
    half = (_SIDE // 2, _SIDE // 2)
    first = cv2.resize(lit_part, half, interpolation=cv2.INTER_AREA) > 127
    reduced = cv2.resize(rgb, half, interpolation=cv2.INTER_AREA)
    share = refine(first, reduced, rgb, MM_PER_PX)
    true = cv2.resize(inside.astype(np.float32), (_SIDE, _SIDE), interpolation=cv2.INTER_AREA)
    assert share[_MIDDLE].sum() == pytest.approx(true[_MIDDLE].sum(), rel=0.06)
