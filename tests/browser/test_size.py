"""Pages stay small and quick: 24 trays in 8 MB, 200 trays still usable (limits of the task)."""

import pytest

from tests.browser.chromium import open_page, until
from tests.browser.trials import write_many
from traymorph.pipeline.report import report_folder

_TIMES = """() => ({
    painted: performance.getEntriesByName("first-contentful-paint")[0].startTime / 1000,
    loaded: performance.getEntriesByType("navigation")[0].loadEventEnd / 1000,
})"""


@pytest.fixture(scope="module")
def page_of_201(tmp_path_factory):
    """A page of 201 trays with two pictures each."""
    folder = write_many(tmp_path_factory.mktemp("many"), 201, photo_px=(600, 800))
    return report_folder(folder)


@pytest.mark.slow
def test_24_trays_fit_into_8_megabytes(tmp_path):
    page = report_folder(write_many(tmp_path, 24))
    assert page.trays == 24
    assert page.size_bytes == page.path.stat().st_size < 8e6


@pytest.mark.slow
def test_200_trays_fit_into_12_megabytes(page_of_201):
    assert page_of_201.trays == 201
    assert page_of_201.size_bytes == page_of_201.path.stat().st_size < 12e6


@pytest.mark.slow
def test_200_trays_stay_usable(browser, page_of_201, record_property):
    seen = open_page(browser, page_of_201.path)
    until(seen.page, "performance.getEntriesByName('first-contentful-paint').length > 0")
    until(seen.page, "performance.getEntriesByType('navigation')[0].loadEventEnd > 0")
    times = seen.page.evaluate(_TIMES)
    for name, seconds in times.items():
        record_property(name, seconds)
    assert times["painted"] < 5.0
    assert times["loaded"] < 10.0
    assert seen.page.locator(".tray").count() == 201
    seen.page.context.close()
