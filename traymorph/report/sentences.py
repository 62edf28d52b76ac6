"""What a comparison says, in plain sentences that never say more than the interval does."""

import math
import re
from dataclasses import dataclass, replace

from traymorph.model.comparison import Comparison, Difference, plural


@dataclass(frozen=True, slots=True)
class Words:
    """How one speaks of a metric.

    Parameters
    ----------
    subject : str
        What begins the sentence, with its verb: ``Stems are``.
    more, less : str
        What it is when the number is larger or smaller: ``longer``, ``shorter``.
    unit : str
        As written after a number: ``mm``, ``points``; empty where the number has none.
    """

    subject: str
    more: str
    less: str
    unit: str = ""

    @property
    def question(self) -> str:
        """The subject after "whether": ``stems are``."""
        abbreviation = self.subject[:2].isupper()
        return self.subject if abbreviation else self.subject[0].lower() + self.subject[1:]


def _of(subject: str, unit: str = "", more: str = "higher", less: str = "lower") -> Words:
    return Words(subject, more, less, unit)


WORDS: dict[str, Words] = {
    "canopy_cover_pct": _of("Cover is", "points"),
    "projected_leaf_area_cm2": _of("Leaf area seen from above is", "cm²", "larger", "smaller"),
    "overhang_area_cm2": _of("Overhang beyond the rim is", "cm²", "larger", "smaller"),
    "evenness_cv_pct": _of("The stand is", "points", "more uneven", "more even"),
    "largest_gap_cm2": _of("The largest gap is", "cm²", "larger", "smaller"),
    "blade_width_mm": _of("Blades seen from above are", "mm", "wider", "narrower"),
    "canopy_height_mm": _of("The canopy is", "mm", "taller", "shorter"),
    "canopy_height_p95_mm": _of("The tallest part of the canopy is", "mm", "taller", "shorter"),
    "canopy_height_cv_pct": _of("The canopy's height is", "points", "more uneven", "more even"),
    "stem_to_leaf_ratio": _of(
        "Stem for each leaf area, seen from the side, is", "", "more", "less"
    ),
    "bare_stem_mm": _of("Bare stem is", "mm", "longer", "shorter"),
    "leaf_layer_mm": _of("The leaf layer is", "mm", "deeper", "shallower"),
    "stem_length_mm": _of("Stems are", "mm", "longer", "shorter"),
    "stem_width_mm": _of("Stems are", "mm", "thicker", "thinner"),
    "stem_area_mm2": _of("Stem area of a plant is", "mm²", "larger", "smaller"),
    "leaf_area_mm2": _of("Leaf area of a plant is", "mm²", "larger", "smaller"),
    "board_stem_to_leaf_ratio": _of("Stem for each leaf area is", "", "more", "less"),
    "blade_count": _of("Blades of a plant are", "", "more", "fewer"),
    "blade_length_mm": _of("Blades are", "mm", "longer", "shorter"),
    "board_blade_width_mm": _of("Blades are", "mm", "wider", "narrower"),
    "plant_weight_mg": _of("Plants are", "mg", "heavier", "lighter"),
    "leaf_area_per_gram_cm2": _of("Leaf area for each gram is", "cm²/g", "larger", "smaller"),
    "fresh_weight": _of("Fresh weight of a tray is", "g"),
    "dry_weight": _of("Dry weight of a tray is", "g"),
    "seed_weight": _of("Seed of a tray is", "g", "more", "less"),
    "fresh_weight_per_tray": _of("Fresh weight for each tray of a lot is", "g"),
    "dry_weight_per_tray": _of("Dry weight for each tray of a lot is", "g"),
    "seed_weight_per_tray": _of("Seed for each tray of a lot is", "g", "more", "less"),
    "yield_g_per_m2": _of("Yield is", "g/m²"),
    "yield_g_per_g_seed": _of("Yield for each gram of seed is", "g"),
    "packs": _of("Packs of a tray are", "packs", "more", "fewer"),
    "g_per_tray_day": _of("Yield for each day of the tray on the shelf is", "g"),
}
"""Of every metric whose name does not follow from its parts; colours are put together below."""

_COLOUR_WORDS = {
    "leaf_l": _of("Leaves are", "L*", "lighter", "darker"),
    "leaf_a": _of("CIELAB a* of the leaves is"),
    "leaf_b": _of("CIELAB b* of the leaves is"),
    "leaf_chroma": _of("Leaf colour is", "C*", "stronger", "duller"),
    "leaf_hue_deg": _of("CIELAB hue of the leaves is", "°"),
    "green_share": _of("The share of green in the leaves' colour is"),
    "excess_green": _of("Excess green of the leaves is"),
    "greenness_index": _of("The greenness index of the leaves is"),
    "yellowed_pct": _of("Yellowed leaf is", "points", "more", "less"),
    "green_leaf_pct": _of("Green leaf is", "points", "more", "less"),
    "purple_leaf_pct": _of("Purple or red leaf is", "points", "more", "less"),
    "leaf_colour_spread_de00": _of("Leaf colour is", "ΔE00", "more uneven", "more even"),
    "edge_to_middle_de00": _of(
        "The colour difference between edge and middle is", "ΔE00", "larger", "smaller"
    ),
}
_MOST_DIGITS = 4
"""An interval narrower than that is not a finding about trays but a matter of rounding."""
_TWO_DIGITS_BELOW = 3.0
_WHERE = {"board_": "of cut plants", "pack_": "in the pack"}


def words_of(metric: str, unit: str) -> Words:
    """How one speaks of a metric or outcome.

    Parameters
    ----------
    metric : str
        Name of the column.
    unit : str
        Its unit, for what has no words of its own.
    """
    if metric in WORDS:
        return WORDS[metric]
    if metric in _COLOUR_WORDS:
        return _COLOUR_WORDS[metric]
    for prefix, where in _WHERE.items():
        known = _COLOUR_WORDS.get(metric.removeprefix(prefix))
        if metric.startswith(prefix) and known is not None:
            subject, _, verb = known.subject.rpartition(" ")
            return Words(f"{subject} {where} {verb}", known.more, known.less, known.unit)
    shown = spoken(metric)
    return Words(f"{shown[0].upper()}{shown[1:]} is", "higher", "lower", unit_of_differences(unit))


def spoken(name: str) -> str:
    """Write a name as one says it: ``vitamin_c`` is vitamin C."""
    return re.sub(r"\bvitamin [a-z]\b", _with_capital, name.replace("_", " "))


def _with_capital(found: re.Match[str]) -> str:
    return found[0][:-1] + found[0][-1].upper()


def unit_of_differences(unit: str) -> str:
    """Give the unit of a difference as written: shares differ by points."""
    return {"%": "points", "1": ""}.get(unit, unit)


def probability(p: float) -> str:
    """Write a p value: ``p = 0.023``, ``p < 0.001``."""
    return "p < 0.001" if p < 0.0005 else f"p = {p:.3f}" if p < 0.1 else f"p = {p:.2f}"


def sentences(comparison: Comparison) -> tuple[str, ...]:
    """Say what each difference shows, the declared metric first.

    Parameters
    ----------
    comparison : Comparison
        All differences of a trial.

    Returns
    -------
    tuple of str
        One sentence or two per metric and pair that could be compared.
    """
    rows = [row for row in comparison.differences if math.isfinite(row.ci_low)]
    rows.sort(key=lambda row: row.family != "primary")
    exploratory = sum(row.family == "exploratory" for row in rows)
    return tuple(sentence(row, comparison, exploratory) for row in rows)


def sentence(row: Difference, comparison: Comparison, exploratory: int) -> str:
    """Say what one difference shows.

    Parameters
    ----------
    row : Difference
        With an interval.
    comparison : Comparison
        It belongs to.
    exploratory : int
        Number of exploratory differences that were looked at.
    """
    words = words_of(row.metric, row.unit)
    reading = _reading(row, words)
    level = f"{100 * comparison.question.level:.0f} % interval"
    trays = f"{_how_many(row, comparison.unit)}{_measuring(row, reading)}"
    than = f"{at_treatment(row.treatment)} than {at_treatment(row.control)}"
    low, high = reading.low, reading.high
    if low > 0 or high < 0:
        size, direction = (reading.value, words.more) if low > 0 else (-reading.value, words.less)
        near, far = sorted((abs(low), abs(high)))
        said = (
            f"{words.subject} {reading.amount(size)} {direction} {than} "
            f"({level} {reading.span(near, far)}, {trays})."
        )
        said += _chance(row, exploratory)
    else:
        said = (
            f"Whether {words.question} {words.more} or {words.less} {than}, these "
            f"{plural(comparison.unit)} do not tell: anything from {_both_ways(reading, words)} "
            f"agrees with them ({level}, {trays})."
        )
    return said + _within(row, words)


def range_in_words(row: Difference) -> str:
    """Write an interval that holds nought: ``8 % lower to 4 % taller``.

    Parameters
    ----------
    row : Difference
        With an interval around nought.
    """
    words = words_of(row.metric, row.unit)
    return _both_ways(_reading(row, words), words)


@dataclass(frozen=True, slots=True)
class _Reading:
    """A difference with its interval, and how its numbers are written."""

    value: float
    low: float
    high: float
    unit: str
    decimals: int

    def amount(self, number: float) -> str:
        plain = self._plain(number)
        return f"{plain} point" if (plain, self.unit) == ("1", "points") else plain + self._after()

    def span(self, near: float, far: float) -> str:
        return f"{self._plain(near)} to {self._plain(far)}{self._after()}"

    def _plain(self, number: float) -> str:
        return f"{abs(number):.{self.decimals}f}"

    def _after(self) -> str:
        return self.unit if self.unit == "°" else f" {self.unit}" if self.unit else ""


def _reading(row: Difference, words: Words) -> _Reading:
    """Per cent where they mean something, else the unit; digits as the interval allows."""
    if row.is_relative:
        value, low, high, unit = row.difference_pct, row.ci_low_pct, row.ci_high_pct, "%"
    else:
        value, low, high, unit = row.difference, row.ci_low, row.ci_high, words.unit
    return _Reading(value, low, high, unit, decimals_for(low, high))


def decimals_for(low: float, high: float) -> int:
    """Tell how many decimals an interval leaves standing, shared by it and what lies in it.

    Half the interval keeps one digit, two where its first is 1 or 2, so that rounding moves it by a
    sixth at most.
    """
    half = (high - low) / 2.0
    if not math.isfinite(half) or half <= 0.0:
        return 3
    place = math.floor(math.log10(half))
    decimals = max(0, -place + (1 if half < _TWO_DIGITS_BELOW * 10.0**place else 0))
    largest = max(abs(low), abs(high))
    decimals = min(decimals, max(0, _MOST_DIGITS - 1 - math.floor(math.log10(largest))))
    nearest = min(abs(low), abs(high))
    # A bound that is not nought must not be written as nought.
    while nearest > 0 and round(nearest, decimals) == 0 and decimals < 6:
        decimals += 1
    return decimals


def _both_ways(reading: _Reading, words: Words) -> str:
    return (
        f"{reading.amount(-reading.low)} {words.less} to "
        f"{reading.amount(reading.high)} {words.more}"
    )


def at_treatment(treatment: str) -> str:
    """Name a treatment in a sentence: ``at 60 g``, ``with net``."""
    return f"at {treatment}" if treatment[:1].isdigit() else f"with {treatment}"


def _how_many(row: Difference, unit: str) -> str:
    if unit == "taster":
        return f"{row.n_treatment} tasters"
    if row.n_treatment == row.n_control:
        return f"{row.n_treatment} {plural(unit)} a side"
    return f"{row.n_treatment} and {row.n_control} {plural(unit)}"


def _chance(row: Difference, exploratory: int) -> str:
    """Say what looking at many metrics does to a difference that was not declared before."""
    if row.family == "primary" or exploratory < 2:
        return ""
    if row.p_adjusted <= 0.05:
        return ""
    return (
        f" It is one of {exploratory} differences looked at, and among so many chance alone "
        f"shows one now and then (adjusted {probability(row.p_adjusted)}): take it as a hint."
    )


def _measuring(row: Difference, reading: _Reading) -> str:
    """Say where the doubt of measuring alone is wider than the interval between replicates."""
    if "spread_under_doubt" not in row.flags:
        return ""
    digits = decimals_for(0.0, 2.0 * row.told_reach)
    return f"; measuring alone ± {replace(reading, decimals=digits).amount(row.told_reach)}"


def _within(row: Difference, words: Words) -> str:
    if not math.isfinite(row.p_within):
        return ""
    margin = (
        f"{row.margin:g} %" if row.margin_in_percent else f"{row.margin:g} {words.unit}".strip()
    )
    if row.p_within <= 0.05:
        return f" The difference is within {margin} either way ({probability(row.p_within)})."
    return f" That the difference is within {margin} either way is not shown."
