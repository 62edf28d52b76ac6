"""From ``outcomes.csv`` to what a comparison makes of it, in numbers and in words."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from traymorph.config.outcome_rows import read_outcomes
from traymorph.config.outcomes import OUTCOMES_FILE
from traymorph.config.problems import Problem, told
from traymorph.config.settings import Settings
from traymorph.config.trays import TRAYS_FILE, read_trays
from traymorph.errors import DesignError, ListError
from traymorph.model.comparison import Comparison, Question, TrayTable
from traymorph.model.outcome_results import (
    Claim,
    Content,
    Counted,
    Fading,
    Foretold,
    Going,
    Kept,
    KeptPair,
    Scored,
)
from traymorph.model.outcomes import Finding, Kind, Outcomes
from traymorph.model.trial import Sample, TraySize
from traymorph.pipeline.counted_days import compare_with_days_counted
from traymorph.report import outcome_sentences as words
from traymorph.report.sentences import sentences
from traymorph.stats.outcomes.association import metrics_with_outcomes
from traymorph.stats.outcomes.foretell import foretell
from traymorph.stats.outcomes.keeping import (
    compare_fading,
    compare_keeping,
    looks_of_packs,
    looks_of_scores,
    unequal_temperatures,
)
from traymorph.stats.outcomes.laboratory import CLAIM_RULES, compare_panel, judge_claim, mirrored
from traymorph.stats.outcomes.tasting import compare_scores, count_tests
from traymorph.stats.outcomes.yields import lot_table
from traymorph.stats.replicates import find_replicates
from traymorph.store.comparison_file import write_comparison
from traymorph.store.outcome_files import write_findings

LOTS, LABORATORY, KEEPING, TASTING = "Lots weighed together", "Laboratory", "Keeping", "Tasting"
GOING = "How metrics go with outcomes"
LEFT_OUT = "Outcomes left out"
FORETOLD = "Weight foretold from the photos"
_FORETOLD_OUTCOME = "fresh_weight"


@dataclass(frozen=True, slots=True)
class ForetoldTray:
    """What a model foretells for a tray that was not weighed."""

    tray_id: str
    outcome: str
    foretold: float
    error: float
    unit: str


@dataclass(frozen=True, slots=True)
class OutcomeReport:
    """What outcomes gave besides the comparison of trays; empty where there is nothing of a kind.

    Parameters
    ----------
    lots : Comparison or None
        Lots that were weighed together.
    contents, claims
        Laboratory.
    kept, kept_pairs, fading
        Keeping.
    counted, scored
        Tasting.
    going : tuple of Going
        Metrics with outcomes.
    foretold : Foretold or None
        The model of fresh weight.
    sections : dict of str to tuple of str
        Title and sentences, in the order shown.
    """

    lots: Comparison | None = None
    contents: tuple[Content, ...] = ()
    claims: tuple[Claim, ...] = ()
    kept: tuple[Kept, ...] = ()
    kept_pairs: tuple[KeptPair, ...] = ()
    fading: tuple[Fading, ...] = ()
    counted: tuple[Counted, ...] = ()
    scored: tuple[Scored, ...] = ()
    going: tuple[Going, ...] = ()
    foretold: Foretold | None = None
    sections: dict[str, tuple[str, ...]] | None = None


def listed_samples(folder: Path, settings: Settings) -> tuple[Sample, ...]:
    """Read the trays of ``trays.csv``; none where there is no such list.

    Raises
    ------
    ListError
        The list cannot be used; every problem is named.
    """
    path = folder / TRAYS_FILE
    if not path.is_file():
        return ()
    problems: list[Problem] = []
    samples, _ = read_trays(path, settings.tray_size(), problems)
    if problems:
        raise ListError(told(problems, "lists"), hint="Correct this and run again.")
    return samples


def read_trial_outcomes(
    folder: Path, table: TrayTable, listed: Sequence[Sample], treatment_column: str
) -> Outcomes:
    """Read ``outcomes.csv`` against the trays of the list and of the table; none without it.

    Raises
    ------
    ListError
        The list cannot be used; every problem is named.
    """
    path = folder / OUTCOMES_FILE
    if not path.is_file():
        return Outcomes()
    known = {one.tray_id for one in listed}
    samples = [*listed, *(one for one in _samples_of(table) if one.tray_id not in known)]
    return read_outcomes(path, samples, treatment_column)


def _samples_of(table: TrayTable) -> list[Sample]:
    kinds = table.text("kind")
    names = list(table.columns)
    return [
        Sample(tray, kinds[row] or "tray", TraySize(), None,
               {name: table.columns[name][row] for name in names})
        for row, tray in enumerate(table.text("tray_id"))
    ]  # fmt: skip


def with_listed(
    table: TrayTable, listed: Sequence[Sample], findings: Sequence[Finding]
) -> TrayTable:
    """Add rows for trays of the list that have an outcome but no row in the table."""
    there = set(table.text("tray_id"))
    trays = {one.subject.name for one in findings if one.subject.level == "tray_id"}
    lots = {one.subject.name for one in findings if one.subject.level == "lot"}
    added = [
        one for one in listed
        if one.tray_id not in there
        and not one.repeat_of
        and (one.tray_id in trays or one.columns.get("lot", "") in lots - {""})
    ]  # fmt: skip
    if not added:
        return table
    names = list(dict.fromkeys([*table.columns, *(name for one in added for name in one.columns)]))
    unknown = np.full(len(added), np.nan)
    return replace(
        table,
        columns={
            name: (*table.text(name), *(one.columns.get(name, "") for one in added))
            for name in names
        },
        values={name: np.append(old, unknown) for name, old in table.values.items()},
        doubts={name: np.append(old, unknown) for name, old in table.doubts.items()},
        flags=(*table.flags, *(frozenset() for _ in added)),
    )


def report_outcomes(
    table: TrayTable,
    outcomes: Outcomes,
    question: Question,
    settings: Settings,
    names: tuple[Sequence[str], Sequence[str]],
) -> OutcomeReport:
    """Compare what was weighed by lot, analysed, kept and tasted, and hold metrics against it.

    Parameters
    ----------
    table : TrayTable
        With the outcomes of single trays joined.
    outcomes : Outcomes
        All findings.
    question : Question
        What is compared with what.
    settings : Settings
        Prices and tray sizes.
    names : pair of sequences of str
        Metrics and tray outcomes of the table.
    """
    sections: dict[str, tuple[str, ...]] = {}
    lots, sections[LOTS] = _lots(table, outcomes, question, settings)
    report = OutcomeReport(lots=lots)
    report, sections[LABORATORY] = _laboratory(report, outcomes, question)
    report, sections[KEEPING] = _keeping(report, outcomes, question, table)
    report, sections[TASTING] = _tasting(report, outcomes, question)
    report, further = _metrics_with(report, table, question, *names)
    unknown = sum(not one.subject.treatment for one in outcomes.findings)
    if unknown:
        what = f"{unknown} rows of {OUTCOMES_FILE} are about trays without a treatment; left out."
        sections[LEFT_OUT] = (what,)
    shown = {title: said for title, said in (sections | further).items() if said}
    return replace(report, sections=shown)


def _lots(
    table: TrayTable, outcomes: Outcomes, question: Question, settings: Settings
) -> tuple[Comparison | None, tuple[str, ...]]:
    lots = lot_table(table, outcomes.of(Kind.TRAY), settings.prices(), settings.tray_size())
    if lots is None:
        return None, ()
    asked = asked_of(question, lots)
    try:
        prices = settings.prices()
        comparison = compare_with_days_counted(lots, asked, list(lots.values), prices)
    except DesignError as err:
        return None, (f"Not compared: {err.message}",)
    compared = sum(np.isfinite(row.p) for row in comparison.differences)
    said = (*sentences(comparison), *words.family(LOTS, compared), *comparison.warnings)
    return comparison, said


def asked_of(question: Question, table: TrayTable) -> Question:
    """Keep of a question what a table can be asked."""
    return replace(
        question,
        primary=question.primary if question.primary in table.values else None,
        margins=tuple(one for one in question.margins if one.metric in table.values),
    )


def _laboratory(
    report: OutcomeReport, outcomes: Outcomes, question: Question
) -> tuple[OutcomeReport, tuple[str, ...]]:
    findings = outcomes.of(Kind.LABORATORY)
    if not findings:
        return report, ()
    contents = compare_panel(findings, question.control, question.level)
    claims = tuple(
        judge_claim(one, rule)
        for row in contents
        if row.basis and not row.converted
        for one in [row if row.difference_pct > 0 else mirrored(row)]
        if one.difference_pct > 0 and one.treatment != question.control
        for rule in CLAIM_RULES
    )
    said = words.laboratory_sentences(contents, claims, question.level)
    return replace(report, contents=contents, claims=claims), said


def _keeping(
    report: OutcomeReport, outcomes: Outcomes, question: Question, table: TrayTable
) -> tuple[OutcomeReport, tuple[str, ...]]:
    findings = outcomes.of(Kind.KEEPING, Kind.KEEPING_SCORE)
    looks = (
        *looks_of_scores(outcomes.of(Kind.KEEPING_SCORE)),
        *looks_of_packs(table, question.treatment_column),
    )
    refused = unequal_temperatures(findings)
    fading = () if refused else compare_fading(looks, question.control, question.level)
    if not findings and not fading:
        return report, ()
    kept, pairs = compare_keeping(outcomes.of(Kind.KEEPING), question.control)
    pairs = () if refused else pairs
    said = words.keeping_sentences(kept, pairs, fading, refused, question.level)
    return replace(report, kept=kept, kept_pairs=pairs, fading=fading), said


def _tasting(
    report: OutcomeReport, outcomes: Outcomes, question: Question
) -> tuple[OutcomeReport, tuple[str, ...]]:
    tests, scores = outcomes.of(Kind.TRIANGLE, Kind.PAIRED), outcomes.of(Kind.TASTE_SCORE)
    if not tests and not scores:
        return report, ()
    counted = count_tests(tests)
    scored = compare_scores(scores, question.control, question.level)
    said = words.tasting_sentences(counted, scored, question.level)
    return replace(report, counted=counted, scored=scored), said


def _metrics_with(
    report: OutcomeReport,
    table: TrayTable,
    question: Question,
    metrics: Sequence[str],
    found: Sequence[str],
) -> tuple[OutcomeReport, dict[str, tuple[str, ...]]]:
    if not found or not metrics:
        return report, {}
    replicates = find_replicates(table, question.treatment_column, question.control)
    distinct = _distinct(table, found)
    going = metrics_with_outcomes(table, replicates, metrics, distinct, question.level)
    said = {GOING: words.going_sentences(going) if going else ()}
    if _FORETOLD_OUTCOME not in found:
        return replace(report, going=going), said
    model = foretell(table, replicates, _FORETOLD_OUTCOME)
    said[FORETOLD] = words.foretold_sentences(model)
    return replace(report, going=going, foretold=model), said


def _distinct(table: TrayTable, names: Sequence[str]) -> list[str]:
    """Leave out outcomes that are another times one number, as packs of equal trays are."""
    kept: list[str] = []
    for name in names:
        numbers = table.values[name]
        if not any(_proportional(numbers, table.values[one]) for one in kept):
            kept.append(name)
    return kept


def _proportional(one: NDArray[np.float64], other: NDArray[np.float64]) -> bool:
    if not np.array_equal(np.isfinite(one), np.isfinite(other)):
        return False
    known = np.isfinite(one)
    across = float(one[known] @ other[known]) ** 2
    sizes = float(one[known] @ one[known]) * float(other[known] @ other[known])
    return across >= sizes * (1.0 - 1e-12)


def write_outcomes(results: Path, report: OutcomeReport) -> tuple[Path, ...]:
    """Write ``outcomes_*.csv``; tables of an earlier run that hold nothing now are taken away.

    Raises
    ------
    StoreError
        A table cannot be written.
    """
    tables: dict[str, Sequence[Any]] = {
        "laboratory": report.contents,
        "keeping": report.kept,
        "with_metrics": report.going,
        "foretold": _foretold_trays(report.foretold),
    }
    written = []
    for name, rows in tables.items():
        path = results / f"outcomes_{name}.csv"
        if rows:
            write_findings(path, rows)
            written.append(path)
        else:
            path.unlink(missing_ok=True)
    lots = results / "outcomes_lots.csv"
    if report.lots is None:
        lots.unlink(missing_ok=True)
    else:
        write_comparison(lots, report.lots)
        written.append(lots)
    return tuple(written)


def _foretold_trays(model: Foretold | None) -> list[ForetoldTray]:
    if model is None or model.values is None or not model.useful:
        return []
    return [
        ForetoldTray(tray, model.outcome, float(value), model.error, model.unit)
        for tray, value in zip(model.trays, model.values, strict=True)
    ]
