"""Pictures of the page in the documentation are small, hold pixels alone, and are shown."""

import pytest
from PIL import Image

from tests.docs.reference_pages import DOCS

PICTURES = sorted((DOCS / "images").glob("report_*.*"))
_MOST_BYTES = 250_000


@pytest.mark.parametrize("place", PICTURES, ids=lambda one: one.name)
def test_a_picture_is_small_and_shown(place):
    assert place.stat().st_size <= _MOST_BYTES
    assert f"images/{place.name}" in (DOCS / "report.md").read_text(encoding="utf-8")
    with Image.open(place) as picture:
        assert not picture.getexif()


def test_the_readme_shows_the_page():
    assert len(PICTURES) >= 4
    text = (DOCS.parent / "README.md").read_text(encoding="utf-8")
    assert any(f"docs/images/{place.name}" in text for place in PICTURES)
