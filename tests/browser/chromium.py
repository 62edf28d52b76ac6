"""Chromium as installed on the machine, and a record of all that a page does in it."""

import os
import shutil
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

NAMES = ("chromium", "chromium-browser", "google-chrome")
_QUIET = (
    "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip


def find_chromium():
    """Where Chromium lies; None where there is none."""
    return next((place for name in NAMES if (place := shutil.which(name))), None)


@contextmanager
def running_chromium(executable):
    """Start Chromium; its sandbox refuses to run as root."""
    sandbox = [] if os.getuid() else ["--no-sandbox"]
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=executable, args=[*_QUIET, *sandbox])
        yield browser
        browser.close()


@dataclass
class Watched:
    """An open page, what it asked for and what it complained of."""

    file: Path
    page: Page
    asked: list = field(default_factory=list)
    complaints: list = field(default_factory=list)

    @property
    def url(self):
        return self.file.as_uri()

    def resize(self, width, *, scheme="light"):
        self.page.set_viewport_size({"width": width, "height": 900})
        self.page.emulate_media(media="screen", color_scheme=scheme)


def open_page(browser, file, **options):
    """Open a file without a network; everything but the file itself is written down and refused."""
    context = browser.new_context(offline=True, **options)
    page = context.new_page()
    held = Watched(Path(file), page)

    def answer(route):
        url = route.request.url
        if url.partition("#")[0] == held.url:
            route.continue_()
            return
        held.asked.append(url)
        route.abort()

    context.route("**/*", answer)
    page.on("console", lambda said: held.complaints.append(f"{said.type}: {said.text}"))
    page.on("pageerror", lambda error: held.complaints.append(f"error: {error}"))
    page.on("dialog", lambda box: (held.complaints.append(f"dialog: {box.message}"), box.dismiss()))
    page.goto(held.url)
    return held


def until(page, expression, seconds=20.0):
    """Wait until something is true; Playwright's own waiting needs `eval`, which pages forbid."""
    end = time.monotonic() + seconds
    while not page.evaluate(expression):
        assert time.monotonic() < end, f"never true: {expression}"
        page.wait_for_timeout(20)


def unfold(page):
    """Show everything: open what is folded, draw what lies below the window."""
    page.evaluate(
        """() => {
            for (const one of document.querySelectorAll("details")) one.open = true;
            for (const one of document.querySelectorAll(".tray"))
                one.style.contentVisibility = "visible";
        }"""
    )
