"""Small trial folders for the page, written by hand, and a reader of the page that they give."""

import csv
import io
import random
from dataclasses import dataclass, field
from html.parser import HTMLParser

import numpy as np
from PIL import Image

SETTINGS = """
[tray]
inside_length_mm = 500
inside_width_mm = 250
[compare]
control = "30 g"
primary = "canopy_height_mm"
"""
_EMPTY = {"area", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source"}
_DRAWN_EMPTY = {"line", "rect", "polyline", "path", "circle"}


def trays(pairs=3):
    """Radish sown thin and dense, side by side in blocks; thin trays are 8 mm lower."""
    draw = random.Random(11)  # noqa: S311 - not for secrets
    rows = []
    for k in range(2 * pairs):
        treatment, lower = ("30 g", 0.0) if k % 2 == 0 else ("15 g", 8.0)
        height = 70.5 - lower + draw.gauss(0, 1.0)
        rows.append(
            {
                "tray_id": f"T{k + 1:02d}", "crop": "radish", "treatment": treatment,
                "block": str(k // 2 % 3 + 1), "shelf": str(k // 2 % 3 + 1),
                "position": str(k % 2 + 1), "batch": "2026-03", "photographed_on": "2026-03-10",
                "canopy_height_mm": f"{height:.2f}", "canopy_height_mm_u": "1.2",
                "canopy_cover_pct": f"{85 + draw.gauss(0, 2):.2f}", "canopy_cover_pct_u": "0.8",
                "leaf_hue_deg": f"{128 + draw.gauss(0, 1):.2f}", "flags": "edge_plants",
            }
        )  # fmt: skip
    return rows


def write_csv(path, rows):
    path.parent.mkdir(parents=True, exist_ok=True)
    text = io.StringIO()
    writer = csv.DictWriter(text, list(dict.fromkeys(name for row in rows for name in row)))
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(text.getvalue(), encoding="utf-8")


def write_trial(folder, rows=None, *, settings=SETTINGS, pictures=(), outcomes=()):
    """A folder with a table of trays, and an overlay for each tray named in ``pictures``."""
    write_csv(folder / "results" / "tray_metrics.csv", trays() if rows is None else rows)
    (folder / "trial.toml").write_text(settings, encoding="utf-8")
    checks = [
        {"photo": f"{name}_overhead.jpg", "tray_id": name, "view": "overhead",
         "colour_error_de00": "0.55", "flags": "", "error": ""}
        for name in pictures
    ]  # fmt: skip
    if checks:
        write_csv(folder / "results" / "photo_checks.csv", checks)
    for name in pictures:
        write_overlay(folder / "results" / "overlays" / f"{name}_overhead.jpg")
    if outcomes:
        write_csv(folder / "outcomes.csv", outcomes)
    return folder


def write_overlay(path, **extra):
    """A picture with detail, as an overlay has; ``extra`` goes to its JPEG file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    noise = np.random.default_rng(2).integers(60, 200, (90, 120, 3), dtype=np.uint8)
    Image.fromarray(np.kron(noise, np.ones((12, 12, 1), dtype=np.uint8))).save(path, **extra)
    return path


@dataclass
class Element:
    tag: str
    attributes: dict
    parent: "Element | None"
    inside: list = field(default_factory=list)

    @property
    def text(self):
        return "".join(one if isinstance(one, str) else one.text for one in self.inside)

    def all(self, tag):
        for one in self.inside:
            if isinstance(one, Element):
                if tag in {one.tag, "*"}:
                    yield one
                yield from one.all(tag)


class _Reader(HTMLParser):
    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.root = self.place = Element("", {}, None)

    def handle_starttag(self, tag, attrs):
        one = Element(tag, dict(attrs), self.place)
        self.place.inside.append(one)
        if tag not in _EMPTY:
            self.place = one

    def handle_startendtag(self, tag, attrs):
        self.place.inside.append(Element(tag, dict(attrs), self.place))

    def handle_endtag(self, tag):
        assert self.place.tag == tag, f"</{tag}> closes <{self.place.tag}>"
        self.place = self.place.parent

    def handle_data(self, data):
        self.place.inside.append(data)


def read(text):
    """The page as a tree; every element must be closed in order."""
    reader = _Reader()
    reader.feed(text)
    reader.close()
    assert reader.place is reader.root
    return reader.root
