"""What the page opens with: the declared metric's answer, then the few differences that matter."""

from dataclasses import dataclass, field

from markupsafe import Markup, escape

from traymorph.model.comparison import Comparison, Difference
from traymorph.model.report import TrialReport
from traymorph.report.page import told, wording
from traymorph.report.page.numbers import Numbers
from traymorph.report.page.spans import span_chart
from traymorph.report.sentences import unit_of_differences, words_of

_MOST_SHOWN = 6
_MOST_HINTS = 4
_MOST_MOVED = 3


@dataclass(frozen=True, slots=True)
class Answer:
    """What the declared metric answers for one pair of treatments."""

    surety: str
    label: str
    sentence: Markup
    interval: str
    means: Markup
    how_sure: str
    chart: Markup


@dataclass(frozen=True, slots=True)
class NumberRow:
    """One difference in numbers, each cell as written."""

    name: str
    treatment: str
    control: str
    difference: str
    per_cent: str
    chance: str
    surety: str
    n: str


@dataclass(frozen=True, slots=True)
class FindingsShown:
    """Everything that the findings show.

    Parameters
    ----------
    answers : tuple of Answer
        Of the declared metric, one for each pair.
    headlines : tuple of Markup
        What stands in place of answers.
    notes : tuple of Markup
        What qualifies them.
    shown, hints : tuple of Markup
        The few sentences that matter.
    further, untold : tuple of Markup
        Sentences on all others.
    numbers : tuple of NumberRow
        Every difference.
    warnings : tuple of Markup
        On design and single trays.
    """

    answers: tuple[Answer, ...] = ()
    headlines: tuple[Markup, ...] = ()
    notes: tuple[Markup, ...] = ()
    shown: tuple[Markup, ...] = ()
    hints: tuple[Markup, ...] = ()
    further: tuple[Markup, ...] = ()
    untold: tuple[Markup, ...] = ()
    numbers: tuple[NumberRow, ...] = ()
    warnings: tuple[Markup, ...] = field(default=())


def find(report: TrialReport, names: tuple[str, ...], numbers: Numbers) -> FindingsShown:
    """Sort what the comparison tells.

    Parameters
    ----------
    report : TrialReport
        The trial.
    names : tuple of str
        Of treatments and trays, isolated wherever they stand in a sentence.
    numbers : Numbers
        How numbers are written.
    """
    comparison = report.comparison
    if comparison is None:
        why = _why_none(report, names, numbers)
        moved = _of_batches(report, names, numbers)
        if moved:
            return FindingsShown(headlines=moved, notes=(why,))
        return FindingsShown(headlines=(why,))
    rows = told.compared(comparison)
    declared = [row for row in rows if row.family == "primary"]
    rest = [row for row in rows if row.family != "primary"]
    groups = {
        surety: tuple(
            told.sentence(row, comparison.unit, numbers, short=True)
            for row in sorted(rest, key=_weight)
            if told.surety(row) == surety
        )
        for surety in ("shown", "hint", "untold")
    }
    return FindingsShown(
        tuple(_answer(k, row, comparison, numbers) for k, row in enumerate(declared)),
        (),
        _notes(comparison, declared, rows),
        groups["shown"][:_MOST_SHOWN],
        groups["hint"][:_MOST_HINTS],
        (*groups["shown"][_MOST_SHOWN:], *groups["hint"][_MOST_HINTS:]),
        groups["untold"],
        tuple(_in_numbers(row, numbers) for row in comparison.differences),
        tuple(numbers.sentence(one, names) for one in comparison.warnings),
    )


def _weight(row: Difference) -> tuple[int, float]:
    """Put the metrics that growers ask for first, each by how sure it is."""
    known = row.metric in wording.FOREMOST
    return wording.FOREMOST.index(row.metric) if known else len(wording.FOREMOST), row.p_adjusted


def opening(found: FindingsShown) -> tuple[str, ...]:
    """Give the sentences that the page opens with, as plain text."""
    said = [one.sentence for one in found.answers] or list(found.headlines or found.notes)
    return tuple(one.striptags() for one in (*said, *found.shown))


def _of_batches(
    report: TrialReport, names: tuple[str, ...], numbers: Numbers
) -> tuple[Markup, ...]:
    """Give the newest move of each watched metric; where none moved, that."""
    moved = [one for one in report.drift if one.drift.moves]
    moved.sort(key=lambda one: -one.drift.moves[-1].end)
    batches = {name for one in report.drift for name in one.drift.names}
    return tuple(
        numbers.sentence(said, [*names, *sorted(batches)])
        for one in (moved or report.drift)[:_MOST_MOVED]
        for said in [one.sentences[max(0, len(one.drift.moves) - 1)]]
    )


def _why_none(report: TrialReport, names: tuple[str, ...], numbers: Numbers) -> Markup:
    treatments = {one for one in report.table.text(report.treatment_column) if one}
    if not report.metrics and not report.outcomes:
        return escape(wording.NOTHING_MEASURED)
    if not treatments:
        return escape(wording.NO_TREATMENT)
    if len(treatments) == 1:
        return escape(wording.ONE_TREATMENT)
    return numbers.sentence(report.not_compared, names)


def _notes(
    comparison: Comparison, declared: list[Difference], rows: list[Difference]
) -> tuple[Markup, ...]:
    if not comparison.question.primary:
        return (escape(wording.NO_PRIMARY),)
    if not declared:
        return (escape(wording.DECLARED_NOT_TOLD),)
    return (escape(wording.WHO_DECIDES),) if rows else ()


def _answer(place: int, row: Difference, comparison: Comparison, numbers: Numbers) -> Answer:
    surety = told.surety(row)
    words = words_of(row.metric, row.unit)
    sentence = told.sentence(row, comparison.unit, numbers)
    sides = wording.sides(row.n_treatment, row.n_control, comparison.unit)
    interval = wording.INTERVAL.format(span=told.interval_said(row, numbers), sides=sides)
    chart = span_chart(
        [told.span_of(row, numbers, named=False)],
        (words.less, words.more),
        told.reading(row).unit,
        numbers,
        (f"answer-{place + 1}", sentence.striptags(), interval),
    )
    return Answer(
        surety,
        wording.ANSWERED[surety],
        sentence,
        interval,
        told.means(row, numbers),
        wording.HOW_SURE[surety],
        chart,
    )


def _in_numbers(row: Difference, numbers: Numbers) -> NumberRow:
    surety = told.surety(row)
    if not surety:
        why = " ".join(row.flags).replace("_", " ") or wording.NOT_COMPARED
        difference, per_cent = why, ""
    else:
        plain = told.Reading(
            row.difference, row.ci_low, row.ci_high, unit_of_differences(row.unit) or row.unit
        )
        difference = plain.signed(numbers)
        held = told.reading(row)
        per_cent = held.signed(numbers) if held.unit == "%" else ""
    return NumberRow(
        wording.capital(wording.metric_name(row.metric)),
        row.treatment,
        row.control,
        difference,
        per_cent,
        told.chance(row, numbers) if surety else "",
        wording.SURETY.get(surety, wording.NOT_COMPARED),
        f"{row.n_treatment}, {row.n_control}",
    )
