"""Two one-sided tests of whether a difference surely lies within stated margins.

Schuirmann 1987, J. Pharmacokinetics and Biopharmaceutics 15:657-680.
"""

from dataclasses import dataclass

from scipy.special import stdtr, stdtrit


@dataclass(frozen=True, slots=True)
class Equivalence:
    """What two one-sided tests give.

    Parameters
    ----------
    p_above_low : float
        One-sided p of "not below the lower margin" (no worse, where less is worse).
    p_below_high : float
        One-sided p of "not above the upper margin" (no worse, where more is worse).
    ci_low, ci_high : float
        Interval at 1 - 2 alpha that lies within the margins exactly when both tests succeed.
    """

    p_above_low: float
    p_below_high: float
    ci_low: float
    ci_high: float

    @property
    def p(self) -> float:
        """Of "within both margins": the larger of both."""
        return max(self.p_above_low, self.p_below_high)


def two_one_sided(
    difference: float, se: float, df: float, margins: tuple[float, float], alpha: float = 0.05
) -> Equivalence:
    """Test whether a difference lies within margins.

    Parameters
    ----------
    difference, se, df : float
        Estimate, its standard error and freedom.
    margins : tuple of float
        Lower and upper margin, in the same unit.
    alpha : float
        Level of each test.
    """
    low, high = margins
    reach = float(stdtrit(df, 1.0 - alpha)) * se
    return Equivalence(
        float(stdtr(df, -(difference - low) / se)),
        float(stdtr(df, (difference - high) / se)),
        difference - reach,
        difference + reach,
    )
