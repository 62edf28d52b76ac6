"""Jobs: which photo belongs to which tray, and where its pictures go."""

from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from traymorph.config.settings import Settings
from traymorph.model.results import Measured
from traymorph.model.trial import PhotoEntry, Sample, SampleWeight, TraySize, Trial
from traymorph.pipeline.combine import combine_photos, group_by_day
from traymorph.pipeline.executors import ProcessExecutor, SerialExecutor, choose_executor
from traymorph.pipeline.jobs import plan_jobs

STRANGE_IDS = [
    "<script>alert(1)</script>",
    "=1+1",
    "../../x",
    "..",
    "/etc/passwd",
    "C:\\temp\\x",
    "tray " * 60,
    "מגש אחד",
    "🌱",
    "a\u202eb",
    "con",
    " ",
]


def trial_of(photos, folder=Path("/trial")):
    """A trial with (tray_id, path below photos/) pairs."""
    ids = list(dict.fromkeys(tray_id for tray_id, _ in photos if tray_id is not None))
    return Trial(
        folder,
        tuple(Sample(tray_id, "tray", TraySize(), None) for tray_id in ids),
        tuple(
            PhotoEntry(folder / "photos" / path, tray_id, None, None) for tray_id, path in photos
        ),
        (),
    )


def planned(photos, **more):
    places = {"overlays": Path("/out/overlays"), "masks": Path("/out/masks")} | more
    return plan_jobs(trial_of(photos), Settings(), **places)


def pictures_of(photos):
    jobs, _ = planned(photos)
    return [picture for job in jobs for picture in job.pictures()]


@pytest.mark.parametrize("tray_id", STRANGE_IDS)
def test_pictures_of_strangely_named_trays_stay_in_their_folders(tray_id):
    pictures = pictures_of([(tray_id, "1/overhead.jpg"), ("other", "2/overhead.jpg")])
    assert len(set(pictures)) == 4
    for picture in pictures:
        assert picture.parent in {Path("/out/overlays"), Path("/out/masks")}
        assert len(picture.name.encode()) <= 255, "longer names are refused by file systems"
        assert not set(picture.name) & set('<>:"/\\|?*'), "refused on Windows"


@given(
    st.lists(
        st.tuples(st.text(min_size=1, max_size=300), st.text(min_size=1, max_size=120)),
        min_size=1,
        max_size=6,
        unique_by=lambda pair: pair[0],
    )
)
def test_no_two_photos_share_a_picture(pairs):
    photos = [(tray_id, f"{n}/{stem}.jpg") for n, (tray_id, stem) in enumerate(pairs)]
    pictures = [path for path in pictures_of(photos) if path.suffix == ".jpg"]
    assert len({str(path).casefold() for path in pictures}) == len(photos)
    assert {path.parent for path in pictures} == {Path("/out/overlays")}


def test_photos_of_one_name_are_told_apart_by_their_tray():
    pictures = pictures_of([("T1", "T1/overhead.jpg"), ("T2", "T2/overhead.jpg")])
    names = {path.name for path in pictures if path.suffix == ".jpg"}
    assert names == {"T1_overhead.jpg", "T2_overhead.jpg"}


def test_two_trays_in_one_photo_get_pictures_of_their_own():
    pictures = pictures_of([("A", "board.jpg"), ("B", "board.jpg"), ("B", "board2.jpg")])
    names = [path.name for path in pictures if path.suffix == ".jpg"]
    assert names == ["A_board.jpg", "B_board.jpg", "board2.jpg"]


def test_one_photo_listed_twice_for_a_tray_gets_two_pictures():
    pictures = pictures_of([("A", "board.jpg"), ("A", "board.jpg"), ("A", "x/board.jpg")])
    assert len({path.name for path in pictures if path.suffix == ".jpg"}) == 3


def test_masks_are_named_by_the_photo():
    pictures = pictures_of([("T1", "IMG 20260310.jpg")])
    assert Path("/out/masks/IMG 20260310.png") in pictures


def test_a_photo_that_nothing_attributes_is_reported():
    jobs, failures = planned([("T1", "T1/a.jpg"), (None, "b.jpg")])
    assert [job.sample.tray_id for job in jobs] == ["T1"]
    (failure,) = failures
    assert failure.photo == "b.jpg"
    assert failure.exit_code == 4
    assert "photos.csv" in failure.message


class TestFingerprint:
    @pytest.fixture
    def job(self, tmp_path):
        (tmp_path / "photos").mkdir()
        (tmp_path / "photos" / "a.jpg").write_bytes(b"a photo")

        def make(settings=None, size=None, columns=None, weights=()):
            sample = Sample("T1", "tray", size or TraySize(), None, columns or {}, weights)
            entry = PhotoEntry(tmp_path / "photos" / "a.jpg", "T1", None, None)
            trial = Trial(tmp_path, (sample,), (entry,), ())
            jobs, _ = plan_jobs(trial, settings or Settings(), overlays=None, masks=None)
            return jobs[0]

        return make

    def test_is_that_of_equal_input(self, job):
        assert job().fingerprint() == job().fingerprint()

    def test_changes_with_the_photo_s_bytes(self, job, tmp_path):
        before = job().fingerprint()
        (tmp_path / "photos" / "a.jpg").write_bytes(b"another photo")
        assert job().fingerprint() != before

    def test_changes_with_a_size(self, job):
        size = TraySize(rim_above_medium_mm=12.0)
        assert job(size=size).fingerprint() != job().fingerprint()

    def test_changes_with_the_settings(self, job):
        settings = Settings.model_validate({"card": {"printed_bar_mm": 98.6}})
        assert job(settings=settings).fingerprint() != job().fingerprint()

    def test_changes_with_a_weight(self, job):
        one, other = (job(weights=(SampleWeight(grams),)) for grams in (1.2, 1.3))
        assert len({job().fingerprint(), one.fingerprint(), other.fingerprint()}) == 3

    def test_changes_with_the_crop_and_the_cut(self, job):
        told = [{}, {"crop": "pea"}, {"crop": "pea", "cut_above_medium_mm": "15"}]
        assert len({job(columns=columns).fingerprint() for columns in told}) == 3

    def test_does_not_change_with_names(self, job):
        columns = {"treatment": "30 g", "block": "2"}
        assert job(columns=columns).fingerprint() == job().fingerprint()


class TestCombining:
    def test_one_photo_stands_as_it_is(self):
        assert combine_photos([{"a": Measured(2.0, 0.5)}]) == {"a": Measured(2.0, 0.5)}

    def test_what_photos_share_does_not_average_out(self):
        both = combine_photos([{"a": Measured(10.0, 3.0)}, {"a": Measured(10.0, 3.0)}])
        assert both["a"] == Measured(10.0, 3.0)

    def test_scatter_of_the_mean_adds_in_squares(self):
        # Values 9 and 11: s = sqrt(2), s / sqrt(2) = 1 (JCGM 100:2008, 4.2.3); with 3 of each
        # photo's own: sqrt(9 + 1).
        both = combine_photos([{"a": Measured(9.0, 3.0)}, {"a": Measured(11.0, 3.0)}])
        assert both["a"].value == pytest.approx(10.0)
        assert both["a"].u == pytest.approx(np.sqrt(10.0))

    def test_a_photo_that_gave_nothing_does_not_count(self):
        assert combine_photos([{"a": Measured()}, {"a": Measured(4.0, 1.0)}])["a"].value == 4.0
        assert np.isnan(combine_photos([{"a": Measured()}])["a"].value)

    def test_undated_photos_join_the_only_day(self):
        day = date(2026, 3, 10)
        assert group_by_day([(day, 1), (None, 2)]) == {day: [1, 2]}

    def test_undated_photos_join_no_day_among_several(self):
        first, second = date(2026, 3, 10), date(2026, 3, 12)
        assert group_by_day([(first, 1), (None, 2), (second, 3)]) == {
            first: [1],
            None: [2],
            second: [3],
        }


def test_one_process_is_enough_for_one_job():
    assert isinstance(choose_executor(8, 1), SerialExecutor)
    assert isinstance(choose_executor(1, 8), SerialExecutor)
    assert isinstance(choose_executor(2, 8), ProcessExecutor)
