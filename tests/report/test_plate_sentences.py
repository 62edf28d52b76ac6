"""What is said of plates: the rule and the trays, in words that hold for any trial."""

from traymorph.model.photo import View
from traymorph.model.plates import Plate
from traymorph.report.plate_sentences import column_name, not_photographed, rule_sentence


def plate(treatment, tray, view):
    return Plate(treatment, tray, view, "x.jpg", b"", 1, 1, 1.0, true_colour=True)


SHOWN = [
    plate("15 g", "T03", "overhead"),
    plate("30 g", "T02", "overhead"),
    plate("15 g", "T03", "side"),
    plate("15 g", "T01", "board"),
    plate("pack", "P01", "pack"),
]


def test_the_rule_names_metric_and_trays():
    said = rule_sentence("canopy_cover_pct", ("leaf_l", "leaf_a"), SHOWN)
    assert "nearest to its treatment's median cover of the tray" in said
    assert "between equals, to its medians of 2 metrics" in said
    assert (
        "15 g: T03 (from above, from the side), T01 (on the board); 30 g: T02 (from above); "
        "pack: P01 (in the pack)." in said
    )
    assert "no other" not in said


def test_a_single_metric_is_spoken_of_by_name():
    for said in (
        rule_sentence("stem_length_mm", (), SHOWN),
        rule_sentence(None, ("stem_length_mm",), SHOWN),
        rule_sentence("leaf_l", ("stem_length_mm",), SHOWN),
    ):
        assert "median length of cut stems" in said
    assert "median unevenness of the stand" in rule_sentence("evenness_cv_pct", (), SHOWN)
    assert "median yield" in rule_sentence("yield", (), SHOWN)


def test_without_any_metric_in_common_the_rule_says_so():
    assert "no metric was measured in every tray" in rule_sentence(None, (), SHOWN)


def test_trays_that_come_last_are_named():
    said = rule_sentence("leaf_l", (), SHOWN, ("T04", "T07"))
    assert said.endswith("since extent, scale or colour is unsure: T04, T07.")


def test_many_treatments_are_left_to_the_captions():
    many = [plate(f"{n} g", f"T{n}", "side") for n in range(9)]
    assert "T3" not in rule_sentence("leaf_l", (), many)


def test_trays_of_no_treatment_are_named_without_one():
    assert "leaf lightness L*. T1 (from the side)." in rule_sentence(
        "leaf_l", (), [plate("", "T1", "side")]
    )


def test_packs_have_a_column_of_their_own():
    assert column_name("15 g", "tray", trays_too=True) == "15 g"
    assert column_name("15 g", "pack", trays_too=True) == "15 g, pack"
    assert column_name("bought", "pack", trays_too=False) == "bought"
    assert column_name("", "pack", trays_too=True) == "pack"


def test_a_view_that_nobody_photographed_is_named():
    assert not_photographed("tray", View.SIDE) == "No tray of it was photographed from the side."
