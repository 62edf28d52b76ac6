"""Compare treatments metric by metric: differences, their intervals, and what chance would do."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from traymorph.config.spellings import other_spelling
from traymorph.errors import DesignError
from traymorph.model.comparison import Comparison, Difference, Margin, Question, TrayTable
from traymorph.model.metrics import name_meant
from traymorph.stats.angles import unwound
from traymorph.stats.planning import design
from traymorph.stats.replicates import Replicates, find_replicates, values_of
from traymorph.stats.treatments.contrasts import (
    Codes,
    Contrasts,
    Floats,
    Pairs,
    all_pairs,
    blocked_contrasts,
    many_to_one,
    residuals,
    welch_contrasts,
)
from traymorph.stats.treatments.equivalence import two_one_sided
from traymorph.stats.treatments.families import holm
from traymorph.stats.treatments.permutation import permutation_test
from traymorph.stats.treatments.simultaneous import Together, against_control, between_all

SIZE_UNITS = frozenset(
    {"mm", "mm2", "cm2", "cm2/g", "mg", "g", "g/m2", "g/g", "g/day", "packs", "days"}
)
"""Units of things that have a true nought, so that per cent of them mean something."""
_SMALL_TRIAL = 16
"""Up to this many replicates in a pair the permutation test stands beside."""
_OUTLYING = 0.05
"""Chance that any replicate of a well-behaved metric is called far from the others."""
_FEWEST_TO_JUDGE = 4
_ROUNDING = 1e-12
_ALL_LEVERAGE = 1.0 - 1e-6
"""A replicate alone in its treatment and block cannot be judged by others."""
_SHOWN = 6


def compare_treatments(table: TrayTable, question: Question, metrics: Sequence[str]) -> Comparison:
    """Compare the treatments of a trial.

    Parameters
    ----------
    table : TrayTable
        One row per tray and day.
    question : Question
        What is compared, with what, by which declared metric.
    metrics : sequence of str
        Names of ``table.values`` to compare.

    Raises
    ------
    DesignError
        The design cannot answer the question; every reason is named.
    """
    replicates = find_replicates(table, question.treatment_column, question.control)
    _check_question(table, question, replicates)
    refusing, of_metrics = design.objections(table, replicates, question.treatment_column)
    if refusing:
        raise DesignError(" ".join(one.sentence for one in refusing))
    flags = {name: one.flag for one in of_metrics for name in one.metrics}
    notes = design.warnings(table, replicates, question.treatment_column)
    notes += [one.sentence for one in of_metrics]
    rows: list[Difference] = []
    for metric in metrics:
        values, doubts = values_of(table, replicates, metric)
        if not np.isfinite(values).any():
            continue
        one = _Metric(table, question, replicates, metric, values, doubts)
        rows.extend(one.refused(flags[metric]) if metric in flags else one.differences())
        notes.extend(one.notes())
    counts = np.bincount(replicates.treatment, minlength=len(replicates.treatments))
    return Comparison(
        question,
        dict(zip(replicates.treatments, map(int, counts), strict=True)),
        replicates.kind,
        len(replicates.blocks),
        _adjusted(rows),
        tuple(dict.fromkeys(notes)),
    )


def _check_question(table: TrayTable, question: Question, replicates: Replicates) -> None:
    column = question.treatment_column
    if column not in table.columns:
        msg = f"The table has no column {column}, which should hold the treatments."
        raise DesignError(msg, hint="Name another with treatment_column in trial.toml.")
    if question.control is not None and question.control not in replicates.treatments:
        known = ", ".join(replicates.treatments) or "none"
        msg = f"The control {question.control!r} is not among the treatments ({known})."
        meant = other_spelling(question.control, replicates.treatments)
        hint = (
            f'Write control = "{meant}" in trial.toml.'
            if meant
            else "Correct control in trial.toml."
        )
        raise DesignError(msg, hint=hint)
    asked = [question.primary, *(margin.metric for margin in question.margins)]
    for name in asked:
        if name is not None and name not in table.values:
            msg = f"{name} is not a metric or outcome of this table."
            raise DesignError(msg, hint=f"{name_meant(name, table.values)}.")


class _Metric:
    """One metric of a trial, on its way to its differences."""

    def __init__(
        self,
        table: TrayTable,
        question: Question,
        replicates: Replicates,
        metric: str,
        values: Floats,
        doubts: Floats,
    ) -> None:
        self._question, self._replicates, self._metric = question, replicates, metric
        self._unit = table.units.get(metric, "")
        self._known = np.isfinite(values)
        known = values[self._known]
        self._values = unwound(known) if self._unit == "deg" else known
        self._doubts = doubts[self._known]
        self._treatment = replicates.treatment[self._known]
        self._block = None if replicates.block is None else replicates.block[self._known]
        self._counts = np.bincount(self._treatment, minlength=len(replicates.treatments))

    def refused(self, flag: str) -> list[Difference]:
        """Rows that say why there is no number."""
        return [self._empty(pair, (flag,)) for pair in self._pairs()]

    def differences(self) -> list[Difference]:
        """Every pair of treatments."""
        pairs = self._pairs()
        enough = [pair for pair in pairs if min(self._counts[list(pair)]) > 1]
        told: dict[tuple[int, int], Difference] = {}
        if enough:
            told = self._told(tuple(enough))
        return [told.get(pair) or self._empty(pair, ("too_few_replicates",)) for pair in pairs]

    def notes(self) -> list[str]:
        """Sentences on single replicates: far from their fellows, or without a value."""
        missing = [self._replicates.names[place] for place in np.flatnonzero(~self._known)]
        found = []
        kind = self._replicates.kind
        if missing:
            shown = ", ".join(missing[:_SHOWN]) + (" and others" if len(missing) > _SHOWN else "")
            found.append(f"{self._metric} was not measured in {kind} {shown}.")
        far = self._far()
        places = np.flatnonzero(self._known)[far]
        names = [self._replicates.names[place] for place in places]
        for name, value in zip(names, self._values[far], strict=True):
            found.append(
                f"{self._metric} of {kind} {name} ({value:.4g}) lies far from the others of "
                "its treatment; it is not left out. Look at its photo and overlay."
            )
        return found

    def _far(self) -> NDArray[np.bool_]:
        """Tell which replicates lie farther from their fellows than chance would put any.

        Studentized deleted residuals of the analysis' model with Bonferroni's limit (Cook &
        Weisberg 1982, Residuals and influence in regression, 2.2.2).
        """
        residual, leverage, df = residuals(self._values, self._treatment, self._block)
        if df < _FEWEST_TO_JUDGE:
            return np.zeros(len(residual), dtype=np.bool_)
        free = np.maximum(1.0 - leverage, 1e-9)
        others = np.maximum((residual @ residual - residual**2 / free) / (df - 1), 0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            t = np.abs(residual) / np.sqrt(others * free)
        limit = float(stdtrit(df - 1, 1.0 - _OUTLYING / (2.0 * len(t))))
        return np.asarray((leverage < _ALL_LEVERAGE) & (t > limit))

    def _pairs(self) -> Pairs:
        count = len(self._replicates.treatments)
        return all_pairs(count) if self._question.control is None else many_to_one(count, 0)

    def _told(self, pairs: Pairs) -> dict[tuple[int, int], Difference]:
        plain = self._analysed(self._values, pairs)
        if plain is None:
            return {pair: self._empty(pair, ("too_few_replicates",)) for pair in pairs}
        contrasts, together = plain
        ratios = self._ratios(pairs)
        return {
            pair: self._difference(k, pair, contrasts, together, ratios)
            for k, pair in enumerate(pairs)
        }

    def _analysed(self, values: Floats, pairs: Pairs) -> tuple[Contrasts, Together] | None:
        contrasts = (
            welch_contrasts(values, self._treatment, pairs, cautious=True)
            if self._block is None
            else self._within_blocks(values, self._block, pairs)
        )
        if contrasts is None:
            return None
        level = self._question.level
        if self._question.control is not None:
            return contrasts, against_control(contrasts, level)
        return contrasts, between_all(contrasts, int((self._counts > 1).sum()), level)

    def _within_blocks(self, values: Floats, blocks: Codes, pairs: Pairs) -> Contrasts | None:
        """Least squares over the treatments and blocks that have a value; None without freedom."""
        used, treatment = np.unique(self._treatment, return_inverse=True)
        _, block = np.unique(blocks, return_inverse=True)
        code = {int(old): new for new, old in enumerate(used)}
        renamed = tuple((code[one], code[other]) for one, other in pairs)
        freedom = len(values) - (len(used) + int(block.max()))
        if freedom < 1 or not _solvable(treatment, block):
            return None
        contrasts = blocked_contrasts(values, treatment, block, renamed)
        return replace(contrasts, pairs=pairs)

    def _ratios(self, pairs: Pairs) -> tuple[Floats, Floats] | None:
        """Log ratios of geometric means and the half widths of their intervals."""
        if self._unit not in SIZE_UNITS or not (self._values > 0).all():
            return None
        analysed = self._analysed(np.log(self._values), pairs)
        return None if analysed is None else (analysed[0].estimate, analysed[1].half_width)

    def _difference(
        self,
        k: int,
        pair: tuple[int, int],
        contrasts: Contrasts,
        together: Together,
        ratios: tuple[Floats, Floats] | None,
    ) -> Difference:
        row = self._empty(pair, ())
        estimate, half = float(contrasts.estimate[k]), float(together.half_width[k])
        # What rounding leaves is no spread.
        varies = contrasts.se[k] > _ROUNDING * np.abs(self._values).max()
        flags = [] if varies else ["no_spread"]
        row = replace(
            row,
            difference=estimate,
            ci_low=estimate - half if not flags else np.nan,
            ci_high=estimate + half if not flags else np.nan,
            p=float(together.p[k]) if varies else np.nan,
            p_adjusted=float(together.p_together[k]) if varies else np.nan,
            method=self._method(),
            flags=tuple(flags),
        )
        row = self._with_permutation(row, pair)
        if ratios is not None and not flags:
            log, reach = float(ratios[0][k]), float(ratios[1][k])
            row = replace(
                row,
                difference_pct=100.0 * math.expm1(log),
                ci_low_pct=100.0 * math.expm1(log - reach),
                ci_high_pct=100.0 * math.expm1(log + reach),
            )
        if varies and row.measuring_reach > half:
            row = replace(row, flags=(*row.flags, "spread_under_doubt"))
        margin = next((m for m in self._question.margins if m.metric == self._metric), None)
        return row if margin is None or flags else self._with_margin(row, margin, contrasts, k)

    def _with_margin(
        self, row: Difference, margin: Margin, contrasts: Contrasts, k: int
    ) -> Difference:
        size = margin.size * abs(row.mean_control) / 100.0 if margin.in_percent else margin.size
        tested = two_one_sided(
            float(contrasts.estimate[k]), float(contrasts.se[k]), float(contrasts.df[k]),
            (-size, size),
        )  # fmt: skip
        return replace(
            row, margin=margin.size, margin_in_percent=margin.in_percent, p_within=tested.p
        )

    def _empty(self, pair: tuple[int, int], flags: tuple[str, ...]) -> Difference:
        first, second = pair
        names = self._replicates.treatments
        primary = self._metric == self._question.primary
        mean = [
            float(self._values[self._treatment == code].mean()) if self._counts[code] else np.nan
            for code in pair
        ]
        return Difference(
            metric=self._metric,
            unit=self._unit,
            treatment=names[first],
            control=names[second],
            n_treatment=int(self._counts[first]),
            n_control=int(self._counts[second]),
            family="primary" if primary else "exploratory",
            flags=flags,
            mean_treatment=mean[0],
            mean_control=mean[1],
            replicate_sd=self._spread(),
            measuring_u=float(np.sqrt(np.nanmean(self._doubts**2)))
            if np.isfinite(self._doubts).any()
            else np.nan,
        )

    def _spread(self) -> float:
        """Pool the standard deviation between replicates of one treatment."""
        df = int(np.maximum(self._counts - 1, 0).sum())
        if df == 0:
            return np.nan
        with np.errstate(invalid="ignore"):
            mean = np.bincount(self._treatment, self._values, minlength=len(self._counts)) / (
                np.maximum(self._counts, 1)
            )
        left = self._values - mean[self._treatment]
        return float(np.sqrt((left @ left) / df))

    def _with_permutation(self, row: Difference, pair: tuple[int, int]) -> Difference:
        chosen = np.isin(self._treatment, pair)
        if int(chosen.sum()) > _SMALL_TRIAL:
            return row
        block = None if self._block is None else self._block[chosen]
        tested = permutation_test(self._values[chosen], self._treatment[chosen] == pair[0], block)
        return replace(row, p_permutation=tested.p, smallest_p_permutation=tested.smallest_p)

    def _method(self) -> str:
        variance = "Welch" if self._block is None else "linear model with blocks"
        if len(self._pairs()) == 1:
            return variance
        if self._question.control is not None:
            return f"{variance}, Dunnett"
        return f"{variance}, {'Games-Howell' if self._block is None else 'Tukey'}"


def _solvable(treatment: Codes, block: Codes) -> bool:
    """Whether the values that are there still connect all treatments through blocks."""
    columns = int(treatment.max()) + 1 + int(block.max())
    design_matrix = np.zeros((len(treatment), columns + 1))
    design_matrix[np.arange(len(treatment)), treatment] = 1.0
    design_matrix[np.arange(len(block)), treatment.max() + 1 + block] = 1.0
    # One column too many: treatments and blocks both add up to one everywhere.
    return int(np.linalg.matrix_rank(design_matrix.T @ design_matrix)) == columns


def _adjusted(rows: list[Difference]) -> tuple[Difference, ...]:
    """Adjust the exploratory family by Holm over all its metrics and pairs."""
    exploratory = [k for k, row in enumerate(rows) if row.family == "exploratory"]
    adjusted = holm(np.array([rows[k].p for k in exploratory]))
    result = list(rows)
    for k, p in zip(exploratory, adjusted, strict=True):
        result[k] = replace(rows[k], p_adjusted=float(p))
    return tuple(result)
