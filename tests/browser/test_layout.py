"""The page fits phones, tablets and desks; no words of its charts lie on one another."""

import pytest
from PIL import Image

from tests.browser.chromium import unfold

WIDTHS = (360, 800, 1400)
_LEAST_PX = 9.0
"""Of the words in charts, on a phone too."""

_SIDEWAYS = """() => {
    const wide = document.documentElement.clientWidth;
    const out = [...document.body.querySelectorAll("*")].filter(one => {
        if (one.closest(".scroll, .hidden, .skip")) return false;
        const box = one.getBoundingClientRect();
        return box.width > 0 && (box.right > wide + 0.5 || box.left < -0.5);
    });
    return {
        over: document.documentElement.scrollWidth - wide,
        out: out.slice(0, 5).map(one => one.outerHTML.slice(0, 100)),
    };
}"""
_CHART_WORDS = """() => {
    const small = [], overlapping = [], cut = [];
    for (const svg of document.querySelectorAll("svg[role=img]")) {
        const whole = svg.getBoundingClientRect();
        const held = [...svg.querySelectorAll("text")].filter(one => one.textContent.trim());
        const boxes = held.map(one => {
            const box = one.getBoundingClientRect();
            const px = parseFloat(getComputedStyle(one).fontSize) * one.getScreenCTM().a;
            if (px < LEAST) small.push([one.textContent, px]);
            if (box.left < whole.left - 1 || box.right > whole.right + 1
                || box.bottom > whole.bottom + 1 || box.top < whole.top - 1)
                cut.push(one.textContent);
            // Boxes hold room for accents and descenders; letters lie within the middle of them.
            const room = box.height * 0.2;
            return {left: box.left + 0.5, right: box.right - 0.5,
                    top: box.top + room, bottom: box.bottom - room, text: one.textContent};
        });
        boxes.forEach((a, k) => boxes.slice(k + 1).forEach(b => {
            if (a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom)
                overlapping.push([a.text, b.text]);
        }));
    }
    return {small, overlapping, cut, charts: document.querySelectorAll("svg[role=img]").length};
}""".replace("LEAST", str(_LEAST_PX))
_SMALL_WORDS = """() => [...document.body.querySelectorAll("*")].filter(one =>
    !one.closest("svg") && [...one.childNodes].some(held => held.nodeType === 3
        && held.textContent.trim()) && parseFloat(getComputedStyle(one).fontSize) < 11
).map(one => one.outerHTML.slice(0, 80))"""


@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_runs_out_sideways(watched, width):
    watched.resize(width)
    unfold(watched.page)
    assert watched.page.evaluate(_SIDEWAYS) == {"over": 0, "out": []}


@pytest.mark.parametrize("width", WIDTHS)
def test_words_can_be_read(watched, width):
    watched.resize(width)
    unfold(watched.page)
    found = watched.page.evaluate(_CHART_WORDS)
    assert found.pop("charts") > 0
    assert found == {"small": [], "overlapping": [], "cut": []}
    assert watched.page.evaluate(_SMALL_WORDS) == []


def test_findings_are_seen_without_scrolling(opened):
    """The first sentence stands in the window of a desk and of a phone (900 px high)."""
    for width in WIDTHS:
        opened["full"].resize(width)
        box = opened["full"].page.locator(".said").first.bounding_box()
        assert box["y"] + box["height"] < 900


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_scheme_is_followed(opened, scheme, tmp_path):
    """Paper light or dark, words the other way, in the picture itself."""
    opened["full"].resize(800, scheme=scheme)
    picture = tmp_path / "page.png"
    opened["full"].page.screenshot(path=picture)
    with Image.open(picture) as shot:
        grey = shot.convert("L")
        paper = grey.getpixel((2, 2))
        darkest, lightest = grey.getextrema()
    assert (paper > 240 and darkest < 60) if scheme == "light" else (paper < 40 and lightest > 200)


def test_plates_of_a_view_stand_at_one_scale(opened):
    """Widths on the screen go as the widths of the pictures, whose scale is the same."""
    opened["full"].resize(1400)
    scales = opened["full"].page.evaluate(
        """[...document.querySelectorAll(".plates")].map(row => [...row.querySelectorAll("img")]
            .map(one => one.getBoundingClientRect().width / one.naturalWidth))"""
    )
    assert len(scales) == 3
    for row in scales:
        assert max(row) / min(row) == pytest.approx(1.0, abs=0.01)
