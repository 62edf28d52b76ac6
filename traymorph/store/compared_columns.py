"""Columns of what ``compare`` writes: differences, and what outcomes gave."""

from traymorph.store.columns import (
    Column,
    Type,
    count,
    interval,
    number,
    share_of_chance,
    text,
    yes_or_no,
)

_TREATMENT = text("treatment", "The treatment: differences are this one less the control.")
_CONTROL = text("control", "The treatment that it is compared with.")
_TEMPERATURE = number("storage_c", "Temperature at which packs were stored.", "degC")
_IN_UNIT = "in the unit that the column unit names"

COMPARISON_TEXTS = (
    text("metric", "Metric or outcome that was compared."),
    text("unit", "Unit of the metric, 1 for a plain number."),
    _TREATMENT,
    _CONTROL,
)
COMPARISON_COUNTS = (
    count("n_treatment", "Replicates of the treatment."),
    count("n_control", "Replicates of the control."),
)
COMPARISON_NUMBERS = (
    number("difference", f"Difference of arithmetic means, {_IN_UNIT}."),
    number("ci_low", f"Lower end of its 95 % confidence interval, {_IN_UNIT}."),
    number("ci_high", f"Upper end of its 95 % confidence interval, {_IN_UNIT}."),
    number("difference_pct", "Ratio of geometric means less 1; only of sizes.", "%"),
    number("ci_low_pct", "Lower end of its 95 % confidence interval.", "%"),
    number("ci_high_pct", "Upper end of its 95 % confidence interval.", "%"),
    share_of_chance("p", "Two-sided p value of the difference by itself."),
    share_of_chance("p_adjusted", "p value adjusted for all that was compared in its family."),
)
COMPARISON_FURTHER = (
    number("mean_treatment", f"Mean over the treatment's replicates, {_IN_UNIT}."),
    number("mean_control", f"Mean over the control's replicates, {_IN_UNIT}."),
    number("replicate_sd", f"Standard deviation between replicates of a treatment, {_IN_UNIT}."),
    number("measuring_u", f"Typical standard uncertainty of measuring a replicate, {_IN_UNIT}."),
    share_of_chance("p_permutation", "p value of the permutation test beside a small trial."),
    share_of_chance("smallest_p_permutation", "Least p that this permutation test could give."),
    number("margin", f"Margin that was asked about with --within, {_IN_UNIT} or in per cent."),
    share_of_chance("p_within", "p value of the difference lying beyond the margin."),
)
COMPARISON = (
    *COMPARISON_TEXTS,
    *COMPARISON_COUNTS,
    *COMPARISON_NUMBERS,
    text("method", "How it was computed."),
    Column(
        "flags",
        "Why the row is empty, or has no interval; spread_under_doubt: replicates differ less than "
        "each can be measured, so that the interval may be too narrow.",
        allowed=(
            "cut_differs",
            "fill_differs",
            "no_spread",
            "spread_under_doubt",
            "too_few_replicates",
        ),
        several=True,
    ),
    text("family", "Declared before the trial, or found by looking.", "primary", "exploratory"),
    text("replicate", "What got the treatment as a whole.", "tray", "lot", "shelf"),
    *COMPARISON_FURTHER,
)

LABORATORY = (
    text("analyte", "What the laboratory found."),
    text("unit", "Unit of the analyte."),
    text("basis", "What it is counted on; empty for moisture.", "fresh", "dry"),
    yes_or_no("converted", "Worked out from the other basis with each sample's moisture."),
    _TREATMENT,
    _CONTROL,
    count("n_treatment", "Independent samples of the treatment."),
    count("n_control", "Independent samples of the control."),
    yes_or_no("composite", "A side was mixed before it was sent, so that it is one sample."),
    number("mean_treatment", f"Mean of the treatment, {_IN_UNIT}; the most that it can be where "
           "values lie below the laboratory's limit."),
    number("mean_control", f"Mean of the control, {_IN_UNIT}; the most that it can be where "
           "values lie below the laboratory's limit."),
    number("difference", f"Difference, {_IN_UNIT}."),
    number("ci_low", f"Lower end of its 95 % confidence interval, {_IN_UNIT}."),
    number("ci_high", f"Upper end of its 95 % confidence interval, {_IN_UNIT}."),
    number("difference_low", "Least that the difference can be where values lie below the "
           f"limit, {_IN_UNIT}."),
    number("difference_high", "Most that the difference can be where values lie below the "
           f"limit, {_IN_UNIT}."),
    number("difference_pct", "Ratio less 1, of geometric means where there is an interval.", "%"),
    number("ci_low_pct", "Lower end of its 95 % confidence interval.", "%"),
    number("ci_high_pct", "Upper end of its 95 % confidence interval.", "%"),
    number("portions", "Portions of the treatment that give as much as one of the control.", "1"),
    share_of_chance("p", "Two-sided p value of the difference by itself."),
    share_of_chance("p_adjusted", "p value adjusted for all analytes and pairs (Holm)."),
)  # fmt: skip
KEEPING = (
    text("treatment", "The treatment."),
    _TEMPERATURE,
    count("replicates", "Trays or lots that packs come from."),
    count("packs", "Packs that were watched."),
    count("still_good", "Packs still good when watching ended."),
    number("median_days", "Kaplan-Meier median; empty where fewer than half were spoiled.", "d"),
    number("longest_days", "How long the longest was watched.", "d"),
)
WITH_METRICS = (
    text("metric", "Metric from the photos."),
    text("outcome", "Outcome that it is held against."),
    count("n", "Trays with both."),
    number("pearson", "Pearson's correlation of the two.", "1"),
    *interval("pearson", "Pearson's correlation", "1"),
    number("spearman", "Spearman's rank correlation of the two.", "1"),
    *interval("spearman", "Spearman's rank correlation", "1"),
)
FORETOLD = (
    text("tray_id", "Tray that was not weighed."),
    text("outcome", "What is foretold."),
    number("foretold", f"What the model foretells, {_IN_UNIT}."),
    Column("error", f"Root mean square error of trays left out in turn, {_IN_UNIT}.", Type.NUMBER,
           low=0.0),
    text("unit", "Unit of both."),
)  # fmt: skip
OUTCOMES = {
    "outcomes_laboratory.csv": LABORATORY,
    "outcomes_keeping.csv": KEEPING,
    "outcomes_with_metrics.csv": WITH_METRICS,
    "outcomes_foretold.csv": FORETOLD,
}
"""Tables whose rows are of one class each, by the table's name."""
