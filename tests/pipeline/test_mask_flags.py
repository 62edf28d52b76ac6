"""The flags of doubtful and contradicted masks: quiet on good photos, raised on strange ones."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from traymorph.config.lists import read_trial
from traymorph.config.settings import read_settings
from traymorph.measure.mask_doubt import expected_error_share, mask_flags, photo_flags
from traymorph.model.photo import View
from traymorph.pipeline.overhead import measure_overhead_photo
from traymorph.pipeline.seen import card_area, see, segment
from traymorph.pipeline.side import measure_side_photo
from traymorph.segment.tissue import segment_tissue

SAMPLE = Path(__file__).parents[2] / "sample_images"
OF_MASKS = {"masks_uncertain", "masks_disagree"}


def _photo(view):
    """A photo of the sample trial, read and its plants told; the tray's size; settings."""
    settings = read_settings(SAMPLE)
    trial = read_trial(SAMPLE, settings)
    entry = next(one for one in trial.photos if one.tray_id == "T02" and one.view is view)
    size = next(sample.size for sample in trial.samples if sample.tray_id == "T02")
    seen = see(entry, settings.card.printed_bar_mm)
    return seen, segment(seen), size, settings


@pytest.mark.parametrize(
    ("view", "measure"), [(View.OVERHEAD, measure_overhead_photo), (View.SIDE, measure_side_photo)]
)
def test_flags_of_the_masks_follow_the_masks_of_the_photo(view, measure):
    seen, segmented, size, settings = _photo(view)
    masks = segmented.masks
    raised = [
        OF_MASKS & set(measure(seen, replace(segmented, masks=one), size, settings).flags)
        for one in (
            masks,
            replace(masks, doubt=np.maximum(masks.doubt, 0.3 * masks.plant)),
            replace(masks, contradicted=0.3),
        )
    ]
    assert raised == [set(), {"masks_uncertain"}, {"masks_disagree"}]


def test_a_cloth_in_two_colours_behind_the_tray_raises_both():
    seen, plain, _, _ = _photo(View.SIDE)
    rng = np.random.default_rng(1)
    shape, scale = plain.rgb.shape[:2], plain.masks.scale
    blotches = cv2.GaussianBlur(rng.normal(size=shape).astype(np.float32), (0, 0), 12) > 0
    cloth = np.where(blotches[..., None], (150, 60, 90), (230, 220, 200))  # as stems and leaves
    card, plant = card_area(seen.sighting, scale, shape), plain.masks.plant[..., None]
    picture = plain.rgb * plant + (cloth + rng.normal(0, 6, (*shape, 3))) * (1 - plant)
    picture[card] = plain.rgb[card]
    strange = segment_tissue(
        picture.clip(0, 255).astype(np.uint8),
        scale=scale,
        mm_per_px=seen.mm_per_px * scale,
        ignore=card,
    )
    assert photo_flags(plain.masks) == ()
    assert photo_flags(strange) == ("masks_disagree",)
    assert mask_flags(strange, View.SIDE) == ("masks_uncertain",)
    assert expected_error_share(strange) > 5 * expected_error_share(plain.masks)
