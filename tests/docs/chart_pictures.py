"""The chart in ``docs/images``, of the sample season: ``python -m tests.docs.chart_pictures``."""

import shutil
import tempfile
from pathlib import Path

from tests.docs.reference_pages import DOCS
from traymorph.pipeline.drift import Asked, watch_folder

SEASON = DOCS.parent / "sample_images" / "season"
PICTURE = DOCS / "images" / "drift.svg"


def season_chart() -> bytes:
    """Charts of cover over the sample season, drawn by the program."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "season"
        shutil.copytree(SEASON, folder, ignore=shutil.ignore_patterns("drift*"))
        watch_folder(folder, Asked(metrics=("canopy_cover_pct",)))
        return (folder / "results" / "drift" / "canopy_cover_pct.svg").read_bytes()


if __name__ == "__main__":
    PICTURE.write_bytes(season_chart())
