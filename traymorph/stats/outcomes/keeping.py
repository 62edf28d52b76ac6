"""Keeping: how many days packs stay acceptable, and how fast scores or colour fall.

A pack that was still good when watching ended counts with the days it was watched, as censored.
The replicate is the tray, or the lot that packs come from: several packs of one are drawn together
first. How long a pack looks acceptable says nothing of whether it is safe.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from traymorph.model.comparison import TrayTable
from traymorph.model.outcome_results import Fading, Kept, KeptPair
from traymorph.model.outcomes import Finding
from traymorph.stats.treatments.contrasts import Pairs, all_pairs, many_to_one, welch_contrasts
from traymorph.stats.treatments.families import holm
from traymorph.stats.treatments.permutation import permutation_test
from traymorph.stats.treatments.simultaneous import against_control, between_all

Floats = NDArray[np.float64]

_SMALL_TRIAL = 16
"""Up to this many replicates in a pair the log-rank test's approximation is not trusted alone."""


@dataclass(frozen=True, slots=True)
class Seen:
    """One look at a pack or tray."""

    what: str
    unit: str
    treatment: str
    replicate: str
    day: date
    value: float


@dataclass(frozen=True, slots=True)
class _Time:
    """Days of one pack or replicate."""

    treatment: str
    replicate: str
    days: float
    still_good: bool


def unequal_temperatures(findings: Sequence[Finding]) -> str:
    """Say why treatments cannot be compared; "" where they were stored alike."""
    stored: dict[str, set[float | None]] = {}
    for one in findings:
        if one.subject.treatment:
            degrees = None if math.isnan(one.storage_c) else one.storage_c
            stored.setdefault(one.subject.treatment, set()).add(degrees)
    if len({frozenset(degrees) for degrees in stored.values()}) < 2:
        return ""
    shown = "; ".join(
        f"{name}: {', '.join(_degrees(one) for one in sorted(held, key=_order))}"
        for name, held in stored.items()
    )
    return (
        f"Treatments were stored at different temperatures ({shown}): what the treatment does to "
        "keeping cannot be told from what the temperature does. Not compared."
    )


def _degrees(degrees: float | None) -> str:
    return "not stated" if degrees is None else f"{degrees:g} °C"


def _order(degrees: float | None) -> float:
    return math.inf if degrees is None else degrees


def compare_keeping(
    findings: Sequence[Finding], control: str | None
) -> tuple[tuple[Kept, ...], tuple[KeptPair, ...]]:
    """Draw and compare the days that packs kept, at each temperature.

    Parameters
    ----------
    findings : sequence of Finding
        Of kind ``keeping``; all treatments stored at the same temperatures.
    control : str or None
        The treatment that all others are compared with; None = every pair.
    """
    used = [one for one in findings if one.subject.treatment]
    kept: list[Kept] = []
    pairs: list[KeptPair] = []
    for degrees in sorted({_order_of(one) for one in used}):
        own = [one for one in used if _order_of(one) == degrees]
        storage_c = math.nan if math.isinf(degrees) else degrees
        times = [
            _Time(one.subject.treatment, one.subject.replicate, one.value, one.still_good)
            for one in own
        ]
        replicates = _by_replicate(times)
        names = _ordered([one.treatment for one in times], control)
        kept.extend(_kept(name, storage_c, times, replicates) for name in names)
        pairs.extend(_pairs(names, storage_c, replicates, one_control=control in names))
    adjusted = holm(np.array([pair.p for pair in pairs], dtype=np.float64))
    told = (replace(pair, p_adjusted=float(p)) for pair, p in zip(pairs, adjusted, strict=True))
    return tuple(kept), tuple(told)


def _order_of(one: Finding) -> float:
    return math.inf if math.isnan(one.storage_c) else one.storage_c


def _ordered(treatments: Sequence[str], control: str | None) -> list[str]:
    names = list(dict.fromkeys(treatments))
    if control in names:
        names.remove(control)
        names.insert(0, control)
    return names


def median_days(days: Sequence[float], still_good: Sequence[bool]) -> float:
    """Kaplan-Meier median; NaN where the share still good never falls to one half.

    Kaplan & Meier 1958, JASA 53:457-481.
    """
    # Imported here: it takes longer than all the rest of a comparison.
    from scipy.stats import ecdf  # noqa: PLC0415

    curve = ecdf(_censored(days, still_good)).sf
    # Half of the packs exactly counts as half, also when rounding left a little more.
    below = np.flatnonzero(curve.probabilities <= 0.5 + 1e-12)
    return float(curve.quantiles[below[0]]) if len(below) else math.nan


def _censored(days: Sequence[float], still_good: Sequence[bool]) -> object:
    from scipy.stats import CensoredData  # noqa: PLC0415

    return CensoredData.right_censored(np.asarray(days, dtype=np.float64), np.asarray(still_good))


def _by_replicate(times: Sequence[_Time]) -> list[_Time]:
    """One time for each tray or lot: the median of its packs, censored where it is not reached."""
    held: dict[tuple[str, str], list[_Time]] = {}
    for one in times:
        held.setdefault((one.treatment, one.replicate), []).append(one)
    result = []
    for (treatment, replicate), packs in held.items():
        if len(packs) == 1:
            result.append(packs[0])
            continue
        days = [one.days for one in packs]
        middle = median_days(days, [one.still_good for one in packs])
        reached = math.isfinite(middle)
        result.append(
            _Time(treatment, replicate, middle if reached else max(days), still_good=not reached)
        )
    return result


def _kept(name: str, storage_c: float, packs: Sequence[_Time], replicates: Sequence[_Time]) -> Kept:
    own = [one for one in packs if one.treatment == name]
    of_it = [one for one in replicates if one.treatment == name]
    return Kept(
        name,
        storage_c,
        len(of_it),
        len(own),
        sum(one.still_good for one in own),
        median_days([one.days for one in of_it], [one.still_good for one in of_it]),
        max(one.days for one in own),
    )


def _pairs(
    names: Sequence[str], storage_c: float, replicates: Sequence[_Time], *, one_control: bool
) -> list[KeptPair]:
    chosen = many_to_one(len(names), 0) if one_control else all_pairs(len(names))
    result = []
    for first, second in chosen:
        one = [time for time in replicates if time.treatment == names[first]]
        other = [time for time in replicates if time.treatment == names[second]]
        pair = KeptPair(names[first], names[second], storage_c, len(one), len(other))
        # Only a treatment's mixed packs have no tray or lot of their own.
        enough = min(len(one), len(other)) > 1
        result.append(_tested(pair, one, other) if enough else pair)
    return result


def _tested(pair: KeptPair, one: Sequence[_Time], other: Sequence[_Time]) -> KeptPair:
    from scipy.stats import logrank  # noqa: PLC0415

    both = [*one, *other]
    days = np.array([time.days for time in both])
    spoiled = np.array([not time.still_good for time in both])
    if not spoiled.any():
        return pair
    sides = (
        _censored([time.days for time in side], [time.still_good for time in side])
        for side in (one, other)
    )
    scores = logrank_scores(days, spoiled)
    with np.errstate(divide="ignore", invalid="ignore"):
        tested = logrank(*sides)
    pair = replace(pair, sooner=float(scores[: len(one)].sum()), p_logrank=float(tested.pvalue))
    if len(both) > _SMALL_TRIAL:
        return pair
    first = np.arange(len(both)) < len(one)
    block = np.zeros(len(both), dtype=np.intp)
    swapped = permutation_test(scores, first, block)
    return replace(pair, p_permutation=swapped.p, smallest_p_permutation=swapped.smallest_p)


def logrank_scores(days: Floats, spoiled: NDArray[np.bool_]) -> Floats:
    """Give every pack its part in the log-rank test, shape (n,); their sum is nought.

    Spoilings seen less spoilings expected until the pack left (Peto & Peto 1972, J. Royal
    Statistical Society A 135:185-207); the sum over a treatment is the log-rank test's observed
    less expected number.
    """
    moments = np.unique(days[spoiled])
    at_risk = (days[None, :] >= moments[:, None]).sum(axis=1)
    events = ((days[None, :] == moments[:, None]) & spoiled[None, :]).sum(axis=1)
    hazard = events / at_risk
    expected = (hazard[:, None] * (days[None, :] >= moments[:, None])).sum(axis=0)
    return np.asarray(spoiled - expected, dtype=np.float64)


def looks_of_scores(findings: Sequence[Finding]) -> tuple[Seen, ...]:
    """Take looks from scores given on dated days."""
    return tuple(
        Seen(one.what, one.unit, one.subject.treatment,
             one.subject.replicate or one.subject.name, one.on_date, one.value)
        for one in findings
        if one.on_date is not None and one.subject.treatment and one.subject.replicate
    )  # fmt: skip


def looks_of_packs(table: TrayTable, treatment_column: str) -> tuple[Seen, ...]:
    """Take looks from photos of opened packs, day by day."""
    days, kinds = table.text("photographed_on"), table.text("kind")
    lots, trays = table.text("lot"), table.text("tray_id")
    treatments = table.text(treatment_column)
    rows = [k for k, day in enumerate(days) if day and treatments[k]]
    return tuple(
        Seen(name, table.units.get(name, ""), treatments[k],
             lots[k] if kinds[k] == "pack" and lots[k] else trays[k],
             date.fromisoformat(days[k][:10]), float(values[k]))
        for name, values in table.values.items()
        if name.startswith("pack_") and np.isfinite(values).any()
        for k in rows
        if np.isfinite(values[k])
    )  # fmt: skip


def compare_fading(
    looks: Sequence[Seen], control: str | None, level: float = 0.95
) -> tuple[Fading, ...]:
    """Compare how fast things change per day: a line for each replicate, then lines as values.

    Parameters
    ----------
    looks : sequence of Seen
        Replicates seen on one day only are left out.
    control : str or None
        The treatment that all others are compared with; None = every pair.
    level : float
        Of the intervals.
    """
    rows: list[Fading] = []
    for what in dict.fromkeys(one.what for one in looks):
        rows.extend(_faded([one for one in looks if one.what == what], control, level))
    adjusted = holm(np.array([row.p for row in rows], dtype=np.float64))
    return tuple(replace(row, p_adjusted=float(p)) for row, p in zip(rows, adjusted, strict=True))


def _faded(looks: Sequence[Seen], control: str | None, level: float) -> list[Fading]:
    held: dict[tuple[str, str], list[Seen]] = {}
    for one in looks:
        held.setdefault((one.treatment, one.replicate), []).append(one)
    slopes = {key: _per_day(seen) for key, seen in held.items()}
    slopes = {key: slope for key, slope in slopes.items() if math.isfinite(slope)}
    names = _ordered([treatment for treatment, _ in slopes], control)
    values = np.array(list(slopes.values()))
    codes = np.array([names.index(treatment) for treatment, _ in slopes], dtype=np.intp)
    counts = np.bincount(codes, minlength=len(names)) if len(codes) else np.zeros(0, dtype=int)
    one_control = control in names
    pairs = many_to_one(len(names), 0) if one_control else all_pairs(len(names))
    chosen: Pairs = tuple(pair for pair in pairs if min(counts[list(pair)]) > 1)
    if not chosen:
        return []
    contrasts = welch_contrasts(values, codes, chosen)
    groups = int((counts > 1).sum())
    together = (
        against_control(contrasts, level) if one_control else between_all(contrasts, groups, level)
    )
    means = np.bincount(codes, values) / np.maximum(counts, 1)
    first = looks[0]
    return [
        Fading(
            first.what, first.unit, names[one], names[other], int(counts[one]),
            int(counts[other]), float(means[one]), float(means[other]),
            float(contrasts.estimate[k]),
            float(contrasts.estimate[k] - together.half_width[k]),
            float(contrasts.estimate[k] + together.half_width[k]),
            float(together.p[k]),
        )
        for k, (one, other) in enumerate(chosen)
    ]  # fmt: skip


def _per_day(looks: Sequence[Seen]) -> float:
    """Slope of the least squares line through the looks; NaN with a single day."""
    days = np.array([one.day.toordinal() for one in looks], dtype=np.float64)
    away = days - days.mean()
    spread = float(away @ away)
    if spread == 0:
        return math.nan
    return float(away @ np.array([one.value for one in looks])) / spread
