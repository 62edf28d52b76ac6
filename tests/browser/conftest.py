"""One browser for all tests here, closed after them, and pages that several of them look at."""

import os
from pathlib import Path

import pytest

from tests.browser import trials
from tests.browser.chromium import find_chromium, open_page, running_chromium
from traymorph.pipeline import report


@pytest.fixture(scope="package")
def browser():
    executable = find_chromium()
    if executable is None:
        pytest.skip("Chromium is not installed (Debian: apt-get install chromium)")
    with running_chromium(executable) as started:
        yield started


@pytest.fixture(scope="package")
def axe():
    """The accessibility engine's source; .ci/run fetches it."""
    place = os.environ.get("TRAYMORPH_AXE")
    if not place:
        pytest.skip("TRAYMORPH_AXE does not name axe.min.js (npm pack axe-core)")
    return Path(place).read_text(encoding="utf-8")


@pytest.fixture(scope="package")
def folders(tmp_path_factory):
    """Trial folders with their pages: everything at once, batches, strange names."""
    made = tmp_path_factory.mktemp("pages")
    full = trials.write_full(made / "dark days")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(report, "typical_plates", trials.made_plates)
        report.report_folder(full)
    season = trials.write_season(made / "season")
    strange = trials.write_strange(made / "strange" / "=<b>🌱")
    report.report_folder(season)
    report.report_folder(strange)
    return {"full": full, "season": season, "strange": strange}


@pytest.fixture(scope="package")
def opened(browser, folders):
    return {
        name: open_page(browser, folder / "results" / "report.html")
        for name, folder in folders.items()
    }


@pytest.fixture(params=["full", "season", "strange"])
def watched(request, opened):
    return opened[request.param]
