"""What the page opens with: the declared metric's answer, then the few differences that matter."""

from dataclasses import dataclass, field

from markupsafe import Markup, escape

from traymorph.model.comparison import Comparison, Difference
from traymorph.model.report import TrialReport
from traymorph.report.findings import missing_metrics, surety
from traymorph.report.page import told, wording
from traymorph.report.page.doubts import flags_said
from traymorph.report.page.numbers import Numbers
from traymorph.report.page.spans import span_chart
from traymorph.report.sentences import unit_of_differences, words_of

_MOST_SHOWN = 6
_MOST_HINTS = 4
_MOST_MOVED = 3
_MOST_REFUSED = 4


@dataclass(frozen=True, slots=True)
class Answer:
    """What the declared metric answers for one pair of treatments."""

    surety: str
    label: str
    sentence: Markup
    interval: str
    means: Markup
    how_sure: str
    doubts: tuple[Markup, ...]
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
    n: str


@dataclass(frozen=True, slots=True)
class NumberGroup:
    """The differences that are equally sure."""

    surety: str
    rows: tuple[NumberRow, ...]


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
    numbers : tuple of NumberGroup
        Every difference with an interval.
    several_pairs : bool
        Whether pairs of treatments must be named beside them.
    measuring : bool
        Whether a sentence names the doubt of measuring alone.
    refused : tuple of Markup
        Why other metrics are not compared, each reason once.
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
    numbers: tuple[NumberGroup, ...] = ()
    several_pairs: bool = False
    measuring: bool = False
    refused: tuple[Markup, ...] = ()
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
    rest = told.one_finding([row for row in rows if row.family != "primary"])
    groups = {
        kind: tuple(
            told.sentence(row, comparison.unit, numbers, short=True)
            for row in sorted(rest, key=_weight)
            if surety(row) == kind
        )
        for kind in ("shown", "hint", "untold")
    }
    return FindingsShown(
        tuple(_answer(k, row, report, numbers) for k, row in enumerate(declared)),
        (),
        _notes(comparison, declared, rows),
        groups["shown"][:_MOST_SHOWN],
        groups["hint"][:_MOST_HINTS],
        (*groups["shown"][_MOST_SHOWN:], *groups["hint"][_MOST_HINTS:]),
        groups["untold"],
        _number_groups(rows, numbers),
        len(told.rows_by_pair(rows)) > 1,
        any(told.measuring_said(row, numbers) for row in rest if surety(row) != "untold"),
        _refused(comparison, names, numbers),
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


def _refused(
    comparison: Comparison, names: tuple[str, ...], numbers: Numbers
) -> tuple[Markup, ...]:
    """Give each reason once, with the metrics that it holds for."""
    reasons: dict[str, list[str]] = {}
    for flags, metrics in missing_metrics(comparison).items():
        reason = wording.refusal(flags.split(), comparison.unit)
        reasons.setdefault(reason, []).extend(map(wording.metric_name, metrics))
    return tuple(
        numbers.sentence(_refusal(reason, metrics), names) for reason, metrics in reasons.items()
    )


def _refusal(reason: str, metrics: list[str]) -> str:
    count = wording.of(len(metrics), "metric", "metrics")
    return wording.REFUSED.format(
        reason=reason, count=count, metrics=wording.listed(metrics, _MOST_REFUSED)
    )


def _answer(place: int, row: Difference, report: TrialReport, numbers: Numbers) -> Answer:
    how, kind = surety(row), report.replicate
    words = words_of(row.metric, row.unit)
    sentence = told.sentence(row, kind, numbers)
    sides = wording.sides(row.n_treatment, row.n_control, kind)
    interval = wording.INTERVAL.format(span=told.interval_said(row, numbers), sides=sides)
    chart = span_chart(
        [told.span_of(row, numbers, named=False)],
        (words.less, words.more),
        told.reading(row).unit,
        numbers,
        (f"answer-{place + 1}", sentence.striptags(), interval),
    )
    return Answer(
        how,
        wording.ANSWERED[how],
        sentence,
        interval,
        told.means(row, numbers),
        told.how_sure(row, numbers),
        (
            *([escape(few)] if (few := told.few_said(row, kind, numbers)) else ()),
            *flags_said(report, row.metric, numbers),
            *map(escape, told.qualified(row, kind, numbers)),
        ),
        chart,
    )


def _number_groups(rows: list[Difference], numbers: Numbers) -> tuple[NumberGroup, ...]:
    groups = (
        NumberGroup(title, tuple(_in_numbers(row, numbers) for row in rows if surety(row) == kind))
        for kind, title in wording.SURETY.items()
    )
    return tuple(group for group in groups if group.rows)


def _in_numbers(row: Difference, numbers: Numbers) -> NumberRow:
    unit = unit_of_differences(row.unit) or row.unit
    plain = told.Reading(row.difference, row.ci_low, row.ci_high, unit)
    held = told.reading(row)
    return NumberRow(
        wording.capital(wording.metric_name(row.metric)),
        row.treatment,
        row.control,
        plain.signed(numbers),
        held.signed(numbers) if held.unit == "%" else "–",
        told.chance(row, numbers),
        f"{row.n_treatment}, {row.n_control}",
    )
