"""Trials whose treatments were harvested at different ages: what can be compared all the same.

A metric cannot tell such a treatment from the age. What a tray brings for each day that it stands
on the shelf can be compared: there the days are part of what is asked.
"""

from collections.abc import Sequence
from dataclasses import replace

from traymorph.errors import DesignError
from traymorph.model.comparison import Comparison, Question, TrayTable
from traymorph.model.outcomes import Prices
from traymorph.stats.treatments.compare import compare_treatments

_OF_THE_END = ("harvested_on", "photographed_on")


def compare_with_days_counted(
    table: TrayTable, question: Question, names: Sequence[str], prices: Prices
) -> Comparison:
    """Compare treatments; where only their days forbid it, compare what counts the days.

    Parameters
    ----------
    table : TrayTable
        Trays or lots with metrics and outcomes.
    question : Question
        What is compared with what.
    names : sequence of str
        Metrics and outcomes to compare.
    prices : Prices
        The margin counts the days only where a day of the shelf has a cost.

    Raises
    ------
    DesignError
        The design cannot answer the question.
    """
    try:
        return compare_treatments(table, question, names)
    except DesignError as err:
        counted = ["g_per_tray_day"]
        if prices.cost_per_tray_day is not None:
            counted.append("margin_per_tray")
        counted = [name for name in counted if name in names]
        if not counted or not _can_be_asked(table, question):
            raise
        try:
            comparison = compare_treatments(
                replace(table, columns=_without_the_end(table)),
                _asked_of(question, counted),
                counted,
            )
        except DesignError:
            raise err from None
        told = f"{err.message} Compared is only what counts the days: {', '.join(counted)}."
        return replace(comparison, warnings=(told, *comparison.warnings))


def _can_be_asked(table: TrayTable, question: Question) -> bool:
    """Whether names are known and treatments were sown on the same days."""
    asked = [question.primary, *(margin.metric for margin in question.margins)]
    if any(name is not None and name not in table.values for name in asked):
        return False
    sown: dict[str, set[str]] = {}
    for treatment, day in zip(
        table.text(question.treatment_column), table.text("sown_on"), strict=True
    ):
        if treatment:
            sown.setdefault(treatment, set()).add(day)
    return len({frozenset(days) for days in sown.values()}) == 1


def _without_the_end(table: TrayTable) -> dict[str, tuple[str, ...]]:
    return {name: cells for name, cells in table.columns.items() if name not in _OF_THE_END}


def _asked_of(question: Question, names: Sequence[str]) -> Question:
    return replace(
        question,
        primary=question.primary if question.primary in names else None,
        margins=tuple(margin for margin in question.margins if margin.metric in names),
    )
