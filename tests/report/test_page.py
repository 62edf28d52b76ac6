"""The page as a file: it needs nothing beside it, names stay text, and it can be read aloud."""

import base64
import io
import itertools
import re
from urllib.parse import unquote

import pytest
from PIL import Image

from tests.report.page_trials import read, trays, write_overlay, write_trial
from traymorph.pipeline.report import gather, report_folder
from traymorph.report.page.numbers import Numbers
from traymorph.report.page.render import render_page

NAMES = [
    "<script>alert(1)</script>",
    "=1+1",
    "../../x",
    "long " * 60,
    "מגש אחד",
    "🌱",
    "a\"b'c",
    "{{ 7*7 }}",
]


def _render(folder):
    return render_page(gather(folder, folder / "results"), Numbers("en"))[0]


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    folder = tmp_path_factory.mktemp("page") / "trial"
    names = [row["tray_id"] for row in trays()]
    return _render(write_trial(folder, pictures=names))


@pytest.fixture(scope="module")
def strange(tmp_path_factory):
    """Every name strange: trays, treatments, crop, batch, flags and the folder itself."""
    folder = tmp_path_factory.mktemp("strange") / "=<b>🌱"
    rows = trays(4)
    for row, name in zip(rows, NAMES, strict=True):
        treatment = "<img src=x onerror=alert(1)>" if row["treatment"] == "15 g" else "שני ימים"
        row.update(tray_id=name, treatment=treatment, crop="<i>pea</i>", batch="</style>",
                   shelf="</table>", flags="no<b>flag")  # fmt: skip
    settings = '[compare]\nprimary = "canopy_height_mm"\n'
    return _render(write_trial(folder, rows, settings=settings))


def _attributes(text, name):
    return [one.attributes[name] for one in read(text).all("*") if name in one.attributes]


# --- self-contained


def test_nothing_is_asked_for_elsewhere(page):
    for name in ("src", "href", "xlink:href", "action", "srcset", "poster"):
        for value in _attributes(page, name):
            assert value.startswith(("#", "data:image/jpeg;base64,", "overlays/")), value[:60]
    assert "url(" not in page
    assert "@import" not in page
    assert not re.search(r"https?:", page)
    assert not list(read(page).all("script"))


def test_the_policy_forbids_what_the_page_does_not_use(page):
    (policy,) = (one.attributes["content"] for one in read(page).all("meta")
                 if one.attributes.get("http-equiv") == "Content-Security-Policy")  # fmt: skip
    assert policy.startswith("default-src 'none'")
    assert "script" not in policy


def test_thumbnails_hold_pixels_and_nothing_else(tmp_path):
    """Place and device of a photo (EXIF, GPS) and its profile stay out; so does a comment."""
    exif = Image.Exif()
    exif[0x010F] = "SECRETMAKER"
    exif[0x8825] = {1: "N", 2: (52.0, 31.0, 12.0)}
    folder = write_trial(tmp_path, pictures=["T01"])
    overlay = folder / "results" / "overlays" / "T01_overhead.jpg"
    write_overlay(overlay, exif=exif, icc_profile=b"SECRETPROFILE" * 9, comment=b"SECRETNOTE")
    assert b"SECRETMAKER" in overlay.read_bytes()
    (url,) = (one.attributes["src"] for one in read(_render(folder)).all("img"))
    jpeg = base64.b64decode(url.partition(",")[2])
    assert b"SECRET" not in jpeg
    with Image.open(io.BytesIO(jpeg)) as small:
        assert not small.getexif()
        assert {name.partition("_")[0] for name in small.info} <= {
            "jfif",
            "progressive",
            "progression",
        }
        assert small.width == 520


def test_links_lead_to_the_pictures(tmp_path):
    folder = write_trial(tmp_path / "a b#c", [trays()[0]], pictures=["T01"])
    text = _render(folder)
    (link,) = (one for one in _attributes(text, "href") if not one.startswith("#"))
    assert (folder / "results" / unquote(link)).is_file()


# --- names


def test_strange_names_stay_text(strange):
    tree = read(strange)
    assert not list(tree.all("script"))
    assert not list(tree.all("img"))
    assert not list(tree.all("i"))
    assert len(list(tree.all("style"))) == 1
    headings = [one.text for one in tree.all("h3")]
    for name in NAMES:
        assert name.strip() in headings
    assert [one.text for one in tree.all("h1")] == ["=<b>🌱"]
    assert "49" not in "".join(headings)


def test_names_cannot_turn_the_words_around_them(strange):
    for one in read(strange).all("*"):
        own = "".join(piece for piece in one.inside if isinstance(piece, str))
        if "שני ימים" in own or "מגש אחד" in own:
            isolated = one.tag in {"bdi", "title", "desc"}
            assert isolated or one.attributes.get("class") == "own-direction", (one.tag, own)


def test_long_names_are_cut_in_charts_and_whole_elsewhere(tmp_path):
    rows = [row | {"treatment": row["treatment"] + " x" * 150} for row in trays()]
    tree = read(_render(write_trial(tmp_path, rows, settings="")))
    drawn = [text.text for svg in tree.all("svg") for text in svg.all("text")]
    assert max(map(len, drawn)) < 60
    whole = rows[0]["treatment"]
    assert sum(one.text.replace("\xa0", " ") == whole for one in tree.all("bdi")) > 3


# --- structure (WCAG 2.2: 1.1.1, 1.3.1, 2.4.1, 2.4.6, 4.1.2)


@pytest.fixture(params=["page", "strange"])
def either(request):
    return request.getfixturevalue(request.param)


def test_headings_are_in_order(either):
    levels = [int(one.tag[1]) for one in read(either).all("*") if re.fullmatch(r"h[1-6]", one.tag)]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))


def test_landmarks_and_skip_link(either):
    tree = read(either)
    for tag in ("header", "main", "footer"):
        assert len(list(tree.all(tag))) == 1
    navs = [one.attributes["aria-label"] for one in tree.all("nav")]
    assert len(navs) == len(set(navs)) > 0
    first = next(tree.all("a"))
    assert first.attributes == {"class": "skip", "href": "#findings"}
    (html,) = tree.all("html")
    assert html.attributes["lang"] == "en"


def test_ids_are_single_and_references_lead_somewhere(either):
    ids = _attributes(either, "id")
    assert len(ids) == len(set(ids))
    wanted = {one[1:] for one in _attributes(either, "href") if one.startswith("#")}
    wanted |= {one for held in _attributes(either, "aria-labelledby") for one in held.split()}
    assert wanted <= set(ids)


def test_pictures_and_charts_have_words(either):
    tree = read(either)
    for one in tree.all("img"):
        assert len(one.attributes["alt"]) > 10
    charts = 0
    for one in tree.all("svg"):
        if one.attributes.get("aria-hidden") == "true":
            continue
        charts += 1
        assert one.attributes["role"] == "img"
        assert [held.tag for held in one.inside[:2]] == ["title", "desc"]
        assert all(held.text.strip() for held in one.inside[:2])
    assert charts >= 5


def test_tables_have_captions_and_scopes(either):
    for table in read(either).all("table"):
        assert next(table.all("caption")).text.strip()
        for one in table.all("th"):
            assert one.attributes["scope"] in {"row", "col"}


def test_what_scrolls_can_be_reached_and_has_a_name(either):
    for one in read(either).all("div"):
        if "scroll" in one.attributes.get("class", "").split():
            assert one.attributes["tabindex"] == "0"
            assert one.attributes["role"] == "group"
            assert one.attributes["aria-label"].strip()


def _luminance(colour):
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4
              for part in parts]  # fmt: skip
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_words_stand_out_from_their_ground(page):
    """At least 4.5:1 for text (WCAG 2.2, 1.4.3), in light, in dark and on paper."""
    grounds = re.findall(r":root \{([^}]*)\}", page)
    assert len(grounds) == 3
    for ground in grounds:
        colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", ground))
        for word in ("ink", "quiet", "accent"):
            for paper in ("paper", "wash"):
                light, dark = sorted(map(_luminance, (colours[word], colours[paper])), reverse=True)
                assert (light + 0.05) / (dark + 0.05) >= 4.5, (word, paper, ground)


def test_every_colour_follows_light_and_dark(page):
    for name in ("fill", "stroke"):
        for value in _attributes(page, name):
            assert value == "none" or value.startswith("var(--"), value


def test_whole_page_is_written_or_nothing(tmp_path, monkeypatch):
    folder = write_trial(tmp_path)
    target = folder / "results" / "report.html"
    target.write_text("earlier")
    monkeypatch.setattr("traymorph.pipeline.report.render_page", _broken)
    with pytest.raises(RuntimeError):
        report_folder(folder)
    assert target.read_text() == "earlier"
    assert not list(folder.rglob("*.part"))


def _broken(*_):
    raise RuntimeError
