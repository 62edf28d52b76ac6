"""Charts put numbers where they belong, and say how sure a difference is."""

import re
from dataclasses import replace
from math import nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.report.page_trials import read, trays, write_trial
from traymorph.flags import FLAGS
from traymorph.model.comparison import Difference
from traymorph.model.metrics import METRICS
from traymorph.model.plates import Plate, PlateGap, Plates
from traymorph.model.report import GroupValues
from traymorph.pipeline.report import gather
from traymorph.report.findings import surety
from traymorph.report.page import svg, told, wording
from traymorph.report.page.dots import dot_chart
from traymorph.report.page.doubts import flags_said, touching
from traymorph.report.page.numbers import Numbers
from traymorph.report.page.racks import rack
from traymorph.report.page.sections import metric_charts, plate_rows, single_rows
from traymorph.report.page.spans import Span, span_chart
from traymorph.report.page.thumbnails import width_for

NUMBERS = Numbers("en")
NAMES = ("id", "title", "description")
SLEEP = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
"""Extra hours of sleep with the first drug: Student 1908, Biometrika 6:1-25."""


def _circles(chart):
    return [
        (float(one.attributes["cx"]), float(one.attributes["cy"]), float(one.attributes["r"]))
        for one in read(str(chart)).all("circle")
    ]


def _diamonds(chart):
    """Places of the marks of differences from left to right: middles of their four corners."""
    corners = [
        re.findall(r"[\d.]+ [\d.]+", one.attributes["d"])
        for one in read(str(chart)).all("path") if one.attributes["d"].count("L") == 3
    ]  # fmt: skip
    return [sum(float(corner.split()[0]) for corner in four) / 4.0 for four in corners]


# --- axis


@given(st.floats(-1e5, 1e5), st.floats(1e-6, 1e5))
def test_ticks_are_round_and_lie_within(low, length):
    axis = svg.Axis(low, low + length, 10, 350)
    assert 2 <= len(axis.ticks) <= 7 or length < 1e-9 * abs(low)
    for tick in axis.ticks:
        assert 10 - 1e-3 <= axis.x(tick) <= 350 + 1e-3
        assert float(f"{tick:.{axis.decimals}f}") == pytest.approx(
            tick, abs=1e-9 + 1e-9 * abs(tick)
        )


def test_values_that_are_all_alike_find_a_place():
    axis = svg.Axis(5.0, 5.0, 0, 100)
    assert axis.x(5.0) == pytest.approx(50)


# --- dots


@given(st.lists(st.floats(40, 60), min_size=1, max_size=30))
def test_marks_of_replicates_lie_at_their_values_and_apart(values):
    group = GroupValues("dark", tuple(f"T{k}" for k in range(len(values))), np.array(values))
    circles = _circles(dot_chart([group, replace(group, treatment="light")], "mm", NUMBERS, NAMES))
    marks = [one for one in circles if one[2] == 4.0]
    assert len(marks) == len(values), "the second treatment has another shape"
    order = np.argsort(values, kind="stable")
    across = np.array([one[0] for one in marks])
    assert np.all(np.diff(across[order]) >= -0.11)
    if len(values) <= 7:
        for k, one in enumerate(marks):
            for other in marks[k + 1 :]:
                apart = np.hypot(one[0] - other[0], one[1] - other[1])
                assert apart > 7.5


def test_mean_and_interval_of_a_treatment(tmp_path):
    """R: t.test(extra[group == 1])$conf.int of sleep, -0.5297804 2.0297804 (from memory)."""
    rows = [
        {"tray_id": f"T{k}", "crop": "pea", "treatment": "dark", "canopy_height_mm": 50 + value}
        for k, value in enumerate(SLEEP)
    ]
    report = gather(write_trial(tmp_path, rows, settings=""), tmp_path)
    (group,) = report.groups["canopy_height_mm"]
    assert group.mean == pytest.approx(50.75)
    assert group.ci_low - 50 == pytest.approx(-0.5297804, abs=1e-6)
    assert group.ci_high - 50 == pytest.approx(2.0297804, abs=1e-6)


def test_less_than_the_doubt_of_measuring_does_not_look_much():
    group = GroupValues("dark", ("A", "B"), np.array([70.0, 70.2]), 70.1, doubt=2.0)
    _label, first, second = _circles(dot_chart([group], "mm", NUMBERS, NAMES))
    assert abs(second[0] - first[0]) < 0.06 * 360


def test_a_length_is_not_drawn_below_nought():
    group = GroupValues("dark", ("A", "B"), np.array([0.0, 0.4]), 0.2, doubt=2.0)
    words = [one.text for one in read(str(dot_chart([group], "mm", NUMBERS, NAMES))).all("text")]
    assert not any(word.startswith("\N{MINUS SIGN}") for word in words)


def test_single_replicates_are_numbers(tmp_path):
    rows = trays()
    rows[0]["stem_length_mm"], rows[1]["stem_length_mm"] = "46.4", "45.1"
    report = gather(write_trial(tmp_path, rows), tmp_path)
    assert metric_charts(report, ["stem_length_mm"], NUMBERS) == ()
    (row,) = single_rows(report, report.metrics, NUMBERS)
    assert row.values == ("46.4\xa0mm (T01)", "45.1\xa0mm (T02)")


def test_a_single_replicate_keeps_its_own_uncertainty(tmp_path):
    rows = trays()
    for row, value, doubt in zip(rows, ("46.4", "45.1"), ("0.52", "0.31"), strict=False):
        row |= {"stem_length_mm": value, "stem_length_mm_u": doubt}
    report = gather(write_trial(tmp_path, rows), tmp_path)
    (row,) = single_rows(report, report.metrics, NUMBERS)
    assert ["0.52" in row.values[0], "0.31" in row.values[1]] == [True, True]


def test_an_interval_ends_where_the_metric_does(tmp_path):
    """No cover is above 100 %; with fewer than five trays there is no interval."""
    cover = [99.9, 99.8, 80.0, 99.9, 99.9]
    rows = [
        {"tray_id": f"T{k}", "crop": "pea", "treatment": "dark", "canopy_cover_pct": value}
        for k, value in enumerate(cover)
    ]
    report = gather(write_trial(tmp_path / "five", rows, settings=""), tmp_path)
    (group,) = report.groups["canopy_cover_pct"]
    assert group.ci_high == 100.0
    assert group.ci_low < 90.0
    report = gather(write_trial(tmp_path / "four", rows[:4], settings=""), tmp_path)
    assert np.isnan(report.groups["canopy_cover_pct"][0].ci_low)


def test_a_replicate_by_itself_has_no_interval(tmp_path):
    report = gather(write_trial(tmp_path, trays()[:1]), tmp_path)
    (group,) = report.groups["canopy_height_mm"]
    assert np.isnan(group.ci_low)
    chart = str(dot_chart([group], "mm", NUMBERS, NAMES))
    assert 'stroke-width="1.6"' not in chart


# --- differences

_ROW = Difference(
    "canopy_height_mm", "mm", "15 g", "30 g", 3, 3, -8.0, -10.0, -6.0, -11.4, -14.2, -8.6,
    p=0.001, p_adjusted=0.004, mean_treatment=62.0, mean_control=70.0,
)  # fmt: skip


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({}, "shown"),
        ({"p_adjusted": 0.2}, "hint"),
        ({"p_adjusted": 0.2, "family": "primary"}, "shown"),
        ({"ci_low": -10.0, "ci_high": 1.0}, "untold"),
        ({"ci_low": nan, "ci_high": nan}, ""),
    ],
)
def test_how_sure_a_difference_is(change, expected):
    assert surety(replace(_ROW, **change)) == expected


def test_sentences_say_direction_size_and_interval():
    said = told.sentence(_ROW, "tray", NUMBERS, short=True).striptags()
    assert said == "The canopy is 11.4 % shorter at 15 g than at 30 g (8.6 to 14.2 %)."
    means = told.means(_ROW, NUMBERS).striptags()
    assert means == "On average 62.0 mm at 15 g, 70.0 mm at 30 g."


def test_per_cent_of_next_to_nothing_is_not_said():
    """A gap of 4.2 against 1.3 cm² that is measured to 2.7 cm² is no "242 % larger"."""
    gap = replace(
        _ROW, metric="largest_gap_cm2", unit="cm2", difference=3.0, ci_low=1.4, ci_high=4.6,
        difference_pct=242.0, ci_low_pct=141.0, ci_high_pct=385.0, mean_treatment=4.2,
        mean_control=1.3, measuring_u=2.7, flags=("spread_under_doubt",),
    )  # fmt: skip
    said = told.sentence(gap, "tray", NUMBERS, short=True).striptags().replace("\xa0", " ")
    assert said == (
        "The largest gap is 3.0 cm² larger at 15 g than at 30 g "
        "(1.4 to 4.6 cm²; measuring alone ± 4 cm²)."
    )
    assert told.qualified(gap, "tray", NUMBERS)[0].startswith("These trays differ less")
    assert told.reading(_ROW).unit == "%"


def test_few_replicates_are_said_to_be_few():
    """Three pairs can be signed in 2³ ways: two-sided p is 2/8 at least (Fisher 1935)."""
    said = told.few_said(replace(_ROW, smallest_p_permutation=0.25), "tray", NUMBERS)
    assert said.startswith("3 trays a side are few")
    assert "p = 0.25" in said
    assert told.few_said(replace(_ROW, smallest_p_permutation=0.03), "tray", NUMBERS) == ""
    assert told.few_said(_ROW, "tray", NUMBERS) == ""


def test_yield_of_equal_trays_is_one_finding_with_their_weight():
    weight = replace(_ROW, metric="fresh_weight", unit="g")
    crop_yield = replace(weight, metric="yield_g_per_m2", unit="g/m2")
    other = replace(crop_yield, difference_pct=-9.0)
    assert told.one_finding([weight, crop_yield]) == [weight]
    assert told.one_finding([weight, other]) == [weight, other]
    declared = replace(crop_yield, family="primary")
    assert told.one_finding([weight, declared]) == [weight, declared]


def test_flags_stand_beside_the_number_that_they_touch(tmp_path):
    rows = trays()
    for row in rows:
        row["flags"] = "edge_plants" + (" closed_canopy" if row["treatment"] == "30 g" else "")
    rows[1]["flags"] += " tray_uncertain"
    report = gather(write_trial(tmp_path, rows), tmp_path)
    cover = [one.striptags() for one in flags_said(report, "canopy_cover_pct", NUMBERS)]
    assert cover[0].startswith("T02: where the tray's opening lies")
    assert cover[1].startswith("Every tray at 30 g: cover is above 97 %")
    (height,) = flags_said(report, "canopy_height_mm", NUMBERS)
    assert height.startswith("Every tray: from the side")
    assert flags_said(report, "fresh_weight", NUMBERS) == ()


def test_every_flag_that_touches_a_metric_is_a_flag():
    for name in METRICS:
        assert touching(name) <= set(FLAGS)


def test_what_is_not_told_is_never_said_to_be_alike():
    row = replace(_ROW, ci_low=-4.0, ci_high=2.0, ci_low_pct=-6.0, ci_high_pct=3.0)
    said = told.sentence(row, "tray", NUMBERS).striptags()
    assert said.endswith("these trays do not tell.")
    assert "no proof that they are alike" in wording.HOW_SURE["untold"]


def _span(low, high, surety="shown", name="x"):
    return Span(name, "said", (low + high) / 2, low, high, surety)


def test_intervals_lie_on_their_side_of_nought():
    chart = span_chart([_span(-14, -8), _span(3, 9), _span(-2, 4, "untold")], ("less", "more"), "%",
                       NUMBERS, NAMES)  # fmt: skip
    tree = read(str(chart))
    lines = [one.attributes for one in tree.all("line") if one.attributes["stroke-width"] == "1.4"]
    zero = max(lines, key=lambda one: float(one["y2"]) - float(one["y1"]))
    middle = float(zero["x1"])
    first, second, third = _diamonds(chart)
    assert first < middle < second
    assert abs(third - middle) < abs(second - middle)


def test_how_sure_shows_without_colour():
    drawn = {
        sure: str(span_chart([_span(-2, 4, sure)], ("less", "more"), "%", NUMBERS, NAMES))
        for sure in ("shown", "hint", "untold")
    }
    without_colour = {re.sub(r"var\(--\w+\)", "", one) for one in drawn.values()}
    assert len(without_colour) == 3
    assert "stroke-dasharray" in drawn["untold"]


def test_one_wild_metric_does_not_flatten_the_others():
    tame = [_span(-8, -2), _span(1, 7), _span(-3, 3, "untold")]
    chart = str(span_chart([*tame, _span(140, 380)], ("less", "more"), "%", NUMBERS, NAMES))
    places = _diamonds(chart)
    assert len(places) == 3, "the fourth lies beyond the axis and is an arrow"
    assert max(places) - min(places) > 50


# --- map


def test_places_that_nobody_recorded_are_not_drawn(tmp_path):
    rows = [{name: cell for name, cell in row.items() if name != "position"} for row in trays()]
    assert rack(gather(write_trial(tmp_path, rows), tmp_path), NUMBERS) == ()
    rows = trays()
    rows[0]["position"] = ""
    blocks = rack(gather(write_trial(tmp_path, rows), tmp_path), NUMBERS)
    assert [block.name for block in blocks] == ["Block 2", "Block 3"]


def test_batches_of_one_treatment_have_no_map(tmp_path):
    rows = [row | {"treatment": "", "batch": f"b{k}"} for k, row in enumerate(trays())]
    assert rack(gather(write_trial(tmp_path, rows), tmp_path), NUMBERS) == ()


def test_trays_stand_where_they_stood(tmp_path):
    rows = trays()
    rows[1]["position"] = "4"
    blocks = rack(gather(write_trial(tmp_path, rows), tmp_path), NUMBERS)
    assert [block.name for block in blocks] == ["Block 1", "Block 2", "Block 3"]
    (shelf,) = blocks[0].shelves
    assert [cell and cell.tray_id for cell in shelf.cells] == ["T01", None, None, "T02"]
    assert shelf.cells[0].value == f"{float(rows[0]['canopy_height_mm']):.1f}\xa0mm"
    bars = {cell.tray_id: cell.bar_pct for block in blocks for shelf in block.shelves
            for cell in shelf.cells if cell}  # fmt: skip
    heights = {row["tray_id"]: float(row["canopy_height_mm"]) for row in rows}
    assert max(bars, key=bars.get) == max(heights, key=heights.get)
    assert min(bars, key=bars.get) == min(heights, key=heights.get)


def test_two_trays_in_one_place_are_both_shown(tmp_path):
    rows = [row | {"position": "1"} for row in trays()]
    blocks = rack(gather(write_trial(tmp_path, rows), tmp_path), NUMBERS)
    shown = [cell.tray_id for block in blocks for shelf in block.shelves for cell in shelf.cells]
    assert sorted(shown) == [row["tray_id"] for row in rows]


# --- thumbnails


def test_more_pictures_are_smaller():
    widths = [width_for(count) for count in (1, 90, 91, 400, 5000)]
    assert widths == sorted(widths, reverse=True)
    assert widths[-1] >= 150


def test_of_several_days_the_last_one_is_on_the_map(tmp_path):
    first = trays()
    later = [row | {"photographed_on": "2026-03-12", "canopy_height_mm": "90"} for row in first]
    later[0]["canopy_height_mm"] = "95"
    blocks = rack(gather(write_trial(tmp_path, [*first, *later]), tmp_path), NUMBERS)
    cells = [cell for block in blocks for shelf in block.shelves for cell in shelf.cells]
    assert [cell.value for cell in cells] == ["95.0\xa0mm"] + 5 * ["90.0\xa0mm"]
    assert max(cell.bar_pct for cell in cells[1:]) < 5, "earlier days do not stretch the bars"


# --- plates


def _plates(true_colour):
    picture = {"overhead": (600, 300, 2.0), "pack": (400, 300, nan)}
    shown = tuple(
        Plate(treatment, tray, view, f"{tray}.jpg", b"jpeg", *picture[view], true_colour)
        for view in ("overhead", "pack")
        for treatment, tray in (("30 g", "T01"), ("15 g", "T02"))
    )
    gap = PlateGap("15 g", "side", "No tray was photographed from the side.")
    return Plates("By a rule.", shown, (gap,))


def test_plates_stand_by_treatment_with_their_values(tmp_path):
    report = gather(write_trial(tmp_path), tmp_path)
    rows = plate_rows(replace(report, plates=_plates(true_colour=True)), NUMBERS)
    assert [row.title for row in rows] == [
        wording.SCALE_OF_VIEW["overhead"], wording.SCALE_OF_VIEW["pack"],
    ]  # fmt: skip
    first = rows[0].plates[0]
    assert (first.treatment, first.tray_id, first.width_pct) == ("30 g", "T01", 100.0)
    cover = float(trays()[0]["canopy_cover_pct"])
    written = {name: value for name, value, _ in first.values}
    assert written["cover of the tray"] == f"{cover:.2f}\xa0±\xa00.80\xa0%"
    covers = sorted(float(row["canopy_cover_pct"]) for row in trays() if row["treatment"] == "30 g")
    spans = {name: span for name, _, span in first.values}
    assert spans["cover of the tray"] == f"{covers[0]:.1f} to {covers[-1]:.1f}\xa0%"
    assert rows[0].note == wording.TRUE_COLOUR


def test_a_smaller_cutting_is_drawn_smaller(tmp_path):
    """Plates of a view share one scale: half the millimetres are half the width."""
    report = gather(write_trial(tmp_path), tmp_path)
    plates = _plates(true_colour=False)
    small = replace(plates.shown[1], width_px=300)
    shown = (plates.shown[0], small)
    rows = plate_rows(replace(report, plates=replace(plates, shown=shown)), NUMBERS)
    assert [one.width_pct for one in rows[0].plates] == [100.0, 50.0]
    assert all(one.colour_note == wording.AS_TAKEN for one in rows[0].plates)
    assert rows[0].note == ""


def test_a_plate_that_is_missing_leaves_its_reason(tmp_path):
    report = gather(write_trial(tmp_path), tmp_path)
    plates = _plates(true_colour=True)
    side = replace(plates.shown[0], view="side")
    rows = plate_rows(replace(report, plates=replace(plates, shown=(side,))), NUMBERS)
    assert [one.gap for one in rows[0].plates] == ["", "No tray was photographed from the side."]
