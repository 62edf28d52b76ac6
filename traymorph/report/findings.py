"""What a comparison found, sorted by how sure it is: the few sentences that matter come first."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from traymorph.model.comparison import Comparison, Difference, plural
from traymorph.report.sentences import probability, range_in_words, sentence, words_of

SURE = 0.05
"""Chance below which a difference counts as shown."""


@dataclass(frozen=True, slots=True)
class Findings:
    """Sentences of a comparison.

    Parameters
    ----------
    asked : tuple of str
        On the metric declared before the trial and on margins asked for, whatever came out.
    shown : tuple of str
        Differences that stand even among all that were looked at.
    hints : tuple of str
        Differences whose own interval leaves out nought, but that chance alone may show among so
        many; the last sentence says so. Empty where there are none.
    untold : tuple of str
        Short: metric, and the range that agrees with the replicates.
    """

    asked: tuple[str, ...]
    shown: tuple[str, ...]
    hints: tuple[str, ...]
    untold: tuple[str, ...]


def surety(row: Difference) -> str:
    """Tell how sure a difference is.

    Parameters
    ----------
    row : Difference
        Of any family.

    Returns
    -------
    str
        ``shown``, ``hint``, ``untold``; "" where there is no interval.
    """
    if not math.isfinite(row.ci_low):
        return ""
    if not (row.ci_low > 0 or row.ci_high < 0):
        return "untold"
    if row.family == "primary" or row.p_adjusted <= SURE:
        return "shown"
    return "hint"


def findings(comparison: Comparison) -> Findings:
    """Sort what could be compared.

    Parameters
    ----------
    comparison : Comparison
        All differences of a trial.
    """
    rows = [row for row in comparison.differences if math.isfinite(row.ci_low)]
    several = len({(row.treatment, row.control) for row in rows}) > 1
    asked = [row for row in rows if row.family == "primary" or math.isfinite(row.p_within)]
    rest = [row for row in rows if row not in asked]
    shown, hints, untold = (
        [row for row in rest if surety(row) == kind] for kind in ("shown", "hint", "untold")
    )
    exploratory = sum(row.family == "exploratory" for row in rows)
    return Findings(
        asked=tuple(sentence(row, comparison, exploratory) for row in asked),
        shown=tuple(sentence(row, comparison, 1) for row in shown),
        hints=(*(_hint(row, comparison) for row in hints), *_caution(hints, exploratory)),
        untold=tuple(_untold(row, several=several) for row in untold),
    )


def _hint(row: Difference, comparison: Comparison) -> str:
    said = sentence(row, comparison, 1).removesuffix(".")
    return f"{said}; adjusted {probability(row.p_adjusted)}."


def _caution(hints: Sequence[Difference], exploratory: int) -> tuple[str, ...]:
    if not hints:
        return ()
    which = "It is" if len(hints) == 1 else "They are"
    said = (
        f"{which} among {exploratory} differences looked at, and chance alone shows one now and "
        "then: declare such a metric as primary before the next trial."
    )
    return (said,)


def _untold(row: Difference, *, several: bool) -> str:
    words = words_of(row.metric, row.unit)
    subject = words.question.rpartition(" ")[0].rstrip(",")
    pair = f" ({row.treatment} against {row.control})" if several else ""
    return f"{subject}{pair}: {range_in_words(row)}"


def missing_metrics(comparison: Comparison) -> dict[str, list[str]]:
    """Metrics that no pair of treatments could be compared in, by the flags that say why.

    Parameters
    ----------
    comparison : Comparison
        All differences of a trial.

    Returns
    -------
    dict of str to list of str
        Flags as written, to the names of the metrics, in their order.
    """
    told = {row.metric for row in comparison.differences if math.isfinite(row.difference)}
    reasons: dict[str, list[str]] = {}
    for row in comparison.differences:
        if row.metric not in told and row.flags:
            names = reasons.setdefault(" ".join(row.flags), [])
            if row.metric not in names:
                names.append(row.metric)
    return reasons


def treatments_in_words(comparison: Comparison) -> str:
    """Name the treatments with their replicates: ``30 g (3 trays), 15 g (3 trays) in 3 blocks``.

    Parameters
    ----------
    comparison : Comparison
        Of a trial.
    """
    counts = ", ".join(
        f"{name} ({n} {comparison.unit if n == 1 else plural(comparison.unit)})"
        for name, n in comparison.treatments.items()
    )
    return f"{counts} in {comparison.blocks} blocks" if comparison.blocks else counts
