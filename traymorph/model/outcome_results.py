"""What outcomes gave: laboratory, keeping, tasting, and how metrics go with them."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traymorph.model.outcomes import Kind

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Content:
    """One analyte in one pair of treatments, on one basis; NaN where it could not be told.

    Parameters
    ----------
    analyte, unit, basis : str
        What was found; ``basis`` is ``fresh`` or ``dry``, "" for moisture.
    converted : bool
        Worked out from the other basis with the moisture of each sample.
    treatment, control : str
        First minus second.
    n_treatment, n_control : int
        Independent samples of each.
    composite : bool
        A side was mixed from its trays before it was sent, so that it is one sample however often
        it was analysed.
    mean_treatment, mean_control : float
        Means; with values below the limit the largest that they could be.
    difference, ci_low, ci_high : float
        In the unit. With values below the limit there is no interval, and ``ci_low`` and
        ``ci_high`` stay empty.
    difference_low, difference_high : float
        What the difference lies between because values are below the limit; NaN otherwise.
    difference_pct, ci_low_pct, ci_high_pct : float
        Ratio less 1, per cent: of geometric means where there is an interval, else of means.
    portions : float
        Portions of the treatment that give as much as one portion of the control.
    p, p_adjusted : float
        Two-sided; adjusted for all analytes and pairs of the panel (Holm).
    """

    analyte: str
    unit: str
    basis: str
    converted: bool
    treatment: str
    control: str
    n_treatment: int
    n_control: int
    composite: bool = False
    mean_treatment: float = math.nan
    mean_control: float = math.nan
    difference: float = math.nan
    ci_low: float = math.nan
    ci_high: float = math.nan
    difference_low: float = math.nan
    difference_high: float = math.nan
    difference_pct: float = math.nan
    ci_low_pct: float = math.nan
    ci_high_pct: float = math.nan
    portions: float = math.nan
    p: float = math.nan
    p_adjusted: float = math.nan

    @property
    def single(self) -> bool:
        """Whether a side is one sample, so that nothing says how far two samples differ."""
        return min(self.n_treatment, self.n_control) < 2


@dataclass(frozen=True, slots=True)
class ClaimRule:
    """A published rule on saying that a food holds more of something.

    Parameters
    ----------
    name, source : str
        What it is about, and where it stands.
    more_pct : float
        The least increase, per cent.
    also : str
        What else it asks.
    not_for : tuple of str
        Beginnings of the names of analytes that it does not cover.
    """

    name: str
    source: str
    more_pct: float
    also: str
    not_for: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Claim:
    """Whether a difference reaches a published rule's threshold.

    Parameters
    ----------
    content : Content
        The difference.
    rule : ClaimRule
        The rule.
    missing : str
        What stands against it; "" where the numbers reach the threshold.
    """

    content: Content
    rule: ClaimRule
    missing: str


@dataclass(frozen=True, slots=True)
class Kept:
    """How long packs of one treatment kept.

    Parameters
    ----------
    treatment : str
        Name.
    storage_c : float
        °C; NaN where not stated.
    replicates, packs, still_good : int
        Trays or lots; packs; packs still good when watching ended.
    median_days : float
        Kaplan-Meier median over replicates; NaN where fewer than half were found spoiled.
    longest_days : float
        How long the longest was watched.
    """

    treatment: str
    storage_c: float
    replicates: int
    packs: int
    still_good: int
    median_days: float
    longest_days: float


@dataclass(frozen=True, slots=True)
class KeptPair:
    """Two treatments at one temperature; NaN where there are too few replicates.

    Parameters
    ----------
    treatment, control : str
        Whose times are compared.
    storage_c : float
        °C; NaN where not stated.
    n_treatment, n_control : int
        Replicates.
    sooner : float
        Packs of the treatment spoiled beyond what both treatments together would lead one to
        expect; more than 0 = they spoiled sooner.
    p_logrank : float
        Log-rank test, two-sided.
    p_permutation, smallest_p_permutation : float
        The same scores with labels exchanged, beside small trials; the least that it can give.
    p_adjusted : float
        The larger of both p, adjusted for all pairs (Holm).
    """

    treatment: str
    control: str
    storage_c: float
    n_treatment: int
    n_control: int
    sooner: float = math.nan
    p_logrank: float = math.nan
    p_permutation: float = math.nan
    smallest_p_permutation: float = math.nan
    p_adjusted: float = math.nan

    @property
    def p(self) -> float:
        """The larger of both."""
        return max((p for p in (self.p_logrank, self.p_permutation) if math.isfinite(p)),
                   default=math.nan)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Fading:
    """Change per day of one thing in two treatments.

    Parameters
    ----------
    what, unit : str
        What was followed; its unit, per day.
    treatment, control : str
        First minus second.
    n_treatment, n_control : int
        Replicates followed over at least two days.
    per_day_treatment, per_day_control : float
        Mean change per day.
    difference, ci_low, ci_high, p, p_adjusted : float
        Of the changes; adjusted for everything followed and all pairs (Holm).
    """

    what: str
    unit: str
    treatment: str
    control: str
    n_treatment: int
    n_control: int
    per_day_treatment: float = math.nan
    per_day_control: float = math.nan
    difference: float = math.nan
    ci_low: float = math.nan
    ci_high: float = math.nan
    p: float = math.nan
    p_adjusted: float = math.nan


@dataclass(frozen=True, slots=True)
class Counted:
    """A triangle test or a preference.

    Parameters
    ----------
    kind : Kind
        ``triangle`` or ``paired``.
    treatment, against : str
        Whom it was about.
    found, n : int
        People who picked the odd one, or who preferred ``treatment``; people asked.
    needed : int
        The smallest number that is more than chance at 5 %; 0 where no number of n is.
    p : float
        Exact: one-sided for the triangle, two-sided for the preference.
    share_low, share_high : float
        95 % interval of the share found (Clopper & Pearson 1934, Biometrika 26:404-413).
    """

    kind: Kind
    treatment: str
    against: str
    found: int
    n: int
    needed: int
    p: float
    share_low: float
    share_high: float


@dataclass(frozen=True, slots=True)
class Scored:
    """Scores of two treatments by the same people.

    Parameters
    ----------
    what : str
        Name of the score.
    treatment, control : str
        First minus second.
    tasters : int
        People whose scores are in it.
    difference, ci_low, ci_high : float
        Points, within tasters.
    p, p_adjusted : float
        Two-sided; adjusted for all scores and pairs (Holm).
    """

    what: str
    treatment: str
    control: str
    tasters: int
    difference: float = math.nan
    ci_low: float = math.nan
    ci_high: float = math.nan
    p: float = math.nan
    p_adjusted: float = math.nan


@dataclass(frozen=True, slots=True)
class Going:
    """How one metric goes with one outcome.

    Parameters
    ----------
    metric, outcome : str
        Names.
    n : int
        Trays with both.
    pearson, pearson_low, pearson_high : float
        Along a straight line.
    spearman, spearman_low, spearman_high : float
        By ranks.
    """

    metric: str
    outcome: str
    n: int
    pearson: float
    pearson_low: float
    pearson_high: float
    spearman: float
    spearman_low: float
    spearman_high: float

    @property
    def told(self) -> bool:
        """Whether both intervals leave out nought on the same side."""
        lows, highs = (self.pearson_low, self.spearman_low), (self.pearson_high, self.spearman_high)
        return min(lows) > 0 or max(highs) < 0


@dataclass(frozen=True, slots=True, eq=False)
class Foretold:
    """A model of one outcome, or the reason why there is none.

    Parameters
    ----------
    outcome, unit : str
        What is foretold.
    predictors : tuple of str
        Metrics that it is foretold from.
    n : int
        Trays with all of them and the outcome.
    error : float
        Root mean square error of trays left out in turn, in the unit.
    error_of_mean : float
        The same when the mean of the other trays is foretold.
    missing : str
        Why there is no model; "" where there is one.
    trays : tuple of str
        Trays without a weight that the model speaks of.
    values : ndarray, shape (len(trays),)
        What it foretells for them; NaN where a metric lies outside the weighed trays' range.
    """

    outcome: str
    unit: str
    predictors: tuple[str, ...] = ()
    n: int = 0
    error: float = math.nan
    error_of_mean: float = math.nan
    missing: str = ""
    trays: tuple[str, ...] = ()
    values: Floats | None = None

    @property
    def useful(self) -> bool:
        """Whether the model foretells left-out trays better than their mean does."""
        return self.error < self.error_of_mean
