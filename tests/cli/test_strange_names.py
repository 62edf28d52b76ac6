"""Names of trays and photos are text, whatever they look like."""

import csv

import pytest
from PIL import Image

from tests.cli.running import copy_trial, table, traymorph
from traymorph.store.textcells import unguarded

pytestmark = pytest.mark.slow

MEASURED = ['=HYPERLINK("http://x")', "<script>alert(1)</script>"]
FAILING = ["../../x", "..", "tray " * 60 + "end", "מגש אחד", "🌱", "@SUM(A1)", "a, b", 'a "b" c']


@pytest.fixture(scope="module")
def strange(tmp_path_factory):
    """Two measured trays and several without a true photo, every one strangely named."""
    folder = copy_trial(tmp_path_factory.mktemp("strange") / "trial")
    photos = folder / "photos"
    names = {}
    for place, tray_id in enumerate(FAILING):
        names[tray_id] = f"{place}/=2+{place}.jpg"
        (photos / str(place)).mkdir()
        (photos / names[tray_id]).write_text(f"no photo {place}")
    for tray_id, source in zip(MEASURED, ("T01", "T02"), strict=True):
        (photos / source / f"{source}_overhead.jpg").unlink()
        names[tray_id] = f"{source}/{source}_side.jpg"
    with (folder / "trays.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["tray_id", "crop", "treatment", "block", "batch"])
        writer.writerows([tray_id, "radish", "=A1", "1", "1"] for tray_id in names)
    with (folder / "photos.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["photo", "tray_id"])
        writer.writerows((name, tray_id) for tray_id, name in names.items())
    return folder, traymorph("measure", folder, "--masks", "--workers", 1)


def test_every_name_comes_back_as_it_was(strange):
    folder, outcome = strange
    assert outcome.code == 9, outcome.stderr
    results = folder / "results"
    ids = [unguarded(row["tray_id"]) for row in table(results / "tray_metrics.csv")]
    assert ids == MEASURED
    ids = {unguarded(row["tray_id"]) for row in table(results / "photo_checks.csv")}
    assert ids == {*MEASURED, *FAILING}


def test_no_cell_is_a_formula(strange):
    for path in (strange[0] / "results").glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        assert not [cell for cell in cells if cell.startswith(("=", "@", "+"))]


def test_the_terminal_shows_names_as_they_are(strange):
    for tray_id in MEASURED:
        assert tray_id in strange[1].stdout


def test_every_file_lies_within_results(strange):
    folder, _ = strange
    outside = [path for path in folder.parent.rglob("*") if path.suffix in {".jpg", ".png"}]
    made = [path for path in outside if "photos" not in path.relative_to(folder).parts]
    assert {path.parent for path in made} == {
        folder / "results" / "overlays",
        folder / "results" / "masks",
    }
    assert len(made) == 4
    for path in made:
        with Image.open(path) as picture:
            picture.load()
