"""The page asks for nothing, complains of nothing, and holds nothing but pixels and words."""

import base64
import io
import re

import pytest
from PIL import Image

from tests.browser.chromium import open_page, unfold


def test_nothing_is_asked_for_and_nothing_complained_of(watched):
    watched.resize(1400)
    unfold(watched.page)
    height = watched.page.evaluate("document.documentElement.scrollHeight")
    for top in range(0, height, 4000):
        watched.page.evaluate(f"window.scrollTo(0, {top})")
    watched.page.wait_for_load_state("networkidle")
    assert watched.asked == []
    assert watched.complaints == []


def test_the_watch_sees_what_a_page_asks_for(browser, tmp_path):
    """Without this the test above could pass for no reason."""
    (tmp_path / "page.html").write_text(
        '<img src="beside.jpg"><script>console.warn("well")</script><p style="background:'
        'url(https://example.org/a.png)">x</p>'
    )
    seen = open_page(browser, tmp_path / "page.html")
    seen.page.wait_for_load_state("networkidle")
    assert sorted(one.rpartition("/")[2] for one in seen.asked) == ["a.png", "beside.jpg"]
    assert "warning: well" in seen.complaints
    seen.page.context.close()


def test_pictures_are_shown(opened):
    opened["full"].resize(1400)
    unfold(opened["full"].page)
    broken = opened["full"].page.evaluate(
        """async () => {
            await Promise.all([...document.images].map(one => one.decode().catch(() => 0)));
            return [...document.images].filter(one => !one.naturalWidth).length;
        }"""
    )
    assert broken == 0


def test_pictures_hold_pixels_alone(folders):
    """No EXIF, place, device, text or profile, whatever `data:` URL the file holds."""
    text = (folders["full"] / "results" / "report.html").read_text(encoding="utf-8")
    urls = re.findall(r"data:([^;,\"]*);base64,([A-Za-z0-9+/=]+)", text)
    assert len(urls) == text.count("data:image") == 11 + 8
    for kind, content in urls:
        assert kind == "image/jpeg"
        with Image.open(io.BytesIO(base64.b64decode(content))) as picture:
            assert not picture.getexif()
            assert not picture.applist or {name for name, _ in picture.applist} <= {"APP0"}
            kept = {name.partition("_")[0] for name in picture.info}
            assert kept <= {"jfif", "progressive", "progression"}


@pytest.mark.parametrize("name", ["full", "strange"])
def test_no_script_is_in_the_page(opened, name):
    assert opened[name].page.evaluate("document.scripts.length") == 0
    handlers = opened[name].page.evaluate(
        """[...document.querySelectorAll("*")].flatMap(one => one.getAttributeNames())
            .filter(name => name.startsWith("on"))"""
    )
    assert handlers == []
