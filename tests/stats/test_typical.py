"""The typical tray is the one nearest the median: answers worked out by hand."""

import numpy as np
import pytest

from traymorph.model.comparison import Question, TrayTable
from traymorph.stats.treatments.typical import rank_trays


def table_of(trays, values, *, days=None, kinds=None, flags=None):
    """A table of trays (name, treatment) with metrics as lists."""
    names, treatments = zip(*trays, strict=True)
    count = len(names)
    return TrayTable(
        {
            "tray_id": names,
            "treatment": treatments,
            "kind": kinds or ("tray",) * count,
            "photographed_on": days or ("2026-03-10",) * count,
        },
        {name: np.array(held, dtype=float) for name, held in values.items()},
        {name: np.full(count, 0.1) for name in values},
        tuple(frozenset(one) for one in flags) if flags else (frozenset(),) * count,
        dict.fromkeys(values, "mm"),
    )


FIVE = [("A", "15 g"), ("B", "15 g"), ("C", "15 g"), ("D", "15 g"), ("E", "15 g")]


def test_the_declared_metric_decides():
    # median of 50, 61, 58, 70, 57 is 58 (C); then E at 1, B at 3, A at 8, D at 12
    table = table_of(FIVE, {"canopy_height_mm": [50, 61, 58, 70, 57], "leaf_l": [9, 1, 2, 3, 4]})
    ranking = rank_trays(table, Question(primary="canopy_height_mm"))
    assert ranking.groups[0].ranked == ("C", "E", "B", "A", "D")
    assert ranking.primary == "canopy_height_mm"
    assert ranking.metrics == ("leaf_l",)


def test_between_equals_the_other_metrics_decide():
    # median of 50, 60, 70, 80 is 65: B and C are equally near, and C is nearer in the other
    trays = FIVE[:4]
    table = table_of(trays, {"canopy_height_mm": [50, 60, 70, 80], "leaf_l": [40, 48, 44, 43]})
    (group,) = rank_trays(table, Question(primary="canopy_height_mm")).groups
    assert group.ranked[:2] == ("C", "B")  # median 43.5: C is 0.5 away, B 4.5


def test_between_equals_in_all_the_name_decides_and_two_comes_before_ten():
    table = table_of([("T10", "x"), ("T2", "x")], {"canopy_height_mm": [50.1, 60.7]})
    (group,) = rank_trays(table, Question(primary="canopy_height_mm")).groups
    assert group.ranked == ("T2", "T10")


def test_without_a_declared_metric_each_counts_in_units_of_its_usual_distance():
    # heights: median 60, distances 10 5 0 5 10, their median 5; lightness: median 40, distances
    # 0 1 4 1 2, their median 1. In usual distances (1.4826 of these) B is 1 + 1, D 1 + 1,
    # C 0 + 4, A 2 + 0, E 2 + 2: of three equal ones the first by name comes first.
    table = table_of(
        FIVE, {"canopy_height_mm": [50, 55, 60, 65, 70], "leaf_l": [40, 39, 44, 41, 38]}
    )
    ranking = rank_trays(table, Question())
    assert ranking.primary is None
    assert ranking.groups[0].ranked == ("A", "B", "D", "C", "E")


def test_a_metric_that_one_tray_lacks_does_not_count():
    table = table_of(
        FIVE, {"canopy_height_mm": [50, 55, 60, 65, 70], "leaf_l": [44, 39, 90, np.nan, 38]}
    )
    ranking = rank_trays(table, Question())
    assert ranking.metrics == ("canopy_height_mm",)
    assert ranking.groups[0].ranked[0] == "C"


def test_a_tray_without_the_declared_metric_comes_after_those_that_have_it():
    table = table_of(FIVE[:3], {"canopy_height_mm": [np.nan, 10, 90]})
    assert rank_trays(table, Question(primary="canopy_height_mm")).groups[0].ranked[-1] == "A"


@pytest.mark.parametrize("metric", ["fresh_weight", "canopy_height_mm"])
def test_a_declared_metric_that_nobody_has_is_left_out(metric):
    table = table_of(FIVE, {"canopy_height_mm": [np.nan] * 5, "leaf_l": [1, 2, 3, 4, 5]})
    ranking = rank_trays(table, Question(primary=metric))
    assert ranking.primary is None
    assert ranking.groups[0].ranked[0] == "C"


def test_an_outcome_may_be_the_declared_metric():
    table = table_of(FIVE, {"fresh_weight": [250, 300, 280, 260, 270]})
    assert rank_trays(table, Question(primary="fresh_weight")).groups[0].ranked[0] == "E"


@pytest.mark.parametrize("flag", ["scale_disagrees", "card_plane_doubtful"])
def test_a_tray_whose_part_scale_or_colour_is_not_known_comes_last(flag):
    flags = [(), (), (flag,), ("edge_plants",), ()]
    table = table_of(FIVE, {"canopy_height_mm": [50, 61, 58, 70, 57]}, flags=flags)
    ranking = rank_trays(table, Question(primary="canopy_height_mm"))
    assert ranking.groups[0].ranked == ("E", "B", "A", "D", "C")
    assert ranking.last == ("C",)


def test_the_last_day_with_a_value_counts():
    trays = [("A", "x"), ("A", "x"), ("B", "x"), ("C", "x")]
    days = ("2026-03-12", "2026-03-10", "2026-03-12", "2026-03-12")
    # A is 60 on its last day: the median of 60, 50, 80
    table = table_of(trays, {"canopy_height_mm": [60, 20, 50, 80]}, days=days)
    (group,) = rank_trays(table, Question(primary="canopy_height_mm")).groups
    assert group.ranked == ("A", "B", "C")


def test_hues_on_both_sides_of_nought_are_near_one_another():
    # 350, 2 and 10 degrees: the middle one is 2
    table = table_of(FIVE[:3], {"leaf_hue_deg": [350, 10, 2]})
    (group,) = rank_trays(table, Question(primary="leaf_hue_deg")).groups
    assert group.ranked[0] == "C"


def test_treatments_come_in_order_control_first_and_packs_apart():
    trays = [("A", "15 g"), ("B", "30 g"), ("P", ""), ("Q", "15 g"), ("N", "")]
    kinds = ("tray", "tray", "pack", "pack", "tray")
    table = table_of(trays, {"leaf_l": [1, 2, 3, 4, 5]}, kinds=kinds)
    groups = rank_trays(table, Question(control="30 g")).groups
    assert [(one.treatment, one.kind, one.ranked) for one in groups] == [
        ("30 g", "tray", ("B",)),
        ("15 g", "tray", ("A",)),
        ("", "pack", ("P",)),
        ("15 g", "pack", ("Q",)),
    ]


def test_without_treatments_all_trays_are_one_group():
    table = table_of([("A", ""), ("B", ""), ("C", "")], {"canopy_height_mm": [5, 9, 7]})
    (group,) = rank_trays(table, Question(primary="canopy_height_mm")).groups
    assert (group.treatment, group.ranked) == ("", ("C", "A", "B"))


def test_a_table_without_trays_has_no_groups():
    assert rank_trays(TrayTable({"tray_id": ()}, {}, {}, (), {}), Question()).groups == ()
