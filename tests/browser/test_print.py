"""The page on paper: nothing cut, nothing split, no page too many."""

import math

import pymupdf
import pytest

from tests.browser.chromium import open_page
from traymorph.flags import FLAGS

_PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
_MARGINS = (14.0, 16.0)
"""mm, sideways and up; as the page's own style asks for."""
_PX_PER_MM = 96.0 / 25.4
_PT_PER_MM = 72.0 / 25.4
_HEADING_PT = 12.0
"""Headings are at least so large, and the words of sentences smaller."""
_MOST_WASTE = 1.5
"""Pages may be left unfilled so that pictures and trays stay whole: so much more paper at most."""


@pytest.fixture(scope="module", params=_PAPERS)
def printed(request, browser, folders):
    """The full page as PDF, from a dark screen, with what its layout on paper holds."""
    wide, high = _PAPERS[request.param]
    seen = open_page(browser, folders["full"] / "results" / "report.html", color_scheme="dark")
    width = round((wide - 2 * _MARGINS[0]) * _PX_PER_MM)
    seen.page.set_viewport_size({"width": width, "height": 900})
    seen.page.emulate_media(media="print")
    layout = seen.page.evaluate(
        """() => ({
            height: document.documentElement.scrollHeight,
            headings: [...document.querySelectorAll("h1, h2, h3")]
                .filter(one => one.checkVisibility()).map(one => one.textContent.trim()),
            pictures: [...document.images].filter(one => one.checkVisibility()).length,
            trays: [...document.querySelectorAll(".tray")].map(one => ({
                id: one.querySelector("h3").textContent,
                last: one.querySelector(".values tr:last-child th").textContent,
            })),
        })"""
    )
    content = seen.page.pdf(format=request.param)
    seen.page.context.close()
    with pymupdf.open("pdf", content) as pdf:
        yield pdf, layout, (wide, high)


def _words(page):
    return " ".join(page.get_text().split())


def test_the_number_of_pages_is_right(printed):
    """At least as many as the length of the text asks for, at most a half more."""
    pdf, layout, (_, high) = printed
    least = layout["height"] / ((high - 2 * _MARGINS[1]) * _PX_PER_MM)
    assert math.floor(least) <= len(pdf) <= math.ceil(_MOST_WASTE * least)


def test_paper_has_the_size_asked_for(printed):
    pdf, _, (wide, high) = printed
    for page in pdf:
        assert page.rect.width / _PT_PER_MM == pytest.approx(wide, abs=0.6)
        assert page.rect.height / _PT_PER_MM == pytest.approx(high, abs=0.6)


def test_no_page_is_empty(printed):
    pdf, _, _ = printed
    for page in pdf:
        assert len(_words(page)) > 80 or page.get_image_info(), page.number


def test_every_heading_is_there(printed):
    pdf, layout, _ = printed
    text = " ".join(map(_words, pdf))
    assert len(layout["headings"]) > 25
    for heading in layout["headings"]:
        assert " ".join(heading.split()) in text


def test_no_heading_stands_alone_at_the_foot(printed):
    """Under a heading there is always something on the same page."""
    pdf, layout, _ = printed
    for page in pdf:
        spans = [span for block in page.get_text("dict")["blocks"]
                 for line in block.get("lines", []) for span in line["spans"]]  # fmt: skip
        last = max(spans, key=lambda span: span["bbox"][3])
        below = [one for one in page.get_image_info() if one["bbox"][1] > last["bbox"][1]]
        heading = last["size"] >= _HEADING_PT and any(
            one.endswith(last["text"].strip()) for one in layout["headings"]
        )
        assert below or not heading, (page.number, last["text"])


def test_nothing_is_cut_at_the_sides(printed):
    pdf, _, (wide, _) = printed
    left, right = _MARGINS[0] * _PT_PER_MM - 1.5, (wide - _MARGINS[0]) * _PT_PER_MM + 1.5
    for page in pdf:
        boxes = [one["bbox"] for one in page.get_image_info()]
        boxes += [block[:4] for block in page.get_text("blocks")]
        for box in boxes:
            assert left <= box[0] <= box[2] <= right, (page.number, box)


def test_pictures_are_whole(printed):
    """A picture that is split over two pages would be placed twice."""
    pdf, layout, _ = printed
    assert sum(len(page.get_image_info()) for page in pdf) == layout["pictures"] > 15


def test_trays_are_whole(printed):
    """A tray's heading, its first and its last row stand on one page."""
    pdf, layout, _ = printed
    assert len(layout["trays"]) == 12
    pages = list(map(_words, pdf))
    start = next(k for k, text in enumerate(pages) if "Each tray " in text)
    for one in layout["trays"]:
        holding = [text for text in pages[start:] if f"{one['id']} " in text
                   and one["last"] in text.partition(f"{one['id']} ")[2]]  # fmt: skip
        assert holding, one


def test_paper_is_white_and_words_are_black(printed):
    """Printed from a dark screen."""
    pixels = printed[0][0].get_pixmap(dpi=40, colorspace=pymupdf.csGRAY)
    assert pixels.pixel(1, 1) == (255,)
    assert min(pixels.samples) < 60


def test_maps_and_flags_are_whole(printed):
    """Each block stands on one page with its trays, each flag with what it means."""
    pdf, _, _ = printed
    pages = list(map(_words, pdf))
    for block in range(1, 5):
        trays = [f"P{3 * block - k:03d}" for k in range(3)]
        (held,) = (text for text in pages if f"Block {block} " in text)
        assert all(name in held.partition(f"Block {block} ")[2] for name in trays), block
    for name, flag in FLAGS.items():
        if name in {"edge_plants", "tray_uncertain"}:
            holding = [text for text in pages if f"{name.replace('_', ' ')} {flag.meaning}" in text]
            assert holding, name
