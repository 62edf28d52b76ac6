"""The words of the page: all in one place, for every metric, and never more than is known."""

import re
from importlib.resources import files

import pytest

from traymorph.flags import FLAGS
from traymorph.model.metrics import METRICS
from traymorph.report.page import wording

TEMPLATES = files("traymorph.report.page") / "templates"


def _all_words():
    for name, held in vars(wording).items():
        if name.isupper() or (name.startswith("_") and name[1:].isupper()):
            yield from _texts(held)


def _texts(held):
    if isinstance(held, str):
        yield held
    elif isinstance(held, dict):
        for one in held.values():
            yield from _texts(one)
    elif isinstance(held, tuple):
        for one in held:
            yield from _texts(one)


@pytest.mark.parametrize("name", ["page.html", "pieces.html"])
def test_templates_hold_no_words(name):
    text = (TEMPLATES / name).read_text(encoding="utf-8")
    text = re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", "", text, flags=re.DOTALL)
    text = re.sub(r"<style>.*?</style>", "", text, flags=re.DOTALL)
    between = re.sub(r"<[^>]*>", "\n", text)
    assert not re.search(r"[A-Za-z]{2,}", between), between.split()
    for attribute in ("alt", "aria-label", "title"):
        for value in re.findall(rf'\b{attribute}="([^"]*)"', text):
            assert not re.search(r"[A-Za-z]", value), value


def test_no_word_is_kept_that_nobody_says():
    package = files("traymorph.report.page")
    said = "".join(
        one.read_text(encoding="utf-8")
        for one in (*package.iterdir(), *TEMPLATES.iterdir(),
                    files("traymorph.pipeline") / "report.py")
        if one.name.endswith((".py", ".html")) and one.name != "wording.py"
    )  # fmt: skip
    own = (package / "wording.py").read_text(encoding="utf-8")
    for name in vars(wording):
        if name.isupper() and not name.startswith("_"):
            elsewhere = re.search(rf"\b(wording|w)\.{name}\b", said)
            assert elsewhere or len(re.findall(rf"\b{name}\b", own)) > 1, name


def test_every_metric_has_a_name_of_its_own():
    names = [wording.metric_name(name) for name in METRICS]
    assert len(set(names)) == len(names)
    for name in names:
        assert "_" not in name
        assert name[0].islower()


def test_foremost_metrics_are_metrics_or_outcomes():
    for name in (*wording.FOREMOST, *(one for held in wording.OF_PLATES.values() for one in held)):
        assert name in METRICS or name == "fresh_weight"


def test_cautions_stand_on_every_page():
    said = " ".join(wording.CAUTION_SENTENCES)
    for word in ("No photo shows whether food is safe", "accredited laboratory", "local",
                 "regulated", "no nitrogen, chlorophyll or vitamin level"):  # fmt: skip
        assert word in said


def test_nothing_promises_safety_or_nutrition():
    for text in _all_words():
        for word in ("safe", "nutri", "healthy", "vitamin", "nitrogen"):
            if word in text.lower():
                cautions = (*wording.CAUTION_SENTENCES, wording.NO_SAFETY, wording.GREENNESS)
                assert text in cautions, text


def test_reasons_are_sentences():
    for flag in ("too_few_replicates", "cut_differs", "fill_differs", "no_spread"):
        said = wording.refusal((flag,), "tray")
        assert said.startswith("Not compared: ")
        assert said.endswith(".")
        assert "{" not in said
    assert wording.refusal(("new_reason",), "tray") == "Not compared: new reason."


def test_counting():
    assert wording.trays_of(1, 0, ["pea"]) == "1 tray of pea"
    assert wording.trays_of(2, 1, []) == "2 trays and 1 pack"
    assert wording.trays_of(0, 3, []) == "3 packs"
    assert wording.replicates(2, "shelf") == "2 shelves"
    assert wording.sides(3, 3, "tray") == "3 trays a side"
    assert wording.sides(3, 1, "lot") == "3 and 1 lot"
    assert wording.listed(list("abcd"), 2) == "a, b and 2 more"


def test_what_there_is_beside_photos_is_named_and_nothing_else():
    assert wording.outcomes_title((), weighed=True) == "Weighed"
    assert wording.outcomes_title(("Keeping", "How metrics go"), weighed=True) == "Weighed and kept"
    assert wording.outcomes_title(("Laboratory", "Tasting"), weighed=False) == "Analysed and tasted"


def test_age_at_the_photo():
    assert wording.photographed("a", "a", [8]) == "photographed a, 8 days after sowing"
    assert (
        wording.photographed("a", "b", [8, 10]) == "photographed a to b, 8 to 10 days after sowing"
    )
    assert wording.photographed("a", "a") == "photographed a"


def test_flags_can_be_said():
    for flag in FLAGS.values():
        assert flag.meaning
        assert flag.advice
