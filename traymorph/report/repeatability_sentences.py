"""What a study of the measuring says, in plain sentences."""

import math
from collections.abc import Sequence

from traymorph.model.repeatability import (
    BATCH,
    BY_OPERATOR,
    MEASURING,
    ONE_OPERATOR,
    OPERATOR,
    REPEAT,
    TRAY,
    TRAYS,
    MetricRepeatability,
    Part,
    Ratio,
    Repeats,
)
from traymorph.report.sentences import unit_of_differences

_WORDS = {
    BATCH: "from how batches differ",
    TRAY: "from how trays differ",
    OPERATOR: "from who photographs, and with which phone",
    BY_OPERATOR: "from how people and single trays go together",
    REPEAT: "from one photo to the next",
}
_UNITS = {"mm2": "mm²", "cm2": "cm²", "cm2/g": "cm²/g", "deg": "°"}
_FEW_TRAYS = 5
_FEW_REPEATS = 10
_FEW_OPERATORS = 3
_ASKED_STEPS = 5
_HARDLY = 0.2
_NAMED_TREATMENTS = 4


def repeatability_sentences(one: MetricRepeatability) -> tuple[str, ...]:
    """Say what one metric's repeats tell.

    Parameters
    ----------
    one : MetricRepeatability
        The metric.
    """
    return (_shares(one), _smallest(one), _steps(one), *_doubt(one))


def amount(number: float, unit: str) -> str:
    """Write a difference or standard deviation with two or three significant digits."""
    shown = unit_of_differences(unit)
    shown = _UNITS.get(shown, shown)
    if number == 0.0:
        return f"0 {shown}".rstrip()
    decimals = max(0, 1 - math.floor(math.log10(abs(number))))
    written = f"{number:.{decimals}f}"
    return f"{written}°" if shown == "°" else f"{written} {shown}".rstrip()


def per_cent(share: float) -> str:
    """Write a share of the whole; small ones are not written as nought, nor large ones as all."""
    if 0.0 < share < 0.5:
        return "less than 1 %"
    return "over 99 %" if 99.5 <= share < 100.0 else f"{share:.0f} %"


def _shares(one: MetricRepeatability) -> str:
    measuring = one.sum_of(MEASURING)
    of_trays = [part for part in one.parts if part.source in {BATCH, TRAY}]
    of_measuring = [part for part in one.parts if part.source not in {BATCH, TRAY}]
    low, high = f"{measuring.share_low_pct:.0f}", f"{measuring.share_high_pct:.0f}"
    said = (
        f"{one.metric}: of the variance between these measurements {per_cent(measuring.share_pct)} "
        f"comes from measuring (95 % interval {low} to {high} %)"
    )
    if len(of_measuring) > 1:
        said += f": {_listed(of_measuring)}"
    return f"{said}; {_listed(of_trays)}."


def _listed(parts: Sequence[Part]) -> str:
    return ", ".join(
        f"{per_cent(part.share_pct)} {_WORDS[part.source]}"
        f"{' (reckoned below 0, taken as 0)' if part.below_zero else ''}"
        for part in parts
    )


def _smallest(one: MetricRepeatability) -> str:
    once, twice = one.smallest[0], one.smallest[1]
    who = "one person and phone" if one.n_operators > 1 else "this person and phone"
    said = (
        f"A difference under {amount(once.same_operator, one.unit)} between two trays that {who} "
        f"photographed once each is not told from noise; with two photos of each, averaged, under "
        f"{amount(twice.same_operator, one.unit)}"
    )
    if math.isfinite(once.other_operator):
        said += (
            f"; between trays photographed by different people or phones, under "
            f"{amount(once.other_operator, one.unit)}"
        )
    return f"{said}."


def _steps(one: MetricRepeatability) -> str:
    if one.steps is None:
        return "Measuring scatters nothing that these repeats show."
    spread = amount(one.sum_of(TRAYS).sd, one.unit)
    if one.steps < 2:
        return (
            f"Among trays that differ by a standard deviation of {spread} it tells no sizes apart: "
            f"measuring scatters by {amount(one.sum_of(MEASURING).sd, one.unit)}."
        )
    asked = "" if one.steps >= _ASKED_STEPS else f" ({_ASKED_STEPS} are commonly asked for)"
    return (
        f"Among trays that differ by a standard deviation of {spread} it tells {one.steps} sizes "
        f"apart{asked}."
    )


def _doubt(one: MetricRepeatability) -> tuple[str, ...]:
    """Say whether stated doubts are honest here; nothing where none is stated."""
    doubt = one.doubt
    if not doubt.verdict:
        return ()
    several = one.n_operators > 1
    scatter = amount(one.sum_of(MEASURING if several else ONE_OPERATOR).sd, one.unit)
    ratio = doubt.measuring if several else doubt.one_operator
    found = (
        f"`measure` states a doubt of {amount(doubt.u, one.unit)}; measurements scatter by "
        f"{scatter}, {_times(ratio)}"
    )
    judged = {
        "covers": f"the stated doubt covers that.{_hardly(ratio)}",
        "covers_one_operator": (
            "so few people leave open whether the stated doubt covers that. It covers what one "
            f"person and phone scatter, {_times(doubt.one_operator)}."
        ),
        "too_small": (
            "the stated doubt is too small for your way of photographing. Reckon with "
            f"{scatter}, and look for the cause (light, place of the card, height of the phone)."
        ),
        "undecided": "so few repeats leave open whether the stated doubt covers that.",
    }
    return (f"{found}: {judged[doubt.verdict]}",)


def _hardly(ratio: Ratio) -> str:
    """Ask about repeats that scatter next to nothing."""
    if ratio.value >= _HARDLY:
        return ""
    return (
        " So little is seen where phone, card and tray stay as they are between photos: then it "
        "says nothing of the next time."
    )


def _times(ratio: Ratio) -> str:
    return f"{ratio.value:.2g} times as much (95 % interval {ratio.low:.2g} to {ratio.high:.2g})"


def cautions(
    studied: Sequence[MetricRepeatability], repeats: Repeats, treatments: Sequence[str]
) -> tuple[str, ...]:
    """Say what weakens a study, once for all metrics.

    Parameters
    ----------
    studied : sequence of MetricRepeatability
        At least one.
    repeats : Repeats
        Who measured what.
    treatments : sequence of str
        Of the trays.
    """
    return tuple(
        sentence
        for sentence in (
            _of_operators(studied, repeats),
            _of_repeats(studied),
            _of_numbers(studied),
            _unequal(studied),
            _of_treatments(treatments),
        )
        if sentence
    )


def _of_operators(studied: Sequence[MetricRepeatability], repeats: Repeats) -> str:
    most = max(one.n_operators for one in studied)
    if most == 1:
        who = (
            f"Only {repeats.operators[int(repeats.operator[0])]} took part"
            if repeats.operators
            else "No row has an operator"
        )
        return (
            f"{who}: what another person or phone would read differently is not in these figures. "
            "Have a second one photograph the same trays, with its name in the column operator."
        )
    if any(one.design == "nested" for one in studied):
        return (
            "No tray was photographed by two people or phones: how they differ is told from how "
            "trays differ by its size alone. Have all of them photograph the same trays."
        )
    if most <= _FEW_OPERATORS:
        return f"{most} people or phones tell little of others: that is why intervals are wide."
    return ""


def _of_repeats(studied: Sequence[MetricRepeatability]) -> str:
    if not any(one.interaction == "inseparable" for one in studied):
        return ""
    return (
        "Nobody photographed a tray twice: what comes from how people and single trays go together "
        "counts as coming from one photo to the next."
    )


def _of_numbers(studied: Sequence[MetricRepeatability]) -> str:
    trays = min(one.n_trays for one in studied)
    freedom = min(one.parts[-1].df for one in studied)
    if trays >= _FEW_TRAYS and freedom >= _FEW_REPEATS:
        return ""
    least = min(one.n_measurements for one in studied)
    return (
        f"{least} measurements of {trays} trays are few: go by the intervals. Ten trays, each "
        "photographed two or three times by two or three people, are common practice."
    )


def _unequal(studied: Sequence[MetricRepeatability]) -> str:
    unequal = [one.metric for one in studied if not one.balanced]
    if not unequal:
        return ""
    return (
        f"Not every tray was measured equally often ({', '.join(unequal)}): the parts hold all the "
        "same, their intervals are approximate."
    )


def _of_treatments(treatments: Sequence[str]) -> str:
    if len(treatments) < 2:
        return ""
    more = " ..." if len(treatments) > _NAMED_TREATMENTS else ""
    names = ", ".join(treatments[:_NAMED_TREATMENTS]) + more
    return (
        f"The trays are of {len(treatments)} treatments ({names}): "
        "what these differ by counts as how trays differ. Among trays of one treatment the shares "
        "of measuring are larger; how much measuring scatters stays the same."
    )
