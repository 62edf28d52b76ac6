"""What an overhead photo says where no side photo tells the canopy's height."""

from pathlib import Path

import pytest

from traymorph.config.lists import read_trial
from traymorph.config.settings import read_settings
from traymorph.model.photo import View
from traymorph.model.results import Measured
from traymorph.pipeline.overhead import SideHeights, measure_overhead_photo
from traymorph.pipeline.seen import see, segment

SAMPLE = Path(__file__).parents[2] / "sample_images"
FROM_THE_SIDE = SideHeights(Measured(96.5, 3.2))


@pytest.mark.slow
def test_areas_are_those_with_a_side_photo_within_the_doubt():
    """Taken at an assumed height of 50 mm the overhang of this tray would be 80 % too large."""
    settings = read_settings(SAMPLE)
    trial = read_trial(SAMPLE, settings)
    entry = next(one for one in trial.photos if one.tray_id == "T02" and one.view is View.OVERHEAD)
    size = next(sample.size for sample in trial.samples if sample.tray_id == "T02")
    seen = see(entry, settings.card.printed_bar_mm)
    segmented = segment(seen)
    told, alone = (
        measure_overhead_photo(seen, segmented, size, settings, heights)
        for heights in (FROM_THE_SIDE, SideHeights())
    )
    assert "height_assumed" in alone.flags
    assert "height_assumed" not in told.flags
    for name, apart in (("projected_leaf_area_cm2", 0.01), ("overhang_area_cm2", 0.2)):
        with_side, without = told.metrics[name], alone.metrics[name]
        assert without.value == pytest.approx(with_side.value, rel=apart)
        assert without.u > with_side.u
