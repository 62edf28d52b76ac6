"""The page by keyboard alone (WCAG 2.2: 2.1.1, 2.4.1, 2.4.3, 2.4.7)."""

import pytest

from tests.browser.chromium import until

_PLACE = """() => {
    const one = document.activeElement;
    return [one.tagName.toLowerCase(), one.className, one.getAttribute("href") || "",
            getComputedStyle(one).outlineStyle];
}"""


def _open_anew(page):
    """Load the page without the place that an earlier link led to: Tab would go on from there."""
    page.goto(page.url.partition("#")[0])


@pytest.fixture(scope="module")
def stops(opened):
    """Where Tab leads, one stop after the other, until it leaves the page."""
    seen = opened["full"]
    seen.resize(800)
    _open_anew(seen.page)
    found = []
    while len(found) < 400:
        seen.page.keyboard.press("Tab")
        place = seen.page.evaluate(_PLACE)
        if place[0] == "body" or place == (found[:1] or [None])[0]:
            break
        found.append(place)
    return found


def test_the_first_stop_leads_past_the_navigation(stops):
    assert stops[0][:3] == ["a", "skip", "#findings"]


def test_stops_follow_the_page(opened, stops):
    """Every link, every folded part and every box that scrolls, in the order of the page."""
    expected = opened["full"].page.evaluate(
        """[...document.querySelectorAll("a[href], summary, [tabindex='0']")]
            .filter(one => one.checkVisibility()
                && !(one.closest("details:not([open])") && one.tagName !== "SUMMARY"))
            .map(one => [one.tagName.toLowerCase(), one.className,
                         one.getAttribute("href") || ""])"""
    )
    assert [one[:3] for one in stops] == expected
    kinds = [one[0] for one in stops]
    assert kinds.count("summary") >= 4
    assert sum("scroll" in one[1] for one in stops) >= 12


def test_every_stop_is_seen(stops):
    assert [one for one in stops if one[3] in {"none", ""}] == []


def test_what_is_folded_opens_with_enter(opened):
    page = opened["full"].page
    for summary in page.locator("summary").all()[:3]:
        summary.focus()
        before = summary.evaluate("one => one.parentElement.open")
        page.keyboard.press("Enter")
        assert summary.evaluate("one => one.parentElement.open") is not before


def test_the_skip_link_is_shown_and_leads_to_the_findings(opened):
    page = opened["full"].page
    _open_anew(page)
    page.keyboard.press("Tab")
    until(page, "document.querySelector('.skip').getBoundingClientRect().top >= 0")
    page.keyboard.press("Enter")
    assert page.evaluate("location.hash") == "#findings"


def test_boxes_scroll_by_arrow_keys(opened):
    page = opened["full"].page
    opened["full"].resize(360)
    box = page.locator(".plates").first
    assert box.evaluate("one => one.scrollWidth > one.clientWidth")
    box.focus()
    page.keyboard.press("ArrowRight")
    until(page, "document.querySelector('.plates').scrollLeft > 0")
