"""Photographs the page of a measured trial for the documentation.

``python -m tests.report.page_pictures FOLDER`` writes the page of FOLDER and takes its pictures in
Chromium; they go to ``docs/images/report_*.jpg``.
"""

import io
import shutil
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

from traymorph.pipeline.report import report_folder

IMAGES = Path(__file__).parents[2] / "docs" / "images"
_QUIET = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
_PICTURES = {
    "report_findings": ("header", "#findings"),
    "report_plates": ("#plates h2", "#plates .plates >> nth=1"),
    "report_metrics": ("#metrics",),
    "report_tray": ("#tray-3",),
}
_WIDTH, _PHONE, _TALLEST = 1160, 360, 1400
_MARGIN = 24


def main() -> None:
    folder = Path(sys.argv[1])
    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        chromium = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=list(_QUIET)
        )
        page_file = report_folder(folder, out=Path(place) / "page.html").path
        wide = chromium.new_page(viewport={"width": _WIDTH, "height": 900}, bypass_csp=True)
        wide.goto(page_file.as_uri())
        for name, parts in _PICTURES.items():
            _save(name, wide, parts)
        phone = chromium.new_page(
            viewport={"width": _PHONE, "height": 760},
            device_scale_factor=1.5,
            color_scheme="dark",
            bypass_csp=True,
        )
        phone.goto(page_file.as_uri())
        _save("report_phone", phone, ("header", ".answer"))
        chromium.close()


def _save(name: str, page: Page, parts: tuple[str, ...]) -> None:
    """Photograph what lies from the first to the last part."""
    page.add_style_tag(content=".tray { content-visibility: visible !important; }")
    boxes = [page.locator(part).first.bounding_box() for part in parts]
    there = [box for box in boxes if box is not None]
    top = min(box["y"] for box in there)
    bottom = max(box["y"] + box["height"] for box in there) + _MARGIN
    width = float(page.viewport_size["width"]) if page.viewport_size else 0.0
    clip = {"x": 0, "y": top, "width": width, "height": min(bottom - top, _TALLEST)}
    shot = page.screenshot(clip=clip, full_page=True)
    picture = Image.open(io.BytesIO(shot)).convert("RGB")
    picture.save(IMAGES / f"{name}.jpg", quality=82, optimize=True)


if __name__ == "__main__":
    main()
