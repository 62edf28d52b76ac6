"""The photo of an opened pack gives colours, checks, masks and a picture."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from traymorph.model.card import CardRole, CardSighting, ColourFit
from traymorph.model.masks import PlantMasks
from traymorph.model.metrics import METRICS
from traymorph.model.photo import CameraInfo, Photo, View
from traymorph.model.trial import PhotoEntry
from traymorph.model.viewpoint import Viewpoint
from traymorph.pipeline.pack import measure_pack_photo
from traymorph.pipeline.seen import SeenPhoto, SegmentedPhoto

CARD_MM = np.array([[0.0, 0.0], [120.0, 0.0], [120.0, 90.0], [0.0, 90.0]])
GREEN = (80, 140, 60)


def photographed(*, shows=True):
    """A heap of green leaf 100 mm wide beside a card, seen from straight above: 1 mm pixels."""
    rgb = np.full((300, 400, 3), 200, np.uint8)
    leaf = np.zeros((300, 400), np.float32)
    rgb[60:160, 40:140], leaf[60:160, 40:140] = GREEN, 1.0
    matrix = np.array([[500.0, 0, 199.5], [0, 500.0, 149.5], [0, 0, 1]])
    eye = Viewpoint(
        matrix, np.zeros(2), np.eye(3), np.array([20.0, -60.0, 500.0]), (400, 300), 0.01, 1.0,
        focal_from_exif=True,
    )  # fmt: skip
    outline = eye.project(np.column_stack([CARD_MM, np.zeros(4)]))
    fit = ColourFit(np.eye(3), 0.8, shows_colour=shows)
    sighting = CardSighting(CardRole.BOARD, 1, eye, outline, 0.1, 4, 4, fit, shaded=False)
    path = Path("pack_day3.jpg")
    seen = SeenPhoto(
        PhotoEntry(path, "P07", View.PACK, None),
        Photo(path, "0" * 64, rgb, CameraInfo()),
        View.PACK,
        sighting,
    )
    masks = PlantMasks(leaf, np.zeros_like(leaf), 1.0, "drawn", np.zeros_like(leaf))
    return seen, SegmentedPhoto(rgb, masks)


def test_an_opened_pack_gives_every_pack_column():
    outcome = measure_pack_photo(*photographed())
    assert set(outcome.metrics) == {n for n, spec in METRICS.items() if spec.view is View.PACK}
    assert all(np.isfinite(got.value) for got in outcome.metrics.values())
    # (80, 140, 60): G / (R + G + B) by hand
    assert outcome.metrics["pack_green_share"].value == pytest.approx(140 / 280, abs=1e-4)
    assert outcome.flags == ()
    assert outcome.quality.mm_per_px == pytest.approx(1.0, rel=1e-6)
    assert outcome.masks.leaf.sum() == 10_000
    assert outcome.overlay.width == 1600


def test_an_opened_pack_under_a_grow_lamp():
    outcome = measure_pack_photo(*photographed(shows=False))
    assert all(np.isnan(got.value) for got in outcome.metrics.values())
    assert "light_unfit_for_colour" in outcome.flags


def test_two_packs_in_one_photo_are_parted_at_the_card_s_middle():
    seen, segmented = photographed()
    # a second heap, right of the card's middle at x = 279.5, smaller and of another colour
    rgb = segmented.rgb.copy()
    rgb[220:290, 300:370] = (150, 120, 60)
    segmented = SegmentedPhoto(rgb, segmented.masks)
    segmented.masks.leaf[220:290, 300:370] = 1.0
    shares = {
        part: measure_pack_photo(
            replace(seen, entry=replace(seen.entry, part=part)), segmented
        ).metrics["pack_green_share"]
        for part in ("left", "right")
    }
    assert shares["left"].value == pytest.approx(140 / 280, abs=1e-4)
    assert shares["right"].value == pytest.approx(120 / 330, abs=1e-4)
