"""Photos as they come from the phone, attributed by the labels in them."""

import shutil

import numpy as np
import pytest
import segno
from PIL import Image

from tests.cli.running import TRIAL, table, traymorph
from traymorph.errors import ExitCode
from traymorph.model.labels import label_text

# Top left corner of free bench in each photo of the small trial: (column, row), pixels.
FREE = {"overhead": (30, 30), "side": (300, 900)}


def labelled(source, target, tray_id, view):
    """Copy a photo with a label laid on the bench."""
    with Image.open(source) as opened:
        exif, picture = opened.getexif(), np.array(opened.convert("RGB"))
    made = segno.make_qr(label_text(tray_id), error="q", mode="byte", encoding="utf-8")
    cells = np.pad(np.array([list(row) for row in made.matrix], np.uint8), 4)
    code = np.kron(235 - 215 * cells, np.ones((4, 4), np.uint8)).astype(np.uint8)
    column, row = FREE[view]
    picture[row : row + code.shape[0], column : column + code.shape[1]] = code[:, :, None]
    target.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(picture).save(target, quality=95, exif=exif)


def folder_of(tmp_path):
    folder = tmp_path / "trial"
    folder.mkdir()
    for name in ("trays.csv", "trial.toml"):
        shutil.copy(TRIAL / name, folder / name)
    return folder


@pytest.mark.slow
def test_labels_attribute_photos_and_leave_the_numbers_alone(tmp_path, first_run):
    folder = folder_of(tmp_path)
    photos = TRIAL / "photos"
    for number, view in enumerate(("overhead", "side")):
        source = photos / "T01" / f"T01_{view}.jpg"
        labelled(source, folder / "photos" / f"IMG_{number}.jpg", "T01", view)
    contradicting = folder / "photos" / "T02" / "IMG_3.jpg"
    labelled(photos / "T02" / "T02_overhead.jpg", contradicting, "T01", "overhead")
    unknown = folder / "photos" / "IMG_4.jpg"
    labelled(photos / "T02" / "T02_side.jpg", unknown, "T77", "side")

    outcome = traymorph("measure", folder, "--workers", 1)
    assert outcome.code == ExitCode.SOME_FAILED
    assert "3 of 3 photos looked at for labels" in outcome.stderr
    assert "its label says tray T77, which is not in trays.csv" in outcome.stderr
    assert "its label says tray T01, but list or sub-folder say T02" in outcome.stderr

    (row,) = table(folder / "results" / "tray_metrics.csv")
    (expected,) = (
        one
        for one in table(first_run[0] / "results" / "tray_metrics.csv")
        if one["tray_id"] == "T01"
    )
    assert row["tray_id"] == "T01"
    for metric in ("canopy_cover_pct", "canopy_height_mm", "leaf_l", "projected_leaf_area_cm2"):
        value, doubt = float(expected[metric]), float(expected[f"{metric}_u"])
        # The picture went through JPEG once more, and a label lies in it: well within the doubt.
        assert float(row[metric]) == pytest.approx(value, abs=0.5 * doubt)
    errors = {check["photo"]: check["error"] for check in table(
        folder / "results" / "photo_checks.csv")}  # fmt: skip
    assert errors["IMG_0.jpg"] == errors["IMG_1.jpg"] == ""
    assert "T77" in errors["IMG_4.jpg"]
    assert "T01" in errors["T02/IMG_3.jpg"]


@pytest.mark.slow
def test_loose_photos_are_samples_of_their_own_whatever_labels_they_show(tmp_path):
    photo = tmp_path / "IMG_9.jpg"
    labelled(TRIAL / "photos" / "T01" / "T01_overhead.jpg", photo, "T01", "overhead")
    outcome = traymorph("measure", photo, "--tray", "500x250")
    assert outcome.code == 0, outcome.stderr
    assert "IMG_9" in outcome.stdout
