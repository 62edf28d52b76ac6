"""Cut plants join their tray's row: which day, which weight, which flags."""

from datetime import date, datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from traymorph.config.settings import Settings
from traymorph.errors import BoardError
from traymorph.measure.cut_plant_readings import Areas, PlantReading, Reading
from traymorph.measure.photo_checks import PhotoQuality
from traymorph.model.card import CardRole, CardSighting, ColourFit
from traymorph.model.masks import PlantMasks
from traymorph.model.metrics import PER_PLANT
from traymorph.model.photo import CameraInfo, Photo, View
from traymorph.model.results import Measured
from traymorph.model.trial import PhotoEntry, Sample, SampleWeight, TraySize, Trial
from traymorph.model.viewpoint import Viewpoint
from traymorph.pipeline import measure_tray as pipeline
from traymorph.pipeline.jobs import plan_jobs
from traymorph.pipeline.outcome import PhotoOutcome
from traymorph.pipeline.seen import SeenPhoto

FIRST, SECOND = date(2026, 3, 10), date(2026, 3, 12)
FEW = np.zeros((2, 2), np.float32)
MASKS = PlantMasks(FEW, FEW, 1.0, "drawn", FEW)


def plants(*lengths):
    areas = Areas(50.0, 100.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    empty = {name: Reading() for name in PER_PLANT}
    return tuple(
        PlantReading(
            0.0,
            0.0,
            {
                **empty,
                "stem_length_mm": Reading(length, 0.1, 0.1),
                "leaf_area_mm2": Reading(100.0, 1.0, 1.0),
            },
            {},
            areas,
            (),
            counts=True,
        )
        for length in lengths
    )


@pytest.fixture
def measure(monkeypatch):
    """Measure a tray whose photos are (name, view, day, lengths of the plants on it)."""

    def run(photos, **of_sample):
        shown = {Path(name): (view, lengths) for name, view, _, lengths in photos}
        given = {"kind": "tray", "columns": {"crop": "radish", "cut_above_medium_mm": "15"}}
        given |= of_sample
        sample = Sample(
            "T", given["kind"], TraySize(), None, given["columns"], given.get("weights", ())
        )
        entries = tuple(
            PhotoEntry(Path(name), "T", None, datetime.combine(day, datetime.min.time()))
            for name, _, day, _ in photos
        )

        def see(entry, *_):
            nowhere = (np.eye(3), np.zeros(2), np.eye(3), np.zeros(3), (2, 2), 0.0, 0.0)
            eye = Viewpoint(*nowhere, focal_from_exif=True)
            fit = ColourFit(np.eye(3), 1.0, shows_colour=True)
            card = CardSighting(
                CardRole.BOARD, 1, eye, np.zeros((4, 2)), 0.1, 8, 8, fit, shaded=False
            )
            photo = Photo(entry.path, "0" * 64, np.zeros((2, 2, 3), np.uint8), CameraInfo())
            return SeenPhoto(entry, photo, shown[entry.path][0], card)

        def outcome(seen, *_):
            view, lengths = shown[seen.entry.path]
            if lengths is None:
                message = "The board is patterned."
                raise BoardError(message, hint="Take a plain one.")
            name = {View.BOARD: "board_leaf_l"}.get(view, "leaf_l")
            quality = PhotoQuality(0.1, 1.0, 0.0, ())
            return PhotoOutcome(
                {name: Measured(50.0, 1.0)},
                (),
                quality,
                MASKS,
                Image.new("RGB", (2, 2)),
                plants(*lengths),
            )

        monkeypatch.setattr(pipeline, "see", see)
        monkeypatch.setattr(pipeline, "segment", lambda _seen: None)
        monkeypatch.setattr(pipeline, "check_photo", lambda *_: PhotoQuality(0.1, 1.0, 0.0, ()))
        for kind in ("board", "overhead", "side"):
            monkeypatch.setattr(pipeline, f"measure_{kind}_photo", outcome)
        trial = Trial(Path(), (sample,), entries, ())
        (job,), _ = plan_jobs(trial, Settings(), overlays=None, masks=None)
        return pipeline.measure_tray(job)

    return run


BOARD_PHOTO = ("b.jpg", View.BOARD, FIRST, [30.0] * 10)
OVERHEAD_PHOTO = ("o.jpg", View.OVERHEAD, FIRST, [])
SIDE_PHOTO = ("s.jpg", View.SIDE, FIRST, [])


def test_a_board_photo_of_the_same_day_joins_the_tray_s_row(measure):
    (row,) = measure([BOARD_PHOTO, OVERHEAD_PHOTO, SIDE_PHOTO]).rows
    assert row.metrics["stem_length_mm"].value == 30.0
    assert row.metrics["leaf_l"].value == 50.0
    assert row.n_plants == 10
    assert row.flags == ()


def test_a_board_photo_of_another_day_has_a_row_of_its_own(measure):
    later = ("b.jpg", View.BOARD, SECOND, [30.0] * 10)
    first, second = measure([OVERHEAD_PHOTO, SIDE_PHOTO, later]).rows
    assert (first.photographed_on, first.n_plants, first.spread) == (FIRST, None, {})
    assert (second.photographed_on, second.n_plants) == (SECOND, 10)
    assert np.isnan(first.metrics["stem_length_mm"].value)
    assert {"no_overhead_photo", "no_side_photo"} == set(second.flags)


def test_two_board_photos_are_pooled_plant_by_plant(measure):
    # pooled, (3 x 20 + 1 x 40) / 4 = 25; the mean of both photos' means would be 30
    other = ("c.jpg", View.BOARD, FIRST, [40.0])
    result = measure([("b.jpg", View.BOARD, FIRST, [20.0] * 3), other])
    (row,) = result.rows
    assert row.metrics["stem_length_mm"].value == 25.0
    assert row.spread["stem_length_mm"].sd == 10.0
    assert [(plant.photo, plant.plant) for plant in result.plants] == [
        *(("b.jpg", 1), ("b.jpg", 2), ("b.jpg", 3)),
        ("c.jpg", 1),
    ]


def test_a_pack_needs_no_other_photos_and_no_cut(measure):
    (row,) = measure([BOARD_PHOTO], kind="pack", columns={}).rows
    assert row.flags == ()


def test_where_plants_were_cut_must_be_told(measure):
    (row,) = measure([BOARD_PHOTO], columns={"crop": "pea", "cut_above_medium_mm": ""}).rows
    assert "cut_differs" in row.flags


def test_a_board_that_fails_leaves_the_other_photos(measure):
    result = measure([("b.jpg", View.BOARD, FIRST, None), OVERHEAD_PHOTO, SIDE_PHOTO])
    (row,) = result.rows
    assert row.n_plants is None
    assert row.metrics["leaf_l"].value == 50.0
    (failure,) = result.failures
    assert (failure.photo, failure.exit_code) == ("b.jpg", 4)
    assert "patterned" in failure.message


WEIGHED = {"weights": (SampleWeight(1.0, FIRST),)}


def test_the_weight_of_the_day_is_shared_out(measure):
    (row,) = measure([BOARD_PHOTO], **WEIGHED).rows
    assert row.metrics["plant_weight_mg"].value == pytest.approx(100.0)
    assert "weight_not_used" not in row.flags


@pytest.mark.parametrize(
    ("photos", "weight"),
    [
        ([("b.jpg", View.BOARD, SECOND, [30.0])], SampleWeight(1.0, FIRST)),
        ([BOARD_PHOTO, ("c.jpg", View.BOARD, SECOND, [30.0])], SampleWeight(1.0)),
        ([OVERHEAD_PHOTO], SampleWeight(1.0, FIRST)),
    ],
)
def test_a_weight_that_belongs_to_no_board_photo_is_told(measure, photos, weight):
    for row in measure(photos, weights=(weight,)).rows:
        assert np.isnan(row.metrics["plant_weight_mg"].value)
        assert "weight_not_used" in row.flags


def test_a_weight_used_on_its_day_is_not_missed_on_another(measure):
    later = replace_day(OVERHEAD_PHOTO, SECOND)
    first, second = measure([BOARD_PHOTO, later], **WEIGHED).rows
    assert first.metrics["plant_weight_mg"].value == pytest.approx(100.0)
    assert "weight_not_used" not in (*first.flags, *second.flags)


def replace_day(photo, day):
    name, view, _, lengths = photo
    return (name, view, day, lengths)
