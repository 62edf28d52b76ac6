"""Links within the page lead where they say, on a phone and on a desk."""

import pytest

_PLACES = """() => {
    const wrong = [];
    for (const link of document.querySelectorAll("a[href^='#']")) {
        window.scrollTo(0, 0);
        link.click();
        const place = document.getElementById(decodeURIComponent(link.hash.slice(1)));
        const off = place.getBoundingClientRect().top;
        const below = document.documentElement.scrollHeight - innerHeight - scrollY;
        if (Math.abs(off) > 2 && below > 2) wrong.push([link.hash, off]);
    }
    return {links: document.querySelectorAll("a[href^='#']").length, wrong: wrong};
}"""


@pytest.mark.parametrize("width", [390, 1400])
def test_every_link_leads_to_its_place(watched, width):
    watched.resize(width)
    watched.page.reload()
    found = watched.page.evaluate(_PLACES)
    assert found["links"] > 5
    assert found["wrong"] == []


def test_the_page_does_not_grow_while_it_is_read(opened):
    opened["full"].resize(390)
    page = opened["full"].page
    page.reload()
    before = page.evaluate("document.documentElement.scrollHeight")
    for top in range(0, before, 700):
        page.evaluate(f"window.scrollTo(0, {top})")
    assert page.evaluate("document.documentElement.scrollHeight") == before
