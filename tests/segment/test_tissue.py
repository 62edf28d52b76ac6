"""Two witnesses heard together: shares stay shares, the card is no plant, doubt shows dissent."""

import numpy as np
import pytest

from traymorph.segment import tissue
from traymorph.segment.tissue import segment_tissue

_LEAF_GREEN, _SOIL = (70, 140, 50), (58, 44, 36)


def _picture(rng, *, plants: bool) -> np.ndarray:
    """Round green blades on dark medium, 0.3 mm a pixel."""
    rows, columns = np.mgrid[:256, :320]
    picture = np.empty((256, 320, 3))
    picture[:] = _SOIL
    if plants:
        for row, column in ((60, 70), (90, 200), (180, 120), (170, 250)):
            picture[(rows - row) ** 2 + (columns - column) ** 2 < 30**2] = _LEAF_GREEN
    return (picture + rng.normal(0, 4, picture.shape)).clip(0, 255).astype(np.uint8)


@pytest.mark.parametrize("mm_per_px", [0.3, None])
def test_shares_are_shares(mm_per_px):
    picture = _picture(np.random.default_rng(1), plants=True)
    masks = segment_tissue(picture, scale=2.0, mm_per_px=mm_per_px, ignore=None)
    assert masks.leaf.shape == masks.stem.shape == masks.doubt.shape == picture.shape[:2]
    assert masks.leaf.min() >= 0
    assert masks.stem.min() >= 0
    assert (masks.leaf + masks.stem).max() <= 1 + 1e-6
    assert masks.doubt.max() <= 0.5
    assert masks.scale == 2.0


def test_blades_are_found_and_bare_medium_is_not():
    rng = np.random.default_rng(2)
    with_plants = segment_tissue(_picture(rng, plants=True), scale=1.0, mm_per_px=0.3, ignore=None)
    bare = segment_tissue(_picture(rng, plants=False), scale=1.0, mm_per_px=0.3, ignore=None)
    true_area = 4 * np.pi * 30**2
    # Flat discs lack the shade and veins that the learned model was shown: a wide limit.
    assert 0.6 * true_area < with_plants.plant.sum() < 1.1 * true_area
    assert bare.plant.mean() < 0.01


def test_what_lies_on_the_card_is_no_plant_unless_it_is_surely_a_leaf():
    picture = _picture(np.random.default_rng(3), plants=True)
    card = np.zeros(picture.shape[:2], bool)
    card[100:, :] = True
    free = segment_tissue(picture, scale=1.0, mm_per_px=0.3, ignore=None)
    kept = segment_tissue(picture, scale=1.0, mm_per_px=0.3, ignore=card)
    np.testing.assert_array_equal(kept.plant[~card], free.plant[~card])
    assert not ((kept.plant[card] > 0) & (kept.plant[card] < 0.9)).any()


def test_a_photo_of_bare_ground_gives_empty_masks():
    grey = np.full((256, 320, 3), 190, np.uint8)
    masks = segment_tissue(grey, scale=1.5, mm_per_px=0.3, ignore=None)
    for layer in (masks.leaf, masks.stem, masks.doubt):
        assert layer.shape == (256, 320)
        assert not layer.any()


def test_the_same_picture_gives_the_same_answer():
    picture = _picture(np.random.default_rng(4), plants=True)
    first, second = (segment_tissue(picture, scale=1.0, mm_per_px=0.3, ignore=None) for _ in "ab")
    np.testing.assert_array_equal(first.leaf, second.leaf)
    np.testing.assert_array_equal(first.stem, second.stem)


def test_witnesses_that_contradict_each_other_raise_the_doubt(monkeypatch):
    picture = _picture(np.random.default_rng(5), plants=True)
    agreed = segment_tissue(picture, scale=1.0, mm_per_px=None, ignore=None)
    everything = (
        np.full(picture.shape[:2], 0.98, np.float32),
        np.zeros(picture.shape[:2], np.float32),
    )
    monkeypatch.setattr(tissue, "tissue_shares", lambda _rgb: everything)
    dissent = segment_tissue(picture, scale=1.0, mm_per_px=None, ignore=None)
    assert dissent.doubt.mean() > agreed.doubt.mean() + 0.1


def _shares(where: np.ndarray, inside: float, outside: float) -> np.ndarray:
    return np.where(where, inside, outside).astype(np.float32)


def test_without_a_card_the_surer_witness_counts_and_a_stranger_does_not():
    weight = tissue.colour_model_weight
    leaves, backdrop = np.zeros((40, 40), bool), np.zeros((40, 40), bool)
    leaves[10:20, 10:20], backdrop[:, 25:] = True, True
    sure, unsure = _shares(leaves, 0.98, 0.02), _shares(leaves, 0.7, 0.3)
    assert weight(unsure, sure) > 0.9 * tissue.COLOUR_MODEL_WEIGHT
    assert weight(sure, unsure) < 0.1
    assert weight(unsure, _shares(backdrop, 0.98, 0.02)) == 0.0
    assert weight(np.zeros_like(sure), np.zeros_like(sure)) == 0.0


@pytest.mark.parametrize("cloth", [(60, 120, 90), (120, 40, 60)])
def test_without_a_card_a_cloth_in_a_colour_of_leaves_is_no_plant(cloth):
    rng = np.random.default_rng(7)
    picture = _picture(rng, plants=True)
    blades = picture[..., 1] > 100
    picture[:, :170] = (cloth + rng.normal(0, 3, (256, 170, 3))).clip(0, 255)
    blades[:, :170] = False
    masks = segment_tissue(picture, scale=1.0, mm_per_px=None, ignore=None)
    assert masks.plant[:, :170].mean() < 0.1
    assert (masks.plant[blades] > 0.5).mean() > 0.8


def test_with_a_card_the_photo_s_own_colours_fill_what_the_learned_model_missed(monkeypatch):
    picture = _picture(np.random.default_rng(6), plants=True)
    rows, columns = np.mgrid[: picture.shape[0], : picture.shape[1]]
    blades = picture[..., 1] > 100
    missed = blades & ((rows - 170) ** 2 + (columns - 250) ** 2 < 30**2)
    leaf = np.where(blades, 0.97, 0.02).astype(np.float32)
    leaf[missed] = 0.42
    told = (leaf, np.zeros_like(leaf))
    monkeypatch.setattr(tissue, "tissue_shares", lambda _rgb, _wanted: told)
    monkeypatch.setattr(tissue, "may_hold_plants", lambda _rgb, _mm: np.ones((16, 20), bool))
    masks = segment_tissue(picture, scale=1.0, mm_per_px=0.3, ignore=None)
    assert (masks.plant[missed] > 0.5).mean() > 0.9
    assert masks.plant[~blades].mean() < 0.05
    # What the learned model was not sure of stays in doubt.
    assert masks.doubt[missed].mean() > masks.doubt[blades & ~missed].mean() + 0.05


def _seen_by(monkeypatch, leaf):
    """Masks of the drawn picture when the learned model says `leaf` of it."""
    told = (leaf.astype(np.float32), np.zeros(leaf.shape, np.float32))
    monkeypatch.setattr(tissue, "tissue_shares", lambda _rgb, _wanted: told)
    monkeypatch.setattr(tissue, "may_hold_plants", lambda _rgb, _mm: np.ones((16, 20), bool))
    picture = _picture(np.random.default_rng(6), plants=True)
    return segment_tissue(picture, scale=1.0, mm_per_px=0.3, ignore=None)


def test_what_form_denies_and_colour_affirms_is_contradicted_and_in_doubt(monkeypatch):
    """Half of one of four blades of one colour, the learned model sure of none: 0.5 over 3.5."""
    picture = _picture(np.random.default_rng(6), plants=True)
    rows, columns = np.mgrid[: picture.shape[0], : picture.shape[1]]
    blades = picture[..., 1] > 100
    denied = blades & ((rows - 170) ** 2 + (columns - 250) ** 2 < 30**2) & (columns > 250)
    leaf = np.where(blades, 0.97, 0.02)
    agreed = _seen_by(monkeypatch, leaf)
    leaf[denied] = 0.02
    split = _seen_by(monkeypatch, leaf)
    assert agreed.contradicted < 0.01
    assert split.contradicted == pytest.approx(0.5 / 3.5, abs=0.03)
    assert np.median(split.doubt[denied]) == 0.25
    assert split.doubt.sum() > agreed.doubt.sum() + 0.2 * denied.sum()
