"""Photographs a page for people to look at: ``python -m tests.browser.photographs PAGE OUT``.

PAGE is a ``report.html``. In OUT: the page at three widths, light and dark, as people with other
colour vision see it, and printed without colour.
"""

import sys
from pathlib import Path

import pymupdf

from tests.browser.chromium import find_chromium, open_page, running_chromium, unfold

WIDTHS = (360, 800, 1400)
VISION = ("achromatopsia", "deuteranopia", "protanopia", "tritanopia")
_PIECE = 3000
"""Height of a photograph, px: longer pages come in several."""


def photograph(page_file: Path, out: Path) -> None:
    out.mkdir(parents=True, exist_ok=True)
    with running_chromium(find_chromium()) as browser:
        seen = open_page(browser, page_file.resolve())
        for scheme in ("light", "dark"):
            for width in WIDTHS:
                seen.resize(width, scheme=scheme)
                unfold(seen.page)
                _shoot(seen.page, out / f"{scheme}_{width}", width)
        seen.resize(1000)
        session = seen.page.context.new_cdp_session(seen.page)
        for kind in VISION:
            session.send("Emulation.setEmulatedVisionDeficiency", {"type": kind})
            _shoot(seen.page, out / kind, 1000, pieces=1)
        session.send("Emulation.setEmulatedVisionDeficiency", {"type": "none"})
        seen.page.reload()
        seen.page.emulate_media(media="print")
        for paper in ("A4", "Letter"):
            with pymupdf.open("pdf", seen.page.pdf(format=paper)) as pdf:
                for sheet in pdf:
                    grey = sheet.get_pixmap(dpi=100, colorspace=pymupdf.csGRAY)
                    grey.save(out / f"{paper}_{sheet.number + 1:03d}.png")


def _shoot(page, place, width, pieces=99):
    height = page.evaluate("document.documentElement.scrollHeight")
    for k in range(min(pieces, -(-height // _PIECE))):
        clip = {"x": 0, "y": k * _PIECE, "width": width,
                "height": min(_PIECE, height - k * _PIECE)}  # fmt: skip
        page.screenshot(path=f"{place}_{k}.png", full_page=True, clip=clip)


if __name__ == "__main__":
    photograph(Path(sys.argv[1]), Path(sys.argv[2]))
