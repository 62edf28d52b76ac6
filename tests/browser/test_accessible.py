"""An accessibility engine finds nothing to complain of, in light and dark, wide and narrow."""

import pytest

from tests.browser.chromium import open_page, unfold

_RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
"""Level AA of WCAG 2.2 (W3C, 2023), as axe-core's rules cover it, and its advice beyond."""

_INSPECT = """async rules => {
    const found = await axe.run(document, {runOnly: rules, resultTypes: ["violations"]});
    return {
        passed: found.passes.map(one => one.id),
        violations: found.violations.map(
            one => [one.id, one.help, ...one.nodes.slice(0, 3).map(node => node.html.slice(0, 120))]
        ),
    };
}"""


@pytest.fixture(scope="module")
def inspected(browser, folders, axe):
    """Pages into which the engine was put; their own policy would forbid it."""
    pages = {}
    for name, folder in folders.items():
        seen = open_page(browser, folder / "results" / "report.html", bypass_csp=True)
        unfold(seen.page)
        seen.page.evaluate(axe)
        pages[name] = seen
    yield pages
    for seen in pages.values():
        seen.page.context.close()


@pytest.mark.slow
@pytest.mark.parametrize("width", [360, 1400])
@pytest.mark.parametrize("name", ["full", "season", "strange"])
def test_the_engine_finds_nothing(inspected, name, width):
    """Every rule in light; what colours decide also in dark."""
    seen = inspected[name]
    for scheme, rules in (("light", _RULES), ("dark", ["cat.color"])):
        seen.resize(width, scheme=scheme)
        found = seen.page.evaluate(_INSPECT, rules)
        assert "color-contrast" in found["passed"]
        assert found["violations"] == []


def test_the_engine_finds_what_is_wrong(browser, axe, tmp_path):
    """Without this the test above could pass for no reason."""
    (tmp_path / "page.html").write_text('<h1>x</h1><p style="color:#bbb">pale</p><img src="#">')
    seen = open_page(browser, tmp_path / "page.html")
    seen.page.evaluate(axe)
    found = [one[0] for one in seen.page.evaluate(_INSPECT, _RULES)["violations"]]
    assert {"color-contrast", "image-alt", "html-has-lang"} <= set(found)
    seen.page.context.close()
