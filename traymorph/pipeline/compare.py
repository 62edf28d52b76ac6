"""From the table of trays to differences between treatments, in numbers and in words."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from traymorph.config.outcome_words import DERIVED, TRAY_WEIGHTS
from traymorph.config.outcomes import OUTCOMES_FILE
from traymorph.config.settings import Settings, read_settings
from traymorph.config.tray_columns import check_treatments, rows_with
from traymorph.config.tray_metrics import RESULTS_FILE, metrics_of, read_tray_metrics
from traymorph.model.comparison import Comparison, Margin, Question, TrayTable
from traymorph.model.outcomes import Finding, Kind, Outcomes
from traymorph.model.trial import Sample
from traymorph.pipeline.counted_days import compare_with_days_counted
from traymorph.pipeline.trial_outcomes import (
    OutcomeReport,
    asked_of,
    listed_samples,
    read_trial_outcomes,
    report_outcomes,
    with_listed,
    write_outcomes,
)
from traymorph.report.sentences import sentences
from traymorph.stats.outcomes.yields import with_outcomes
from traymorph.store.comparison_file import write_comparison

COMPARISON_FILE = "comparison.csv"
_NOT_MEASURED = " was not measured in "
_NAMED_SINGLY = 5
_OF_LOTS = frozenset({*DERIVED, *TRAY_WEIGHTS})


@dataclass(frozen=True, slots=True)
class ComparisonReport:
    """What a comparison gave.

    Parameters
    ----------
    comparison : Comparison
        In numbers.
    sentences : tuple of str
        In words.
    outcomes : OutcomeReport
        What was analysed, kept, tasted or weighed by lot.
    out : tuple of Path
        The tables that were written.
    """

    comparison: Comparison
    sentences: tuple[str, ...]
    outcomes: OutcomeReport
    out: tuple[Path, ...]


def compare_folder(
    folder: Path, *, crop: str | None = None, margins: Sequence[Margin] = ()
) -> ComparisonReport:
    """Compare the treatments of a trial folder and write ``results/comparison.csv``.

    What ``outcomes.csv`` says of single trays is compared like a metric; lots, laboratory, keeping
    and tasting are compared by themselves and written to ``results/outcomes_*.csv``.

    Parameters
    ----------
    folder : Path
        The trial folder; ``results/tray_metrics.csv`` must be there, or lists of trays and
        outcomes.
    crop : str or None
        Compare this crop only.
    margins : sequence of Margin
        For "no worse than".

    Raises
    ------
    SettingsError, ListError
        Settings or table cannot be used.
    DesignError
        The design cannot answer the question.
    StoreError
        The result cannot be written.
    """
    settings = read_settings(folder)
    results = folder / "results"
    question = _question(settings, margins)
    listed = listed_samples(folder, settings) if (folder / OUTCOMES_FILE).is_file() else ()
    table = _read_table(results / RESULTS_FILE, listed)
    outcomes = read_trial_outcomes(folder, table, listed, question.treatment_column)
    table = with_listed(table, listed, outcomes.of(Kind.TRAY))
    check_treatments(table, question.treatment_column)
    if crop is not None:
        table = rows_with(table, "crop", crop)
        outcomes = Outcomes(tuple(one for one in outcomes.findings if _is_of(table, one)))
    metrics = metrics_of(table)
    of_trays = outcomes.of(Kind.TRAY)
    prices = settings.prices()
    table = with_outcomes(table, of_trays, prices, settings.tray_size())
    # Seed is what was put in; it only serves for the yield of it.
    found = [name for name in table.values if name not in metrics and name != "seed_weight"]
    asked = _asked_of_trays(question, table, of_trays)
    comparison = compare_with_days_counted(table, asked, [*metrics, *found], prices)
    comparison = replace(comparison, warnings=_gathered(comparison.warnings))
    further = report_outcomes(table, outcomes, question, settings, (metrics, found))
    out = results / COMPARISON_FILE
    write_comparison(out, comparison)
    written = (out, *write_outcomes(results, further))
    return ComparisonReport(comparison, sentences(comparison), further, written)


def _read_table(path: Path, listed: Sequence[Sample]) -> TrayTable:
    """Read what was measured; nothing yet is enough where trays are listed and outcomes stated."""
    if path.exists() or not listed:
        return read_tray_metrics(path)
    listed = [one for one in listed if not one.repeat_of]
    names = list(dict.fromkeys(name for one in listed for name in one.columns))
    return TrayTable(
        {name: tuple(one.columns.get(name, "") for one in listed) for name in names},
        {},
        {},
        (frozenset(),) * len(listed),
        {},
    )


def _question(settings: Settings, margins: Sequence[Margin]) -> Question:
    asked = settings.compare
    return Question(asked.treatment_column, asked.control, asked.primary, tuple(margins))


def _asked_of_trays(question: Question, table: TrayTable, of_trays: Sequence[Finding]) -> Question:
    """Leave to the lots what is asked of them alone; a name that nobody knows is refused later."""
    if any(one.subject.level == "lot" for one in of_trays):
        of_lots = {question.primary, *(one.metric for one in question.margins)} & _OF_LOTS
        if of_lots - set(table.values):
            return asked_of(question, table)
    return question


def _gathered(warnings: Sequence[str]) -> tuple[str, ...]:
    """Say once of all metrics that were not measured in the same trays that they were not."""
    said: dict[str, list[str]] = {}
    for warning in warnings:
        metric, found, where = warning.partition(_NOT_MEASURED)
        said.setdefault(where if found else warning, []).append(metric)
    return tuple(
        key if key in warnings
        else f"{names[0]}{_NOT_MEASURED}{key}" if len(names) == 1
        else f"{_listed(names)} were not measured in {key}"
        for key, names in said.items()
    )  # fmt: skip


def _listed(metrics: Sequence[str]) -> str:
    """Name a few metrics, and of many the number: the table names them."""
    if len(metrics) <= _NAMED_SINGLY:
        return ", ".join(metrics)
    return f"{len(metrics)} metrics ({metrics[0]} to {metrics[-1]})"


def _is_of(table: TrayTable, one: Finding) -> bool:
    """Whether a finding speaks of trays of the table."""
    if one.subject.level not in table.columns or one.subject.level == "treatment":
        return True
    return one.subject.name in table.columns[one.subject.level]
