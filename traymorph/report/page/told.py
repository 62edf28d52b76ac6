"""What differs and how sure that is: the differences of a comparison as the page tells them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from markupsafe import Markup, escape

from traymorph.model.comparison import Comparison, Difference, plural
from traymorph.report.findings import SURE, surety
from traymorph.report.page import wording
from traymorph.report.page.numbers import Numbers, isolated
from traymorph.report.page.spans import Span
from traymorph.report.sentences import at_treatment, decimals_for, probability, words_of


@dataclass(frozen=True, slots=True)
class Reading:
    """The numbers that a difference is told in: per cent where they mean something.

    Parameters
    ----------
    value, low, high : float
        Estimate and interval.
    unit : str
        ``%``, ``points`` or the metric's own.
    """

    value: float
    low: float
    high: float
    unit: str

    def amount(self, number: float, numbers: Numbers) -> str:
        """Write the size of one of them."""
        text = numbers.plain(abs(number), decimals_for(self.low, self.high))
        return numbers.with_unit(text, self.unit)

    def span(self, numbers: Numbers) -> str:
        """Write the interval of a difference that lies on one side of nought, without signs."""
        near, far = sorted((abs(self.low), abs(self.high)))
        low = numbers.plain(near, decimals_for(self.low, self.high))
        return wording.RANGE.format(low=low, high=self.amount(far, numbers))

    def signed(self, numbers: Numbers) -> str:
        """Write estimate and interval, with their signs."""
        decimals = decimals_for(self.low, self.high)
        low, high = (numbers.plain(edge, decimals, sign=True) for edge in (self.low, self.high))
        value = numbers.with_unit(numbers.plain(self.value, decimals, sign=True), self.unit)
        return f"{value} ({low} … {high})"


def reading(row: Difference) -> Reading:
    """Choose per cent or the unit."""
    if row.is_relative:
        return Reading(row.difference_pct, row.ci_low_pct, row.ci_high_pct, "%")
    unit = words_of(row.metric, row.unit).unit
    return Reading(row.difference, row.ci_low, row.ci_high, unit or row.unit)


def sentence(row: Difference, kind: str, numbers: Numbers, *, short: bool = False) -> Markup:
    """Say what a difference shows.

    Parameters
    ----------
    row : Difference
        With an interval.
    kind : str
        What the replicates are.
    numbers : Numbers
        How they are written.
    short : bool
        Put the interval behind it; else it stands elsewhere.
    """
    words, held = words_of(row.metric, row.unit), reading(row)
    treatment, control = at(row.treatment), at(row.control)
    if surety(row) == "untold":
        less = f"{held.amount(held.low, numbers)} {words.less}"
        more = f"{held.amount(held.high, numbers)} {words.more}"
        if short:
            name = wording.capital(wording.metric_name(row.metric))
            return escape(wording.RANGE_OF).format(
                name=name, low=less, high=more, treatment=treatment, control=control
            )
        return escape(wording.DOES_NOT_TELL).format(
            question=words.question, more=words.more, less=words.less,
            treatment=treatment, control=control, replicates=plural(kind),
        )  # fmt: skip
    direction = words.more if held.value > 0 else words.less
    said = escape(wording.DIFFERS).format(
        subject=words.subject, amount=held.amount(held.value, numbers), direction=direction,
        treatment=treatment, control=control,
    )  # fmt: skip
    if not short:
        return Markup("{}.").format(said)
    return Markup("{} ({}).").format(said, held.span(numbers) + measuring_said(row, numbers))


def measuring_said(row: Difference, numbers: Numbers) -> str:
    """Add the doubt of measuring alone where replicates differ less than it; "" elsewhere."""
    if "spread_under_doubt" not in row.flags:
        return ""
    return wording.MEASURING_ALONE.format(reach=_reach(row, numbers))


def _reach(row: Difference, numbers: Numbers) -> str:
    """Write the doubt of measuring alone, in the unit that the difference is told in."""
    return Reading(row.told_reach, 0.0, 2.0 * row.told_reach, reading(row).unit).amount(
        row.told_reach, numbers
    )


def at(treatment: str) -> Markup:
    """Name a treatment in a sentence, isolated from the direction of the words around it."""
    preposition, _, _ = at_treatment(treatment).partition(" ")
    return Markup("{} {}").format(preposition, isolated(treatment))


def interval_said(row: Difference, numbers: Numbers) -> str:
    """Write the interval with its directions: ``6 to 9 points lower``."""
    words, held = words_of(row.metric, row.unit), reading(row)
    if surety(row) == "untold":
        low = f"{held.amount(held.low, numbers)} {words.less}"
        return wording.RANGE.format(low=low, high=f"{held.amount(held.high, numbers)} {words.more}")
    return f"{held.span(numbers)} {words.more if held.value > 0 else words.less}"


def how_sure(row: Difference, numbers: Numbers) -> str:
    """Say in words what the interval means."""
    held = reading(row)
    near = min(abs(held.low), abs(held.high))
    return wording.HOW_SURE[surety(row)].format(near=held.amount(near, numbers))


def qualified(row: Difference, kind: str, numbers: Numbers) -> tuple[str, ...]:
    """Say what makes a difference less sure than its interval looks.

    Parameters
    ----------
    row : Difference
        With an interval.
    kind : str
        What the replicates are.
    numbers : Numbers
        How they are written.
    """
    said = []
    if "spread_under_doubt" in row.flags:
        reach = _reach(row, numbers)
        said.append(wording.SPREAD_UNDER_DOUBT.format(replicates=plural(kind), reach=reach))
    return tuple(said)


def few_said(row: Difference, kind: str, numbers: Numbers) -> str:
    """Say where replicates are too few for reshuffling to show anything; "" elsewhere."""
    least = row.smallest_p_permutation
    if not least > SURE:
        return ""
    sides = wording.sides(row.n_treatment, row.n_control, kind)
    return wording.FEW.format(sides=wording.capital(sides), p=numbers.plain(least, 2))


def one_finding(rows: Sequence[Difference]) -> list[Difference]:
    """Count yield for an area once: trays of one size give it and their weight the same ratios."""
    weights = {
        (row.treatment, row.control): row.difference_pct
        for row in rows if row.metric == "fresh_weight"
    }  # fmt: skip
    return [
        row for row in rows
        if row.metric != "yield_g_per_m2" or row.family == "primary"
        or not math.isclose(weights.get((row.treatment, row.control), math.nan),
                            row.difference_pct, rel_tol=1e-6)
    ]  # fmt: skip


def span_of(row: Difference, numbers: Numbers, *, named: bool = True) -> Span:
    """Make the row of a chart."""
    held = reading(row)
    name = wording.capital(wording.metric_name(row.metric)) if named else ""
    # The axis names the unit.
    written = replace(held, unit="1").signed(numbers)
    return Span(name, written, held.value, held.low, held.high, surety(row))


def rows_by_pair(rows: Sequence[Difference]) -> dict[tuple[str, str], list[Difference]]:
    """Gather differences by their pair of treatments, in their order."""
    pairs: dict[tuple[str, str], list[Difference]] = {}
    for row in rows:
        pairs.setdefault((row.treatment, row.control), []).append(row)
    return pairs


def compared(comparison: Comparison) -> list[Difference]:
    """Differences with an interval, the declared metric first."""
    rows = [row for row in comparison.differences if math.isfinite(row.ci_low)]
    return sorted(rows, key=lambda row: row.family != "primary")


def chance(row: Difference, numbers: Numbers) -> str:
    """Write the adjusted p value."""
    if not math.isfinite(row.p_adjusted):
        return "–"
    return str(numbers.sentence(probability(row.p_adjusted)))


def means(row: Difference, numbers: Numbers) -> Markup:
    """Write the means of both treatments, to the digits of their difference."""
    decimals = decimals_for(row.ci_low, row.ci_high)
    first, second = (
        numbers.with_unit(numbers.plain(value, decimals), row.unit)
        for value in (row.mean_treatment, row.mean_control)
    )
    return escape(wording.MEANS).format(
        first=first, treatment=at(row.treatment), second=second, control=at(row.control)
    )
