"""Pictures of charts: nothing hides anything else, whatever the batches are called."""

from datetime import date, timedelta
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from traymorph.model.drift import (
    CUSUM_DOWN,
    CUSUM_UP,
    EWMA,
    INDIVIDUALS,
    STANDARD,
    Chart,
    Event,
    MetricDrift,
    Move,
)
from traymorph.report.charts import drift_svg

SVG = "{http://www.w3.org/2000/svg}"
LETTER = 6.6
"""Width of a letter of 12 px sans serif, generous (common practice, no source: 0.55 em)."""
FIRST = date(2026, 1, 5)


def _chart(name, values, centre, lower, upper):
    lines = (np.full(len(values), line) for line in (centre, lower, upper))
    return Chart(name, np.asarray(values, dtype=float), *lines, ("",) * len(values))


def _drift(n, name="B{}", moves=(), charts=None):
    values = 60.0 + np.sin(np.arange(n))
    charts = charts or (
        _chart(INDIVIDUALS, values, 60.0, 59.5, 60.5), _chart(EWMA, values, 60.0, 59.7, 60.3),
        _chart(CUSUM_UP, np.arange(n), 0.0, np.nan, 1.0),
        _chart(CUSUM_DOWN, -np.arange(n) / 9, 0.0, -1.0, np.nan),
        _chart(STANDARD, values, np.nan, 59.45, 60.45),
    )  # fmt: skip
    days = tuple(FIRST + timedelta(4 * k) for k in range(n))
    names = tuple(name.format(k + 1) for k in range(n))
    baseline = np.arange(n) < 20
    return MetricDrift("canopy_height_mm", "mm", names, days, baseline, n < 20, charts,
                       60.0, 0.2, moves)  # fmt: skip


def _events(*days):
    return [Event(FIRST + timedelta(day), f"what was done on day {day}") for day in days]


def _texts(svg):
    """Left, right, baseline and words of every text."""
    found = []
    for text in ET.fromstring(svg).iter(f"{SVG}text"):  # noqa: S314 - our own file
        x, y = float(text.get("x")), float(text.get("y"))
        words = text.text or ""
        width = LETTER * len(words)
        back = {"start": 0.0, "middle": width / 2.0, "end": width}[text.get("text-anchor")]
        found.append((x - back, x - back + width, y, words))
    return found


@pytest.mark.parametrize("n", [5, 20, 40, 200])
@pytest.mark.parametrize("name", ["B{}", "2026-W{:02d} north", "sown by the north door, no {:03d}"])
def test_no_text_lies_on_another_and_none_leaves_the_picture(n, name):
    svg = drift_svg(_drift(n, name), _events(9, 10, 11, 12, 16))
    texts = [one for one in _texts(svg) if one[3]]
    for k, (left, right, y, words) in enumerate(texts):
        for other_left, other_right, other_y, other in texts[k + 1 :]:
            apart = right <= other_left or other_right <= left or abs(y - other_y) >= 11.0
            assert apart, f"{words!r} on {other!r}"
    page = ET.fromstring(svg)  # noqa: S314 - our own file
    assert min(left for left, *_ in texts) >= 0.0
    assert max(right for _, right, *_ in texts) <= float(page.get("width"))
    assert max(y for _, _, y, _ in texts) <= float(page.get("height"))


def test_the_newest_batch_is_always_named():
    for n in (7, 23, 181):
        assert any(words == f"B{n}" for *_, words in _texts(drift_svg(_drift(n), [])))


def test_a_move_is_drawn_at_its_mean_over_its_batches():
    move = Move(-1, 30, 33, 39, (EWMA,), 59.6)
    page = ET.fromstring(drift_svg(_drift(40, moves=(move,)), []))  # noqa: S314 - our own file
    (line,) = (one for one in page.iter(f"{SVG}line") if one.get("stroke-width") == "3")
    points = list(page.iter(f"{SVG}circle"))[:40]
    assert float(line.get("x1")) < float(points[30].get("cx")) < float(line.get("x2"))
    assert float(points[29].get("cx")) < float(line.get("x1"))
    assert line.get("y1") == line.get("y2")


def test_a_point_tells_its_batch_its_day_and_its_value():
    page = ET.fromstring(drift_svg(_drift(20), []))  # noqa: S314 - our own file
    point = next(page.iter(f"{SVG}circle"))
    assert point.find(f"{SVG}title").text == "B1 (2026-01-05): 60"


def test_a_standard_alone_has_a_picture():
    values = np.array([60.0, 61.0, 59.0])
    one = _drift(3, charts=(_chart(STANDARD, values, np.nan, 58.0, np.nan),))
    words = [words for *_, words in _texts(drift_svg(one, []))]
    assert "Mean of each batch, mm" in words
    assert "58.00" in words
