"""What outcomes say, in plain sentences that never say more than the numbers do."""

import math
from collections.abc import Sequence

from traymorph.model.comparison import Comparison, Difference, Question
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
from traymorph.model.outcomes import Kind
from traymorph.report.sentences import at_treatment, probability, sentence, spoken

_SHOWN = 12

CLAIMS_CAUTION = (
    "What a pack may say is regulated, and local law decides. A label needs values of the food as "
    "sold from an accredited laboratory. For orientation: in the US a good source holds 10 to "
    "19 % and a food high in something at least 20 % of the Daily Value in the reference amount "
    "(21 CFR 101.54(b), (c)); in the EU a source of a vitamin or mineral holds at least 15 %, a "
    "food high in it 30 % of the reference value in 100 g (Regulation (EC) No 1924/2006, as read "
    "in a secondary account)."
)
KEEPING_CAUTION = (
    "Keeping is about looks and liking, not about safety: food that carries Salmonella mostly "
    "looks, smells and tastes as good as any other (Food Safety News, on a recall by the Canadian "
    "Food Inspection Agency). Local food rules hold whatever a pack looks like."
)
TASTING_CAUTION = (
    "Where people taste: clean hands, tools and water, cold storage, seed sold for eating raw; "
    "ask about allergies; raw shoots are not for people whom an infection would endanger. Local "
    "rules for tastings hold."
)
GOING_CAUTION = (
    "Over all trays, treatments mixed. That two things go together does not say that one brings "
    "the other about."
)


def family(name: str, compared: int) -> tuple[str, ...]:
    """Say what p values are adjusted for, where there are any."""
    if compared < 2:
        return ()
    return (f"{name} family: {compared} differences, adjusted together (Holm).",)


def laboratory_sentences(
    contents: Sequence[Content], claims: Sequence[Claim], level: float
) -> tuple[str, ...]:
    """Say what a laboratory panel shows."""
    own = [row for row in contents if not row.converted]
    compared = sum(math.isfinite(row.p) for row in own)
    said = []
    for row in own:
        said.append(_content(row, compared, level))
        said.extend(_converted(other) for other in contents if _same_converted(row, other))
        said.extend(_claims([claim for claim in claims if claim.content.analyte == row.analyte
                             and _same_pair(claim.content, row)]))  # fmt: skip
    return (*said, *family("Laboratory", compared), CLAIMS_CAUTION)


def _same_pair(one: Content, other: Content) -> bool:
    return {one.treatment, one.control} == {other.treatment, other.control}


def _same_converted(row: Content, other: Content) -> bool:
    return other.converted and other.analyte == row.analyte and _same_pair(row, other)


def _content(row: Content, compared: int, level: float) -> str:
    basis = f", {row.basis} basis" if row.basis else ""
    name = spoken(row.analyte)
    name = f"{name[0].upper()}{name[1:]}"
    if math.isfinite(row.difference_low):
        return (
            f"{name}{basis}: some values lie below the laboratory's limit. The difference between "
            f"{row.treatment} and {row.control} is from {row.difference_low:.3g} to "
            f"{row.difference_high:.3g} {row.unit}; it has no interval."
        )
    if not math.isfinite(row.ci_low):
        return f"{name}{basis}: {_side_by_side(row)} {_why_no_interval(row)}"
    said = _as_difference(row, level, compared)
    portions = _portions(row) if _is_told(row) else ""
    means = f"{_plain(row.mean_treatment)} and {_plain(row.mean_control)} {row.unit}"
    return f"{said} Means{basis}: {means}{portions}."


def _side_by_side(row: Content) -> str:
    pct = row.difference_pct
    more = f" ({pct:+.0f} %{_portions(row)})" if math.isfinite(pct) else ""
    return (
        f"{_plain(row.mean_treatment)} {row.unit} {at_treatment(row.treatment)}, "
        f"{_plain(row.mean_control)} {row.unit} {at_treatment(row.control)}{more}."
    )


def _why_no_interval(row: Content) -> str:
    if not row.single:
        return "Samples of one treatment do not differ at all, so there is no interval."
    kind = "a single composite sample" if row.composite else "a single sample"
    return (
        f"At least one side is {kind}: nothing says how far two samples of one treatment differ, "
        "so there is no interval."
    )


def _plain(number: float) -> str:
    """Write three significant digits, without an exponent."""
    return f"{number:.0f}" if abs(number) >= 999.5 else f"{number:.3g}"


def _is_told(row: Content) -> bool:
    low, high = (
        (row.ci_low_pct, row.ci_high_pct)
        if math.isfinite(row.ci_low_pct)
        else (row.ci_low, row.ci_high)
    )
    return low > 0 or high < 0


def _portions(row: Content) -> str:
    if not math.isfinite(row.portions):
        return ""
    span = ""
    if math.isfinite(row.ci_low_pct):
        low, high = (100.0 / (100.0 + pct) for pct in (row.ci_high_pct, row.ci_low_pct))
        span = f" ({low:.2f} to {high:.2f})"
    return (
        f"; {row.portions:.3g} portions{span} {at_treatment(row.treatment)} give as much as one "
        f"{at_treatment(row.control)}"
    )


def _as_difference(row: Content, level: float, compared: int) -> str:
    # Per cent without an interval (a sample held nothing) is not what is said.
    pct = row.difference_pct if math.isfinite(row.ci_low_pct) else math.nan
    difference = Difference(
        row.analyte, row.unit, row.treatment, row.control, row.n_treatment, row.n_control,
        row.difference, row.ci_low, row.ci_high, pct, row.ci_low_pct,
        row.ci_high_pct, row.p, row.p_adjusted,
    )  # fmt: skip
    return sentence(difference, _setting("sample", level), compared)


def _setting(unit: str, level: float) -> Comparison:
    return Comparison(Question(level=level), {}, unit, 0, ())


def _converted(row: Content) -> str:
    formula = (
        "fresh = dry x (100 - moisture) / 100"
        if row.basis == "fresh"
        else "dry = fresh x 100 / (100 - moisture)"
    )
    interval = (
        f" (interval {row.ci_low_pct:+.0f} to {row.ci_high_pct:+.0f} %)"
        if math.isfinite(row.ci_low_pct)
        else ""
    )
    more = f", {row.difference_pct:+.0f} %{interval}" if math.isfinite(row.difference_pct) else ""
    return (
        f"The same on {row.basis} basis ({formula}): {_plain(row.mean_treatment)} and "
        f"{_plain(row.mean_control)} {row.unit}{more}."
    )


def _claims(claims: Sequence[Claim]) -> list[str]:
    said = []
    for claim in claims:
        rule = f"{claim.rule.name} ({claim.rule.source}: at least {claim.rule.more_pct:g} % more)"
        name = f"{spoken(claim.content.analyte)} with {claim.content.treatment}"
        if claim.missing:
            said.append(f"{rule}: no claim on {name}, for {claim.missing}.")
        else:
            said.append(
                f"{rule}: the numbers on {name} reach this threshold "
                f"({claim.content.difference_pct:.0f} % more; the interval begins at "
                f"{claim.content.ci_low_pct:.0f} %). It holds {claim.rule.also}; whether a pack "
                "may say so is for local law to decide."
            )
    return said


def keeping_sentences(
    kept: Sequence[Kept],
    pairs: Sequence[KeptPair],
    fading: Sequence[Fading],
    refused: str,
    level: float,
) -> tuple[str, ...]:
    """Say how long packs kept."""
    said = [_kept(one) for one in kept]
    if any(math.isnan(one.storage_c) for one in kept):
        said.append("The temperature of storage is not stated for all packs: write storage_c.")
    said.extend([refused] if refused else [_kept_pair(pair) for pair in pairs])
    said.extend(family("Keeping", sum(math.isfinite(pair.p) for pair in pairs)))
    compared = sum(math.isfinite(row.p) for row in fading)
    said.extend(_fading(row, level, compared) for row in fading)
    said.extend(family("Change per day", compared))
    return (*said, KEEPING_CAUTION)


def _kept(one: Kept) -> str:
    cold = "" if math.isnan(one.storage_c) else f" at {one.storage_c:g} °C"
    packs = f"{_number(one.packs, 'pack')} of {_number(one.replicates, 'tray or lot')}"
    good = f"{one.still_good} still good when watching ended" if one.still_good else "all spoiled"
    if math.isnan(one.median_days):
        return (
            f"Packs {at_treatment(one.treatment)}{cold}: fewer than half were found spoiled within "
            f"{one.longest_days:g} days ({packs}, {good})."
        )
    return (
        f"Packs {at_treatment(one.treatment)}{cold} kept {one.median_days:g} days in the median "
        f"({packs}, {good})."
    )


def _number(count: int, what: str) -> str:
    plural = {"tray or lot": "trays or lots"}.get(what, f"{what}s")
    return f"{count} {what if count == 1 else plural}"


def _kept_pair(pair: KeptPair) -> str:
    names = f"{pair.treatment} and {pair.control}"
    count = f"{pair.n_treatment} and {_number(pair.n_control, 'tray or lot')}"
    if not math.isfinite(pair.p):
        return (
            f"Keeping of {names} is not compared: it needs packs of at least two trays or lots of "
            "each, some of them spoiled."
        )
    tests = f"log-rank {probability(pair.p_logrank)}"
    if math.isfinite(pair.p_permutation):
        tests += f", with labels exchanged {probability(pair.p_permutation)}"
    tests += f", adjusted {probability(pair.p_adjusted)}"
    if pair.p_adjusted <= 0.05:
        when = "sooner" if pair.sooner > 0 else "later"
        return (
            f"Packs {at_treatment(pair.treatment)} spoiled {when} than "
            f"{at_treatment(pair.control)} ({tests}; {count})."
        )
    floor = (
        f" So few cannot give less than {probability(pair.smallest_p_permutation)}."
        if pair.smallest_p_permutation > 0.05
        else ""
    )
    return f"Whether {names} keep alike, these packs do not tell ({tests}; {count}).{floor}"


def _fading(row: Fading, level: float, compared: int) -> str:
    difference = Difference(
        f"change per day of {row.what}", row.unit, row.treatment, row.control, row.n_treatment,
        row.n_control, row.difference, row.ci_low, row.ci_high, p=row.p,
        p_adjusted=row.p_adjusted,
    )  # fmt: skip
    said = sentence(difference, _setting("pack", level), compared)
    return (
        f"{said} Means: {row.per_day_treatment:+.3g} and {row.per_day_control:+.3g} {row.unit} a "
        "day."
    )


def tasting_sentences(
    counted: Sequence[Counted], scored: Sequence[Scored], level: float
) -> tuple[str, ...]:
    """Say what tasting shows."""
    said = [_triangle(one) if one.kind is Kind.TRIANGLE else _paired(one) for one in counted]
    compared = sum(math.isfinite(row.p) for row in scored)
    said.extend(_scored(row, level, compared) for row in scored)
    said.extend(family("Scores", compared))
    if said:
        said.append("Tasting speaks of the samples on the table; other trays may taste otherwise.")
    return (*said, TASTING_CAUTION)


def _triangle(one: Counted) -> str:
    start = (
        f"Triangle test: {one.found} of {one.n} people picked the odd one of {one.treatment} and "
        f"{one.against}; guessing gives {one.n / 3:.3g}, and {_needed(one)} ({probability(one.p)})"
    )
    if one.p <= 0.05:
        return f"{start}: they can be told apart."
    return f"{start}: that they can be told apart is not shown, nor that they taste alike."


def _needed(one: Counted) -> str:
    return f"{one.needed} are needed" if one.needed else "so few people cannot show anything"


def _paired(one: Counted) -> str:
    low, high = 100.0 * one.share_low, 100.0 * one.share_high
    start = (
        f"Preference: {one.found} of {one.n} people preferred {one.treatment} to {one.against} "
        f"(95 % interval {low:.0f} to {high:.0f} %, {probability(one.p)})"
    )
    if one.p <= 0.05:
        liked = one.treatment if 2 * one.found > one.n else one.against
        return f"{start}: {liked} is preferred."
    return f"{start}: no preference is shown."


def _scored(row: Scored, level: float, compared: int) -> str:
    if not math.isfinite(row.ci_low):
        return (
            f"{row.what} of {row.treatment} and {row.control}: too few tasters scored both, or all "
            "differ alike; not compared."
        )
    difference = Difference(
        row.what, "points", row.treatment, row.control, row.tasters, row.tasters, row.difference,
        row.ci_low, row.ci_high, p=row.p, p_adjusted=row.p_adjusted,
    )  # fmt: skip
    return sentence(difference, _setting("taster", level), compared)


def going_sentences(going: Sequence[Going]) -> tuple[str, ...]:
    """Say which metrics go with which outcomes."""
    told = sorted((one for one in going if one.told), key=lambda one: -abs(one.spearman))
    said = [
        f"{one.outcome} with {one.metric}: r = {one.pearson:.2f} ({one.pearson_low:.2f} to "
        f"{one.pearson_high:.2f}), by ranks {one.spearman:.2f} ({one.spearman_low:.2f} to "
        f"{one.spearman_high:.2f}), {one.n} trays."
        for one in told[:_SHOWN]
    ]
    if len(told) > _SHOWN:
        said.append(f"{len(told) - _SHOWN} more stand in the table.")
    if not told:
        said.append("No metric clearly goes with an outcome in these trays.")
    counted = (
        f"{len(going)} pairs were looked at; each 95 % interval stands by itself, so that about "
        "one in twenty leaves out its true value."
    )
    return (*said, counted, GOING_CAUTION)


def foretold_sentences(one: Foretold) -> tuple[str, ...]:
    """Say how well an outcome can be foretold from photos."""
    name = one.outcome.replace("_", " ")
    if one.missing:
        return (f"No {name} is foretold from the photos: {one.missing}.",)
    by = " and ".join(one.predictors)
    how = (
        f"a tray left out is missed by {one.error:.3g} {one.unit} (root mean square; "
        f"{one.error_of_mean:.3g} {one.unit} when the mean of the others is taken)"
    )
    if not one.useful:
        return (f"{by} of {one.n} trays do not foretell {name} better than its mean: {how}.",)
    said = f"Foretold from {by} of {one.n} trays, {how}."
    return (f"{said} It holds for trays like these: same crop, same setting.",)
