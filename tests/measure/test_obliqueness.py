"""Stem that only shows because the camera looks aslant: drawn stands seen aslant and from above."""

import cv2
import numpy as np
import pytest

from traymorph.measure.obliqueness import USUAL_LEAN, seen_from_above

EYE_MM, FINE_MM, STEP_MM = 480.0, 0.25, 0.5
LENGTH_MM, WIDTH_MM, STEM_MM = 300.0, 200.0, 40.0
WHOLE = (slice(None), slice(None))


def slant_of_grid():
    rows, columns = (round(size / STEP_MM) for size in (WIDTH_MM, LENGTH_MM))
    y, x = (np.mgrid[:rows, :columns].astype(np.float32) + 0.5) * np.float32(STEP_MM)
    slant = np.hypot(x - LENGTH_MM / 2, y - WIDTH_MM / 2) / np.float32(EYE_MM)
    return slant.astype(np.float32)


def stand(leans, aslant):
    """Shares of leaf and stem: straight stems under round leaves of 5 mm.

    ``aslant`` is 1 as the camera sees them, 0 in a vertical view.
    """
    random = np.random.default_rng(7)
    foot = random.uniform((0.0, 0.0), (LENGTH_MM, WIDTH_MM), (len(leans), 2))
    away = (foot - np.array([LENGTH_MM, WIDTH_MM]) / 2) / EYE_MM
    tip = foot + STEM_MM * (leans + aslant * away)
    leaves, stems = (
        np.zeros((round(WIDTH_MM / FINE_MM), round(LENGTH_MM / FINE_MM)), np.uint8)
        for _ in range(2)
    )
    ends = (np.round(end / FINE_MM).astype(int) for end in (foot, tip))
    for low, high in zip(*ends, strict=True):
        cv2.line(stems, low.tolist(), high.tolist(), 255, 5)
        cv2.circle(leaves, high.tolist(), round(2.5 / FINE_MM), 255, -1)
    stems[leaves > 0] = 0
    return [
        cv2.resize(layer, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA).astype(np.float32)
        / np.float32(255.0)
        for layer in (leaves, stems)
    ]


def any_way(lean, plants=500):
    """Leans in all directions alike, with this mean."""
    return np.random.default_rng(3).normal(0.0, lean / np.sqrt(np.pi / 2), (plants, 2))


@pytest.mark.parametrize("lean", [0.2, 0.3, 0.6, 1.2])
def test_stems_of_any_lean_come_back_to_what_a_vertical_view_shows(lean):
    leaf, stem = stand(any_way(lean), aslant=1.0)
    _, from_above = stand(any_way(lean), aslant=0.0)
    kept = seen_from_above(leaf, stem, slant_of_grid(), WHOLE)
    assert abs(kept.mean() - from_above.mean()) < 0.08 * stem.mean()


def test_stems_that_all_lie_one_way_stay():
    """Most of a long tray lies the same way from the camera: that alone takes nothing off."""
    lodged = np.tile([1.2, 0.5], (500, 1))
    leaf, stem = stand(lodged, aslant=1.0)
    kept = seen_from_above(leaf, stem, slant_of_grid(), WHOLE)
    assert kept.mean() > 0.97 * stem.mean()


def test_more_is_taken_off_the_farther_from_below_the_camera():
    leaf, stem = stand(any_way(0.2), aslant=1.0)
    slant = slant_of_grid()
    shares = seen_from_above(leaf, stem, slant, WHOLE)[stem > 0] / stem[stem > 0]
    order = np.argsort(slant[stem > 0])
    assert (np.diff(shares[order]) < 1e-5).all()
    assert shares.max() <= 1.0


def test_what_may_as_well_be_leaf_is_taken_to_lean_as_usual():
    """Where leaf and stem share every cell alike, the way of their outlines tells nothing."""
    _, streaks = stand(any_way(0.0), aslant=1.0)
    slant = slant_of_grid()
    kept = seen_from_above(streaks / 2, streaks / 2, slant, WHOLE)
    usual = USUAL_LEAN / np.hypot(USUAL_LEAN, slant.mean())
    expected = streaks / 2 * usual / (usual + (1.0 - usual) * slant / slant.mean())
    np.testing.assert_allclose(kept, expected, atol=1e-5)


def test_seen_from_far_to_one_side_stems_are_taken_to_lean_as_usual():
    """All lines of sight then run one way, and streaks along it may as well lie that way."""
    leaf, stem = stand(any_way(0.3), aslant=1.0)
    slant = slant_of_grid()
    away = np.tile(np.linspace(0.5, 0.6, slant.shape[1], dtype=np.float32), (slant.shape[0], 1))
    usual = USUAL_LEAN / np.hypot(USUAL_LEAN, away.mean())
    kept = seen_from_above(leaf, stem, away, WHOLE)
    assert kept.sum() / stem.sum() == pytest.approx(usual, abs=0.01)


def test_a_photo_without_stem_keeps_none():
    bare = np.zeros((40, 60), np.float32)
    assert not seen_from_above(bare, bare, np.full_like(bare, 0.2), WHOLE).any()
