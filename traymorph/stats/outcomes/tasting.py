"""Tasting: whether people tell two treatments apart, which they prefer, how they score them.

Triangle test (ISO 4120) and paired preference (ISO 5495) by the exact binomial distribution.
Scores by a linear model with the taster as block, since some score everything high.
"""

from collections.abc import Sequence
from statistics import fmean

import numpy as np
from scipy.special import bdtr, bdtrc, betaincinv

from traymorph.model.outcome_results import Counted, Scored
from traymorph.model.outcomes import Finding, Kind
from traymorph.stats.treatments.contrasts import Codes, all_pairs, blocked_contrasts, many_to_one
from traymorph.stats.treatments.families import holm
from traymorph.stats.treatments.simultaneous import against_control, between_all

GUESSING = 1.0 / 3.0


def at_least(found: int, n: int, chance: float) -> float:
    """Probability that guessing gives so many of n, or more."""
    return float(bdtrc(found - 1, n, chance)) if found > 0 else 1.0


def two_sided_half(found: int, n: int) -> float:
    """Two-sided probability of a split as uneven as this one, or more, at even chances."""
    return min(1.0, 2.0 * float(bdtr(min(found, n - found), n, 0.5)))


def smallest_that_counts(n: int, chance: float, level: float) -> int:
    """Smallest number of n whose one-sided probability is at most the level; 0 = none is."""
    return next((x for x in range(n + 1) if at_least(x, n, chance) <= level), 0)


def count_tests(findings: Sequence[Finding]) -> tuple[Counted, ...]:
    """Judge triangle tests and preferences, one row each."""
    counted = []
    for one in findings:
        found, n = int(one.value), one.n
        triangle = one.kind is Kind.TRIANGLE
        chance, level = (GUESSING, 0.05) if triangle else (0.5, 0.025)
        low = float(betaincinv(found, n - found + 1, 0.025)) if found else 0.0
        high = float(betaincinv(found + 1, n - found, 0.975)) if found < n else 1.0
        counted.append(
            Counted(
                one.kind, one.subject.treatment, one.against, found, n,
                smallest_that_counts(n, chance, level),
                at_least(found, n, GUESSING) if triangle else two_sided_half(found, n),
                low, high,
            )
        )  # fmt: skip
    return tuple(counted)


def compare_scores(
    findings: Sequence[Finding], control: str | None, level: float = 0.95
) -> tuple[Scored, ...]:
    """Compare scores with the taster as block.

    Parameters
    ----------
    findings : sequence of Finding
        Of kind ``taste_score``; several scores of one taster and treatment are averaged, and who
        scored one treatment only says nothing of a difference.
    control : str or None
        The treatment that all others are compared with; None = every pair.
    level : float
        Of the intervals.
    """
    rows: list[Scored] = []
    for what in dict.fromkeys(one.what for one in findings):
        rows.extend(_scored(what, [one for one in findings if one.what == what], control, level))
    adjusted = holm(np.array([row.p for row in rows], dtype=np.float64))
    return tuple(
        Scored(row.what, row.treatment, row.control, row.tasters, row.difference, row.ci_low,
               row.ci_high, row.p, float(p))
        for row, p in zip(rows, adjusted, strict=True)
    )  # fmt: skip


def _scored(
    what: str, findings: Sequence[Finding], control: str | None, level: float
) -> list[Scored]:
    held: dict[tuple[str, str], list[float]] = {}
    for one in findings:
        if one.subject.treatment:
            held.setdefault((one.taster, one.subject.treatment), []).append(one.value)
    tasted: dict[str, set[str]] = {}
    for taster, treatment in held:
        tasted.setdefault(taster, set()).add(treatment)
    both = {key: fmean(values) for key, values in held.items() if len(tasted[key[0]]) > 1}
    treatments = list(dict.fromkeys(treatment for _, treatment in both))
    if len(treatments) < 2:
        return []
    if control in treatments:
        treatments.remove(control)
        treatments.insert(0, control)
    pairs = many_to_one(len(treatments), 0) if control in treatments else all_pairs(len(treatments))
    tasters = list(dict.fromkeys(taster for taster, _ in both))
    values = np.array(list(both.values()))
    codes = np.array([treatments.index(key[1]) for key in both], dtype=np.intp)
    people = np.array([tasters.index(key[0]) for key in both], dtype=np.intp)
    empty = [
        Scored(what, treatments[first], treatments[second], len(tasters)) for first, second in pairs
    ]
    if len(values) - len(treatments) - len(tasters) + 1 < 1 or not _connected(codes, people):
        return empty
    contrasts = blocked_contrasts(values, codes, people, pairs)
    # What rounding leaves is no spread.
    if not (contrasts.se > 1e-9 * np.abs(values).max()).all():
        return empty
    together = (
        against_control(contrasts, level)
        if control in treatments
        else between_all(contrasts, len(treatments), level)
    )
    return [
        Scored(
            row.what, row.treatment, row.control, row.tasters, float(contrasts.estimate[k]),
            float(contrasts.estimate[k] - together.half_width[k]),
            float(contrasts.estimate[k] + together.half_width[k]),
            float(together.p[k]),
        )
        for k, row in enumerate(empty)
    ]  # fmt: skip


def _connected(treatment: Codes, taster: Codes) -> bool:
    """Whether tasters join all treatments, directly or through others."""
    reached = {0}
    while True:
        people = set(taster[np.isin(treatment, list(reached))].tolist())
        newer = reached | set(treatment[np.isin(taster, list(people))].tolist())
        if newer == reached:
            return len(reached) == int(treatment.max()) + 1
        reached = newer
