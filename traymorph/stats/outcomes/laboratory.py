"""Laboratory panels: contents of treatments side by side, on one basis, and what they bear.

What was mixed before it was sent is one sample however often it was analysed: repeated analyses
tell about the laboratory, not about the treatment, and such a difference has no interval.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean

import numpy as np
from numpy.typing import NDArray

from traymorph.model.outcome_results import Claim, ClaimRule, Content
from traymorph.model.outcomes import Finding
from traymorph.stats.treatments.contrasts import (
    Contrasts,
    Pairs,
    all_pairs,
    many_to_one,
    welch_contrasts,
)
from traymorph.stats.treatments.families import holm
from traymorph.stats.treatments.simultaneous import Together, against_control, between_all

Floats = NDArray[np.float64]

MOISTURE = "moisture"
_BASES = ("fresh", "dry")


# Names of Regulation (EU) No 1169/2011, Annex XIII, part A, from memory.
_VITAMINS_AND_MINERALS = (
    "vitamin", "thiamin", "riboflavin", "niacin", "folic", "folate", "biotin", "pantothenic",
    "ascorbic", "potassium", "chloride", "calcium", "phosphorus", "magnesium", "iron", "zinc",
    "copper", "manganese", "fluoride", "selenium", "chromium", "molybdenum", "iodine",
)  # fmt: skip
CLAIM_RULES = (
    ClaimRule(
        "EU, 'increased'",
        "Regulation (EC) No 1924/2006, Annex",
        30.0,
        "only in a product that is a source of the nutrient",
        _VITAMINS_AND_MINERALS,
    ),
    ClaimRule(
        "China, comparison with a similar food",
        "GB 28050-2011",
        25.0,
        "as read in a secondary account of the standard",
    ),
)


def portions_for_same(more_pct: float) -> float:
    """Portions of a food that holds so much more (less) that give as much as one of the other.

    Parameters
    ----------
    more_pct : float
        Difference in per cent, above -100.
    """
    return 1.0 / (1.0 + more_pct / 100.0) if more_pct > -100.0 else math.inf


def fresh_from_dry(dry: float, moisture_pct: float) -> float:
    """Content per fresh weight: that per dry weight times the share of dry matter."""
    return dry * (100.0 - moisture_pct) / 100.0


def dry_from_fresh(fresh: float, moisture_pct: float) -> float:
    """Content per dry weight: that per fresh weight over the share of dry matter."""
    return fresh * 100.0 / (100.0 - moisture_pct) if moisture_pct < 100.0 else math.nan


def judge_claim(content: Content, rule: ClaimRule, level: float = 0.05) -> Claim:
    """Tell whether numbers reach a rule's threshold, with a difference that is more than chance.

    Parameters
    ----------
    content : Content
        A difference on one basis.
    rule : ClaimRule
        Whose threshold is asked.
    level : float
        Of the adjusted p value.
    """
    missing = []
    if content.basis not in _BASES:
        missing.append("the basis is not stated")
    if content.analyte.startswith(rule.not_for):
        missing.append("the rule does not cover vitamins and minerals")
    if content.single:
        missing.append("a single sample a side shows no difference between treatments")
    elif not content.p_adjusted <= level:
        missing.append("the difference is not more than chance may give")
    if not content.difference_pct >= rule.more_pct:
        missing.append(f"it is not {rule.more_pct:g} % more")
    return Claim(content, rule, ", ".join(missing))


def mirrored(content: Content) -> Content:
    """Say the same difference the other way round: second minus first."""
    ratios = [
        100.0 * math.expm1(-math.log1p(pct / 100.0)) if pct > -100.0 else math.nan
        for pct in (content.difference_pct, content.ci_high_pct, content.ci_low_pct)
    ]
    return replace(
        content,
        treatment=content.control,
        control=content.treatment,
        n_treatment=content.n_control,
        n_control=content.n_treatment,
        mean_treatment=content.mean_control,
        mean_control=content.mean_treatment,
        difference=-content.difference,
        ci_low=-content.ci_high,
        ci_high=-content.ci_low,
        difference_low=-content.difference_high,
        difference_high=-content.difference_low,
        difference_pct=ratios[0],
        ci_low_pct=ratios[1],
        ci_high_pct=ratios[2],
        portions=1.0 / content.portions if content.portions > 0 else math.nan,
    )


@dataclass(frozen=True, slots=True)
class _Sample:
    """One independent sample: the mean of its analyses."""

    treatment: str
    name: str
    low: float
    high: float

    @property
    def known(self) -> bool:
        return self.low == self.high


def compare_panel(
    findings: Sequence[Finding], control: str | None, level: float = 0.95
) -> tuple[Content, ...]:
    """Compare what a laboratory found.

    Parameters
    ----------
    findings : sequence of Finding
        Of kind ``laboratory``: one basis and unit per analyte.
    control : str or None
        The treatment that all others are compared with; None = every pair.
    level : float
        Of the intervals.

    Returns
    -------
    tuple of Content
        By analyte and pair, on the basis given and, where moisture is known for all samples, on
        the other. Rows whose subject has no treatment are left out.
    """
    used = [one for one in findings if one.subject.treatment]
    moisture = _moisture(used)
    rows: list[Content] = []
    for analyte in dict.fromkeys(one.what for one in used):
        own = [one for one in used if one.what == analyte]
        rows.extend(_contents(own, control, level))
        other = None if analyte == MOISTURE else _on_other_basis(own, moisture)
        if other is not None:
            rows.extend(replace(row, converted=True) for row in _contents(other, control, level))
    return _adjusted(rows)


def _moisture(findings: Sequence[Finding]) -> dict[tuple[str, str], float]:
    """Mean moisture by subject, per cent."""
    held: dict[tuple[str, str], list[float]] = {}
    for one in findings:
        if one.what == MOISTURE and not one.below_limit:
            held.setdefault((one.subject.level, one.subject.name), []).append(one.value)
    return {key: fmean(values) for key, values in held.items()}


def _on_other_basis(
    findings: Sequence[Finding], moisture: Mapping[tuple[str, str], float]
) -> list[Finding] | None:
    """Convert every value; None where the moisture of any sample is unknown."""
    other = []
    for one in findings:
        subject = one.subject
        of_treatment = moisture.get(("treatment", subject.treatment))
        water = moisture.get((subject.level, subject.name), of_treatment)
        if water is None or water >= 100.0:
            return None
        convert = fresh_from_dry if one.basis == "dry" else dry_from_fresh
        basis = "fresh" if one.basis == "dry" else "dry"
        other.append(replace(one, basis=basis, value=convert(one.value, water)))
    return other


def _samples(findings: Sequence[Finding]) -> list[_Sample]:
    """Average the analyses of each sample; below the limit lies between nought and the limit."""
    held: dict[tuple[str, str], list[Finding]] = {}
    for one in findings:
        held.setdefault((one.subject.treatment, one.subject.replicate), []).append(one)
    return [
        _Sample(
            treatment,
            name,
            fmean(0.0 if one.below_limit else one.value for one in analyses),
            fmean(one.value for one in analyses),
        )
        for (treatment, name), analyses in held.items()
    ]


def _contents(findings: Sequence[Finding], control: str | None, level: float) -> list[Content]:
    samples = _samples(findings)
    treatments = list(dict.fromkeys(one.treatment for one in samples))
    if control in treatments:
        treatments.remove(control)
        treatments.insert(0, control)
        pairs = many_to_one(len(treatments), 0)
    else:
        pairs = all_pairs(len(treatments))
    groups = [[one for one in samples if one.treatment == name] for name in treatments]
    first = findings[0]
    rows = []
    for pair in pairs:
        one, other = (groups[code] for code in pair)
        start = Content(
            first.what, first.unit, first.basis, converted=False,
            treatment=treatments[pair[0]], control=treatments[pair[1]],
            n_treatment=len(one), n_control=len(other),
            composite=not all(sample.name for sample in (*one, *other)),
        )  # fmt: skip
        rows.append(_plain_difference(start, one, other))
    return _with_intervals(rows, groups, pairs, level)


def _plain_difference(row: Content, one: list[_Sample], other: list[_Sample]) -> Content:
    """Difference of means, or what it lies between where values are below the limit."""
    (low, high), (other_low, other_high) = (
        (fmean(s.low for s in side), fmean(s.high for s in side)) for side in (one, other)
    )
    row = replace(row, mean_treatment=high, mean_control=other_high)
    if not all(sample.known for sample in (*one, *other)):
        return replace(row, difference_low=low - other_high, difference_high=high - other_low)
    more = 100.0 * (high / other_high - 1.0) if other_high > 0 and row.basis else math.nan
    portions = portions_for_same(more) if math.isfinite(more) and high > 0 else math.nan
    return replace(row, difference=high - other_high, difference_pct=more, portions=portions)


def _with_intervals(
    rows: list[Content], groups: list[list[_Sample]], pairs: Pairs, level: float
) -> list[Content]:
    """Add intervals to pairs with two samples a side, all above the limit."""
    able = [
        k for k, pair in enumerate(pairs)
        if all(len(groups[code]) > 1 and all(s.known for s in groups[code]) for code in pair)
    ]  # fmt: skip
    if not able:
        return rows
    values = np.array([sample.high for group in groups for sample in group])
    codes = np.repeat(np.arange(len(groups)), [len(group) for group in groups])
    chosen = tuple(pairs[k] for k in able)
    contrasts = welch_contrasts(values, codes, chosen)
    together = _together(contrasts, chosen, level)
    # Portions and per cent of moisture would say nothing.
    positive = bool((values > 0).all()) and rows[0].basis in _BASES
    logs = welch_contrasts(np.log(values), codes, chosen) if positive else None
    reach = _together(logs, chosen, level) if logs is not None else None
    result = list(rows)
    for place, k in enumerate(able):
        half = float(together.half_width[place])
        row = replace(
            rows[k],
            ci_low=rows[k].difference - half,
            ci_high=rows[k].difference + half,
            p=float(together.p[place]),
        )
        if logs is not None and reach is not None:
            row = _with_ratio(row, float(logs.estimate[place]), float(reach.half_width[place]))
        result[k] = row
    return result


def _with_ratio(row: Content, log: float, half: float) -> Content:
    return replace(
        row,
        difference_pct=100.0 * math.expm1(log),
        ci_low_pct=100.0 * math.expm1(log - half),
        ci_high_pct=100.0 * math.expm1(log + half),
        portions=math.exp(-log),
    )


def _together(contrasts: Contrasts, pairs: Pairs, level: float) -> Together:
    seconds = {second for _, second in pairs}
    if len(seconds) == 1:
        return against_control(contrasts, level)
    return between_all(contrasts, len({code for pair in pairs for code in pair}), level)


def _adjusted(rows: list[Content]) -> tuple[Content, ...]:
    """Adjust over analytes and pairs; a converted row is the same question asked again."""
    result = list(rows)
    for converted in (False, True):
        places = [k for k, row in enumerate(rows) if row.converted is converted]
        adjusted = holm(np.array([rows[k].p for k in places], dtype=np.float64))
        for k, p in zip(places, adjusted, strict=True):
            result[k] = replace(rows[k], p_adjusted=float(p))
    return tuple(result)
